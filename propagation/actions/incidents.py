"""Something wrong, opened and closed on a day."""

from datetime import date

from django.db import transaction

from propagation.actions.days import check_day
from propagation.dates import day_in_words
from propagation.errors import AlreadyDone, BadValue
from propagation.models import Colony, Incident, IncidentKind, System


@transaction.atomic
def open_incident(
    *, kind: str, on: date, today: date, colony: Colony | None = None, system: System | None = None, note="", by=None
) -> Incident:
    """Something is wrong with a colony or a system since a day. Raises BadDate, BadValue, AlreadyDone."""
    if kind not in IncidentKind.values:
        raise BadValue(f"“{kind}” is no kind of incident; use one of {', '.join(IncidentKind.values)}.", field="kind")
    if (colony is None) == (system is None):
        raise BadValue("An incident concerns one colony or one system.")
    concerned = colony or system
    began = colony.began_on if colony else system.started_on
    check_day(on, today=today, what=f"An incident of {concerned}", not_before=began, because="it began")
    if concerned.ended_on is not None and on > concerned.ended_on:
        raise BadValue(f"{concerned} ended on {day_in_words(concerned.ended_on)}.", field="day")
    if concerned.ended_on is not None:
        # Nothing stays open on what is no longer kept.
        return _saved(
            Incident(colony=colony, system=system, kind=kind, opened_on=on, closed_on=concerned.ended_on, note=note), by
        )
    same = Incident.objects.open().filter(kind=kind, colony=colony, system=system).first()
    if same is not None:
        raise AlreadyDone(
            f"{concerned} has {same.get_kind_display().lower()} open since {day_in_words(same.opened_on)} already."
        )
    return _saved(Incident(colony=colony, system=system, kind=kind, opened_on=on, note=note), by)


def _saved(incident: Incident, by) -> Incident:
    incident._history_user = by
    incident.save()
    return incident


@transaction.atomic
def close_incident(*, incident: Incident, on: date, today: date, note: str = "", by=None) -> Incident:
    """It is over. Raises AlreadyDone, BadDate."""
    incident = Incident.objects.select_for_update().get(pk=incident.pk)
    if not incident.is_open:
        raise AlreadyDone(f"This was closed on {day_in_words(incident.closed_on)} already.")
    check_day(on, today=today, what="Closing it", not_before=incident.opened_on, because="it was opened")
    incident.closed_on = on
    if note:
        incident.note = f"{incident.note}\n{note}".strip()
    return _saved(incident, by)
