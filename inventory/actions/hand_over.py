"""A sale leaves: handed over or sent, undone if that was a slip, or all of it at once at a market."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.utils.formats import date_format

from inventory.actions.begin_sale import agree_sale, begin_sale, cancel_sale, recorded_today
from inventory.actions.keep_contact import contact_named
from inventory.actions.pay_sale import take_payment, withdraw_payment
from inventory.actions.sale_steps import (
    SaleItem,
    ask_about,
    end_holds,
    keep,
    locked_sale,
    note_whether_paid,
    open_holds_of,
    refuse_cancelled,
    refuse_gone,
)
from inventory.models import Claim, Contact, Hold, Payment, Safekeeping, Sale
from inventory.readings.sales import totals
from propagation.actions.days import check_day
from propagation.actions.end_colony import bring_back_colony, end_colony
from propagation.actions.part_with import part_with, take_back_parting
from propagation.errors import AlreadyDone, BadValue
from propagation.models import EndReason, Fate


def words_of_leaving(sale: Sale) -> str:
    """What is noted in a hold that a sale ends."""
    return f"Sold to {sale.contact} in sale {sale.pk}"


@transaction.atomic
def hand_over(
    *,
    sale: Sale,
    today: date,
    how: str = Sale.Leaving.HANDED_OVER,
    on: date | None = None,
    confirmed: bool = True,
    by=None,
) -> Sale:
    """Everything in an agreed sale leaves on a day: plugs and colonies are sold, and all holds of them end.

    Handed over twice in the same way is handed over once. Raises BadValue for a draft, AlreadyDone for what is kept no
    more or a sale that was called off, BadDate, and with ``confirmed=False`` SaleToConfirm as `begin_sale` does.
    """
    sale, lines, plugs, colonies = locked_sale(sale)
    refuse_cancelled(sale)
    if how not in Sale.Leaving.values:
        raise BadValue(f"“{how}” is no way to leave; use one of {', '.join(Sale.Leaving.values)}.", field="how")
    on = on or today
    if sale.left_on:
        if sale.left_how == how:
            return sale
        raise AlreadyDone(
            f"Sale {sale.pk} was {sale.get_left_how_display().lower()} on {date_format(sale.left_on)} already."
        )
    if sale.agreed_on is None:
        raise BadValue(f"Sale {sale.pk} is a draft; agree on it first.")
    check_day(on, today=today, what="Handing over", not_before=sale.agreed_on, because="the sale was agreed")
    refuse_gone(lines)
    holds = open_holds_of(plugs.values())
    if not confirmed:
        ask_about(plugs.values(), holds, sale.contact, today)
    end_holds(holds, words=words_of_leaving(sale), today=today, by=by)
    if plugs:
        part_with(plugs=list(plugs.values()), fate=Fate.SOLD, on=on, today=today, by=by)
    for colony in colonies.values():
        end_colony(colony=colony, reason=EndReason.SOLD, on=on, today=today, by=by)
    sale.left_on, sale.left_how = on, how
    note_whether_paid(sale, today=today)
    return keep(sale, "left_on", "left_how", "paid_on", by=by)


def send(**told) -> Sale:
    """Everything in the sale is on its way. Takes and raises what `hand_over` does."""
    return hand_over(how=Sale.Leaving.SENT, **told)


@transaction.atomic
def undo_handing_over(*, sale: Sale, today: date, by=None) -> Sale:
    """A slip of today: it did not leave after all. Plugs and colonies are kept again, still reserved in the sale.

    Plugs go back to their cells where these are still free; colonies are put at a spot anew. Holds of the buyer that
    ended with it go on. Raises AlreadyDone for one that did not leave, is closed, left before today, had something come
    back, or has a claim.
    """
    sale, _, plugs, colonies = locked_sale(sale)
    refuse_cancelled(sale)
    if sale.left_on is None:
        raise AlreadyDone(f"Sale {sale.pk} has not left.")
    if sale.closed_on:
        raise AlreadyDone(f"Sale {sale.pk} is closed; what left in it stays gone.")
    if not recorded_today(sale, "left_on", today):
        raise AlreadyDone(
            f"Sale {sale.pk} left on {date_format(sale.left_on)}; only what was handed over today can be undone. "
            "What comes back is recorded as a return."
        )
    if Claim.objects.filter(line__sale=sale).exists():
        raise AlreadyDone(f"There is a claim for sale {sale.pk}, so it did leave.")
    if Safekeeping.objects.filter(plug__in=plugs, ended_on=None).exists():
        raise AlreadyDone(f"Something of sale {sale.pk} is in safekeeping with {sale.contact}; end that first.")
    for plug in plugs.values():
        take_back_parting(plug=plug, by=by)
    for colony in colonies.values():
        bring_back_colony(colony=colony, by=by)
    ended = Hold.objects.filter(plug__in=plugs, contact=sale.contact, released_on__isnull=False, until__gte=today)
    for hold in ended.filter(note__endswith=f" in sale {sale.pk}").order_by("plug", "-id").select_related("plug"):
        if hold.plug.is_ready(today) and not hold.plug.holds.filter(released_on=None).exists():
            hold.released_on = None
            hold.note = hold.note.rpartition("Sold to ")[0].removesuffix(". ")
            hold._history_user = by
            hold.save(update_fields=["released_on", "note"])
    sale.left_on, sale.left_how = None, ""
    return keep(sale, "left_on", "left_how", by=by)


@transaction.atomic
def sell_now(
    *,
    contact: Contact,
    items: Iterable[SaleItem],
    today: date,
    on: date | None = None,
    paid: bool = True,
    method: str = Payment.Method.CASH,
    discount: Decimal = Decimal(0),
    percent: Decimal | None = None,
    note: str = "",
    submission: UUID | None = None,
    confirmed: bool = True,
    by=None,
) -> Sale:
    """At a market, in one act: agreed, paid in full unless ``paid`` is off, and handed over. All of it or nothing.

    The same ``submission`` finds the sale it made. Raises as `begin_sale`, `take_payment` and `hand_over`.
    """
    sale = begin_sale(
        contact=contact,
        items=items,
        today=today,
        on=on,
        discount=discount,
        percent=percent,
        note=note,
        submission=submission,
        confirmed=confirmed,
        by=by,
    )
    if sale.left_on or sale.cancelled_on:
        return sale
    sale = agree_sale(sale=sale, today=today, on=on, by=by)
    owed = totals(sale).owed
    if paid and owed:
        take_payment(sale=sale, amount=owed, method=method, today=today, on=on, by=by)
    return hand_over(sale=sale, today=today, on=on, by=by)


@transaction.atomic
def sell_now_to(*, contact_name: str, is_somebody_new: bool, by=None, **told) -> Sale:
    """As `sell_now`, to whoever has this name; a refusal leaves no contact. Raises also NearlyTheSameName."""
    return sell_now(contact=contact_named(name=contact_name, confirmed=is_somebody_new, by=by), by=by, **told)


@transaction.atomic
def undo_selling_now(*, sale: Sale, today: date, by=None) -> Sale:
    """A slip of today at the market: nothing left, nothing was paid, the sale is called off.

    What they had paid for holds before becomes their credit. Raises AlreadyDone as `undo_handing_over`.
    """
    sale = undo_handing_over(sale=sale, today=today, by=by)
    for payment in sale.payments.filter(withdrawn_at=None, kind=Payment.Kind.PAYMENT).order_by("-id"):
        withdraw_payment(payment=payment, today=today, by=by)
    return cancel_sale(sale=sale, today=today, settle="credit", by=by)
