"""Bringing in: from whom, for how much, on pages."""

from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.actions.acquire_from import Deal, acquire_plugs_from, correct_acquisition, share_out
from inventory.errors import BadAmount
from inventory.models import AcquisitionTerms, Contact
from propagation.actions.changes import last_change
from propagation.errors import ChangedMeanwhile
from propagation.models import Acquisition, Colony, Lineage, Plug, Preferences
from tests.factories import ColonyFactory, ContactFactory, LineageFactory, PlugFactory, SpotFactory

pytestmark = pytest.mark.django_db


def deal(**more):
    return {"day": "2026-06-01", "kind": "bought", "submission": str(uuid4())} | more


def plugs(**more):
    return deal(lineage_name="Zinc Harp", growth_form="branching", count="3", stage="healed") | more


def colony(**more):
    return deal(lineage_name="Zinc Harp", growth_form="branching", tag="ZH1") | more


def pack(*lines, **more):
    told = deal(name="Spring pack") | {"lines-TOTAL_FORMS": str(len(lines)), "lines-INITIAL_FORMS": "0"}
    for number, line in enumerate(lines):
        filled = {"count": "1", "growth_form": "branching", "is_colony": "", "lineage": ""} | line
        told |= {f"lines-{number}-{name}": value for name, value in filled.items()}
    return told | more


# -- money


@given(
    total=st.decimals(0, 10_000, places=2),
    counts=st.lists(st.integers(1, 40), min_size=1, max_size=12),
)
def test_the_parts_of_a_pack_add_up_to_what_was_paid(total, counts):
    shares = share_out(total, [None] * len(counts), counts, decimals=2)
    assert sum(shares) == total
    assert all(share >= 0 and share == share.quantize(Decimal("0.01")) for share in shares)


def test_known_parts_stay_and_the_rest_is_shared_by_pieces():
    assert share_out(Decimal(100), [Decimal(40), None, None], [9, 1, 2], decimals=2) == [40, 20, 40]
    assert share_out(None, [Decimal(40), None], [1, 1], decimals=2) == [40, None]


@pytest.mark.parametrize(("total", "parts"), [(50, [40, 20]), (50, [40, 5]), (10, [40, None])])
def test_parts_that_do_not_fit_the_whole_are_refused(total, parts):
    parts = [None if part is None else Decimal(part) for part in parts]
    with pytest.raises(BadAmount, match="The parts of the lines come to"):
        share_out(Decimal(total), parts, [1, 1], decimals=2)


# -- the acts


def test_the_same_form_sent_twice_brings_in_once(today):
    once = uuid4()
    for _ in range(2):
        acquire_plugs_from(deal=Deal(today), lineage_name="Zinc Harp", count=3, today=today, submission=once)
    assert Plug.objects.count() == 3
    assert Acquisition.objects.count() == 1


def test_two_people_putting_one_acquisition_right_are_told(today):
    acquisition = acquire_plugs_from(deal=Deal(today), lineage_name="Zinc Harp", count=1, today=today)
    opened = last_change(acquisition)
    told = {"acquisition": acquisition, "contact_name": "", "amount": None, "note": "x", "based_on": opened}
    correct_acquisition(**told)
    with pytest.raises(ChangedMeanwhile):
        correct_acquisition(**told)


def test_a_price_finer_than_the_currency_is_refused(today):
    with pytest.raises(BadAmount, match="more digits"):
        acquire_plugs_from(deal=Deal(today, amount=Decimal("9.999")), lineage_name="Zinc Harp", count=1, today=today)


# -- the pages


def test_the_hub_leads_to_every_way_in_and_lists_what_came(signed_in):
    page = signed_in.get("/acquire/").content.decode()
    for address in ("/acquire/colony/", "/acquire/plugs/", "/acquire/pack/"):
        assert address in page
    assert "Nothing yet" in page
    signed_in.post("/acquire/plugs/", plugs(contact_name="The Tuesday table"))
    assert "Zinc Harp" in signed_in.get("/acquire/").content.decode()


def test_the_hub_costs_the_same_for_few_and_many(signed_in, django_assert_num_queries):
    for _ in range(2):
        ColonyFactory()
    with django_assert_num_queries(3):
        signed_in.get("/acquire/")
    for _ in range(15):
        ColonyFactory()
    with django_assert_num_queries(3):
        signed_in.get("/acquire/")


def test_plugs_of_a_new_lineage_from_a_new_contact(signed_in, keeper):
    answer = signed_in.post(
        "/acquire/plugs/", plugs(contact_name="The Tuesday table", amount="45,50", growth_form="plating")
    )
    acquisition = Acquisition.objects.get()
    assert answer.url == f"/acquisitions/{acquisition.pk}/"
    assert acquisition.plugs.count() == 3
    assert (acquisition.lineage.name, acquisition.lineage.growth_form) == ("Zinc Harp", "plating")
    assert (acquisition.terms.contact.name, acquisition.terms.amount) == ("The Tuesday table", Decimal("45.50"))
    assert acquisition.history.get().history_user == keeper


def test_a_known_lineage_and_a_known_contact_are_found_in_either_case(signed_in):
    LineageFactory(name="Zinc Harp")
    ContactFactory(name="The Tuesday table")
    signed_in.post("/acquire/plugs/", plugs(lineage_name="ZINC harp", contact_name="the tuesday TABLE"))
    assert Lineage.objects.count() == Contact.objects.count() == 1


def test_labels_are_offered_after_saving(signed_in):
    signed_in.post("/acquire/colony/", colony())
    page = signed_in.get(f"/acquisitions/{Acquisition.objects.get().pk}/").content.decode()
    assert f"/labels/?colonies={Colony.objects.get().code}" in page


def test_a_gift_needs_neither_contact_nor_price(signed_in):
    signed_in.post("/acquire/plugs/", plugs(kind="gift"))
    assert Acquisition.objects.get().kind == "gift"
    assert not AcquisitionTerms.objects.exists()


def test_a_colony_comes_with_its_tag_and_its_spot(signed_in):
    spot = SpotFactory()
    signed_in.post("/acquire/colony/", colony(kind="found", spot=spot.pk))
    found = Colony.objects.get()
    assert (found.tag, found.placements.get().spot) == ("ZH1", spot)


def test_a_refused_form_saves_nothing_and_loses_nothing(signed_in):
    ColonyFactory(tag="ZH1")
    before = Acquisition.objects.count()
    answer = signed_in.post(
        "/acquire/colony/", colony(contact_name="The Tuesday table", note="In a blue tub", amount="12")
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "has or had the tag ZH1" in page
    for typed in ("Zinc Harp", "The Tuesday table", "In a blue tub", 'value="12"'):
        assert typed in page
    assert Acquisition.objects.count() == before
    assert not Contact.objects.exists()
    assert not Lineage.objects.filter(name="Zinc Harp").exists()


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"day": "2126-06-01"}, "lies in the future"),
        ({"day": "1926-06-01"}, "is the year right"),
        ({"day": "soon"}, "Write it like 15 Jun 2026"),
        ({"count": "-3"}, "-3 is too little; 1 is the least."),
        ({"count": "900"}, "900 is too much; 200 is the most."),
        ({"size_mm": "900"}, "cannot be right"),
        ({"amount": "-5"}, "less than nothing"),
        ({"lineage_name": ""}, "Say which lineage this is"),
        ({"kind": "returned"}, "Which plug came back"),
        ({"kind": "returned", "returned_plug": "K7M4-2QX0"}, "is mistyped"),
    ],
)
def test_wrong_input_is_named(signed_in, wrong, sentence):
    answer = signed_in.post("/acquire/plugs/", plugs(**wrong))
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not Plug.objects.exists()


def test_what_came_back_takes_its_lineage_from_the_plug_that_left(signed_in):
    left = PlugFactory(fate="sold", ended_on=date(2026, 5, 1))
    signed_in.post(
        "/acquire/plugs/", plugs(kind="returned", returned_plug=left.code_in_clear, lineage_name="", count="1")
    )
    assert Acquisition.objects.get(kind="returned").lineage == left.lineage


def test_inches_are_taken_for_the_size(signed_in):
    Preferences.objects.create(pk=1, length_unit="inch")
    assert "Size (in)" in signed_in.get("/acquire/plugs/").content.decode()
    signed_in.post("/acquire/plugs/", plugs(count="1", size_mm="1"))
    assert Plug.objects.get().size_mm == Decimal("25.4")


def test_a_pack_is_saved_whole_with_its_price_shared(signed_in):
    signed_in.post(
        "/acquire/pack/",
        pack(
            {"lineage": "Zinc Harp", "count": "3"},
            {"lineage": "Amber Stair", "is_colony": "colony", "tag": "AS1"},
            {},
            amount="100",
            contact_name="The Tuesday table",
        ),
    )
    amounts = dict(AcquisitionTerms.objects.values_list("acquisition__lineage__name", "amount"))
    assert amounts == {"Zinc Harp": 75, "Amber Stair": 25}
    assert Plug.objects.count() == 3
    assert Colony.objects.get().tag == "AS1"
    page = signed_in.get(f"/acquisitions/{Acquisition.objects.first().pk}/").content.decode()
    assert "Came in the same pack" in page


def test_a_wrong_line_is_named_and_the_whole_pack_waits(signed_in):
    ColonyFactory(tag="AS1")
    answer = signed_in.post(
        "/acquire/pack/",
        pack(
            {"lineage": "Zinc Harp", "count": "3"},
            {},
            {"lineage": "Amber Stair", "is_colony": "colony", "tag": "AS1"},
        ),
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Row 3, Tag of the colony: A colony has or had the tag AS1" in page
    assert 'value="Zinc Harp"' in page
    assert not Plug.objects.exists()


def test_an_empty_pack_is_refused(signed_in):
    answer = signed_in.post("/acquire/pack/", pack({}, {}))
    assert answer.status_code == 422
    assert "A pack has at least one line." in answer.content.decode()


def test_a_line_that_cannot_be_read_is_refused_like_the_form(signed_in):
    answer = signed_in.post("/acquire/pack/", pack({"lineage": "Zinc Harp", "count": "many"}))
    assert answer.status_code == 422
    assert "Row 1, How many" in answer.content.decode()


def test_more_lines_keep_what_was_typed_and_judge_nothing_yet(signed_in):
    answer = signed_in.post("/acquire/pack/", pack({"lineage": "Zinc Harp"}, more="yes", name=""))
    page = answer.content.decode()
    assert answer.status_code == 200
    assert 'value="Zinc Harp"' in page
    assert "Nothing was saved yet" not in page
    assert page.count("<legend>Line") > 3


def test_terms_that_cannot_be_are_refused(signed_in):
    signed_in.post("/acquire/plugs/", plugs(amount="45"))
    acquisition = Acquisition.objects.get()
    answer = signed_in.post(f"/acquisitions/{acquisition.pk}/edit/", {"amount": "-4"})
    assert answer.status_code == 422
    assert "less than nothing" in answer.content.decode()
    assert AcquisitionTerms.objects.get().amount == 45


def test_terms_are_put_right_with_a_trace(signed_in, keeper):
    signed_in.post("/acquire/plugs/", plugs(amount="45"))
    acquisition = Acquisition.objects.get()
    signed_in.post(
        f"/acquisitions/{acquisition.pk}/edit/",
        {"contact_name": "A neighbour", "amount": "54", "note": "Typed wrong", "based_on": last_change(acquisition)},
    )
    terms = AcquisitionTerms.objects.get()
    assert (terms.contact.name, terms.amount) == ("A neighbour", 54)
    assert [row.amount for row in terms.history.order_by("history_id")] == [45, 54]
    assert "Paid in all: from" in signed_in.get(f"/acquisitions/{acquisition.pk}/").content.decode()
