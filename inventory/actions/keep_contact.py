"""People one buys from, sells to, trades with."""

import re

from django.db import IntegrityError, transaction
from rapidfuzz import fuzz, process

from inventory.errors import ContactForgotten, NearlyTheSameName
from inventory.models import Contact
from inventory.readings.contacts import NEARLY_THE_SAME
from propagation.actions.changes import refuse_changed
from propagation.errors import AlreadyDone, BadValue, NameTaken

MOST_COMPARED = 5000
LONGEST_NAME = Contact._meta.get_field("name").max_length
FORGOTTEN = "Forgotten person"  # what is left of a name, with a number after it
OF_THE_FORGOTTEN = re.compile(rf"{FORGOTTEN} \d+", re.IGNORECASE)


def _alike(contact: Contact) -> list[Contact]:
    """Other contacts whose name, or one they went by before they were merged, is a slip away. One query."""
    rows = Contact.objects.filter(forgotten_on=None).exclude(pk=contact.pk).order_by("-pk")
    rows = list(rows.values_list("pk", "name", "merged_into", "merged_into__name")[:MOST_COMPARED])
    found = process.extract(
        contact.name,
        {pk: name for pk, name, *_ in rows},
        scorer=fuzz.ratio,
        processor=str.casefold,
        limit=3,
        score_cutoff=NEARLY_THE_SAME,
    )
    stands_for = {pk: (into or pk, into_name or name) for pk, name, into, into_name in rows}
    return [Contact(pk=pk, name=name) for pk, name in dict.fromkeys(stands_for[pk] for *_, pk in found)]


def refuse_forgotten(contact: Contact) -> None:
    if contact.forgotten_on is not None:
        raise ContactForgotten(contact)


def refuse_credit_of_nobody(contact: Contact, *, field: str, instead: str = "give the money back") -> None:
    """Raises BadValue, for *field*, for whoever was not named at the market."""
    if contact.is_nobody_named:
        raise BadValue(f"Credit of {contact} would be everybody's who is not named; {instead}.", field=field)


def locked_contact(contact: Contact) -> Contact:
    """A contact as it is now, neither merged nor forgotten until the act is done.

    Acts lock plugs, colonies and sales first and contacts last. Raises AlreadyDone for one that was merged into
    another, and ContactForgotten.
    """
    found = Contact.objects.select_for_update(no_key=True).get(pk=contact.pk)
    refuse_forgotten(found)
    if found.merged_into_id is not None:
        raise AlreadyDone(f"{found} was found to be the same person as {found.merged_into}; choose that name.")
    return found


@transaction.atomic
def keep_contact(*, contact: Contact, based_on: int | None = None, confirmed: bool = True, by=None) -> Contact:
    """Save a new contact, or the changed particulars of one.

    A name that another went by who was merged into this one may be taken; that one is then called what this was called.
    Raises BadValue without a name, NameTaken if another has it, ChangedMeanwhile if somebody else changed it after
    ``based_on``, AlreadyDone for one that was merged, ContactForgotten, and with ``confirmed=False`` NearlyTheSameName
    for a new contact that may be known already.
    """
    contact.name = " ".join(contact.name.split())
    if not contact.name:
        raise BadValue("Give the contact a name, or a nickname.", field="name")
    if len(contact.name) > LONGEST_NAME:
        raise BadValue(f"The name has {len(contact.name)} characters; {LONGEST_NAME} fit.", field="name")
    if OF_THE_FORGOTTEN.fullmatch(contact.name):
        raise BadValue(f"“{contact.name}” is kept for people who were forgotten; choose another name.", field="name")
    stored = None
    if contact.pk:
        stored = locked_contact(contact)
        refuse_changed(stored, based_on=based_on, what=f"The contact {stored.name}")
    taken = Contact.objects.filter(name__iexact=contact.name).exclude(pk=contact.pk).first()
    is_own = taken is not None and stored is not None and taken.merged_into_id == stored.pk
    if taken and not is_own:
        raise NameTaken("contact", taken.merged_into or taken, name=taken.name)
    if not confirmed and not contact.pk:
        alike = _alike(contact)
        if alike:
            raise NearlyTheSameName(contact.name, alike)
    contact._history_user = by
    try:
        with transaction.atomic():
            if is_own:
                Contact.objects.filter(pk=taken.pk).update(name=f"{taken.pk} {stored.name}"[:LONGEST_NAME])
            contact.save()
            if is_own:
                taken.name, taken._history_user = stored.name, by
                taken.save(update_fields=["name"])
    except IntegrityError as error:  # somebody was quicker
        other = Contact.objects.filter(name__iexact=contact.name).exclude(pk=contact.pk).first()
        if other is None:
            raise
        raise NameTaken("contact", other) from error
    return contact


@transaction.atomic
def contact_named(*, name: str, confirmed: bool = True, by=None) -> Contact:
    """The contact of this name, in whatever case it is typed; met now if they were not known.

    The name of one that was merged finds the one it went into. Raises BadValue, ContactForgotten, and with
    ``confirmed=False`` NearlyTheSameName for a new name that may be a slip.
    """
    known = Contact.objects.filter(name__iexact=" ".join(name.split())).select_related("merged_into").first()
    if known is None:
        return keep_contact(contact=Contact(name=name), confirmed=confirmed, by=by)
    refuse_forgotten(known)
    return known.merged_into or known
