"""Whatever writes to records that an outlook rests on leaves a mark, however it writes."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection

from propagation.guards import MARKS, install_guards, remove_guards
from propagation.models import (
    Absence,
    Colony,
    CutRule,
    CuttingSession,
    ForecastMark,
    Lineage,
    Placement,
    Plug,
    Preferences,
    SizeReading,
    WaterRange,
    WaterTest,
)
from tests.factories import (
    ColonyFactory,
    CutEventFactory,
    CuttingSessionFactory,
    IncidentFactory,
    LineageFactory,
    PlacementFactory,
    PlugFactory,
    SpotFactory,
    SystemFactory,
)

pytestmark = pytest.mark.django_db
ALL = None


def sql(statement, *values):
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.rowcount


def marks_of(write):
    """The colonies that a write marks, with what was marked before out of the way; None stands for all."""
    ForecastMark.objects.all().delete()
    write()
    return sorted(ForecastMark.objects.values_list("colony", flat=True), key=lambda colony: (colony is None, colony))


def every_write(make, table, change):
    """What a row marks when it is made, changed and deleted; the last two by SQL of nobody's."""
    made = []
    marks = [marks_of(lambda: made.append(make()))]
    key = made[0].pk
    marks.append(marks_of(lambda: sql(f"UPDATE {table} SET {change} WHERE id = %s", key)))  # noqa: S608
    marks.append(marks_of(lambda: sql(f"DELETE FROM {table} WHERE id = %s", key)))  # noqa: S608
    assert sql(f"DELETE FROM {table} WHERE id = %s", key) == 0, "it was not deleted"  # noqa: S608
    return marks


def size(**of):
    return SizeReading.objects.create(taken_on=date(2026, 6, 1), measure="diameter_mm", value=80, **of)


def test_a_size_marks_its_colony_and_a_plugs_size_marks_nothing():
    colony, plug = ColonyFactory(), PlugFactory()
    assert every_write(lambda: size(colony=colony), "propagation_sizereading", "value = 90") == [[colony.pk]] * 3
    assert every_write(lambda: size(plug=plug), "propagation_sizereading", "value = 90") == [[]] * 3


def test_a_row_that_goes_from_one_colony_to_another_marks_both():
    one, other = ColonyFactory(), ColonyFactory()
    reading = size(colony=one)
    assert marks_of(lambda: SizeReading.objects.filter(pk=reading.pk).update(colony=other)) == [one.pk, other.pk]


def test_cuts_and_placements_mark_their_colony():
    mother, session, spot = ColonyFactory(), CuttingSessionFactory(), SpotFactory()
    cut = every_write(lambda: CutEventFactory(mother=mother, session=session), "propagation_cutevent", "frags = 0")
    assert cut == [[mother.pk]] * 3
    placed = every_write(
        lambda: PlacementFactory(colony=mother, spot=spot), "propagation_placement", "until = '2026-06-01'"
    )
    assert placed == [[mother.pk]] * 3


def test_an_incident_marks_its_colony_and_a_systems_marks_all():
    colony, system = ColonyFactory(), SystemFactory()
    closing = "closed_on = '2026-06-09'"
    assert every_write(lambda: IncidentFactory(colony=colony), "propagation_incident", closing) == [[colony.pk]] * 3
    of_system = every_write(lambda: IncidentFactory(colony=None, system=system), "propagation_incident", closing)
    assert of_system == [[ALL]] * 3


def test_a_rule_of_a_colony_marks_it_and_a_rule_of_a_line_marks_all():
    colony = ColonyFactory()
    of_colony = every_write(
        lambda: CutRule.objects.create(colony=colony, fewest_frags=3), "propagation_cutrule", "fewest_frags = 4"
    )
    assert of_colony == [[colony.pk]] * 3
    of_line = every_write(
        lambda: CutRule.objects.create(lineage=colony.lineage), "propagation_cutrule", "fewest_frags = 4"
    )
    assert of_line == [[ALL]] * 3


def test_a_colony_is_marked_when_it_begins_ends_or_changes_its_line_and_not_for_a_note():
    lineage = LineageFactory()
    made = []
    assert marks_of(lambda: made.append(ColonyFactory(lineage=lineage))) == [made[0].pk]
    colonies = Colony.objects.filter(pk=made[0].pk)
    assert marks_of(lambda: colonies.update(note="leans to the left")) == []
    assert marks_of(lambda: colonies.update(ended_on=date(2026, 6, 1), end_reason="died")) == [made[0].pk]
    assert marks_of(lambda: colonies.update(ended_on=None, end_reason="")) == [made[0].pk]


def test_water_limits_and_absences_mark_all():
    system = SystemFactory()
    assert (
        every_write(
            lambda: WaterTest.objects.create(
                system=system, parameter="alkalinity_dkh", taken_on=date(2026, 6, 1), value=8
            ),
            "propagation_watertest",
            "value = 7",
        )
        == [[ALL]] * 3
    )
    assert (
        every_write(
            lambda: WaterRange.objects.create(parameter="alkalinity_dkh", low=7, high=9, largest_swing=1),
            "propagation_waterrange",
            "low = 6",
        )
        == [[ALL]] * 3
    )
    assert (
        every_write(
            lambda: Absence.objects.create(first_day=date(2026, 7, 1), last_day=date(2026, 7, 9)),
            "propagation_absence",
            "last_day = '2026-07-12'",
        )
        == [[ALL]] * 3
    )


def test_a_line_marks_all_for_what_outlooks_rest_on_and_not_for_its_name():
    lines = Lineage.objects.filter(pk=LineageFactory().pk)
    assert marks_of(lambda: lines.update(name="Harbour Ember the second", frags_per_cut=9)) == []
    for change in (
        {"growth_form": "tabling"},
        {"measure": "tle_cm"},
        {"rest_days": 60},
        {"insurance_wanted": 5},
        {"frag_size_mm": Decimal(30)},
    ):
        assert marks_of(lambda change=change: lines.update(**change)) == [ALL], change


def test_the_days_of_rest_in_the_preferences_mark_all():
    assert marks_of(lambda: Preferences(pk=1, rest_days=50).save()) == [ALL]
    assert marks_of(lambda: Preferences.objects.update(check_days=9)) == []
    assert marks_of(lambda: Preferences.objects.update(rest_days=51)) == [ALL]


def test_a_session_that_changes_its_day_marks_all():
    sessions = CuttingSession.objects.filter(pk=CuttingSessionFactory().pk)
    assert marks_of(lambda: sessions.update(note="two lamps")) == []
    assert marks_of(lambda: sessions.update(cut_on=date(2026, 5, 1))) == [ALL]


def test_living_copies_mark_all_and_a_healing_stage_does_not():
    event = CutEventFactory()
    made = []
    assert marks_of(lambda: made.append(PlugFactory(cut_event=event))) == [ALL]
    plugs = Plug.objects.filter(pk=made[0].pk)
    assert marks_of(lambda: plugs.update(stage="sealed")) == []
    assert marks_of(lambda: plugs.update(is_insurance=True)) == [ALL]
    assert marks_of(lambda: plugs.update(fate="dead", ended_on=date(2026, 6, 1))) == [ALL]


def test_many_changes_leave_one_mark_of_all_beside_those_of_colonies():
    colony = ColonyFactory()
    event = CutEventFactory(mother=colony)

    def write():
        for _ in range(5):
            PlugFactory(cut_event=event)
        IncidentFactory(colony=None, system=SystemFactory())
        size(colony=colony)
        Placement.objects.bulk_create([Placement(colony=colony, spot=SpotFactory(), since=date(2026, 6, 1))])

    assert marks_of(write) == [colony.pk, colony.pk, ALL]


def test_a_mark_is_left_again_once_the_first_was_taken_away():
    plugs = Plug.objects.filter(pk=PlugFactory().pk)
    assert marks_of(lambda: plugs.update(is_insurance=True)) == [ALL]
    assert marks_of(lambda: plugs.update(is_insurance=False)) == [ALL]


def test_marks_can_be_taken_away_and_put_back():
    reading = size(colony=ColonyFactory())
    remove_guards(MARKS)(connection.alias)
    assert marks_of(lambda: SizeReading.objects.filter(pk=reading.pk).update(value=70)) == []
    install_guards(MARKS)(connection.alias)
    assert marks_of(lambda: SizeReading.objects.filter(pk=reading.pk).update(value=80)) == [reading.colony_id]


def test_every_mark_is_installed():
    """A misspelt table would be passed over without a word."""
    assert {mark.table for mark in MARKS} <= set(connection.introspection.table_names())
