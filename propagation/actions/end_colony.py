from datetime import date

from django.db import transaction
from django.db.models import Max, Q

from propagation.actions.days import check_day
from propagation.dates import day_in_words
from propagation.errors import AlreadyDone, BadValue
from propagation.models import Colony, EndReason


@transaction.atomic
def end_colony(*, colony: Colony, reason: str, on: date, today: date, by=None) -> Colony:
    """A colony is no longer kept: it died, or left. Its placement ends and its incidents close with it.

    Raises AlreadyDone, BadDate, BadValue.
    """
    colony = Colony.objects.select_for_update().get(pk=colony.pk)
    if colony.ended_on is not None:
        raise AlreadyDone(f"{colony.tag} ended on {day_in_words(colony.ended_on)} already.")
    if reason not in EndReason.values:
        raise BadValue(f"“{reason}” is no reason; use one of {', '.join(EndReason.values)}.", field="reason")
    check_day(on, today=today, what=f"The end of {colony.tag}", not_before=colony.began_on, because="it began")
    last_cut = colony.cut_events.filter(frags__gt=0).aggregate(last=Max("session__cut_on"))["last"]
    if last_cut is not None:
        check_day(on, today=today, what=f"The end of {colony.tag}", not_before=last_cut, because="it was cut")
    measured = colony.size_readings.aggregate(last=Max("taken_on"))["last"]
    check_day(on, today=today, what=f"The end of {colony.tag}", not_before=measured, because="it was measured")
    for placement in colony.placements.filter(Q(until=None) | Q(until__gt=on)):
        check_day(on, today=today, what=f"The end of {colony.tag}", not_before=placement.since, because="it was moved")
        placement.until = on
        placement._history_user = by
        placement.save(update_fields=["until"])
    for incident in colony.incidents.open():
        incident.closed_on = max(on, incident.opened_on)
        incident._history_user = by
        incident.save(update_fields=["closed_on"])
    colony.ended_on, colony.end_reason = on, reason
    colony._history_user = by
    colony.save(update_fields=["ended_on", "end_reason"])
    return colony


@transaction.atomic
def bring_back_colony(*, colony: Colony, by=None) -> Colony:
    """The end was entered by mistake: the colony lives on. Where it stands and its incidents are entered anew.

    Raises AlreadyDone if it is kept.
    """
    colony = Colony.objects.select_for_update().get(pk=colony.pk)
    if colony.ended_on is None:
        raise AlreadyDone(f"{colony.tag} is kept; there is no end to take back.")
    colony.ended_on, colony.end_reason = None, ""
    colony._history_user = by
    colony.save(update_fields=["ended_on", "end_reason"])
    return colony
