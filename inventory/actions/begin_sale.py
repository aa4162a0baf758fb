"""A sale until it leaves: begun with what it reserves, changed, agreed, closed, or called off."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.timezone import localdate
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from inventory.actions.keep_contact import contact_named, locked_contact, refuse_credit_of_nobody
from inventory.actions.pay_sale import deposits_of_holds, give_back
from inventory.actions.sale_steps import (
    MOST_LINES,
    SaleItem,
    ask_about,
    checked_note,
    end_holds,
    keep,
    locked_sale,
    locked_things,
    note_whether_paid,
    open_holds_of,
    refuse_cancelled,
    refuse_gone,
    refuse_left,
    refuse_taken,
)
from inventory.errors import MoneyToSettle, PlugInSale
from inventory.models import Book, Contact, Payment, Sale, SaleLine
from inventory.money import checked_amount, round_amount, write_amount
from inventory.readings.availability import with_price
from propagation.actions.days import check_day
from propagation.errors import AlreadyDone, BadValue, ChangedMeanwhile
from propagation.models import Plug

LONGEST_NOTE = Sale._meta.get_field("note").max_length
NOTHING = Decimal(0)
SETTLE = ("refund", "credit")


def usual_prices(plugs: Iterable[Plug], currency: str) -> dict[int, Decimal | None]:
    """What plugs usually cost by id: their own price, or their lineage's, or None. One query."""
    found = with_price(Plug.objects.filter(pk__in=[plug.pk for plug in plugs])).values_list("pk", "price")
    return {pk: None if price is None else round_amount(price, currency) for pk, price in found}


def percent_of(items: Iterable[SaleItem], percent: Decimal, currency: str) -> Decimal:
    """A discount of so many percent on priced items; each line is rounded by itself."""
    return sum((round_amount((item.price - item.discount) * percent / 100, currency) for item in items), NOTHING)


@transaction.atomic
def begin_sale(
    *,
    contact: Contact,
    items: Iterable[SaleItem],
    today: date,
    on: date | None = None,
    discount: Decimal = NOTHING,
    percent: Decimal | None = None,
    shipping: Decimal = NOTHING,
    note: str = "",
    submission: UUID | None = None,
    confirmed: bool = True,
    by=None,
) -> Sale:
    """Begin a sale: a draft that reserves its plugs and colonies for the contact, all of them or none.

    What they paid as a deposit on holds of these plugs counts from now on. ``percent`` is a discount on every line
    instead of ``discount``. The same ``submission`` finds the sale it began. ``confirmed=False`` raises SaleToConfirm
    for plugs held for others, set aside, or not healed; confirmed, holds of others end. Raises also PlugGone,
    PlugInSale, PlugTraded, AlreadyDone, BadValue, BadAmount, BadDate.
    """
    items = _each_once(items)
    plugs, colonies = locked_things(
        plug_ids=[item.plug.pk for item in items if item.plug],
        colony_ids=[item.colony.pk for item in items if item.colony],
    )
    if submission and (begun := Sale.objects.filter(submission=submission).select_related("contact").first()):
        return _begun_with(begun, items)
    if not items:
        raise BadValue("Choose at least one plug or colony to sell.", field="plugs")
    contact = locked_contact(contact)
    day = on or today
    check_day(day, today=today, what="A sale")
    currency = Book.current().currency
    refuse_taken(plugs.values(), colonies.values())
    holds = open_holds_of(plugs.values())
    if not confirmed:
        ask_about(plugs.values(), holds, contact, today)
    items = _priced(items, currency)
    if percent is not None:
        discount = percent_of(items, _checked_percent(percent), currency)
    sale = Sale(
        contact=contact,
        currency=currency,
        begun_on=day,
        discount=checked_amount(discount, currency=currency, what="The discount", field="discount"),
        shipping=checked_amount(shipping, currency=currency, what="The shipping", field="shipping"),
        note=checked_note(note, LONGEST_NOTE),
        submission=submission,
        made_by=by,
    )
    _check_discount(sale, items)
    sale._history_user = by
    try:
        with transaction.atomic():
            sale.save()
    except IntegrityError:  # the same form, with other plugs, in the same moment
        if begun := Sale.objects.filter(submission=submission).first():
            return _begun_with(begun, items)
        raise
    _put_in(sale, items, holds=holds, today=today, by=by)
    note_whether_paid(sale, today=today)
    return keep(sale, "paid_on", by=by) if sale.paid_on else sale


@transaction.atomic
def begin_sale_to(*, contact_name: str, is_somebody_new: bool, by=None, **told) -> Sale:
    """Begin a sale to whoever has this name, met now if they were not known; a refusal leaves no contact.

    Raises as `begin_sale`, and NearlyTheSameName unless a new name is said to be somebody new.
    """
    return begin_sale(contact=contact_named(name=contact_name, confirmed=is_somebody_new, by=by), by=by, **told)


@transaction.atomic
def change_sale(
    *,
    sale: Sale,
    items: Iterable[SaleItem],
    today: date,
    discount: Decimal = NOTHING,
    percent: Decimal | None = None,
    shipping: Decimal = NOTHING,
    note: str = "",
    based_on: int | None = None,
    confirmed: bool = True,
    by=None,
) -> Sale:
    """What the sale is from now on: these items and no others, at these prices. Lines left out free what they named.

    Raises as `begin_sale`, AlreadyDone for a sale that left or was called off, and ChangedMeanwhile if it was changed
    after ``based_on``.
    """
    items = _each_once(items)
    sale, lines, plugs, colonies = locked_sale(
        sale,
        based_on=based_on,
        also_plugs=[item.plug for item in items if item.plug],
        also_colonies=[item.colony for item in items if item.colony],
    )
    refuse_left(sale)
    if not items:
        raise BadValue("A sale needs at least one plug or colony; to drop it, call it off.", field="plugs")
    standing = {_key_of(line): line for line in lines}
    new = [item for item in items if item.key not in standing]
    new_plugs = [plugs[item.plug.pk] for item in new if item.plug]
    refuse_taken(new_plugs, [colonies[item.colony.pk] for item in new if item.colony])
    holds = open_holds_of(new_plugs)
    if not confirmed:
        ask_about(new_plugs, holds, sale.contact, today)
    items = _priced(items, sale.currency)
    if percent is not None:
        discount = percent_of(items, _checked_percent(percent), sale.currency)
    sale.discount = checked_amount(discount, currency=sale.currency, what="The discount", field="discount")
    sale.shipping = checked_amount(shipping, currency=sale.currency, what="The shipping", field="shipping")
    sale.note = checked_note(note, LONGEST_NOTE)
    _check_discount(sale, items)
    by_key = {item.key: item for item in items}
    changed = []
    for key, line in standing.items():
        item = by_key.get(key)
        if item is None:
            line.cancelled_on = today
        elif (line.price, line.discount) == (item.price, item.discount):
            continue
        else:
            line.price, line.discount = item.price, item.discount
        changed.append(line)
    bulk_update_with_history(changed, SaleLine, ["price", "discount", "cancelled_on"], default_user=by)
    _put_in(sale, [item for item in items if item.key not in standing], holds=holds, today=today, by=by)
    note_whether_paid(sale, today=today)
    return keep(sale, "discount", "shipping", "note", "paid_on", by=by)


def _begun_with(sale: Sale, items: list[SaleItem]) -> Sale:
    """The sale this form began when it was sent before. Raises AlreadyDone if the form now asks for more."""
    had = {("plug", plug) if plug else ("colony", colony) for plug, colony in sale.lines.values_list("plug", "colony")}
    if {item.key for item in items} <= had:
        return sale
    raise AlreadyDone(
        f"Sale {sale.pk} to {sale.contact} was begun with this form already, without all of this. "
        "Put the rest into that sale, or begin a new one from the ready list."
    )


def _each_once(items: Iterable[SaleItem]) -> list[SaleItem]:
    items = list({item.key: item for item in items}.values())
    if len(items) > MOST_LINES:
        raise BadValue(f"{len(items)} plugs are too many for one sale; {MOST_LINES} fit.", field="plugs")
    return items


def _key_of(line: SaleLine) -> tuple[str, int]:
    return ("plug", line.plug_id) if line.plug_id else ("colony", line.colony_id)


def _checked_percent(percent: Decimal) -> Decimal:
    if not percent.is_finite() or not 0 <= percent <= 100:
        raise BadValue(f"A discount is 0 to 100 percent, not {percent}.", field="discount")
    return percent


def _priced(items: list[SaleItem], currency: str) -> list[SaleItem]:
    """The items with checked prices; what has none of its own gets its usual one. One query if any lacks it."""
    bare = [item.plug for item in items if item.price is None and item.plug]
    usual = usual_prices(bare, currency) if bare else {}
    priced = []
    for item in items:
        what = item.plug.code_in_clear if item.plug else item.colony.tag
        price = item.price if item.price is not None else usual.get(item.plug.pk) if item.plug else None
        if price is None:
            raise BadValue(f"{what} has no price yet; say what it costs, 0 if nothing.", field="price")
        price = checked_amount(price, currency=currency, what=f"The price of {what}", field="price")
        less = checked_amount(item.discount, currency=currency, what=f"The discount on {what}", field="discount")
        if less > price:
            raise BadValue(
                f"The discount on {what}, {write_amount(less, currency)}, is more than its price of "
                f"{write_amount(price, currency)}.",
                field="discount",
            )
        priced.append(SaleItem(plug=item.plug, colony=item.colony, price=price, discount=less))
    return priced


def _check_discount(sale: Sale, items: list[SaleItem]) -> None:
    goods = sum((item.price - item.discount for item in items), NOTHING)
    if sale.discount > goods:
        raise BadValue(
            f"The discount of {write_amount(sale.discount, sale.currency)} is more than all of it costs, "
            f"{write_amount(goods, sale.currency)}.",
            field="discount",
        )


def _put_in(sale: Sale, items: list[SaleItem], *, holds, today: date, by) -> None:
    """Make the lines; holds of others end, and what was paid for holds of theirs becomes a payment of the sale."""
    if not items:
        return
    others = [hold for hold in holds if hold.contact_id != sale.contact_id]
    end_holds(others, words=f"Promised to {sale.contact} in sale {sale.pk}", today=today, by=by)
    lines = [
        SaleLine(sale=sale, plug=item.plug, colony=item.colony, price=item.price, discount=item.discount)
        for item in items
    ]
    try:
        with transaction.atomic():
            bulk_create_with_history(lines, SaleLine, default_user=by)
    except IntegrityError as error:  # somebody wrote rows past the locks
        plugs = [item.plug for item in items if item.plug]
        taken = SaleLine.objects.standing().filter(plug__in=plugs).exclude(sale=sale)
        in_the_way = list(taken.select_related("plug", "sale__contact"))
        raise (PlugInSale(in_the_way) if in_the_way else ChangedMeanwhile("One of the plugs")) from error
    deposits_of_holds(sale, [item.plug for item in items if item.plug], today=today, by=by)


@transaction.atomic
def agree_sale(*, sale: Sale, today: date, on: date | None = None, by=None) -> Sale:
    """Both said yes. Agreed twice is agreed once. Raises AlreadyDone, BadDate."""
    sale, lines, *_ = locked_sale(sale)
    refuse_cancelled(sale)
    if sale.agreed_on:
        return sale
    sale.agreed_on = _day_of(sale, on or today, today, "Agreeing on it")
    refuse_gone(lines)
    note_whether_paid(sale, today=today)
    return keep(sale, "agreed_on", "paid_on", by=by)


def _day_of(sale: Sale, day: date, today: date, what: str) -> date:
    check_day(day, today=today, what=what, not_before=sale.begun_on, because="the sale was begun")
    return day


@transaction.atomic
def close_sale(*, sale: Sale, today: date, confirmed: bool = True, by=None) -> Sale:
    """Nothing is left to do: what is owed is owed no more. Closed twice is closed once.

    Raises AlreadyDone for one that was called off, BadValue for one that has not left, and with ``confirmed=False``
    MoneyToSettle if something is still owed.
    """
    sale, *_ = locked_sale(sale)
    refuse_cancelled(sale)
    if sale.closed_on:
        return sale
    if sale.left_on is None:
        raise BadValue(f"Sale {sale.pk} has not left yet; hand it over first, or call it off.")
    sums = note_whether_paid(sale, today=today)
    if sums.too_much:
        raise BadValue(
            f"{write_amount(sums.too_much, sale.currency)} too much was paid for sale {sale.pk}; give it back first."
        )
    if sums.owed and not confirmed:
        raise MoneyToSettle(sale, write_amount(sums.owed, sale.currency), still_owed=True)
    sale.closed_on = max(today, sale.left_on)
    return keep(sale, "closed_on", "paid_on", by=by)


@transaction.atomic
def reopen_sale(*, sale: Sale, by=None) -> Sale:
    """It was not done after all. Raises AlreadyDone if it is not closed."""
    sale, *_ = locked_sale(sale)
    if sale.closed_on is None:
        raise AlreadyDone(f"Sale {sale.pk} is not closed.")
    sale.closed_on = None
    return keep(sale, "closed_on", by=by)


@transaction.atomic
def cancel_sale(
    *, sale: Sale, today: date, settle: str | None = None, method: str = Payment.Method.CASH, by=None
) -> Sale:
    """The sale is called off: its plugs and colonies are free. Called off twice is called off once.

    What was paid is given back (``settle="refund"``, by ``method``) or kept as their credit (``"credit"``); what came
    from their credit goes back to it. Raises MoneyToSettle if something was paid and neither is said, AlreadyDone for
    a sale that left, BadValue.
    """
    sale, lines, *_ = locked_sale(sale)
    if sale.cancelled_on:
        return sale
    refuse_left(sale)
    if settle not in (None, *SETTLE):
        raise BadValue(f"“{settle}” is no way to settle; use one of {', '.join(SETTLE)}.", field="settle")
    sums = note_whether_paid(sale, today=today)
    if settle is None and sums.in_money:
        raise MoneyToSettle(sale, write_amount(sums.received, sale.currency))
    to_credit, rest = sums.to_credit, sums.in_money
    if settle == "credit":
        if rest:
            refuse_credit_of_nobody(sale.contact, field="settle")
        to_credit, rest = to_credit + rest, NOTHING
    note = "The sale was called off"
    if to_credit:
        give_back(sale, to_credit, method=Payment.Method.CREDIT, on=today, note=note, by=by)
    if rest:
        if method == Payment.Method.CREDIT:
            raise BadValue("Say how it is given back, or keep it as their credit.", field="method")
        give_back(sale, rest, method=method, on=today, note=note, by=by)
    for line in lines:
        line.cancelled_on = today
    bulk_update_with_history(lines, SaleLine, ["cancelled_on"], default_user=by)
    sale.cancelled_on, sale.paid_on = today, None
    return keep(sale, "cancelled_on", "paid_on", by=by)


def recorded_today(sale: Sale, field: str, today: date) -> bool:
    """Is the day in this field today's, or was it written down today? One query or none."""
    if getattr(sale, field) == today:
        return True
    missing = sale.history.filter(**{field: None}).order_by("-history_id").values_list("history_id", flat=True).first()
    first = sale.history.filter(history_id__gt=missing or 0).order_by("history_id").first()
    return first is not None and localdate(first.history_date) == today
