"""People one buys from, sells to, trades with."""

from django.db import IntegrityError, transaction

from inventory.models import Contact
from propagation.errors import AlreadyDone, BadValue


@transaction.atomic
def keep_contact(*, contact: Contact, by=None) -> Contact:
    """Save a contact. Raises AlreadyDone if another has the name, BadValue without one."""
    contact.name = contact.name.strip()
    if not contact.name:
        raise BadValue("Give the contact a name, or a nickname.", field="name")
    contact._history_user = by
    try:
        with transaction.atomic():
            contact.save()
    except IntegrityError as error:
        raise AlreadyDone(f"There is a contact named {contact.name} already.") from error
    return contact


@transaction.atomic
def contact_named(*, name: str, by=None) -> Contact:
    """The contact of this name, met now if they were not known."""
    known = Contact.objects.filter(name__iexact=name.strip()).first()
    return known or keep_contact(contact=Contact(name=name), by=by)
