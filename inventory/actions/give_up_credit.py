"""What a contact may still take in goods comes to its end without goods: they give it up."""

from datetime import date

from django.db import transaction

from inventory.actions.keep_contact import locked_contact
from inventory.models import Contact, Credit
from inventory.readings.sales import credit_of
from propagation.errors import AlreadyDone


@transaction.atomic
def give_up_credit(*, contact: Contact, currency: str, today: date, by=None) -> Credit:
    """A contact gives up all their credit in a currency; no money moves.

    Raises AlreadyDone if there is none, ContactForgotten.
    """
    contact = locked_contact(contact)
    amount = credit_of(contact, currency)
    if amount <= 0:
        raise AlreadyDone(f"{contact} has no credit in {currency} any more.")
    credit = Credit(contact=contact, amount=-amount, currency=currency, on=today, note="Given up")
    credit._history_user = by
    credit.save()
    return credit
