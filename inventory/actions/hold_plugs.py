"""Promising plugs to a contact until a day."""

from datetime import date, timedelta

from django.db import IntegrityError, transaction

from inventory.errors import PlugAlreadyPromised, PlugNotReady
from inventory.models import Contact, Hold
from propagation.errors import AlreadyDone, BadDate, BadValue, PlugGone
from propagation.models import Plug

LONGEST_HOLD = timedelta(days=730)  # a bound against a slip of the year


def check_until(until: date, today: date) -> None:
    """Raises BadDate for a hold that would end before it begins, or in years."""
    if until < today:
        raise BadDate(f"A hold until {until} would have ended already; today is {today}.", field="until")
    if until > today + LONGEST_HOLD:
        raise BadDate(f"A hold until {until} is too far off; hold it for two years at most.", field="until")


@transaction.atomic
def hold_plugs(*, plugs, contact: Contact, until: date, today: date, note: str = "", by=None) -> list[Hold]:
    """Promise plugs to a contact until a day, that day included: all of them or none.

    Holds of these plugs that have run out are released with it. Raises PlugGone, PlugNotReady, PlugAlreadyPromised
    (which names who has it until when), BadDate.
    """
    check_until(until, today)
    # In one order, so that two people who hold the same plugs at once wait for each other instead of locking up.
    locked = list(Plug.objects.select_for_update().filter(pk__in=[plug.pk for plug in plugs]).order_by("pk"))
    if not locked:
        raise BadValue("Choose at least one plug to hold.", field="plugs")
    for plug in locked:
        if not plug.is_kept:
            raise PlugGone(plug, "held")
        if plug.is_insurance:
            raise PlugNotReady(plug, "is set aside as insurance")
        if not plug.is_ready(today):
            raise PlugNotReady(plug, f"is {plug.get_stage_display().lower()}, not healed")
    open_holds = Hold.objects.filter(plug__in=locked, released_on=None).select_related("contact", "plug")
    for hold in open_holds:
        if hold.until >= today:
            raise PlugAlreadyPromised(hold.plug, hold)
    open_holds.update(released_on=today)
    try:
        with transaction.atomic():
            return Hold.objects.bulk_create(
                [Hold(plug=plug, contact=contact, until=until, note=note, made_by=by) for plug in locked]
            )
    except IntegrityError as error:  # somebody was quicker, whatever the locks
        taken = Hold.objects.filter(plug__in=locked, released_on=None).select_related("contact", "plug").first()
        if taken is None:
            raise
        raise PlugAlreadyPromised(taken.plug, taken) from error


def _open(hold: Hold) -> Hold:
    """The hold, locked. Raises AlreadyDone if it was released."""
    hold = Hold.objects.select_for_update(of=("self",)).select_related("plug", "contact").get(pk=hold.pk)
    if hold.released_on is not None:
        raise AlreadyDone(f"The hold of {hold.plug} for {hold.contact} was released on {hold.released_on} already.")
    return hold


@transaction.atomic
def release_hold(*, hold: Hold, today: date) -> Hold:
    """The plug is free again. Raises AlreadyDone."""
    hold = _open(hold)
    hold.released_on = today
    hold.save(update_fields=["released_on"])
    return hold


@transaction.atomic
def extend_hold(*, hold: Hold, until: date, today: date) -> Hold:
    """Keep it for them until another day. Raises AlreadyDone, BadDate."""
    hold = _open(hold)
    check_until(until, today)
    hold.until = until
    hold.save(update_fields=["until"])
    return hold
