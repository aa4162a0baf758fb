"""Planned absences: planning, changing, calling off, and which are still to come."""

from datetime import date, timedelta

import pytest
from django.db import DatabaseError, transaction

from propagation.actions.changes import last_change
from propagation.actions.plan_absence import call_off_absence, change_absence, plan_absence
from propagation.errors import AbsencesOverlap, AlreadyDone, BadDate, BadValue, ChangedMeanwhile
from propagation.models import Absence
from propagation.readings.absences import absences_from, absences_past

pytestmark = pytest.mark.django_db

FIRST, LAST = date(2026, 7, 3), date(2026, 7, 17)


@pytest.fixture
def plan(today):
    def plan(first_day=FIRST, last_day=LAST, **told):
        return plan_absence(first_day=first_day, last_day=last_day, today=today, **told)

    return plan


def test_an_absence_is_planned_with_who_planned_it(plan, keeper):
    absence = plan(note="  to the   coast ", by=keeper)
    assert (absence.first_day, absence.last_day, absence.note) == (FIRST, LAST, "to the coast")
    assert absence.history.get().history_user == keeper


def test_one_day_and_one_that_began_already_are_absences(plan, today):
    assert plan(first_day=FIRST, last_day=FIRST).pk
    assert plan(first_day=today - timedelta(days=3), last_day=today).pk


@pytest.mark.parametrize(
    ("days", "field"),
    [
        ((LAST, FIRST), "last_day"),
        ((date(2025, 7, 3), date(2025, 7, 17)), "last_day"),
        ((date(2026, 7, 3), date(2027, 7, 17)), "last_day"),
        ((date(2062, 7, 3), date(2062, 7, 17)), "first_day"),
    ],
)
def test_days_that_cannot_be_are_refused(plan, days, field):
    with pytest.raises(BadDate) as refused:
        plan(*days)
    assert refused.value.field == field
    assert not Absence.objects.exists()


def test_a_note_too_long_is_refused(plan):
    with pytest.raises(BadValue, match="201 characters; 200 fit"):
        plan(note="x" * 201)


@pytest.mark.parametrize(
    "days", [(FIRST, FIRST), (LAST, LAST + timedelta(days=5)), (date(2026, 7, 5), date(2026, 7, 6))]
)
def test_absences_that_meet_are_refused_and_the_other_is_named(plan, days):
    other = plan()
    with pytest.raises(AbsencesOverlap, match="3 Jul 2026 to 17 Jul 2026") as refused:
        plan(*days)
    assert refused.value.other == other


def test_one_called_off_stands_in_nobodys_way(plan, keeper):
    absence = plan()
    call_off_absence(absence=absence, by=keeper)
    again = plan()
    assert absences_from(FIRST) == [again]
    with pytest.raises(AlreadyDone):
        call_off_absence(absence=absence)
    with pytest.raises(AlreadyDone):
        change_absence(absence=absence, first_day=FIRST, last_day=LAST, today=FIRST)
    assert absence.history.first().history_user == keeper


def test_an_absence_is_changed_and_does_not_meet_itself(plan, today):
    absence = plan()
    seen = last_change(absence)
    changed = change_absence(
        absence=absence, first_day=FIRST, last_day=date(2026, 7, 20), today=today, note="longer", based_on=seen
    )
    assert (changed.last_day, changed.note) == (date(2026, 7, 20), "longer")
    with pytest.raises(ChangedMeanwhile):
        change_absence(absence=absence, first_day=FIRST, last_day=LAST, today=today, based_on=seen)
    with pytest.raises(ChangedMeanwhile):
        call_off_absence(absence=absence, based_on=seen)


def test_one_that_is_over_may_be_put_right(plan):
    absence = plan()
    later = date(2026, 8, 1)
    assert change_absence(absence=absence, first_day=FIRST, last_day=date(2026, 7, 10), today=later).last_day.day == 10


def test_the_database_refuses_two_that_share_a_day(plan):
    plan()
    with pytest.raises(DatabaseError), transaction.atomic():
        Absence.objects.create(first_day=LAST, last_day=LAST + timedelta(days=3))


def test_those_not_over_come_soonest_first_in_one_query(plan, today, django_assert_num_queries):
    later = plan(date(2026, 9, 1), date(2026, 9, 3))
    now = plan(today, today + timedelta(days=1))
    gone = call_off_absence(absence=plan())
    with django_assert_num_queries(1):
        assert absences_from(today) == [now, later]
    assert absences_from(today + timedelta(days=2)) == [later]
    assert list(absences_past(today)) == [gone]
    assert list(absences_past(date(2026, 8, 1))) == [gone, now]
