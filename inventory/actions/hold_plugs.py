"""Promising plugs to a contact until a day, giving them free, and promising them for longer."""

from datetime import date, timedelta

from django.db import transaction
from django.utils.formats import date_format
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from inventory.actions.keep_contact import contact_named, locked_contact
from inventory.errors import PlugAlreadyPromised, PlugInSale, PlugNotReady
from inventory.models import Contact, Hold, SaleLine, Waiting
from propagation.errors import AlreadyDone, BadDate, BadValue, PlugGone
from propagation.models import Plug

LONGEST_HOLD = timedelta(days=730)  # a bound against a slip of the year
LONGEST_NOTE = Hold._meta.get_field("note").max_length


def check_until(until: date, today: date) -> None:
    """Raises BadDate for a hold that would end before it begins, or in years."""
    if until < today:
        raise BadDate(
            f"A hold until {date_format(until)} would have ended already; choose today, {date_format(today)}, "
            "or a later day.",
            field="until",
        )
    if until > today + LONGEST_HOLD:
        raise BadDate(
            f"A hold until {date_format(until)} is too far off; {date_format(today + LONGEST_HOLD)} is the latest day.",
            field="until",
        )


def _refuse_sold(plugs) -> None:
    """Raises PlugInSale for those that are in a sale which has not left."""
    lines = SaleLine.objects.binding().filter(plug__in=plugs).select_related("plug", "sale__contact")
    if in_the_way := list(lines.order_by("plug")):
        raise PlugInSale(in_the_way, "held")


def _refuse_unfit(plug: Plug, today: date) -> None:
    if not plug.is_kept:
        raise PlugGone(plug, "held")
    if plug.is_insurance:
        raise PlugNotReady(plug, "is set aside as insurance")
    if not plug.is_ready(today):
        raise PlugNotReady(plug, f"is {plug.get_stage_display().lower()}, not healed")


@transaction.atomic
def hold_plugs(*, plugs, contact: Contact, until: date, today: date, note: str = "", by=None) -> list[Hold]:
    """Promise plugs to a contact until a day, that day included: all of them or none.

    A plug that this contact has already keeps its hold, which then ends on the later of the two days: so a form sent
    twice promises nothing twice. Holds that ended by themselves are marked so; whoever waited in line
    for one of these and gets it waits no more. Raises PlugGone, PlugNotReady,
    PlugAlreadyPromised (which names who has it until when), PlugInSale, BadDate, BadValue, ContactForgotten.
    """
    check_until(until, today)
    if len(note) > LONGEST_NOTE:
        raise BadValue(f"The note has {len(note)} characters; {LONGEST_NOTE} fit.", field="note")
    # In one order, so that two people who hold the same plugs at once wait for each other instead of locking up.
    locked = list(Plug.objects.select_for_update().filter(pk__in={plug.pk for plug in plugs}).order_by("pk"))
    if not locked:
        raise BadValue("Choose at least one plug to hold.", field="plugs")
    contact = locked_contact(contact)
    still_open = list(Hold.objects.filter(plug__in=locked, released_on=None).select_related("contact", "plug"))
    active = [hold for hold in still_open if hold.is_active(today)]
    in_the_way = [hold for hold in active if hold.contact_id != contact.pk]
    if in_the_way:
        raise PlugAlreadyPromised(in_the_way)
    for plug in locked:
        _refuse_unfit(plug, today)
    _refuse_sold(locked)
    changed = []
    for hold in still_open:
        if hold not in active:
            hold.released_on = hold.ends_by_itself_on
            changed.append(hold)
        elif hold.until < until:
            hold.until = until
            changed.append(hold)
    bulk_update_with_history(changed, Hold, ["until", "released_on"], default_user=by)
    theirs = {hold.plug_id for hold in active}
    new = [
        Hold(plug=plug, contact=contact, until=until, note=note, made_by=by) for plug in locked if plug.pk not in theirs
    ]
    made = bulk_create_with_history(new, Hold, default_user=by)
    got_it = list(Waiting.objects.filter(plug__in=locked, contact=contact, ended_on=None))
    for waiting in got_it:
        waiting.ended_on = today
    bulk_update_with_history(got_it, Waiting, ["ended_on"], default_user=by)
    return active + made


@transaction.atomic
def hold_plugs_for(*, contact_name: str, is_somebody_new: bool, plugs, until: date, today: date, note="", by=None):
    """Promise plugs to whoever has this name: nobody is met for it if the plugs cannot be held.

    Raises as ``hold_plugs``, and NearlyTheSameName unless a new name is said to be somebody new.
    """
    contact = contact_named(name=contact_name, confirmed=is_somebody_new, by=by)
    return hold_plugs(plugs=plugs, contact=contact, until=until, today=today, note=note, by=by)


def _locked(hold: Hold) -> Hold:
    """The hold as it is now, its plug locked first as in every act on holds. Raises AlreadyDone if it was released."""
    Plug.objects.select_for_update().get(pk=hold.plug_id)
    hold = Hold.objects.select_related("plug", "contact").get(pk=hold.pk)
    if hold.released_on is not None:
        raise AlreadyDone(
            f"The hold of {hold.plug} for {hold.contact} ended on {date_format(hold.released_on)} already."
        )
    return hold


@transaction.atomic
def release_hold(*, hold: Hold, today: date, by=None) -> Hold:
    """The plug is free again. Raises AlreadyDone."""
    hold = _locked(hold)
    hold.released_on = min(today, hold.ends_by_itself_on)
    hold._history_user = by
    hold.save(update_fields=["released_on"])
    return hold


@transaction.atomic
def extend_hold(*, hold: Hold, until: date, today: date, by=None) -> Hold:
    """Keep the plug for them until another day. Raises AlreadyDone, BadDate, PlugGone, PlugNotReady, PlugInSale."""
    hold = _locked(hold)
    check_until(until, today)
    _refuse_unfit(hold.plug, today)
    _refuse_sold([hold.plug])
    hold.until = until
    hold._history_user = by
    hold.save(update_fields=["until"])
    return hold
