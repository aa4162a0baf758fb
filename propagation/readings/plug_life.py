"""The life of one plug, and what was corrected in it."""

from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localdate

from propagation.models import Fate, Plug, Spot
from propagation.readings.changes import Change
from propagation.readings.rack import cell_name

FATE_ICON = {
    Fate.DEAD: "stage-dead",
    Fate.VOID: "stage-void",
    Fate.SOLD: "stage-sold",
    Fate.TRADED: "stage-sold",
    Fate.GIVEN: "stage-sold",
    Fate.GROWN_ON: "grown-on",
}


@dataclass(frozen=True)
class Event:
    """One thing in the life line; see parts/timeline.html. ``check`` is the healing check that can be taken back."""

    day: date
    icon: str
    title: str
    detail: str = ""
    url: str = ""
    stage: str = ""
    warning: bool = False


@dataclass(frozen=True)
class Life:
    """``events`` in their order, the checks that hold, and ``changes``, the latest first."""

    events: list[Event]
    checks: list
    changes: list[Change]


def life_of(plug: Plug) -> Life:
    """The life of a plug. Four queries, if its origin and its colony are at hand."""
    rows = list(plug.history.select_related("history_user").order_by("history_date", "history_id"))
    spots = {
        spot.pk: spot
        for spot in Spot.objects.filter(pk__in={row.rack_id for row in rows if row.rack_id}).select_related("system")
    }
    checks = list(plug.healing_checks.select_related("recorded_by", "withdrawn_by").order_by("checked_on", "id"))
    standing = [check for check in checks if check.withdrawn_at is None]
    events = [_beginning(plug), *_seen(plug, standing), *_moves(plug, rows, spots)]
    if plug.labelled_at is not None:
        events.append(Event(localdate(plug.labelled_at), "labels", "Label printed"))
    events += _end(plug, standing)
    events.sort(key=lambda event: event.day)  # stable: on one day in the order above
    return Life(events, standing[::-1], _changes(rows, checks))


def _beginning(plug: Plug) -> Event:
    if plug.cut_event_id:
        session = reverse("session", args=[plug.cut_event.session_id])
        return Event(plug.began_on, "cut", f"Cut from {plug.cut_event.mother.tag}", url=session)
    kind = plug.acquisition.get_kind_display()
    detail = "" if plug.stage == "fresh" else "from outside"
    return Event(plug.began_on, "acquired", kind, detail=detail)


def _seen(plug: Plug, checks):
    """What the checks saw; one that lost tissue against the check before is marked."""
    rank = {"fresh": 0, "sealed": 1, "encrusting": 2, "healed": 3}
    before = "fresh" if plug.cut_event_id else ""
    for check in checks:
        if check.found_dead:
            continue  # told by the end
        back = rank.get(before, -1) > rank[check.stage]
        title = f"Back to {check.stage}: it lost tissue" if back else check.get_stage_display()
        if check.stage == before:
            title = f"Still {check.stage}"
        yield Event(check.checked_on, f"stage-{check.stage}", title, detail=check.note, stage=check.stage, warning=back)
        before = check.stage


def _place(row, spots) -> str:
    if not row.rack_id:
        return ""
    name = spots[row.rack_id].name if row.rack_id in spots else "a rack that is gone"
    cell = cell_name(row.rack_row, row.rack_column)
    return f"{name}, {cell}" if cell else name


def _moves(plug: Plug, rows, spots):
    """Where it stood, from its history. A cut may be entered late: the first place counts from the plug's own day."""
    if rows and rows[0].rack_id:
        yield Event(plug.began_on, "rack", f"Put on {_place(rows[0], spots)}")
    for before, after in pairwise(rows):
        old, new = _place(before, spots), _place(after, spots)
        if old != new and after.fate == Fate.KEPT:
            title = f"Moved to {new}" if new else "Taken off the rack"
            yield Event(localdate(after.history_date), "move", title)


def _end(plug: Plug, checks):
    if plug.is_kept:
        return
    title, detail, url = plug.get_fate_display(), "", ""
    if plug.fate == Fate.DEAD:
        notes = [check.note for check in checks if check.found_dead and check.note]
        detail = ". ".join([plug.get_loss_reason_display(), *notes])
    elif plug.fate == Fate.GROWN_ON and hasattr(plug, "colony"):
        title, url = f"Grown on as {plug.colony.tag}", reverse("colony", args=[plug.colony.tag])
    yield Event(plug.ended_on, FATE_ICON[plug.fate], title, detail=detail, url=url, warning=plug.fate == Fate.DEAD)


def _who(user) -> str:
    return user.get_username() if user else "somebody"


def _changes(rows, checks) -> list[Change]:
    """What was corrected, as sentences, the latest first."""
    found = []
    for before, after in pairwise(rows):
        for sentence in _sentences(before, after):
            found.append(Change(after.history_date, _who(after.history_user), sentence))
    for check in checks:
        if check.withdrawn_at is not None:
            what = "found dead" if check.found_dead else check.stage
            found.append(
                Change(
                    check.withdrawn_at,
                    _who(check.withdrawn_by),
                    f"Took back the check “{what}” of {date_format(check.checked_on)}, "
                    f"which {_who(check.recorded_by)} had recorded.",
                )
            )
    return sorted(found, key=_when, reverse=True)


def _when(change: Change) -> datetime:
    return change.at


def _sentences(before, after):
    if before.size_mm != after.size_mm:
        yield f"Size: from {_mm(before.size_mm)} to {_mm(after.size_mm)}."
    if before.note != after.note:
        if not before.note:
            yield f"Note: “{after.note}”."
        elif not after.note:
            yield f"Note taken away; it was “{before.note}”."
        else:
            yield f"Note: from “{before.note}” to “{after.note}”."
    if before.is_insurance != after.is_insurance:
        yield "Set aside as insurance." if after.is_insurance else "Released from insurance."
    if before.began_on != after.began_on:
        yield f"Its day: from {date_format(before.began_on)} to {date_format(after.began_on)}."
    if before.fate != after.fate:
        if after.fate == Fate.VOID:
            yield "Recorded by mistake, so it is void."
        elif before.fate == Fate.DEAD and after.fate == Fate.KEPT:
            yield "It lives: the death was entered by mistake."


def _mm(size) -> str:
    return "no size" if size is None else f"{size.normalize():f} mm"
