"""Plugs that leave, and to whom, where no sale or trade is written down."""

from datetime import date

from django.db import transaction
from django.utils.formats import date_format
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from inventory.actions.keep_contact import contact_named, locked_contact
from inventory.errors import LeavingToConfirm, PlugInSale
from inventory.models import Contact, Hold, Safekeeping, SaleLine, TradeLine
from propagation.actions.part_with import part_with, take_back_parting
from propagation.errors import AlreadyDone, BadValue
from propagation.models import Fate, HealingStage, Plug

LONGEST_NOTE = Hold._meta.get_field("note").max_length


@transaction.atomic
def let_go(
    *, plugs, fate: str, on: date, today: date, contact: Contact | None = None, confirmed: bool = True, by=None
) -> list[Plug]:
    """Record that plugs were sold, traded or given away on a day, to a contact if one is named: all of them or none.

    Their holds end. Who got them stands in the hold they had, or in one that is made for it and ended at once. With
    ``confirmed=False`` LeavingToConfirm names those that were promised to somebody else, set aside, or not healed.
    Raises also PlugGone, PlugInSale, BadDate, and BadValue if there is no plug.
    """
    locked = list(Plug.objects.select_for_update().filter(pk__in={plug.pk for plug in plugs}).order_by("pk"))
    if not locked:
        raise BadValue("Choose at least one plug that left.", field="plugs")
    contact = contact and locked_contact(contact)
    in_sales = SaleLine.objects.binding().filter(plug__in=locked).select_related("plug", "sale__contact")
    if lines := list(in_sales.order_by("plug")):
        raise PlugInSale(lines, "parted with otherwise")
    still_open = {
        hold.plug_id: hold
        for hold in Hold.objects.filter(plug__in=locked, released_on=None).select_related("contact", "plug")
    }
    if not confirmed:
        because = [words for plug in locked if (words := _against(plug, still_open.get(plug.pk), contact, today))]
        if because:
            raise LeavingToConfirm(because)
    # Before they leave: a hold is made only for a plug that is kept.
    _end_holds(locked, still_open, contact=contact, fate=fate, on=on, today=today, by=by)
    return part_with(plugs=locked, fate=fate, on=on, today=today, by=by)


@transaction.atomic
def let_go_to(*, contact_name: str, is_somebody_new: bool, by=None, **told) -> list[Plug]:
    """Record that plugs left to the contact of this name, met now if they were not known; no name is nobody named.

    Takes and raises what `let_go` does, and NearlyTheSameName for a new name that may be a slip. A refusal leaves no
    contact.
    """
    contact = contact_named(name=contact_name, confirmed=is_somebody_new, by=by) if contact_name.strip() else None
    return let_go(contact=contact, by=by, **told)


@transaction.atomic
def take_back_leaving(*, plug: Plug, by=None) -> Plug:
    """The plug did not leave after all. Raises AlreadyDone, also for one that left in a sale or a trade."""
    Plug.objects.select_for_update().get(pk=plug.pk)
    line = SaleLine.objects.standing().filter(plug=plug).select_related("sale__contact").first()
    if line is not None and line.sale.left_on is not None:
        raise AlreadyDone(
            f"Plug {plug.code_in_clear} left in sale {line.sale_id} to {line.sale.contact}; "
            "undo the handing over on the page of that sale, or record its return."
        )
    traded = TradeLine.objects.filter(plug=plug, cancelled_on=None).select_related("trade__contact").first()
    if traded is not None:
        raise AlreadyDone(
            f"Plug {plug.code_in_clear} left in trade {traded.trade_id} with {traded.trade.contact}; "
            "take back that trade on its own page, or record its return."
        )
    kept = Safekeeping.objects.filter(plug=plug).select_related("contact").order_by("-pk").first()
    if kept is not None and kept.ended_on is not None:
        raise AlreadyDone(
            f"{kept.contact} kept plug {plug.code_in_clear} for you until "
            f"{date_format(kept.ended_on)}, so it did leave."
        )
    if kept is not None:  # that it was kept there was the same mistake; its history keeps it
        kept._history_user = by
        kept.delete()
    return take_back_parting(plug=plug, by=by)


def _against(plug: Plug, hold: Hold | None, contact: Contact | None, today: date) -> str:
    """Why a plug should rather not leave this way, in words; empty if nothing is against it."""
    if not plug.is_kept:
        return ""  # refused anyway
    if hold and hold.is_active(today) and (contact is None or hold.contact_id != contact.pk):
        return f"plug {plug.code_in_clear} is held for {hold.contact} until {date_format(hold.until)}"
    if plug.is_insurance:
        return f"plug {plug.code_in_clear} is set aside as insurance"
    if plug.stage != HealingStage.HEALED:
        return f"plug {plug.code_in_clear} is {plug.get_stage_display().lower()}, not healed"
    return ""


def _end_holds(plugs, still_open, *, contact, fate, on, today, by):
    label = Fate(fate).label if fate in Fate else ""
    for hold in still_open.values():
        if not hold.is_active(today):
            hold.released_on = hold.ends_by_itself_on
            continue
        hold.released_on = today
        is_theirs = contact is not None and hold.contact_id == contact.pk
        to_whom = "to them" if is_theirs else f"to {contact}" if contact else "to somebody else"
        hold.note = _with_note(hold.note, f"{label} {to_whom} on {date_format(on)}")
    bulk_update_with_history(list(still_open.values()), Hold, ["released_on", "note"], default_user=by)
    if contact is None:
        return
    theirs = {pk for pk, hold in still_open.items() if hold.contact_id == contact.pk and hold.released_on == today}
    new = [
        Hold(
            plug=plug,
            contact=contact,
            until=on,
            released_on=on,
            note=f"{label} to them on {date_format(on)}",
            made_by=by,
        )
        for plug in plugs
        # The database keeps holds for plugs that are fit to leave; of others only what became of them is known.
        if plug.pk not in theirs and plug.is_kept and plug.stage == HealingStage.HEALED and not plug.is_insurance
    ]
    bulk_create_with_history(new, Hold, default_user=by)


def _with_note(note: str, words: str) -> str:
    """Both notes; the older one is cut short if both do not fit."""
    room = LONGEST_NOTE - len(words) - 2
    return f"{note[:room].rstrip()}. {words}" if note.strip() else words
