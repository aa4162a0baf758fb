"""Lineages: the list, the page, its particulars."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils.formats import date_format
from django.utils.timezone import localdate

from propagation.actions.changes import last_change
from propagation.actions.keep_lineage import keep_lineage, lineage_named
from propagation.errors import BadValue, ChangedMeanwhile, NameTaken
from propagation.models import Lineage, Preferences
from tests.factories import (
    AcquisitionFactory,
    ColonyFactory,
    CutEventFactory,
    LineageFactory,
    PlugFactory,
    ReadyPlugFactory,
)

pytestmark = pytest.mark.django_db


def told(lineage=None, **more):
    values = {
        "name": "Pewter Ninepin",
        "identity": "likely",
        "growth_form": "branching",
        "origin": "unknown",
        "frag_size_mm": "25",
        "measure": "diameter_mm",
        "insurance_wanted": "2",
    }
    if lineage:
        values |= {"name": lineage.name, "based_on": last_change(lineage)}
    return values | more


# -- the act


def test_one_lineage_is_kept_under_one_name_in_whatever_case():
    LineageFactory(name="Pewter Ninepin")
    with pytest.raises(NameTaken, match="named Pewter Ninepin already"):
        keep_lineage(lineage=Lineage(name="PEWTER  ninepin "))
    assert lineage_named("pewter ninepin").name == "Pewter Ninepin"


def test_a_lineage_has_a_name_and_a_species_has_its_genus():
    with pytest.raises(BadValue):
        keep_lineage(lineage=Lineage(name="  "))
    with pytest.raises(BadValue, match="needs its genus"):
        keep_lineage(lineage=Lineage(name="Pewter Ninepin", species="millepora"))


def test_two_people_changing_one_lineage_are_told():
    lineage = LineageFactory()
    opened = last_change(lineage)
    keep_lineage(lineage=lineage, based_on=opened)
    with pytest.raises(ChangedMeanwhile):
        keep_lineage(lineage=lineage, based_on=opened)


# -- the pages


def test_an_empty_list_shows_the_way_on(signed_in):
    page = signed_in.get("/lineages/").content.decode()
    assert "No lineage yet" in page
    assert "/acquire/" in page


def test_the_list_counts_what_there_is_of_each(signed_in):
    lineage = LineageFactory(name="Pewter Ninepin", insurance_wanted=3)
    mother = ColonyFactory(lineage=lineage)
    ColonyFactory(lineage=lineage, ended_on=date(2026, 1, 1), end_reason="died")
    cut = CutEventFactory(mother=mother, frags=5)
    PlugFactory.create_batch(2, cut_event=cut)
    ReadyPlugFactory.create_batch(2, cut_event=cut)
    ReadyPlugFactory(cut_event=cut, is_insurance=True)
    row = signed_in.get("/lineages/").context["table"].rows[0]
    assert row.record.living_colonies == 1
    assert row.record.living_copies == 2
    assert row.get_cell("ready_plugs") == "2 healing, 2 ready"
    assert row.record.last_cut_on == date(2026, 4, 1)
    assert "2 of 3" in row.get_cell("living_copies")


def test_the_list_is_filtered_and_sorted(signed_in):
    LineageFactory(name="Amber Stair", growth_form="plating", insurance_wanted=0)
    LineageFactory(name="Pewter Ninepin", sold_as="Green tips", insurance_wanted=1)
    LineageFactory(name="Zinc Harp", genus="Montipora", insurance_wanted=0)

    def names(query):
        return [str(row.record) for row in signed_in.get(f"/lineages/?{query}").context["table"].rows]

    assert names("q=green") == ["Pewter Ninepin"]
    assert names("q=montip") == ["Zinc Harp"]
    assert names("growth_form=plating") == ["Amber Stair"]
    assert names("short=on") == ["Pewter Ninepin"]
    assert names("sort=-name") == ["Zinc Harp", "Pewter Ninepin", "Amber Stair"]
    assert "No lineage fits" in signed_in.get("/lineages/?q=nothing").content.decode()


def test_the_list_costs_the_same_for_few_and_many(signed_in, django_assert_num_queries):
    LineageFactory.create_batch(2)
    with django_assert_num_queries(4):
        signed_in.get("/lineages/")
    LineageFactory.create_batch(30)
    with django_assert_num_queries(4):
        signed_in.get("/lineages/")


def test_the_page_tells_names_identity_and_what_is_on_hand(signed_in):
    lineage = LineageFactory(name="Pewter Ninepin", sold_as="Green tips", identity="doubtful", insurance_wanted=9)
    colony = ColonyFactory(lineage=lineage, tag="PN1")
    PlugFactory(acquisition=AcquisitionFactory(lineage=lineage))
    page = signed_in.get(f"/lineages/{lineage.pk}/").content.decode()
    for words in (
        "Green tips",
        "Identity doubtful",
        '<i class="latin">Acropora millepora</i>',
        colony.tag,
        "Bought",
        "Too few living copies",
    ):
        assert words in page


def test_a_former_name_stays_with_its_last_day(signed_in):
    lineage = LineageFactory(name="Green tips no. 4")
    signed_in.post(f"/lineages/{lineage.pk}/edit/", told(lineage, name="Ledgerstone Fern", genus="acropora"))
    page = signed_in.get(f"/lineages/{lineage.pk}/").content.decode()
    assert f"was called Green tips no. 4 until {date_format(localdate())}" in page
    assert "by keeper" in page


def test_a_new_lineage_is_saved_tidily(signed_in):
    answer = signed_in.post("/lineages/new/", told(genus=" acropora", species="Millepora"))
    lineage = Lineage.objects.get()
    assert answer.url == f"/lineages/{lineage.pk}/"
    assert lineage.binomial == "Acropora millepora"


def test_a_taken_name_links_to_the_lineage_that_has_it(signed_in):
    other = LineageFactory(name="Pewter Ninepin")
    page = signed_in.post("/lineages/new/", told(note="From the raft", name="pewter ninepin")).content.decode()
    assert "There is a lineage named Pewter Ninepin already" in page
    assert f'<a href="/lineages/{other.pk}/">Open Pewter Ninepin</a>' in page
    assert "From the raft" in page
    assert Lineage.objects.count() == 1


def test_the_second_of_two_people_is_told_and_keeps_what_was_typed(signed_in):
    lineage = LineageFactory(name="Pewter Ninepin")
    first = told(lineage, note="mine")
    lineage.note = "theirs"
    lineage.save()
    page = signed_in.post(f"/lineages/{lineage.pk}/edit/", first).content.decode()
    assert "was changed by somebody else" in page
    assert ">\nmine</textarea>" in page
    lineage.refresh_from_db()
    assert lineage.note == "theirs"


def test_a_keeper_of_inches_sees_and_types_inches_and_nothing_drifts(signed_in):
    Preferences.objects.create(pk=1, length_unit="inch")
    lineage = LineageFactory(frag_size_mm=Decimal("25.0"))
    page = signed_in.get(f"/lineages/{lineage.pk}/edit/").content.decode()
    assert "Frag size (in)" in page
    assert 'value="0.98"' in page
    signed_in.post(f"/lineages/{lineage.pk}/edit/", told(lineage, frag_size_mm="0.98"))
    lineage.refresh_from_db()
    assert lineage.frag_size_mm == 25
    signed_in.post(f"/lineages/{lineage.pk}/edit/", told(lineage, frag_size_mm="1"))
    lineage.refresh_from_db()
    assert lineage.frag_size_mm == Decimal("25.4")


def test_a_negative_count_is_refused(signed_in):
    page = signed_in.post("/lineages/new/", told(frags_per_cut="-2")).content.decode()
    assert "is too little; 0 is the least." in page
    assert not Lineage.objects.exists()


def test_ready_plugs_of_tomorrow_are_not_counted_today(signed_in):
    cut = CutEventFactory()
    ReadyPlugFactory(cut_event=cut, healed_on=localdate() + timedelta(days=1))
    assert signed_in.get("/lineages/").context["table"].rows[0].get_cell("ready_plugs") == "–"
