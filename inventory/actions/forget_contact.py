"""Somebody is forgotten at their wish: what was known of them goes, and the books stay right."""

from datetime import date
from itertools import count

from django.contrib.sessions.models import Session
from django.db import IntegrityError, connection, transaction
from django.db.models import Q
from simple_history.utils import bulk_update_with_history

from inventory.actions.keep_contact import FORGOTTEN
from inventory.actions.merge_contacts import AT_ONCE, lock_with_records
from inventory.errors import StillOpen
from inventory.models import Contact, Hold, Sale, Trade, Waiting
from inventory.models.sale import paper_secret
from inventory.readings.forgetting import (
    OWN_NOTES,
    Thing,
    Traces,
    all_of,
    pictures_of,
    still_open,
    texts,
    traces_of,
    waiting_of,
)
from propagation.errors import AlreadyDone


def name_instead(contact: Contact) -> str:
    """What the books call somebody who was forgotten. One query."""
    for more in count():
        name = f"{FORGOTTEN} {contact.pk}{f'-{more}' if more else ''}"
        if not Contact.objects.filter(name__iexact=name).exclude(pk=contact.pk).exists():
            return name
    raise AssertionError("count() has no end")


@transaction.atomic
def forget_contact(
    *, contact: Contact, today: date, end_waiting: bool = False, also_in_notes: bool = True, by=None
) -> Contact:
    """Forget a person: name, reach and notes go, here, in every history and wherever they are named; sums stay.

    Whoever was merged into them is forgotten with them. The addresses of their papers are made anew, so that old ones
    open nothing, and the pictures they sent are deleted. Their places in line end if ``end_waiting``; with
    ``also_in_notes`` off, notes on other things keep what looks like the name. It cannot be undone; forgotten twice is
    forgotten once. Raises StillOpen, which names what is open and the way out, AlreadyDone for one that was merged.
    """
    everybody = lock_with_records(*all_of(contact))
    contact = next(each for each in everybody if each.pk == contact.pk)
    if contact.forgotten_on is not None:
        return contact
    if contact.merged_into_id is not None:
        raise AlreadyDone(f"{contact} was merged into {contact.merged_into}; open that contact and forget it there.")
    waiting = list(waiting_of(contact))
    things = still_open(contact, today)
    if waiting and not end_waiting:
        things += [
            Thing(f"They wait for plug {each.plug.code_in_clear}; say that they wait no more.", "", "")
            for each in waiting
        ]
    if things:
        raise StillOpen(contact, things)
    with _nothing_left_on_the_disk():
        traces = traces_of(contact, instead=name_instead(contact))
        _end_what_ended(contact, waiting, today=today, by=by)
        ids = [each.pk for each in everybody]
        _empty_own_notes(ids)
        _renew_secrets(ids)
        _strike_out(traces, also_in_notes=also_in_notes)
        _strike_out_of_sessions(traces)
        _delete_pictures(contact)
        for each in everybody:
            _forget_particulars(each, today=today, by=by)
    return contact


class _nothing_left_on_the_disk:  # noqa: N801 - used as a statement
    """SQLite leaves what was overwritten in the free parts of its file; in here it wipes it."""

    def __enter__(self):
        self._set("ON")

    def __exit__(self, *error):
        self._set("FAST")

    def _set(self, value):
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute(f"PRAGMA secure_delete = {value}")


def _end_what_ended(contact: Contact, waiting: list[Waiting], *, today: date, by) -> None:
    for each in waiting:
        each.ended_on = today
    bulk_update_with_history(waiting, Waiting, ["ended_on"], batch_size=AT_ONCE, default_user=by)
    ended = list(Hold.objects.filter(contact=contact, released_on=None))  # by themselves, or they would be open
    for hold in ended:
        hold.released_on = hold.ends_by_itself_on
    bulk_update_with_history(ended, Hold, ["released_on"], batch_size=AT_ONCE, default_user=by)


def _empty_own_notes(ids: list[int]) -> None:
    for model, names, path in OWN_NOTES:
        theirs = model.objects.filter(**{f"{path}__in": ids})
        then = Q(id__in=theirs.values("pk"))
        if path == "contact":  # also of records that are no more
            then |= Q(contact__in=ids)
        for rows in (model.history.filter(then), theirs):
            rows.update(**dict.fromkeys(names, ""))


def _renew_secrets(ids: list[int]) -> None:
    for model in (Sale, Trade):
        rows = list(model.objects.filter(contact__in=ids).only("pk"))
        for row in rows:
            row.secret = paper_secret()
        model.objects.bulk_update(rows, ["secret"], batch_size=AT_ONCE)


def _strike_out(traces: Traces, *, also_in_notes: bool) -> None:
    for text in texts():
        if not (text.is_always or also_in_notes):
            continue
        name = text.field.attname
        for pk, told in list(traces.rows(text.model, name)):
            new = traces.strike(told, text.field.max_length)
            if new != told:
                _write(text.model, pk, name, new)


def _write(model, pk, name: str, text: str) -> None:
    row = model._base_manager.filter(pk=pk)
    try:
        with transaction.atomic():
            row.update(**{name: text})
    except IntegrityError:  # a name of its own, and two of them named the same person
        row.update(**{name: f"{text} ({pk})"})


def _strike_out_of_sessions(traces: Traces) -> None:
    for session in Session.objects.iterator():
        kept = session.get_decoded()
        new = traces.strike_in(kept)
        if new != kept:
            session.session_data = session.get_session_store_class()().encode(new)
            session.save(update_fields=["session_data"])


def _delete_pictures(contact: Contact) -> None:
    for picture in pictures_of(contact):
        transaction.on_commit(lambda storage=picture.file.storage, name=picture.file.name: storage.delete(name))
        picture.delete()


def _forget_particulars(contact: Contact, *, today: date, by) -> None:
    name = name_instead(contact)
    contact.history.update(name=name, reach="", note="")
    contact.name, contact.reach, contact.note, contact.forgotten_on = name, "", "", today
    contact._history_user = by
    contact.save(update_fields=["name", "reach", "note", "forgotten_on"])
