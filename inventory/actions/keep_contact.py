"""People one buys from, sells to, trades with."""

from django.db import IntegrityError, transaction
from rapidfuzz import fuzz, process

from inventory.errors import NearlyTheSameName
from inventory.models import Contact
from propagation.actions.changes import refuse_changed
from propagation.errors import BadValue, NameTaken

NEARLY_THE_SAME = 85  # rapidfuzz ratio, 0-100; tried on names one slip apart
MOST_COMPARED = 5000
LONGEST_NAME = Contact._meta.get_field("name").max_length


def _alike(contact: Contact) -> list[Contact]:
    """Other contacts whose name is a slip away. One query."""
    others = dict(Contact.objects.exclude(pk=contact.pk).order_by("-pk").values_list("pk", "name")[:MOST_COMPARED])
    found = process.extract(
        contact.name, others, scorer=fuzz.ratio, processor=str.casefold, limit=3, score_cutoff=NEARLY_THE_SAME
    )
    return [Contact(pk=pk, name=name) for name, _, pk in found]


@transaction.atomic
def keep_contact(*, contact: Contact, based_on: int | None = None, confirmed: bool = True, by=None) -> Contact:
    """Save a new contact, or the changed particulars of one.

    Raises BadValue without a name, NameTaken if another has it, ChangedMeanwhile if somebody else changed it after
    ``based_on``, and with ``confirmed=False`` NearlyTheSameName for a new contact that may be known already.
    """
    contact.name = " ".join(contact.name.split())
    if not contact.name:
        raise BadValue("Give the contact a name, or a nickname.", field="name")
    if len(contact.name) > LONGEST_NAME:
        raise BadValue(f"The name has {len(contact.name)} characters; {LONGEST_NAME} fit.", field="name")
    if contact.pk:
        stored = Contact.objects.select_for_update().get(pk=contact.pk)
        refuse_changed(stored, based_on=based_on, what=f"The contact {stored.name}")
    taken = Contact.objects.filter(name__iexact=contact.name).exclude(pk=contact.pk).first()
    if taken:
        raise NameTaken("contact", taken)
    if not confirmed and not contact.pk:
        alike = _alike(contact)
        if alike:
            raise NearlyTheSameName(contact.name, alike)
    contact._history_user = by
    try:
        with transaction.atomic():
            contact.save()
    except IntegrityError as error:  # somebody was quicker
        other = Contact.objects.filter(name__iexact=contact.name).first()
        if other is None:
            raise
        raise NameTaken("contact", other) from error
    return contact


@transaction.atomic
def contact_named(*, name: str, confirmed: bool = True, by=None) -> Contact:
    """The contact of this name, in whatever case it is typed; met now if they were not known.

    Raises BadValue, and with ``confirmed=False`` NearlyTheSameName for a new name that may be a slip.
    """
    known = Contact.objects.filter(name__iexact=" ".join(name.split())).first()
    return known or keep_contact(contact=Contact(name=name), confirmed=confirmed, by=by)
