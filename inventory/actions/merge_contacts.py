"""Two contacts found to be one person."""

from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils.formats import date_format
from simple_history.utils import bulk_update_with_history

from inventory.actions.keep_contact import refuse_forgotten
from inventory.actions.sale_steps import locked_things
from inventory.models import (
    AcquisitionTerms,
    Contact,
    Credit,
    Hold,
    Safekeeping,
    Sale,
    SaleLine,
    Trade,
    TradeLine,
    Waiting,
)
from propagation.errors import AlreadyDone, BadValue, ChangedMeanwhile
from propagation.models import Acquisition

# What stands between a contact and the keeper: every record that points at a contact, by the name it has there.
RECORDS = {
    "holds": Hold,
    "waiting": Waiting,
    "sales": Sale,
    "trades": Trade,
    "safekeepings": Safekeeping,
    "credits": Credit,
    "acquisitions": AcquisitionTerms,
}
AT_ONCE = 500  # rows in one statement
LONGEST_REACH = Contact._meta.get_field("reach").max_length


@dataclass(frozen=True)
class Particulars:
    """How to reach somebody and what is noted of them."""

    reach: str
    note: str


def particulars_of_both(contact: Contact, into: Contact) -> Particulars:
    """What is known of two contacts, as of one; nothing is lost, and what both say is said once."""
    ours, theirs = into.reach.strip(), contact.reach.strip()
    ways = [way for way in (ours, theirs) if way]
    if theirs.casefold() in [way.strip() for way in ours.casefold().split(";")]:
        ways = [ours] if ours else []
    reach, beyond = "; ".join(ways), ""
    if len(reach) > LONGEST_REACH:
        reach, beyond = ours, f"Also reached: {theirs}"
    notes = [into.note.strip()]
    if contact.note.strip() not in into.note:
        notes.append(contact.note.strip())
    return Particulars(reach, "\n\n".join(note for note in [*notes, beyond] if note))


def lock_with_records(*contacts: Contact) -> list[Contact]:
    """Contacts as they are now, locked after all that stands between them and the keeper, in the order of every act.

    Raises ChangedMeanwhile if something came between in this very moment.
    """
    ids = [contact.pk for contact in contacts]
    before = _ids_of_records(ids)
    lines = SaleLine.objects.filter(sale__contact__in=ids)
    traded = TradeLine.objects.filter(trade__contact__in=ids)
    plug_ids, colony_ids = set(), set()
    for rows in (Hold, Waiting, Safekeeping):
        plug_ids |= set(rows.objects.filter(contact__in=ids).values_list("plug", flat=True))
    for plug, colony in [*lines.values_list("plug", "colony"), *traded.values_list("plug", "colony")]:
        plug_ids.add(plug)
        colony_ids.add(colony)
    locked_things(plug_ids=plug_ids - {None}, colony_ids=colony_ids - {None})
    for rows in (
        Sale.objects.filter(contact__in=ids),
        Trade.objects.filter(contact__in=ids),
        Acquisition.objects.filter(terms__contact__in=ids),
    ):
        list(rows.select_for_update(of=("self",)).order_by("pk").only("pk"))
    found = {each.pk: each for each in Contact.objects.select_for_update().filter(pk__in=ids).order_by("pk")}
    if _ids_of_records(ids) != before:
        raise ChangedMeanwhile(f"What stands between you and {contacts[0]}")
    return [found[pk] for pk in ids]


def _ids_of_records(ids: list[int]) -> dict[str, set[int]]:
    return {
        name: set(model.objects.filter(contact__in=ids).values_list("pk", flat=True)) for name, model in RECORDS.items()
    }


def needless_waiting(contact: Contact, into: Contact, today: date) -> list[Waiting]:
    """Places in line that end once the two are one person: the later of two for one plug, and those for what they have.

    Three queries.
    """
    both = [contact.pk, into.pk]
    places = Waiting.objects.filter(contact__in=both, ended_on=None).select_related("plug").order_by("since", "id")
    has = set(Hold.objects.active_on(today).filter(contact__in=both).values_list("plug", flat=True))
    has |= set(SaleLine.objects.binding().filter(sale__contact__in=both).values_list("plug", flat=True))
    found = []
    for waiting in places:
        if waiting.plug_id in has:
            found.append(waiting)
        has.add(waiting.plug_id)
    return found


def _refuse_merged(contact: Contact) -> None:
    if contact.merged_into_id is not None:
        raise AlreadyDone(
            f"{contact} was merged into {contact.merged_into} already. Open {contact.merged_into} and look again."
        )


@transaction.atomic
def merge_contacts(*, contact: Contact, into: Contact, today: date, by=None) -> Contact:
    """A contact is the same person as another: all it had is that one's, and it stays for its history alone.

    Where both wait for one plug the earlier place stays. How to reach them and the notes of both are kept. Merged twice
    is merged once. Raises BadValue for one and the same contact or for whoever was not named at the market, AlreadyDone
    if either was merged into another, ContactForgotten, ChangedMeanwhile.
    """
    if contact.pk == into.pk:
        raise BadValue(f"{contact} is this contact itself; choose the other one.", field="name")
    for each in (contact, into):
        if each.is_nobody_named:
            raise BadValue(
                f"“{each}” stands for everybody who gave no name at the market, so it is nobody. Rename it first, "
                "if all it bought went to one.",
                field="name",
            )
    contact, into = lock_with_records(contact, into)
    if contact.merged_into_id == into.pk:
        return into
    for each in (contact, into):
        refuse_forgotten(each)
        _refuse_merged(each)
    # By numbers: a name in a reason would outlive the wish to be forgotten.
    reason = f"contact {contact.pk} merged into contact {into.pk} on {date_format(today)}"
    told = {"batch_size": AT_ONCE, "default_user": by, "default_change_reason": reason}
    ended = needless_waiting(contact, into, today)
    for waiting in ended:
        waiting.ended_on = today
    bulk_update_with_history(ended, Waiting, ["ended_on"], **told)
    for name, model in RECORDS.items():
        rows = list(getattr(contact, name).all())
        for row in rows:
            row.contact = into
        bulk_update_with_history(rows, model, ["contact"], **told)
    known = particulars_of_both(contact, into)
    into.reach, into.note = known.reach, known.note
    for each in contact.merged.all():  # no chains: whoever was this one is the other one
        each.merged_into = into
        each._history_user, each._change_reason = by, reason
        each.save(update_fields=["merged_into"])
    contact.merged_into = into
    for each, fields in ((contact, ["merged_into"]), (into, ["reach", "note"])):
        each._history_user, each._change_reason = by, reason
        each.save(update_fields=fields)
    return into
