"""Correcting a plug: its size and note, and taking out one that was recorded by mistake."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

from django.db import transaction

from propagation.actions.changes import refuse_changed
from propagation.actions.correct_cutting import CutCorrection, as_recorded, correct_cutting
from propagation.actions.record_cutting import LARGEST_FRAG_MM, SMALLEST_FRAG_MM
from propagation.errors import BadValue, PlugGone
from propagation.lengths import plain
from propagation.models import Fate, Plug
from propagation.promises import refuse_promised

LONGEST_NOTE = Plug._meta.get_field("note").max_length


@transaction.atomic
def correct_plug(*, plug: Plug, size_mm: Decimal | None, note: str, based_on: int | None = None, by=None) -> Plug:
    """Put right the size or the note of a plug, whatever became of it; its history keeps what it was.

    Raises BadValue for a size that cannot be right, ChangedMeanwhile.
    """
    plug = Plug.objects.select_for_update().get(pk=plug.pk)
    refuse_changed(plug, based_on=based_on, what=f"Plug {plug.code_in_clear}")
    note = note.strip()
    if size_mm is not None and not SMALLEST_FRAG_MM <= size_mm <= LARGEST_FRAG_MM:
        raise BadValue(
            f"A plug of {plain(size_mm)} mm cannot be right; give {SMALLEST_FRAG_MM} to {LARGEST_FRAG_MM} mm.",
            field="size_mm",
        )
    if len(note) > LONGEST_NOTE:
        raise BadValue(f"The note has {len(note)} characters; {LONGEST_NOTE} fit.", field="note")
    if (plug.size_mm, plug.note) == (size_mm, note):
        return plug
    plug.size_mm, plug.note = size_mm, note
    plug._history_user = by
    plug.save(update_fields=["size_mm", "note"])
    return plug


@transaction.atomic
def void_plug(*, plug: Plug, reason: str, today: date, by=None) -> Plug:
    """A plug was recorded that was never there: it becomes void, and its code is never used again.

    The cut it was counted in has one frag fewer from then on, as if its session had been corrected. Raises PlugGone,
    PlugPromised, and BadValue without a reason.
    """
    reason = reason.strip()
    if not reason:
        raise BadValue("Say in a word why it was recorded by mistake.", field="reason")
    plug = Plug.objects.select_for_update(of=("self",)).select_related("cut_event__session").get(pk=plug.pk)
    if not plug.is_kept:
        raise PlugGone(plug, "taken out as a mistake")
    refuse_promised([plug])
    if plug.cut_event_id:
        event, session = plug.cut_event, plug.cut_event.session
        correct_cutting(
            session=session,
            corrections=[
                CutCorrection(event, replace(as_recorded(event), frags=event.frags - 1), void=(plug.pk,)),
            ],
            cut_on=session.cut_on,
            note=session.note,
            version=session.version,
            today=today,
            by=by,
        )
        plug.refresh_from_db()
    else:
        plug.fate, plug.ended_on = Fate.VOID, today
        plug.rack = plug.rack_row = plug.rack_column = None
    plug._history_user, plug._change_reason = by, reason
    plug.save()
    return plug
