"""What a contact may still take in goods is paid to them instead."""

from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from inventory.actions.keep_contact import locked_contact
from inventory.actions.sale_steps import checked_note
from inventory.models import Contact, Credit, Payment
from inventory.money import checked_amount, write_amount
from inventory.readings.sales import credit_of
from propagation.actions.days import check_day
from propagation.errors import AlreadyDone, BadValue

LONGEST_NOTE = Credit._meta.get_field("note").max_length


@transaction.atomic
def pay_out_credit(
    *,
    contact: Contact,
    amount: Decimal,
    currency: str,
    today: date,
    on: date | None = None,
    method: str = Payment.Method.CASH,
    note: str = "",
    submission: UUID | None = None,
    by=None,
) -> Credit:
    """Credit of a contact is paid out, all of it or a part, never more than there is.

    The same ``submission`` finds what it paid out. Raises BadAmount, BadValue, BadDate for a day in the future or
    before there was any credit, AlreadyDone for a form that paid out something else, ContactForgotten.
    """
    contact, on = locked_contact(contact), on or today
    amount = checked_amount(amount, currency=currency, what="The amount")
    if not amount:
        raise BadValue("Say how much; nothing cannot be paid out.", field="amount")
    if method not in dict(Credit.PAID_OUT_BY):
        raise BadValue(
            f"“{method}” is no way to pay out; use one of {', '.join(dict(Credit.PAID_OUT_BY))}.", field="method"
        )
    if submission and (earlier := Credit.objects.filter(submission=submission).first()):
        return _paid_out_with(earlier, amount=-amount, paid_out_by=method, on=on)
    has = credit_of(contact, currency)
    if amount > has:
        raise BadValue(
            f"{contact} has {write_amount(has, currency)} of credit, not {write_amount(amount, currency)}."
            if has
            else f"{contact} has no credit in {currency} any more.",
            field="amount",
        )
    first = Credit.objects.filter(contact=contact, currency=currency, amount__gt=0).order_by("on").first()
    check_day(on, today=today, what="Paying out", not_before=first.on, because="their first credit was given")
    credit = Credit(
        contact=contact,
        amount=-amount,
        currency=currency,
        on=on,
        paid_out_by=method,
        note=checked_note(note, LONGEST_NOTE).strip(),
        submission=submission,
    )
    credit._history_user = by
    credit.save()
    return credit


def _paid_out_with(credit: Credit, **told) -> Credit:
    """What this form paid out when it was sent before. Raises AlreadyDone if it was withdrawn, or says more now."""
    amount = write_amount(-credit.amount, credit.currency)
    if credit.withdrawn_at is not None:
        raise AlreadyDone(f"This form paid out {amount}, and that was withdrawn. Open it anew to pay out.")
    if any(getattr(credit, name) != value for name, value in told.items()):
        raise AlreadyDone(f"This form paid out {amount} already. Open it anew to pay out more.")
    return credit


@transaction.atomic
def withdraw_pay_out(*, credit: Credit, by=None) -> Credit:
    """It was written by mistake: nothing was paid out, and the contact has the credit again; it stays in the history.

    Raises AlreadyDone for what was withdrawn before, BadValue for credit that was not paid out, ContactForgotten.
    """
    contact = locked_contact(Contact.objects.get(credits=credit))
    credit = Credit.objects.get(pk=credit.pk)
    if not credit.paid_out_by:
        raise BadValue("That credit was not paid out, so there is nothing to withdraw.")
    if credit.withdrawn_at is not None:
        raise AlreadyDone(f"What was paid out to {contact} was withdrawn already.")
    credit.withdrawn_at = timezone.now()
    credit._history_user = by
    credit.save(update_fields=["withdrawn_at"])
    return credit
