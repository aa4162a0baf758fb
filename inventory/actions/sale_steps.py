"""What every act on a sale shares: what is locked and in which order, and what is checked."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.formats import date_format
from simple_history.utils import bulk_update_with_history

from inventory.actions.keep_contact import refuse_forgotten
from inventory.errors import PlugInSale, PlugTraded, SaleToConfirm, upper_first, what_of
from inventory.models import Contact, Hold, Payment, Sale, SaleLine, TradeLine
from inventory.readings.sales import Totals, against_selling, cannot_leave, totals
from propagation.actions.changes import refuse_changed
from propagation.errors import AlreadyDone, BadValue, ChangedMeanwhile, PlugGone
from propagation.models import Colony, Plug

MOST_LINES = 500
LONGEST_HOLD_NOTE = Hold._meta.get_field("note").max_length


@dataclass(frozen=True)
class SaleItem:
    """What is to be sold: a plug or a whole colony. Without a price it costs what it usually costs."""

    plug: Plug | None = None
    colony: Colony | None = None
    price: Decimal | None = None
    discount: Decimal = Decimal(0)

    @property
    def key(self) -> tuple[str, int]:
        return ("plug", self.plug.pk) if self.plug else ("colony", self.colony.pk)


def locked_things(*, plug_ids: Iterable[int], colony_ids: Iterable[int]) -> tuple[dict[int, Plug], dict[int, Colony]]:
    """Plugs and then colonies as they are now, by id, locked in the order of their ids.

    Every act that sells, holds or parts with plugs locks them first and in this order, so that two at once wait for
    each other instead of locking up.
    """
    plugs = Plug.objects.select_for_update().filter(pk__in=set(plug_ids)).order_by("pk")
    colonies = Colony.objects.select_for_update().filter(pk__in=set(colony_ids)).order_by("pk")
    return {plug.pk: plug for plug in plugs}, {colony.pk: colony for colony in colonies} if colony_ids else {}


def locked_sale(sale: Sale, *, based_on: int | None = None, also_plugs=(), also_colonies=()):
    """A sale and its standing lines as they are now: ``(sale, lines, plugs, colonies)``, all locked, the plugs first.

    Raises ChangedMeanwhile if it was changed after ``based_on``, or in this very moment; ContactForgotten.
    """
    before = list(sale.lines.standing().values_list("plug", "colony"))
    plugs, colonies = locked_things(
        plug_ids=[plug for plug, _ in before if plug] + [plug.pk for plug in also_plugs],
        colony_ids=[colony for _, colony in before if colony] + [colony.pk for colony in also_colonies],
    )
    sale = Sale.objects.select_for_update(of=("self",)).select_related("contact").get(pk=sale.pk)
    refuse_changed(sale, based_on=based_on, what=f"Sale {sale.pk}")
    refuse_forgotten(sale.contact)
    lines = list(sale.lines.standing().order_by("id"))
    if {line.plug_id for line in lines} - {None} - set(plugs):
        raise ChangedMeanwhile(f"Sale {sale.pk}")
    for line in lines:
        line.sale = sale
        line.plug, line.colony = plugs.get(line.plug_id), colonies.get(line.colony_id)
    return sale, lines, plugs, colonies


def refuse_cancelled(sale: Sale) -> None:
    if sale.cancelled_on:
        raise AlreadyDone(f"Sale {sale.pk} was called off on {date_format(sale.cancelled_on)}.")


def refuse_left(sale: Sale) -> None:
    """Raises AlreadyDone for a sale that cannot be changed any more."""
    refuse_cancelled(sale)
    if sale.left_on:
        raise AlreadyDone(
            f"Sale {sale.pk} was {sale.get_left_how_display().lower()} on {date_format(sale.left_on)}; "
            "what is in it stays."
        )


def refuse_gone(lines: Iterable[SaleLine]) -> None:
    """Raises AlreadyDone for the first line whose plug or colony is kept no more."""
    for line in cannot_leave(lines):
        fate = line.plug.get_fate_display() if line.plug_id else line.colony.get_end_reason_display()
        raise AlreadyDone(
            f"{upper_first(what_of(line))} is no longer kept: {fate.lower()}. Take it out of the sale first, "
            f"and tell {line.sale.contact}."
        )


def refuse_taken(plugs: Iterable[Plug], colonies: Iterable[Colony]) -> None:
    """Raises PlugGone, PlugInSale, PlugTraded or AlreadyDone for what cannot be put into a sale."""
    plugs, colonies = list(plugs), list(colonies)
    for plug in plugs:
        if not plug.is_kept:
            raise PlugGone(plug, "sold")
    for colony in colonies:
        if colony.ended_on is not None:
            raise AlreadyDone(
                f"Colony {colony.tag} is no longer kept: {colony.get_end_reason_display().lower()} on "
                f"{date_format(colony.ended_on)}. Leave it out."
            )
    standing = SaleLine.objects.standing().select_related("plug", "colony", "sale__contact").order_by("id")
    in_sales = list(standing.filter(plug__in=plugs)) if plugs else []
    in_sales += list(standing.filter(colony__in=colonies)) if colonies else []
    if in_sales:
        raise PlugInSale(in_sales)
    traded = TradeLine.objects.filter(cancelled_on=None).select_related("plug", "colony", "trade__contact")
    in_trade = traded.filter(plug__in=plugs).first() if plugs else None
    in_trade = in_trade or (traded.filter(colony__in=colonies).first() if colonies else None)
    if in_trade:
        raise PlugTraded(in_trade)


def open_holds_of(plugs: Iterable[Plug]) -> list[Hold]:
    return list(
        Hold.objects.filter(plug__in=list(plugs), released_on=None).select_related("contact", "plug").order_by("plug")
    )


def ask_about(plugs: Iterable[Plug], holds: Iterable[Hold], contact: Contact, today: date) -> None:
    """Raises SaleToConfirm for plugs held for others, set aside, or not healed."""
    if because := against_selling(plugs, holds, contact, today):
        raise SaleToConfirm(because)


def end_holds(holds: Iterable[Hold], *, words: str, today: date, by) -> None:
    """End open holds; those that still bound get the words that say why."""
    holds = list(holds)
    for hold in holds:
        if not hold.is_active(today):
            hold.released_on = hold.ends_by_itself_on
            continue
        hold.released_on = today
        hold.note = with_words(hold.note, words)
    bulk_update_with_history(holds, Hold, ["released_on", "note"], default_user=by)


def with_words(note: str, words: str) -> str:
    """Both; the older is cut short if both do not fit."""
    room = LONGEST_HOLD_NOTE - len(words) - 2
    return f"{note[:room].rstrip()}. {words}" if note.strip() else words


def keep(sale: Sale, *fields: str, by) -> Sale:
    """Save these fields and note who did it; every act on a sale leaves such a note, so that a form knows of it."""
    sale._history_user = by
    sale.save(update_fields=list(fields))
    return sale


def note_whether_paid(sale: Sale, *, today: date) -> Totals:
    """Set the day on which all was paid, or take it away; not saved yet. Two queries, one more when it is paid."""
    sums = totals(sale)
    if sale.cancelled_on or sums.owed or not sale.lines.standing().exists():
        sale.paid_on = None
    elif sale.paid_on is None:
        came = sale.payments.filter(withdrawn_at=None).exclude(kind=Payment.Kind.REFUND).order_by("-paid_on").first()
        sale.paid_on = came.paid_on if came else sale.agreed_on or today
    return sums


def checked_note(note: str, most: int) -> str:
    if len(note) > most:
        raise BadValue(f"The note has {len(note)} characters; {most} fit.", field="note")
    return note
