"""The ready list: what stands on it, how it is sought and sorted, as a file, on paper, and what is done with it."""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.models import Hold, LineagePrice, PlugPrice, SizePrice
from tests.factories import (
    ContactFactory,
    CutEventFactory,
    HoldFactory,
    LineageFactory,
    PlugFactory,
    RackFactory,
    ReadyPlugFactory,
)

pytestmark = pytest.mark.django_db


def of(lineage, **fields):
    """A ready plug of a lineage."""
    return ReadyPlugFactory(cut_event=CutEventFactory(mother__lineage=lineage), **fields)


def listed(client, query="", name="ready"):
    """The codes on the page, in their order."""
    answer = client.get(f"{reverse(name)}{query}")
    assert answer.status_code == 200
    return [row.record.code for row in answer.context["table"].page.object_list]


def rows_of(answer):
    text = b"".join(answer.streaming_content).decode("utf-8")
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


# -- what stands on it


def test_only_what_is_healed_kept_free_and_not_insurance_is_listed(signed_in):
    ready = ReadyPlugFactory()
    PlugFactory()
    ReadyPlugFactory(is_insurance=True)
    ReadyPlugFactory(fate="sold", ended_on=localdate())
    HoldFactory(until=localdate())
    assert listed(signed_in) == [ready.code]


def test_a_plug_is_back_the_day_after_its_hold(signed_in):
    hold = HoldFactory(until=localdate() - timedelta(days=1))
    assert listed(signed_in) == [hold.plug.code]


def test_what_waits_longest_comes_first(signed_in):
    late = ReadyPlugFactory(healed_on="2026-05-20")
    early = ReadyPlugFactory(healed_on="2026-05-03")
    assert listed(signed_in) == [early.code, late.code]


def test_strangers_are_asked_to_sign_in(client):
    for name in ("ready", "ready_lines", "ready_csv", "ready_print", "holds", "prices", "contacts"):
        assert client.get(reverse(name)).url.startswith(reverse("sign_in"))


def test_an_empty_list_says_what_is_healing_instead(signed_in):
    PlugFactory.create_batch(2)
    for name in ("ready", "ready_lines"):
        assert "2 plugs are healing" in signed_in.get(reverse(name)).content.decode()


def test_with_nothing_at_all_the_way_on_is_a_cutting_session(signed_in):
    assert reverse("cut") in signed_in.get(reverse("ready")).content.decode()


def test_a_plug_shows_its_own_price_before_that_of_its_lineage(signed_in):
    lineage = LineageFactory()
    LineagePrice.objects.create(lineage=lineage, amount=25)
    PlugPrice.objects.create(plug=of(lineage), amount=40)
    of(lineage)
    page = signed_in.get(reverse("ready")).content.decode()
    assert "€25.00" in page
    assert "€40.00" in page


def test_a_price_by_size_is_a_known_price(signed_in):
    plug, bare = ReadyPlugFactory(size_mm=Decimal(30)), ReadyPlugFactory(size_mm=Decimal(30))
    SizePrice.objects.create(lineage=plug.lineage, from_mm=30, amount=35)
    assert "€35.00" in signed_in.get(reverse("ready")).content.decode()
    assert listed(signed_in, "?price=known") == [plug.code]
    assert listed(signed_in, "?price=unknown") == [bare.code]


# -- seeking


@pytest.mark.parametrize("typed", ["{code}", "{clear}", "{lower}", "{spaced}", "{half}"])
def test_a_code_is_found_in_any_writing(signed_in, typed):
    plug, _ = ReadyPlugFactory.create_batch(2)
    code = plug.code
    text = typed.format(
        code=code,
        clear=plug.code_in_clear,
        lower=plug.code_in_clear.lower(),
        spaced=f" {code[:4]} {code[4:]} ",
        half=code[:6],
    )
    answer = signed_in.get(reverse("ready"), {"q": text})
    assert [row.record for row in answer.context["table"].page.object_list] == [plug]


@pytest.mark.parametrize("words", ["ember", "SHOP NAME", "tenuis", "acropora ten"])
def test_words_are_found_in_names_and_species(signed_in, words):
    wanted = of(LineageFactory(name="Harbour Ember", sold_as="Shop name", genus="Acropora", species="tenuis"))
    of(LineageFactory(name="Grey Quay", genus="Montipora", species="digitata"))
    answer = signed_in.get(reverse("ready"), {"q": words})
    assert [row.record for row in answer.context["table"].page.object_list] == [wanted]


def test_filters_by_lineage_form_rack_size_age_and_price(signed_in):
    rack = RackFactory()
    lineage = LineageFactory(growth_form="plating")
    wanted = of(lineage, size_mm=Decimal(30), rack=rack)
    PlugPrice.objects.create(plug=wanted, amount=20)
    other = ReadyPlugFactory(size_mm=Decimal(10), cut_event=CutEventFactory(session__cut_on=date(2025, 1, 10)))
    age = wanted.age_days(localdate())
    for query in (
        f"?lineage={lineage.pk}",
        "?growth_form=plating",
        f"?rack={rack.pk}",
        "?size_min=25",
        f"?younger_than={age}",
        "?price=known",
    ):
        assert listed(signed_in, query) == [wanted.code], query
    for query in ("?rack=none", "?size_max=20", f"?older_than={age + 1}", "?price=unknown"):
        assert listed(signed_in, query) == [other.code], query


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("?older_than=-3", "cannot be less than 0"),
        ("?older_than=99999999999", "36500"),
        ("?size_min=many", "no number"),
        ("?size_max=1e40", "cannot be right"),
        ("?lineage=999999", "Choose one from the list"),
        ("?price=cheap", "Choose one from the list"),
    ],
)
def test_a_filter_that_cannot_be_is_named_and_hides_nothing(signed_in, query, words):
    plug = ReadyPlugFactory()
    answer = signed_in.get(f"{reverse('ready')}{query}")
    assert words in answer.content.decode()
    assert plug.code in answer.content.decode()


def test_sizes_are_asked_for_in_the_keepers_unit(signed_in):
    from propagation.models import Preferences

    Preferences.objects.create(pk=1, length_unit="inch")
    large = ReadyPlugFactory(size_mm=Decimal("25.4"))
    ReadyPlugFactory(size_mm=Decimal(20))
    assert listed(signed_in, "?size_min=0.95") == [large.code]


# -- sorting and paging


@pytest.mark.parametrize(
    ("sort", "order"),
    [
        ("code", "code"),
        ("size_mm", "size"),
        ("age", "age"),
        ("healed_on", "healed"),
        ("lineage", "lineage"),
        ("price", "price"),
    ],
)
def test_the_list_sorts_both_ways_and_what_is_not_known_comes_last(signed_in, sort, order):
    """Each column is made to order three plugs alike: first, second, third; the fourth knows no size and no price."""
    plugs = []
    for number, name in enumerate(["amber", "Brine", "coal"]):
        plug = of(
            LineageFactory(name=name),
            size_mm=Decimal(10 + number),
            healed_on=f"2026-05-0{number + 1}",
        )
        PlugPrice.objects.create(plug=plug, amount=number + 1)
        plugs.append(plug)
    by_age = sorted(plugs, key=lambda plug: (plug.age_days(localdate()), -plug.pk))
    expected = {"code": sorted(plugs, key=lambda plug: plug.code), "age": by_age}.get(order, plugs)
    unknown = of(LineageFactory(name="dun"), size_mm=None) if order in ("size", "price") else None
    last = [unknown.code] if unknown else []
    assert listed(signed_in, f"?sort={sort}") == [plug.code for plug in expected] + last
    assert listed(signed_in, f"?sort=-{sort}") == [plug.code for plug in reversed(expected)] + last


def test_pages_hold_twenty_five_and_join_without_a_gap(signed_in):
    event = CutEventFactory()
    plugs = ReadyPlugFactory.create_batch(30, cut_event=event)
    first, second = listed(signed_in), listed(signed_in, "?page=2")
    assert (len(first), len(second)) == (25, 5)
    assert first + second == [plug.code for plug in plugs]


@pytest.mark.parametrize("page", ["99", "0", "-1", "many", "9" * 40])
def test_a_page_that_is_not_there_shows_the_first(signed_in, page):
    plug = ReadyPlugFactory()
    assert listed(signed_in, f"?page={page}") == [plug.code]


def test_the_page_costs_eight_queries_however_many_there_are(signed_in, django_assert_max_num_queries):
    ReadyPlugFactory.create_batch(2)
    for query in ("", "?q=ember", "?sort=lineage", "?sort=-price"):
        with django_assert_max_num_queries(8 if "q=" not in query else 9):
            signed_in.get(f"{reverse('ready')}{query}")
    ReadyPlugFactory.create_batch(28, rack=RackFactory())
    for query in ("", "?page=2", "?sort=lineage", "?sort=-price"):
        with django_assert_max_num_queries(8):
            signed_in.get(f"{reverse('ready')}{query}")


# -- by line


def test_a_line_tells_how_many_from_which_price_and_since_when(signed_in):
    lineage = LineageFactory(name="Harbour Ember")
    LineagePrice.objects.create(lineage=lineage, amount=30)
    PlugPrice.objects.create(plug=of(lineage, healed_on="2026-05-03"), amount=25)
    of(lineage, healed_on="2026-05-10")
    page = signed_in.get(reverse("ready_lines")).content.decode()
    assert "2 ready" in page
    assert "from €25.00, since 3 May 2026" in page
    assert f"?lineage={lineage.pk}" in page


def test_the_lines_cost_the_same_queries_however_many_there_are(signed_in, django_assert_num_queries):
    ReadyPlugFactory()
    with django_assert_num_queries(4):
        signed_in.get(reverse("ready_lines"))
    ReadyPlugFactory.create_batch(5)
    with django_assert_num_queries(4):
        signed_in.get(reverse("ready_lines"))


# -- as a file and on paper


def test_the_file_is_rfc_4180_in_utf_8_that_spreadsheets_know(signed_in):
    plug = of(LineageFactory(name='Ember, "red"'))
    answer = signed_in.get(reverse("ready_csv"))
    content = b"".join(answer.streaming_content)
    assert answer["Content-Type"].startswith("text/csv")
    assert content.startswith("\ufeffcode,".encode())
    lines = content.decode("utf-8-sig").split("\r\n")
    assert len(lines) == 3  # header, plug, nothing after the last end of line
    assert "\n" not in "".join(lines)
    assert f'{plug.code_in_clear},"Ember, ""red"""' in lines[1]


@pytest.mark.parametrize("name", ["=1+1", "+ember", "-ember", "@ember", "=cmd|' /C calc'!A0"])
def test_no_cell_of_the_file_is_a_formula(signed_in, name):
    """Source: OWASP, CSV Injection."""
    of(LineageFactory(name=name))
    (row,) = rows_of(signed_in.get(reverse("ready_csv")))
    assert row["lineage"] == f"'{name}"


def test_the_file_follows_filters_and_sort(signed_in):
    lineage = LineageFactory()
    plugs = sorted((of(lineage) for _ in range(3)), key=lambda plug: plug.code)
    ReadyPlugFactory()
    rows = rows_of(signed_in.get(f"{reverse('ready_csv')}?lineage={lineage.pk}&sort=-code"))
    assert [row["code"] for row in rows] == [plug.code_in_clear for plug in reversed(plugs)]


def test_the_file_costs_the_same_queries_however_long_it_is(signed_in, django_assert_num_queries):
    ReadyPlugFactory.create_batch(30)
    with django_assert_num_queries(7):
        assert len(rows_of(signed_in.get(reverse("ready_csv")))) == 30


def test_the_sheet_to_print_goes_by_lineage(signed_in):
    brine, amber = LineageFactory(name="Brine"), LineageFactory(name="amber")
    plugs = [of(brine), of(amber), of(brine)]
    page = signed_in.get(reverse("ready_print")).content.decode()
    codes = [plug.code_in_clear for plug in (plugs[1], plugs[0], plugs[2])]
    bare = page.replace('<span class="dash">-</span>', "-")
    places = [bare.index(code) for code in codes]
    assert places == sorted(places)
    assert page.count("tick-box") == 3


# -- what is done with what is ticked


@pytest.mark.parametrize(
    ("act", "name"), [("hold", "hold_many"), ("price", "plugs_price"), ("labels", "labels"), ("left", "plugs_left")]
)
def test_each_button_leads_to_its_page_with_what_is_ticked(signed_in, act, name):
    plugs = ReadyPlugFactory.create_batch(2)
    answer = signed_in.post(reverse("ready_chosen"), {"act": act, "plugs": [plug.code for plug in plugs]})
    assert answer.url == f"{reverse(name)}?plugs={plugs[0].code}&plugs={plugs[1].code}"
    assert signed_in.get(answer.url).status_code == 200


@pytest.mark.parametrize("data", [{"act": "hold"}, {"act": "hold", "plugs": "nonsense"}, {"act": "fly"}])
def test_a_button_without_plugs_or_sense_leads_back_with_a_word(signed_in, data):
    answer = signed_in.post(f"{reverse('ready_chosen')}?sort=code", data, follow=True)
    assert answer.redirect_chain[-1][0] == f"{reverse('ready')}?sort=code"
    assert len(answer.context["messages"]) == 1


def test_the_contact_of_the_last_hold_is_one_tap_away(signed_in):
    first, second = ReadyPlugFactory.create_batch(2)
    contact = ContactFactory(name="Keeper next door")
    signed_in.post(reverse("hold", args=[first.code]), {"contact_name": "keeper NEXT door", "days": "7"})
    assert "Hold for Keeper next door" in signed_in.get(reverse("ready")).content.decode()
    signed_in.post(reverse("ready_chosen"), {"act": "hold_again", "plugs": second.code})
    hold = Hold.objects.get(plug=second)
    assert (hold.contact, hold.until) == (contact, localdate() + timedelta(days=7))


def test_what_was_taken_meanwhile_is_named_when_held_again(signed_in):
    first, second = ReadyPlugFactory.create_batch(2)
    signed_in.post(reverse("hold", args=[first.code]), {"contact_name": "Keeper", "days": "7"})
    other = HoldFactory(plug=second, until=localdate())
    answer = signed_in.post(reverse("ready_chosen"), {"act": "hold_again", "plugs": second.code}, follow=True)
    assert str(other.contact) in answer.content.decode()
    assert Hold.objects.filter(plug=second).get() == other
