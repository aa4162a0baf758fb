from datetime import date

from django.db import transaction
from django.db.models import Max

from propagation.actions.changes import refuse_changed
from propagation.actions.days import check_day
from propagation.dates import day_in_words
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
        raise BadValue(f"{colony.tag} is no longer kept since {day_in_words(colony.ended_on)}, so it cannot be moved.")
    system = spot.system
    if on < system.started_on or (system.ended_on is not None and on > system.ended_on):
        raise BadDate(f"{system} did not run on {day_in_words(on)}.", field="day")
    current = colony.placements.current().first()
    if current is not None:
        if current.spot_id == spot.pk:
            raise BadValue(f"{colony.tag} is at {spot} already, since {day_in_words(current.since)}.", field="spot")
        check_day(on, today=today, what=f"Moving {colony.tag}", not_before=current.since, because="it last moved")
        current.until = on
        current._history_user = by
        current.save(update_fields=["until"])
    else:
        left = colony.placements.aggregate(day=Max("until"))["day"]
        check_day(on, today=today, what=f"Moving {colony.tag}", not_before=left, because="it left its last spot")
    # Entered late into a system that has ended since: it stood there until then.
    placement = Placement(colony=colony, spot=spot, since=on, until=system.ended_on)
    placement._history_user = by
    placement.save()
    return placement


@transaction.atomic
def correct_placement(*, placement: Placement, spot: Spot, based_on: int | None = None, by=None) -> Placement:
    """It stood at another spot than was written down: the days stay, the spot is put right, and the history keeps both.

    Raises BadDate if the system of the spot did not run in those days, ChangedMeanwhile.
    """
    placement = Placement.objects.select_for_update().select_related("colony").get(pk=placement.pk)
    refuse_changed(placement, based_on=based_on, what=f"The place of {placement.colony.tag}")
    system = spot.system
    ran = system.started_on <= placement.since and (
        system.ended_on is None or (placement.until is not None and placement.until <= system.ended_on)
    )
    if not ran:
        raise BadDate(f"{system} did not run in all the days since {day_in_words(placement.since)}.", field="spot")
    placement.spot = spot
    placement._history_user = by
    placement.save(update_fields=["spot"])
    return placement
