"""What the records say, as the yield model takes it."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from propagation.forecasts.gathering import (
    circumstances_of,
    combine_rules,
    frag_units,
    gather_colonies,
    rules_of,
    usual_frag_unit,
)
from propagation.models import Absence, Colony, CutRule, Incident, IncidentKind, SizeReading
from propagation.yield_model.next_cut import FEWEST_FRAGS
from tests.factories import (
    ColonyFactory,
    CutEventFactory,
    IncidentFactory,
    LineageFactory,
    PlacementFactory,
    PlugFactory,
    SpotFactory,
)

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)


def records_of(colony, day=TODAY):
    return gather_colonies(day, colonies=Colony.objects.filter(pk=colony.pk))[0]


def test_readings_come_in_their_order_and_up_to_the_day(grown):
    colony = grown(months=3, first=40, gain=5)
    assert [reading.size for reading in records_of(colony).history.readings] == [40, 45, 50, 55]
    earlier = records_of(colony, TODAY - timedelta(days=31))
    assert [reading.size for reading in earlier.history.readings] == [40, 45]


def test_the_frag_it_grew_from_gives_its_first_size():
    plug = PlugFactory()
    colony = ColonyFactory(grown_from=plug, lineage=plug.lineage)
    SizeReading.objects.create(plug=plug, taken_on=plug.began_on, measure="diameter_mm", value=25)
    assert [reading.size for reading in records_of(colony).history.readings] == [25]


def test_a_size_by_eye_counts_for_less():
    colony = ColonyFactory()
    for method, share in (("ruler", None), ("estimate", None), ("photo", Decimal(2))):
        SizeReading.objects.create(
            colony=colony, taken_on=TODAY, measure="diameter_mm", value=100, method=method, relative_error=share
        )
    assert [reading.error for reading in records_of(colony).history.readings] == [None, 15.0, 2.0]


def test_a_colony_is_followed_in_the_measure_it_was_lately_taken_in(grown):
    colony = grown(months=3, measure="area_cm2")
    for month in range(6):
        SizeReading.objects.create(colony=colony, taken_on=date(2024, 6, 1 + month), measure="height_mm", value=30)
    assert records_of(colony).measure == "area_cm2"
    never = ColonyFactory(lineage=LineageFactory(measure="polyps"))
    assert records_of(never).measure == "polyps"


def test_a_cut_carries_its_sizes_once(grown):
    colony = grown(months=2)
    event = CutEventFactory(
        mother=colony, session__cut_on=date(2026, 6, 1), frags=5, measure="diameter_mm", size_before=80, size_after=50
    )
    for size, after in ((80, False), (50, True)):
        SizeReading.objects.create(
            colony=colony,
            cut_event=event,
            is_after_cut=after,
            taken_on=date(2026, 6, 1),
            measure="diameter_mm",
            value=size,
        )
    found = records_of(colony)
    assert len(found.history.readings) == 3
    (cut,) = found.history.cuts
    assert (cut.frags, cut.before, cut.after) == (5, 80.0, 50.0)
    assert found.last_cut_on == date(2026, 6, 1)


def test_a_cut_in_another_measure_or_taken_back_gives_no_sizes(grown):
    colony = grown(months=2)
    CutEventFactory(mother=colony, session__cut_on=date(2026, 6, 1), measure="weight_g", size_before=80, size_after=50)
    CutEventFactory(mother=colony, session__cut_on=date(2026, 6, 2), frags=0)
    (cut,) = records_of(colony).history.cuts
    assert (cut.before, cut.after) == (None, None)


def test_moves_and_incidents_that_are_over_widen_what_is_believed():
    colony = ColonyFactory()
    PlacementFactory(colony=colony, since=colony.began_on, until=date(2025, 3, 1))
    PlacementFactory(colony=colony, since=date(2025, 3, 1))
    IncidentFactory(colony=colony, kind=IncidentKind.PEST, opened_on=date(2025, 5, 1), closed_on=date(2025, 6, 1))
    IncidentFactory(colony=colony, kind=IncidentKind.BROWNING, opened_on=date(2025, 8, 1), closed_on=date(2025, 9, 1))
    history = records_of(colony).history
    assert history.moves == (date(2025, 3, 1).toordinal(), date(2025, 6, 1).toordinal())
    (decline,) = history.declines
    assert (decline.since, decline.until) == (date(2025, 8, 1).toordinal(), date(2025, 9, 1).toordinal())


def test_an_outage_touches_those_that_stood_there_then():
    there, elsewhere, gone = ColonyFactory(), ColonyFactory(), ColonyFactory()
    spot = SpotFactory()
    PlacementFactory(colony=there, spot=spot)
    PlacementFactory(colony=elsewhere)
    PlacementFactory(colony=gone, spot=spot, until=date(2025, 1, 1))
    IncidentFactory(colony=None, system=spot.system, kind=IncidentKind.OUTAGE, opened_on=date(2026, 6, 10))
    assert [bool(records_of(each).open_incidents) for each in (there, elsewhere, gone)] == [True, False, False]
    # Seen from before the outage there was none.
    assert not records_of(there, date(2026, 6, 9)).open_incidents


def test_the_frag_unit_of_a_line_is_learned_from_its_cuts():
    event = CutEventFactory(frags=6, measure="diameter_mm", size_before=160, size_after=40)
    lineage = event.mother.lineage
    usual = usual_frag_unit(lineage, "diameter_mm").mean
    learned = frag_units(TODAY)[lineage.pk, "diameter_mm"].mean
    assert usual < learned < 20
    assert frag_units(date(2026, 1, 1)) == {}


def test_a_larger_frag_takes_more():
    small, large = LineageFactory(frag_size_mm=25), LineageFactory(frag_size_mm=50)
    assert usual_frag_unit(large, "diameter_mm").mean == 2 * usual_frag_unit(small, "diameter_mm").mean
    assert usual_frag_unit(large, "area_cm2").mean == 4 * usual_frag_unit(small, "area_cm2").mean
    assert usual_frag_unit(large, "polyps").mean == usual_frag_unit(small, "polyps").mean


def test_a_colonys_own_rule_goes_before_its_lines():
    colony = ColonyFactory(lineage__rest_days=50)
    line = CutRule(lineage=colony.lineage, fewest_frags=6, largest_share=30, measure="diameter_mm", keep_at_least=60)
    own = CutRule(colony=colony, largest_share=40, rest_days=90, measure="diameter_mm", room=200)
    rules = combine_rules(colony, "diameter_mm", own=own, line=line, learned=None, usual_rest=42)
    assert (rules.fewest_frags, rules.largest_share, rules.rest_days) == (6, 0.4, 90)
    assert (rules.keep_at_least, rules.room) == (60, 200)


def test_sizes_of_a_rule_count_only_in_their_measure():
    colony = ColonyFactory()
    line = CutRule(lineage=colony.lineage, measure="area_cm2", keep_at_least=60, frag_unit=9)
    rules = combine_rules(colony, "diameter_mm", own=None, line=line, learned=None, usual_rest=42)
    assert rules.keep_at_least == 40
    assert rules.frag_unit.mean == 12
    assert (rules.fewest_frags, rules.rest_days, rules.room) == (FEWEST_FRAGS, 42, None)


def test_circumstances_name_what_may_forbid_a_cut():
    colony = ColonyFactory(lineage__insurance_wanted=3)
    CutEventFactory(mother=colony, session__cut_on=date(2026, 6, 1))
    IncidentFactory(colony=colony, kind=IncidentKind.SLOW_TISSUE_LOSS, opened_on=date(2026, 6, 3))
    Absence.objects.create(first_day=date(2026, 7, 1), last_day=date(2026, 7, 14))
    Absence.objects.create(first_day=date(2026, 1, 1), last_day=date(2026, 1, 14))
    (found,) = circumstances_of([records_of(colony)], TODAY)
    assert found.last_cut_day == date(2026, 6, 1).toordinal()
    assert found.incidents == ("Slow tissue loss since 3 Jun 2026.",)
    assert found.absences == ((date(2026, 7, 1).toordinal(), date(2026, 7, 14).toordinal()),)
    assert found.missing_copies == 2


def test_gathering_costs_the_same_for_few_and_many(grown, django_assert_max_num_queries):
    for _ in range(2):
        CutEventFactory(mother=grown(months=3))
    rules_of(gather_colonies(TODAY), TODAY)  # learns the healing once
    with django_assert_max_num_queries(22) as few:
        records = gather_colonies(TODAY)
        rules_of(records, TODAY), circumstances_of(records, TODAY)
    for _ in range(5):
        colony = grown(months=3)
        CutEventFactory(mother=colony)
        IncidentFactory(colony=colony)
        PlacementFactory(colony=colony)
    with django_assert_max_num_queries(22) as many:
        records = gather_colonies(TODAY)
        rules_of(records, TODAY), circumstances_of(records, TODAY)
    assert len(many) <= len(few) + 1
    assert Incident.objects.count() == 5


def test_a_measure_changed_half_way_starts_a_series_of_its_own_and_says_so(grown):
    colony = grown(months=12, last_on=TODAY - timedelta(days=90))
    for month in (2, 1, 0):
        SizeReading.objects.create(
            colony=colony, taken_on=TODAY - timedelta(days=30 * month), measure="area_cm2", value=60 + month
        )
    found = records_of(colony)
    assert found.measure == "area_cm2"
    assert len(found.history.readings) == 3
    assert found.notes == ["It is followed by projected area; 13 sizes by longest diameter do not take part."]


def test_two_sizes_of_one_day_that_disagree_are_named(grown):
    colony = grown(months=3, first=40, gain=5)
    SizeReading.objects.create(colony=colony, taken_on=TODAY, measure="diameter_mm", value=75)
    assert records_of(colony).notes == ["Two sizes of 15 Jun 2026 disagree, 55 mm and 75 mm: strike out the wrong one."]
    SizeReading.objects.filter(value=75).update(value=56)
    assert records_of(colony).notes == []
