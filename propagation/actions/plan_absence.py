"""Planned absences: days on which nobody is there to watch a cut heal."""

from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone

from propagation.actions.changes import refuse_changed
from propagation.actions.days import EARLIEST
from propagation.dates import day_in_words
from propagation.errors import AbsencesOverlap, AlreadyDone, BadDate, BadValue
from propagation.models import Absence

LONGEST_NOTE = Absence._meta.get_field("note").max_length
LONGEST_DAYS = 366  # longer is a slip of the year; invented
FURTHEST_DAYS = 5 * 366


@transaction.atomic
def plan_absence(*, first_day: date, last_day: date, today: date, note: str = "", by=None) -> Absence:
    """Nobody is there from a day to a day, both included.

    Raises BadDate for days that are over or out of order, AbsencesOverlap, BadValue for a note too long.
    """
    if last_day < today:
        raise BadDate(
            f"The last day, {day_in_words(last_day)}, is over; today is {day_in_words(today)}. Is the year right?",
            field="last_day",
        )
    return _kept(Absence(), first_day=first_day, last_day=last_day, today=today, note=note, by=by)


@transaction.atomic
def change_absence(
    *,
    absence: Absence,
    first_day: date,
    last_day: date,
    today: date,
    note: str = "",
    based_on: int | None = None,
    by=None,
) -> Absence:
    """Put the days or the note of an absence right. Raises AlreadyDone if it was called off, and as plan_absence."""
    absence = _standing(absence, based_on=based_on)
    return _kept(absence, first_day=first_day, last_day=last_day, today=today, note=note, by=by)


@transaction.atomic
def call_off_absence(*, absence: Absence, based_on: int | None = None, by=None) -> Absence:
    """It does not take place; it stays on record. Raises AlreadyDone, ChangedMeanwhile."""
    absence = _standing(absence, based_on=based_on)
    absence.called_off_at = timezone.now()
    absence._history_user = by
    absence.save()
    return absence


def _standing(absence: Absence, *, based_on) -> Absence:
    locked = Absence.objects.select_for_update().get(pk=absence.pk)
    if locked.called_off_at is not None:
        raise AlreadyDone("This absence was called off before. Plan a new one.")
    refuse_changed(locked, based_on=based_on, what="This absence")
    return locked


def _kept(absence: Absence, *, first_day, last_day, today, note, by) -> Absence:
    if last_day < first_day:
        raise BadDate(
            f"The last day, {day_in_words(last_day)}, comes before the first, {day_in_words(first_day)}.",
            field="last_day",
        )
    if first_day < EARLIEST or first_day > today + timedelta(days=FURTHEST_DAYS):
        raise BadDate(f"{day_in_words(first_day)} is too far off; is the year right?", field="first_day")
    days = (last_day - first_day).days + 1
    if days > LONGEST_DAYS:
        raise BadDate(f"An absence of {days} days cannot be right; at most {LONGEST_DAYS} are taken.", field="last_day")
    if len(note) > LONGEST_NOTE:
        raise BadValue(f"The note has {len(note)} characters; {LONGEST_NOTE} fit.", field="note")
    others = Absence.objects.standing().filter(first_day__lte=last_day, last_day__gte=first_day)
    other = others.exclude(pk=absence.pk).first()
    if other is not None:
        raise AbsencesOverlap(
            f"You are away from {day_in_words(other.first_day)} to {day_in_words(other.last_day)} already. "
            "Change that absence, or choose days that do not meet it.",
            other,
        )
    absence.first_day, absence.last_day, absence.note = first_day, last_day, " ".join(note.split())
    absence._history_user = by
    absence.save()
    return absence
