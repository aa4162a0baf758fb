"""Money paid beforehand for a hold: it counts towards the sale of the plug, or is given back, or kept as credit."""

from datetime import date
from decimal import Decimal

from django.db import transaction

from inventory.models import Book, Credit, Hold
from inventory.money import checked_amount, write_amount
from propagation.errors import AlreadyDone, BadValue
from propagation.models import Plug

SETTLE = {"refund": Hold.DepositFate.GIVEN_BACK, "credit": Hold.DepositFate.CREDIT}


def _locked(hold: Hold) -> Hold:
    """The hold as it is now, its plug locked first as in every act on holds."""
    Plug.objects.select_for_update().get(pk=hold.plug_id)
    return Hold.objects.select_related("plug", "contact").get(pk=hold.pk)


def _keep(hold: Hold, *fields: str, by) -> Hold:
    hold._history_user = by
    hold.save(update_fields=list(fields))
    return hold


@transaction.atomic
def take_hold_deposit(*, hold: Hold, amount: Decimal, today: date, by=None) -> Hold:
    """They paid this for a hold that binds; sent twice it is taken once.

    Raises AlreadyDone if the hold ended or another amount lies on it, BadAmount, BadValue for nothing.
    """
    hold = _locked(hold)
    currency = Book.locked().currency  # it does not change while a deposit is written down
    amount = checked_amount(amount, currency=currency, what="The deposit")
    if not amount:
        raise BadValue("Say how much; nothing is no deposit.", field="amount")
    if not hold.is_active(today):
        raise AlreadyDone(f"The hold of {hold.plug} for {hold.contact} has ended; hold it again, then write it down.")
    if hold.deposit_lies:
        if hold.deposit == amount:
            return hold
        raise AlreadyDone(
            f"{write_amount(hold.deposit, currency)} was paid for this hold already. Give that back first, or take the "
            "rest in the sale."
        )
    hold.deposit, hold.deposit_currency, hold.deposit_fate = amount, currency, Hold.DepositFate.LIES
    return _keep(hold, "deposit", "deposit_currency", "deposit_fate", by=by)


@transaction.atomic
def settle_hold_deposit(*, hold: Hold, how: str, today: date, by=None) -> Hold:
    """What lies on a hold is given back (``refund``) or becomes their credit (``credit``); the hold goes on as it is.

    Raises AlreadyDone if nothing lies on it, for it may have become a part of a sale; BadValue.
    """
    if how not in SETTLE:
        raise BadValue(f"“{how}” is no way to settle; use one of {', '.join(SETTLE)}.", field="how")
    hold = _locked(hold)
    if not hold.deposit_lies:
        raise AlreadyDone(f"No deposit lies on the hold of {hold.plug} for {hold.contact} any more.")
    if how == "credit":
        credit = Credit(
            contact=hold.contact,
            amount=hold.deposit,
            currency=hold.deposit_currency,
            on=today,
            note=f"Deposit of the hold of {hold.plug.code_in_clear}",
        )
        credit._history_user = by
        credit.save()
    hold.deposit_fate = SETTLE[how]
    return _keep(hold, "deposit_fate", by=by)
