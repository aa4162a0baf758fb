"""Living copies that contacts keep for the owner: left with them, asked after, and how each ends."""

from datetime import date, timedelta
from uuid import UUID

from django.db import transaction
from django.utils.formats import date_format

from inventory.actions.acquire_from import Deal, acquire_colony_from, acquire_plugs_from
from inventory.actions.keep_contact import contact_named, locked_contact
from inventory.actions.let_go import let_go
from inventory.actions.sale_steps import checked_note
from inventory.models import Contact, Safekeeping
from propagation.actions.days import check_day
from propagation.actions.part_with import LEFT
from propagation.errors import AlreadyDone, BadValue
from propagation.models import Acquisition, Fate, Plug, Spot

LONGEST_NOTE = Safekeeping._meta.get_field("note").max_length
FEWEST_DAYS, MOST_DAYS = 1, 730
# How often one asks after a coral; common practice, no source.
USUAL_DAYS = Safekeeping._meta.get_field("ask_every_days").default
AS_ITSELF, AS_A_FRAG = "itself", "frag"


@transaction.atomic
def leave_with(
    *,
    plug: Plug,
    contact: Contact,
    on: date,
    today: date,
    ask_every_days: int = USUAL_DAYS,
    note: str = "",
    confirmed: bool = True,
    by=None,
) -> Safekeeping:
    """A plug goes to a contact who keeps it alive for the owner; it leaves as given away and is asked after.

    A plug that left already, also in a sale or a trade, stays as it is and is asked after from then on. Done twice for
    the same contact is done once. Raises AlreadyDone if somebody keeps it already, BadValue, BadDate, and what `let_go`
    raises; with ``confirmed=False`` also LeavingToConfirm.
    """
    if not FEWEST_DAYS <= ask_every_days <= MOST_DAYS:
        raise BadValue(
            f"Asking after it every {ask_every_days} days cannot be right; give {FEWEST_DAYS} to {MOST_DAYS} days.",
            field="ask_every_days",
        )
    checked_note(note, LONGEST_NOTE)
    plug = Plug.objects.select_for_update().get(pk=plug.pk)
    contact = locked_contact(contact)
    kept = Safekeeping.objects.filter(plug=plug, ended_on=None).select_related("contact").first()
    if kept is not None:
        if kept.contact_id == contact.pk:
            return kept
        raise AlreadyDone(
            f"{kept.contact} keeps plug {plug.code_in_clear} since {date_format(kept.since)}. "
            "End that first, if somebody else has it now."
        )
    if plug.fate in LEFT:
        check_day(on, today=today, what="Leaving it with them", not_before=plug.ended_on, because="it left")
        if plug.returns.exists():
            raise AlreadyDone(f"Plug {plug.code_in_clear} came back already; leave what came back with them instead.")
    else:
        (plug,) = let_go(plugs=[plug], fate=Fate.GIVEN, on=on, today=today, contact=contact, confirmed=confirmed, by=by)
    made = Safekeeping(
        contact=contact, plug=plug, since=on, asked_on=on, ask_every_days=ask_every_days, note=note.strip()
    )
    made._history_user = by
    made.save()
    return made


@transaction.atomic
def leave_with_name(*, contact_name: str, is_somebody_new: bool, by=None, **told) -> Safekeeping:
    """As `leave_with`, for whoever has this name; a refusal leaves no contact. Raises also NearlyTheSameName."""
    return leave_with(contact=contact_named(name=contact_name, confirmed=is_somebody_new, by=by), by=by, **told)


def _locked(safekeeping: Safekeeping) -> Safekeeping:
    """The safekeeping as it is now, its plug locked first. Raises AlreadyDone if it ended."""
    Plug.objects.select_for_update().get(pk=safekeeping.plug_id)
    found = Safekeeping.objects.select_related("plug__lineage", "contact").get(pk=safekeeping.pk)
    if found.ended_on is not None:
        raise AlreadyDone(
            f"{found.contact} keeps plug {found.plug.code_in_clear} no more: {found.get_outcome_display().lower()} on "
            f"{date_format(found.ended_on)}."
        )
    return found


def _check_day(found: Safekeeping, on: date, *, today: date, what: str) -> None:
    check_day(on, today=today, what=what, not_before=found.since, because=f"{found.contact} got it")


@transaction.atomic
def heard_of(*, safekeeping: Safekeeping, on: date, today: date, note: str | None = None, by=None) -> Safekeeping:
    """It was alive on a day, as far as the contact says; the next asking counts from there.

    An earlier day than the one known changes nothing. Raises AlreadyDone, BadDate, BadValue.
    """
    found = _locked(safekeeping)
    _check_day(found, on, today=today, what="Hearing of it")
    found.asked_on = max(on, found.asked_on or on)
    if note is not None:
        found.note = checked_note(note.strip(), LONGEST_NOTE)
    found._history_user = by
    found.save(update_fields=["asked_on", "note"])
    return found


def _end(found: Safekeeping, outcome: str, *, on: date, by) -> Safekeeping:
    found.ended_on, found.outcome = on, outcome
    found._history_user = by
    found.save(update_fields=["ended_on", "outcome"])
    return found


@transaction.atomic
def end_safekeeping(*, safekeeping: Safekeeping, outcome: str, on: date, today: date, by=None) -> Safekeeping:
    """It was lost there, or is theirs for good (`came_back` is another act). Raises AlreadyDone, BadDate, BadValue."""
    if outcome not in (Safekeeping.Outcome.LOST, Safekeeping.Outcome.THEIRS):
        raise BadValue(
            f"“{outcome}” is no way to end it; say that it was lost, or is theirs for good.", field="outcome"
        )
    found = _locked(safekeeping)
    _check_day(found, on, today=today, what="The end of it")
    return _end(found, outcome, on=on, by=by)


@transaction.atomic
def came_back(
    *,
    safekeeping: Safekeeping,
    on: date,
    today: date,
    how: str = AS_ITSELF,
    tag: str = "",
    count: int = 1,
    spot: Spot | None = None,
    rack: Spot | None = None,
    submission: UUID | None = None,
    by=None,
) -> Acquisition:
    """It came back: as itself, grown into a colony with a ``tag`` at a ``spot``; or as ``count`` frags of what it grew
    into, on a ``rack``. Without a tag what came back as itself is one plug.

    What comes is an acquisition that names the plug that left, so its thread of descent goes on. The same
    ``submission`` finds what it made. Raises AlreadyDone (also for a tag that was used before), BadDate, BadValue.
    """
    if submission and (earlier := Acquisition.objects.filter(submission=submission).first()):
        return earlier
    if how not in (AS_ITSELF, AS_A_FRAG):
        raise BadValue(f"“{how}” is no way to come back; say whether it is the whole of it or a frag.", field="how")
    if how == AS_A_FRAG and tag.strip():
        raise BadValue(
            "Frags have codes and no tag; leave the tag out, or say that it is the whole of it.", field="tag"
        )
    if how == AS_ITSELF and count != 1:
        raise BadValue(f"It was one plug, so as itself it comes back as one, not as {count}.", field="count")
    found = _locked(safekeeping)
    _check_day(found, on, today=today, what="Coming back")
    common = {
        "deal": Deal(on, Acquisition.Kind.RETURNED, found.contact.name),
        "lineage_name": "",
        "returned_plug": found.plug,
        "submission": submission,
        "today": today,
        "by": by,
    }
    if tag.strip():
        acquisition = acquire_colony_from(tag=tag, spot=spot, **common)
    else:
        acquisition = acquire_plugs_from(count=count, rack=rack, **common)
    _end(found, Safekeeping.Outcome.RETURNED, on=on, by=by)
    return acquisition


def due_on(safekeeping: Safekeeping) -> date:
    """The day on which the keeper asks after it next."""
    return (safekeeping.asked_on or safekeeping.since) + timedelta(days=safekeeping.ask_every_days)
