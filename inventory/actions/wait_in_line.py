"""The line for a plug that somebody else has: getting in, giving up, and getting it."""

from datetime import date

from django.db import transaction
from django.utils.formats import date_format

from inventory.actions.hold_plugs import hold_plugs
from inventory.actions.keep_contact import contact_named, locked_contact
from inventory.models import Hold, SaleLine, Waiting
from propagation.errors import AlreadyDone, BadValue, PlugGone
from propagation.models import Plug

LONGEST_NOTE = Waiting._meta.get_field("note").max_length


@transaction.atomic
def wait_for(
    *, plug: Plug, contact_name: str, today: date, is_somebody_new: bool = False, note: str = "", by=None
) -> Waiting:
    """Put whoever has this name in line for a plug that is held, or in a sale, for somebody else.

    Who stands in that line already keeps their place, so a form sent twice does nothing twice. Raises PlugGone,
    BadValue for a plug that nobody has or that they have themselves, and NearlyTheSameName unless a new name is said to
    be somebody new.
    """
    if len(note) > LONGEST_NOTE:
        raise BadValue(f"The note has {len(note)} characters; {LONGEST_NOTE} fit.", field="note")
    plug = Plug.objects.select_for_update().get(pk=plug.pk)
    if not plug.is_kept:
        raise PlugGone(plug, "waited for")
    hold = Hold.objects.active_on(today).filter(plug=plug).first()
    line = SaleLine.objects.binding().filter(plug=plug).select_related("sale").first()
    if not hold and not line:
        raise BadValue(f"Nobody has {plug}, so there is no line; hold it for them instead.", field="contact_name")
    contact = locked_contact(contact_named(name=contact_name, confirmed=is_somebody_new, by=by))
    if contact.pk in {hold and hold.contact_id, line and line.sale.contact_id}:
        raise BadValue(f"{contact} has {plug} already and need not wait for it.", field="contact_name")
    waiting = Waiting.objects.filter(plug=plug, contact=contact, ended_on=None).first()
    if waiting is None:
        waiting = Waiting(plug=plug, contact=contact, note=note)
        waiting._history_user = by
        waiting.save()
    return waiting


def _locked(waiting: Waiting) -> Waiting:
    """The place in line as it is now, its plug locked first as in every act on holds. Raises AlreadyDone."""
    Plug.objects.select_for_update().get(pk=waiting.plug_id)
    waiting = Waiting.objects.select_related("plug", "contact").get(pk=waiting.pk)
    if waiting.ended_on is not None:
        raise AlreadyDone(
            f"{waiting.contact} has not waited for {waiting.plug} any more since {date_format(waiting.ended_on)}."
        )
    return waiting


@transaction.atomic
def give_up_waiting(*, waiting: Waiting, today: date, by=None) -> Waiting:
    """They wait no more, or know that the plug is gone. Raises AlreadyDone."""
    waiting = _locked(waiting)
    waiting.ended_on = today
    waiting._history_user = by
    waiting.save(update_fields=["ended_on"])
    return waiting


@transaction.atomic
def hold_for_next(*, waiting: Waiting, until: date, today: date, by=None) -> Hold:
    """Hold the plug for whoever is first in line; their waiting ends with it.

    Raises AlreadyDone, BadValue if somebody came before them, and as ``hold_plugs``.
    """
    waiting = _locked(waiting)
    first = Waiting.objects.filter(plug=waiting.plug, ended_on=None).select_related("contact").earliest("since", "id")
    if first.pk != waiting.pk:
        raise BadValue(f"{first.contact} came before {waiting.contact} and is next in line for {waiting.plug}.")
    (hold,) = hold_plugs(
        plugs=[waiting.plug], contact=waiting.contact, until=until, today=today, note=waiting.note, by=by
    )
    return hold
