"""Two systems over the same ages, by the lineages that lived in both."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from propagation.models import SizeReading, System
from propagation.readings.system_comparison import compare, default_pair
from propagation.yield_model.yield_record import Verdict
from tests.factories import ColonyFactory, LineageFactory, PlacementFactory, SpotFactory, SystemFactory

pytestmark = pytest.mark.django_db

START = {"first": date(2021, 1, 1), "second": date(2024, 1, 1)}
DAY = date(2026, 6, 15)
YEAR = {"youngest": 0, "oldest": 365, "day": DAY}


@pytest.fixture
def systems():
    first = SystemFactory(name="Old build", started_on=START["first"], ended_on=date(2023, 12, 31))
    second = SystemFactory(name="New build", started_on=START["second"], succeeds=first)
    return first, second


def grown(lineage, system, *, a_month, size=40.0, since=30, months=6, par=250):
    """A colony of the line in a system from an age on, measured monthly while it grows by a share a month."""
    began_on = system.started_on + timedelta(days=since)
    colony = ColonyFactory(lineage=lineage, acquired_on=began_on)
    spot = SpotFactory(system=system, par=par)
    PlacementFactory(colony=colony, spot=spot, since=began_on, until=system.ended_on)
    for month in range(months + 1):
        SizeReading.objects.create(
            colony=colony,
            measure="diameter_mm",
            value=round(size * (1 + a_month) ** month, 1),
            taken_on=began_on + timedelta(days=30 * month),
            method="ruler",
        )
    return colony


def both(systems, number, *, first, second, **given):
    lineages = [LineageFactory(name=f"Line {index}") for index in range(number)]
    for index, lineage in enumerate(lineages):
        grown(lineage, systems[0], a_month=first + index * 0.002, par=200, **given)
        grown(lineage, systems[1], a_month=second + index * 0.002, par=300, **given)
    return lineages


def test_lineages_that_grew_faster_in_the_second_are_found(systems):
    both(systems, 4, first=0.02, second=0.08)
    (found,) = compare(*systems, **YEAR)
    assert found.verdict == Verdict.SECOND
    assert len(found.pairs) == found.lineages_in_both == 4
    assert 0 < found.low < found.difference < found.high
    assert found.difference == pytest.approx(0.06, abs=0.02)
    assert found.lights == (200, 300)
    assert found.light_differs


def test_turned_round_the_verdict_turns_too(systems):
    both(systems, 4, first=0.02, second=0.08)
    (found,) = compare(systems[1], systems[0], **YEAR)
    assert found.verdict == Verdict.FIRST
    assert found.high < 0


def test_no_difference_is_said_to_be_none_seen(systems):
    both(systems, 4, first=0.05, second=0.05)
    (found,) = compare(*systems, **YEAR)
    assert found.verdict == Verdict.ALIKE
    assert found.low < 0 < found.high


def test_two_lineages_are_too_few_but_their_figures_are_shown(systems):
    both(systems, 2, first=0.02, second=0.08)
    (found,) = compare(*systems, **YEAR)
    assert found.verdict == Verdict.TOO_FEW
    assert (found.difference, found.low, found.high) == (None, None, None)
    assert len(found.pairs) == 2


def test_a_lineage_measured_once_in_one_of_them_makes_no_pair(systems):
    lineage = LineageFactory()
    grown(lineage, systems[0], a_month=0.05)
    grown(lineage, systems[1], a_month=0.05, months=0)
    (found,) = compare(*systems, **YEAR)
    assert (found.lineages_in_both, found.pairs) == (1, [])


def test_only_sizes_at_the_ages_asked_for_count(systems):
    lineage = LineageFactory()
    grown(lineage, systems[0], a_month=0.05)
    late = grown(lineage, systems[1], a_month=0.05, since=400)
    assert compare(*systems, **YEAR) == []
    (found,) = compare(*systems, youngest=0, oldest=800, day=DAY)
    assert found.lineages_in_both == 1
    assert late.lineage == found.pairs[0].lineage


def test_a_size_taken_after_the_colony_moved_away_counts_for_nothing(systems):
    """A colony that moved from one system to the other is paired with itself, each size in its own place."""
    lineage = LineageFactory()
    colony = grown(lineage, systems[0], a_month=0.03)
    placement = colony.placements.get()
    placement.until = placement.since + timedelta(days=95)
    placement.save()
    PlacementFactory(colony=colony, spot=SpotFactory(system=systems[1]), since=systems[1].started_on)
    for month in range(4):
        SizeReading.objects.create(
            colony=colony,
            measure="diameter_mm",
            value=100 * 1.1**month,
            taken_on=systems[1].started_on + timedelta(days=30 * month),
            method="ruler",
        )
    # Sizes after the move out of the first and before the second: they would say that it shrank.
    SizeReading.objects.filter(colony=colony, taken_on__range=(placement.until, date(2023, 12, 31))).update(value=5)
    (found,) = compare(*systems, **YEAR)
    (pair,) = found.pairs
    assert pair.first > 0
    assert pair.second > pair.first


def test_it_takes_the_same_number_of_queries_for_any_number(systems, django_assert_max_num_queries):
    both(systems, 2, first=0.02, second=0.08)
    with django_assert_max_num_queries(24):
        compare(*systems, **YEAR)
    for number in range(4):
        lineage = LineageFactory(name=f"More {number}")
        grown(lineage, systems[0], a_month=0.03)
        grown(lineage, systems[1], a_month=0.03)
    with django_assert_max_num_queries(24):
        compare(*systems, **YEAR)


def test_it_begins_with_the_latest_restart_and_what_it_succeeds(systems):
    SystemFactory(name="Frag tank", started_on=date(2025, 1, 1))
    assert default_pair() == systems
    System.objects.update(succeeds=None)
    assert [system.name for system in default_pair()] == ["New build", "Frag tank"]


# -- the page


def page_of(signed_in, **query):
    return " ".join(signed_in.get(reverse("compare_systems"), query).content.decode().split())


def test_one_system_cannot_be_compared(signed_in):
    SystemFactory()
    assert "Two systems are needed" in page_of(signed_in)


def test_the_verdict_stands_in_words_with_its_interval_and_the_light(signed_in, systems):
    lineages = both(systems, 3, first=0.02, second=0.08)
    page = page_of(signed_in)
    assert "Faster in New build" in page
    assert "with 8 chances in 10 between +" in page
    assert "Their light was <strong>200</strong> in Old build and <strong>300</strong> in New build" in page
    for lineage in lineages:
        assert reverse("lineage", args=[lineage.pk]) in page


def test_too_few_is_said_as_it_is(signed_in, systems):
    both(systems, 1, first=0.02, second=0.08)
    page = page_of(signed_in)
    assert "Too few to tell" in page
    assert "One lineage lived in both, and was measured at least twice" in page


def test_nothing_in_common_is_said_as_it_is(signed_in, systems):
    assert "No lineage that was kept in both systems" in page_of(signed_in)


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ({"oldest": "0", "youngest": "0"}, "0 is too little; 1 is the least."),
        ({"youngest": "14", "oldest": "12"}, "It must come after month 14."),
        ({"first": "x"}, "This system: "),
        ({"oldest": "9" * 30}, "is too much; 240 is the most."),
        ({"youngest": ""}, "From month: "),
    ],
)
def test_what_cannot_be_compared_is_refused_with_the_reason(signed_in, systems, query, sentence):
    page = page_of(signed_in, **query)
    assert "Nothing is compared yet" in page
    assert sentence in page


def test_a_system_is_not_compared_with_itself(signed_in, systems):
    page = page_of(signed_in, second=systems[0].pk)
    assert "one cannot be compared with itself" in page


def test_the_ages_can_be_chosen(signed_in, systems):
    lineage = LineageFactory()
    for system in systems:
        grown(lineage, system, a_month=0.05, since=450)
    assert "No lineage" in page_of(signed_in)
    page = page_of(signed_in, youngest=12, oldest=24)
    assert "months 12 to 24 of each" in page
