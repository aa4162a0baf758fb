from datetime import date

from django.db import transaction

from propagation.actions.days import check_day
from propagation.errors import BadDate, BadValue
from propagation.models import Colony, Placement, Spot


@transaction.atomic
def move_colony(*, colony: Colony, spot: Spot, on: date, today: date, by=None) -> Placement:
    """Put a colony at a spot from a day on, ending where it stood before.

    Raises BadDate for a day before the colony began, before its last move, or outside the life of the system.
    """
    colony = Colony.objects.select_for_update().get(pk=colony.pk)
    check_day(on, today=today, what=f"Moving {colony.tag}", not_before=colony.began_on, because="it began")
    if colony.ended_on is not None:
        raise BadValue(f"{colony.tag} is no longer kept since {colony.ended_on}, so it cannot be moved.")
    system = spot.system
    if on < system.started_on or (system.ended_on is not None and on > system.ended_on):
        raise BadDate(f"{system} did not run on {on}.", field="day")
    current = colony.placements.current().first()
    if current is not None:
        if current.spot_id == spot.pk:
            raise BadValue(f"{colony.tag} is at {spot} already, since {current.since}.", field="spot")
        check_day(on, today=today, what=f"Moving {colony.tag}", not_before=current.since, because="it last moved")
        current.until = on
        current._history_user = by
        current.save(update_fields=["until"])
    placement = Placement(colony=colony, spot=spot, since=on)
    placement._history_user = by
    placement.save()
    return placement
