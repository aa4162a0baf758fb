"""Prices of lineages on one page, of single plugs, and the currency they are in."""

from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.models import Book, LineagePrice, PlugPrice, SizePrice
from propagation.models import Preferences
from tests.factories import LineageFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


def price_of(lineage):
    return LineagePrice.objects.filter(lineage=lineage).values_list("amount", flat=True).first()


def own_price_of(plug):
    return PlugPrice.objects.filter(plug=plug).values_list("amount", flat=True).first()


@pytest.mark.parametrize("typed", ["25", "25.00", "25,00", "€ 25", "25,-".replace(",-", ",00")])
def test_amounts_are_read_with_a_point_or_a_comma(signed_in, typed):
    lineage = LineageFactory()
    signed_in.post(reverse("prices"), {f"price-{lineage.pk}": typed, f"was-{lineage.pk}": ""})
    assert price_of(lineage) == 25


def test_several_are_saved_at_once_and_an_empty_one_is_taken_away(signed_in, keeper):
    first, second, third = LineageFactory.create_batch(3)
    LineagePrice.objects.create(lineage=first, amount=10)
    LineagePrice.objects.create(lineage=second, amount=20)
    answer = signed_in.post(
        reverse("prices"),
        {
            f"price-{first.pk}": "",
            f"was-{first.pk}": "10.00",
            f"price-{second.pk}": "20.00",
            f"was-{second.pk}": "20.00",
            f"price-{third.pk}": "12,50",
            f"was-{third.pk}": "",
        },
        follow=True,
    )
    assert [price_of(each) for each in (first, second, third)] == [None, 20, Decimal("12.5")]
    assert "2 prices are saved" in answer.content.decode()
    assert LineagePrice.history.filter(lineage=first).latest().history_user == keeper


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("dear", "is no amount"),
        ("-5", "less than nothing"),
        ("1.234567", "more digits after the point"),
        ("999999999999", "cannot be right"),
    ],
)
def test_each_wrong_amount_is_named_at_its_field_and_nothing_is_lost(signed_in, typed, words):
    good, bad = LineageFactory.create_batch(2)
    answer = signed_in.post(
        reverse("prices"),
        {f"price-{good.pk}": "12", f"was-{good.pk}": "", f"price-{bad.pk}": typed, f"was-{bad.pk}": ""},
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in str(answer.context["form"].errors[f"price-{bad.pk}"])
    assert f"id_price-{bad.pk}_error" in page
    assert f'value="{typed}"' in page
    assert 'value="12"' in page
    assert not LineagePrice.objects.exists()


def test_two_people_who_set_one_price_do_not_undo_each_other(signed_in):
    lineage = LineageFactory()
    LineagePrice.objects.create(lineage=lineage, amount=30)  # set after the form was opened
    answer = signed_in.post(reverse("prices"), {f"price-{lineage.pk}": "12", f"was-{lineage.pk}": ""})
    assert "changed by somebody else" in answer.content.decode()
    assert price_of(lineage) == 30


def test_lineages_are_sought_and_paged_by_fifty(signed_in):
    LineageFactory.create_batch(51)
    wanted = LineageFactory(name="Quay ember")
    assert len(signed_in.get(reverse("prices")).context["form"].lineages) == 50
    assert len(signed_in.get(f"{reverse('prices')}?page=2").context["form"].lineages) == 2
    assert signed_in.get(f"{reverse('prices')}?q=quay").context["form"].lineages == [wanted]


def test_those_without_a_price_and_those_with_ready_frags_can_be_told_apart(signed_in):
    priced = ReadyPlugFactory().lineage
    LineagePrice.objects.create(lineage=priced, amount=10)
    unpriced = LineageFactory()
    assert signed_in.get(f"{reverse('prices')}?unpriced=on").context["form"].lineages == [unpriced]
    assert signed_in.get(f"{reverse('prices')}?ready=on").context["form"].lineages == [priced]


def test_the_page_costs_the_same_queries_however_many_lineages(signed_in, django_assert_num_queries):
    LineageFactory()
    with django_assert_num_queries(9):
        signed_in.get(reverse("prices"))
    LineageFactory.create_batch(10)
    with django_assert_num_queries(9):
        signed_in.get(reverse("prices"))


def test_without_a_lineage_the_way_on_is_to_enter_one(signed_in):
    assert reverse("lineage_new") in signed_in.get(reverse("prices")).content.decode()


# -- by size


def sizes_page(client, lineage, data=None):
    address = reverse("size_prices", args=[lineage.pk])
    return client.get(address) if data is None else client.post(address, data)


def sizes_of(lineage):
    return dict(SizePrice.objects.filter(lineage=lineage).values_list("from_mm", "amount"))


def test_prices_by_size_are_set_changed_and_emptied_on_a_page_of_their_own(signed_in, keeper):
    lineage = LineageFactory()
    assert reverse("size_prices", args=[lineage.pk]) in signed_in.get(reverse("prices")).content.decode()
    assert "No size has a price of its own yet" in sizes_page(signed_in, lineage).content.decode()
    sizes_page(signed_in, lineage, {"from-0": "30", "price-0": "40", "from-1": "20,5", "price-1": "25,50"})
    assert sizes_of(lineage) == {30: 40, Decimal("20.5"): Decimal("25.5")}
    assert SizePrice.history.latest().history_user == keeper
    page = sizes_page(signed_in, lineage)
    sent = {
        field.html_name: field.value() if isinstance(field.value(), str) else field.field.prepare_value(field.value())
        for field in page.context["form"]
    }
    assert (str(sent["from-0"]), str(sent["from-1"])) == ("20.5", "30")
    sent = {name: value or "" for name, value in sent.items()} | {"from-0": "", "price-0": "", "price-1": "45"}
    assert sizes_page(signed_in, lineage, sent).status_code == 302
    assert sizes_of(lineage) == {30: 45}
    assert "1 price by size" in signed_in.get(reverse("prices")).content.decode()


def test_sizes_are_typed_in_inches_by_who_thinks_in_inches(signed_in):
    Preferences.objects.create(pk=1, length_unit="inch")
    lineage = LineageFactory()
    sizes_page(signed_in, lineage, {"from-0": "1", "price-0": "40"})
    assert sizes_of(lineage) == {Decimal("25.4"): 40}


@pytest.mark.parametrize(
    ("sent", "field", "words"),
    [
        ({"from-0": "", "price-0": "40"}, "from-0", "From which size"),
        ({"from-0": "30", "price-0": ""}, "price-0", "What does"),
        ({"from-0": "long", "price-0": "40"}, "from-0", "no size"),
        ({"from-0": "30", "price-0": "dear"}, "price-0", "is no amount"),
        ({"from-0": "30", "price-0": "40", "from-1": "30", "price-1": "41"}, "from-1", "already"),
        ({"from-0": "0.2", "price-0": "40"}, "from-0", "write one from 1 mm to"),
        ({"from-0": "30", "price-0": "40", "was": "20:x"}, "was", "Open it again"),
    ],
)
def test_each_wrong_size_or_price_is_named_and_nothing_is_lost(signed_in, sent, field, words):
    lineage = LineageFactory()
    answer = sizes_page(signed_in, lineage, sent)
    assert answer.status_code == 422
    assert words in str(answer.context["form"].errors[field])
    for typed in sent.values():
        assert not typed or f'value="{typed}"' in answer.content.decode()
    assert not SizePrice.objects.exists()


def test_of_two_who_change_prices_by_size_the_second_is_told(signed_in):
    lineage = LineageFactory()
    SizePrice.objects.create(lineage=lineage, from_mm=20, amount=30)  # set after the form was opened
    answer = sizes_page(signed_in, lineage, {"from-0": "25", "price-0": "40", "was": ""})
    assert "changed by somebody else" in answer.content.decode()
    assert sizes_of(lineage) == {20: 30}


def test_the_price_of_a_size_is_said_where_a_plug_gets_its_own(signed_in):
    plug = ReadyPlugFactory(size_mm=Decimal(30))
    LineagePrice.objects.create(lineage=plug.lineage, amount=25)
    SizePrice.objects.create(lineage=plug.lineage, from_mm=20, amount=35)
    assert "costs €35.00." in signed_in.get(reverse("plug_price", args=[plug.code])).content.decode()


# -- single plugs


def test_a_plug_has_a_price_of_its_own_and_gives_it_up(signed_in):
    plug = ReadyPlugFactory()
    LineagePrice.objects.create(lineage=plug.lineage, amount=25)
    assert "€25.00" in signed_in.get(reverse("plug_price", args=[plug.code])).content.decode()
    signed_in.post(reverse("plug_price", args=[plug.code]), {"amount": "40,5", "was": ""})
    assert own_price_of(plug) == Decimal("40.5")
    signed_in.post(reverse("plug_price", args=[plug.code]), {"amount": "", "was": "40.50"})
    assert own_price_of(plug) is None


def test_several_plugs_are_given_one_price(signed_in):
    plugs = ReadyPlugFactory.create_batch(2)
    codes = [plug.code for plug in plugs]
    assert signed_in.get(reverse("plugs_price"), {"plugs": codes}).status_code == 200
    signed_in.post(reverse("plugs_price"), {"plugs": codes, "amount": "15"})
    assert [own_price_of(plug) for plug in plugs] == [15, 15]


def test_a_wrong_price_of_a_plug_is_named_and_kept(signed_in):
    plug = ReadyPlugFactory()
    answer = signed_in.post(reverse("plug_price", args=[plug.code]), {"amount": "dear", "was": ""})
    assert answer.status_code == 422
    assert 'value="dear"' in answer.content.decode()


def test_a_plug_that_left_is_given_no_price(signed_in):
    plug = ReadyPlugFactory(fate="sold", ended_on="2026-06-01")
    page = signed_in.post(reverse("plug_price", args=[plug.code]), {"amount": "15", "was": ""}).content.decode()
    assert "is sold" in page
    assert own_price_of(plug) is None


# -- the currency


def test_the_currency_changes_and_warns_that_nothing_is_converted(signed_in):
    LineagePrice.objects.create(lineage=LineageFactory(), amount=25)
    answer = signed_in.post(reverse("book_currency"), {"currency": "USD"})
    assert "nothing is converted from EUR to USD" in answer.content.decode()
    assert Book.current().currency == "EUR"
    signed_in.post(reverse("book_currency"), {"currency": "USD", "confirmed": "on"})
    assert Book.current().currency == "USD"


def test_the_currencies_of_iso_4217_that_are_in_use_are_offered(signed_in):
    page = signed_in.get(reverse("book_currency")).content.decode()
    assert "JPY, Japanese Yen" in page
    assert "DEM" not in page


def test_a_currency_that_is_none_is_refused_in_words(signed_in):
    answer = signed_in.post(reverse("book_currency"), {"currency": "XYZ"})
    assert "Choose one from the list." in answer.content.decode()


def test_a_currency_without_decimals_takes_none(signed_in):
    Book.objects.create(pk=1, currency="JPY")
    lineage = LineageFactory()
    answer = signed_in.post(reverse("prices"), {f"price-{lineage.pk}": "12,50", f"was-{lineage.pk}": ""})
    assert answer.status_code == 422
    signed_in.post(reverse("prices"), {f"price-{lineage.pk}": "1,250", f"was-{lineage.pk}": ""})
    assert price_of(lineage) == 1250
