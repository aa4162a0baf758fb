"""A system comes to its end; whatever stands in it goes somewhere, by name."""

from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import Max
from simple_history.utils import bulk_update_with_history

from propagation.actions.days import check_day
from propagation.actions.end_colony import end_colony
from propagation.actions.move_colony import move_colony
from propagation.dates import day_in_words
from propagation.errors import AlreadyDone, RametError, RowErrors
from propagation.models import Colony, EndReason, Placement, Plug, Spot, System


@dataclass(frozen=True)
class WhereTo:
    """What becomes of a colony when its system ends: it moves to a spot, ends for a reason, or waits without a spot."""

    colony: Colony
    spot: Spot | None = None
    end_reason: str = ""


def standing_in(system: System):
    """The placements of colonies that stand in a system now, by tag."""
    return (
        Placement.objects.current()
        .filter(spot__system=system)
        .select_related("colony__lineage", "spot")
        .order_by("colony__tag")
    )


@transaction.atomic
def end_system(*, system: System, on: date, today: date, where_to=(), plugs_to=None, by=None) -> System:
    """End a system: colonies go where ``where_to`` says, and those it does not name are left without a spot.

    ``plugs_to`` is ``{rack id: new rack or None}``: kept plugs go to the same cells there, else they have no rack.
    Incidents of the system close with it. Raises AlreadyDone, BadDate, and RowErrors naming each colony that cannot go
    as it was told (the row counts in the order of tags); then nothing is saved.
    """
    system = System.objects.select_for_update().get(pk=system.pk)
    if system.ended_on is not None:
        raise AlreadyDone(f"{system} ended on {day_in_words(system.ended_on)} already.")
    check_day(on, today=today, what=f"The end of {system}", not_before=system.started_on, because="it began")
    last = (
        Placement.objects.filter(spot__system=system, until__isnull=False).aggregate(day=Max("until"))["day"],
        system.incidents.aggregate(day=Max("closed_on"))["day"],
    )
    for day, because in zip(last, ("a colony was moved out of it", "an incident was closed"), strict=True):
        check_day(on, today=today, what=f"The end of {system}", not_before=day, because=because)
    wishes = {wish.colony.pk: wish for wish in where_to}
    wrong = []
    for row, placement in enumerate(standing_in(system), 1):
        wish = wishes.get(placement.colony_id) or WhereTo(placement.colony)
        try:
            with transaction.atomic():
                _go(placement, wish, on=on, today=today, by=by)
        except RametError as error:
            wrong.append((row, placement.colony.tag, str(error)))
    if wrong:
        raise RowErrors(wrong)
    _carry_plugs(system, plugs_to or {}, by=by)
    for incident in system.incidents.open():
        incident.closed_on = max(on, incident.opened_on)
        incident._history_user = by
        incident.save(update_fields=["closed_on"])
    system.ended_on = on
    system._history_user = by
    system.save(update_fields=["ended_on"])
    return system


def _go(placement: Placement, wish: WhereTo, *, on: date, today: date, by) -> None:
    colony = placement.colony
    if wish.end_reason:
        end_colony(colony=colony, reason=EndReason(wish.end_reason), on=on, today=today, by=by)
        return
    check_day(on, today=today, what=f"Moving {colony.tag}", not_before=placement.since, because="it last moved")
    placement.until = on
    placement._history_user = by
    placement.save(update_fields=["until"])
    if wish.spot is not None:
        arrived = max(on, wish.spot.system.started_on)
        move_colony(colony=colony, spot=wish.spot, on=arrived, today=today, by=by)


def _carry_plugs(system: System, plugs_to: dict[int, Spot | None], *, by) -> None:
    plugs = list(Plug.objects.kept().select_for_update(of=("self",)).filter(rack__system=system))
    for plug in plugs:
        plug.rack = plugs_to.get(plug.rack_id)
        if plug.rack is None:
            plug.rack_row = plug.rack_column = None
    if plugs:
        bulk_update_with_history(plugs, Plug, ["rack", "rack_row", "rack_column"], default_user=by)
