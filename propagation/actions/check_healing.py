"""Following plugs through healing; every change is a dated check, and a wrong one is taken back with a trace."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from uuid import UUID, uuid4

from django.db import transaction
from django.utils import timezone
from simple_history.utils import bulk_update_with_history

from propagation.actions.days import check_day
from propagation.actions.learn_healing import follow_outcomes
from propagation.dates import day_in_words
from propagation.errors import AlreadyDone, BadDate, BadValue, PlugGone
from propagation.models import Fate, HealingCheck, HealingStage, LossReason, Plug, Spot

LONGEST_NOTE = HealingCheck._meta.get_field("note").max_length
STAGE_FIELDS = ["stage", "checked_on", "healed_on"]
DEATH_FIELDS = ["fate", "loss_reason", "ended_on"]
CELL_FIELDS = ["rack", "rack_row", "rack_column"]


def lock_plugs(plugs) -> list[Plug]:
    """The plugs as they are now, locked, in a fixed order so that two acts never wait for each other.

    Raises BadValue if there is none.
    """
    ids = {plug.pk for plug in plugs}
    if not ids:
        raise BadValue("Choose at least one plug first.", field="plugs")
    return list(Plug.objects.select_for_update().filter(pk__in=ids).order_by("pk"))


def _check_note(note: str) -> None:
    if len(note) > LONGEST_NOTE:
        raise BadValue(f"The note has {len(note)} characters; {LONGEST_NOTE} fit.", field="note")


def _check_days(plugs, *, on: date, today: date) -> None:
    for plug in plugs:
        came = "it was cut" if plug.cut_event_id else "it came"
        check_day(on, today=today, what=f"A check of {plug.code_in_clear}", not_before=plug.began_on, because=came)


def _standing_checks(plugs) -> dict[int, list[HealingCheck]]:
    """The checks that hold, by plug, the earliest first. One query."""
    checks = defaultdict(list)
    for check in HealingCheck.objects.standing().filter(plug__in=plugs).order_by("checked_on", "id"):
        checks[check.plug_id].append(check)
    return checks


@transaction.atomic
def check_healing(
    *, plugs, stage: str | None = None, on: date, today: date, note: str = "", by=None, act: UUID | None = None
) -> list[HealingCheck]:
    """Record the stage that plugs were seen in on a day; without a stage each moves on to its next one.

    Returns the checks that were made. A plug that was seen in that stage on that day already gets no second one, and
    without a stage neither does a plug that was checked on that day or later: so a form sent twice, or by two people,
    moves nothing twice. A check may be entered late: the plug's own stage is that of its latest check. A plug may go
    back, when it lost tissue. ``act`` names the tap, for taking its checks back.

    Raises PlugGone, BadDate, and BadValue for a stage that does not exist.
    """
    if stage is not None and stage not in HealingStage.values:
        raise BadValue(f"“{stage}” is no healing stage; use one of {', '.join(HealingStage.values)}.", field="stage")
    _check_note(note)
    locked = lock_plugs(plugs)
    for plug in locked:
        if not plug.is_kept:
            raise PlugGone(plug, "checked")
    _check_days(locked, on=on, today=today)
    standing, act = _standing_checks(locked), act or uuid4()
    made = []
    for plug in locked:
        before = standing[plug.pk]
        if stage is None:
            if before and before[-1].checked_on >= on:
                continue
            seen = HealingStage(plug.stage).next or HealingStage.HEALED
        else:
            that_day = [check for check in before if check.checked_on == on]
            if that_day and that_day[-1].stage == stage:
                continue
            seen = HealingStage(stage)
        made.append(HealingCheck(plug=plug, checked_on=on, stage=seen, note=note, recorded_by=by, act=act))
    starts = _starts([check.plug for check in made], standing)
    HealingCheck.objects.bulk_create(made)
    for check in made:
        checks = sorted([*standing[check.plug_id], check], key=lambda each: (each.checked_on, each.pk))
        _settle(check.plug, starts[check.plug_id], checks)
    bulk_update_with_history([check.plug for check in made], Plug, STAGE_FIELDS, default_user=by)
    if any(check.stage == HealingStage.HEALED for check in made):
        follow_outcomes()
    return made


@transaction.atomic
def find_dead(
    *, plugs, reason: str, on: date, today: date, note: str = "", by=None, act: UUID | None = None
) -> list[HealingCheck]:
    """Record that plugs were found dead on a day, and why. Returns the checks that were made.

    A plug that is dead already gets no second check. Its cell becomes free; which it was stays on record. Raises
    PlugGone for one that left, BadDate for a day before it was last seen alive, and BadValue for a reason that does
    not exist.
    """
    if reason not in LossReason.values:
        raise BadValue(f"“{reason}” is no reason; use one of {', '.join(LossReason.values)}.", field="reason")
    _check_note(note)
    locked = [plug for plug in lock_plugs(plugs) if plug.fate != Fate.DEAD]
    for plug in locked:
        if not plug.is_kept:
            raise PlugGone(plug, "marked dead")
    _check_days(locked, on=on, today=today)
    standing, act = _standing_checks(locked), act or uuid4()
    for plug in locked:
        if standing[plug.pk] and standing[plug.pk][-1].checked_on > on:
            last = standing[plug.pk][-1]
            raise BadDate(
                f"Plug {plug.code_in_clear} was seen {last.stage} on {day_in_words(last.checked_on)}, "
                f"so it was not dead on {day_in_words(on)}. "
                "Give a later day, or take that check back first.",
                field="on",
            )
        plug.fate, plug.loss_reason, plug.ended_on = Fate.DEAD, reason, on
    made = HealingCheck.objects.bulk_create(
        [
            HealingCheck(
                plug=plug, checked_on=on, stage=plug.stage, found_dead=True, note=note, recorded_by=by, act=act
            )
            for plug in locked
        ]
    )
    bulk_update_with_history(locked, Plug, DEATH_FIELDS, default_user=by)
    if made:
        follow_outcomes()
    return made


@transaction.atomic
def take_back_act(*, act: UUID, by=None) -> list[HealingCheck]:
    """Take back the checks of one tap. Raises AlreadyDone if that was done before or there are none, PlugGone."""
    return take_back_checks(checks=HealingCheck.objects.filter(act=act), by=by)


@transaction.atomic
def take_back_checks(*, checks, by=None) -> list[HealingCheck]:
    """Checks were entered by mistake: they no longer count, and who took them back and when stays on record.

    Each plug is again in the stage of its latest check that holds, or the one it began in. A plug that was found dead
    by one of them lives again; if another plug stands in its cell by now, it stands on its rack without a cell.

    Raises AlreadyDone if they were taken back before, PlugGone for a plug that left, was grown on or is void.
    """
    ids = [check.pk for check in checks]
    locked = {
        plug.pk: plug
        for plug in Plug.objects.select_for_update(of=("self",)).filter(healing_checks__in=ids).order_by("pk")
    }
    wrong = list(HealingCheck.objects.standing().filter(pk__in=ids).order_by("pk"))
    if not wrong:
        raise AlreadyDone("There is nothing left to take back: it was done before.")
    plugs = [locked[pk] for pk in dict.fromkeys(check.plug_id for check in wrong)]
    for plug in plugs:
        if plug.fate not in (Fate.KEPT, Fate.DEAD):
            raise PlugGone(plug, "put back to what it was before that check")
    wrong_ids = {check.pk for check in wrong}
    standing = {pk: [c for c in found if c.pk not in wrong_ids] for pk, found in _standing_checks(plugs).items()}
    starts = _starts(plugs, defaultdict(list, {check.plug_id: [check] for check in wrong}))
    alive_again = []
    for check in wrong:
        plug = check.plug = locked[check.plug_id]
        check.withdrawn_at, check.withdrawn_by = timezone.now(), by
        if check.found_dead and plug.fate == Fate.DEAD:
            plug.fate, plug.loss_reason, plug.ended_on = Fate.KEPT, "", None
            alive_again.append(plug)
    for plug in plugs:
        _settle(plug, starts[plug.pk], standing.get(plug.pk, []))
    _give_way(alive_again)
    HealingCheck.objects.bulk_update(wrong, ["withdrawn_at", "withdrawn_by"])
    bulk_update_with_history(
        plugs,
        Plug,
        STAGE_FIELDS + DEATH_FIELDS + CELL_FIELDS,
        default_user=by,
        default_change_reason="a check was taken back",
    )
    follow_outcomes()
    return wrong


def _give_way(plugs) -> None:
    """Those whose cell is gone or was given to another plug meanwhile stand on the rack without one. Two queries."""
    in_cells = [plug for plug in plugs if plug.rack_row is not None]
    if not in_cells:
        return
    racks = Spot.objects.in_bulk({plug.rack_id for plug in in_cells})
    taken = set(Plug.objects.kept().filter(rack__in=racks, rack_row__isnull=False).values_list(*CELL_FIELDS))
    for plug in in_cells:
        rack, cell = racks[plug.rack_id], (plug.rack_id, plug.rack_row, plug.rack_column)
        is_there = rack.is_rack and plug.rack_row <= rack.rack_rows and plug.rack_column <= rack.rack_columns
        if cell in taken or not is_there:
            plug.rack_row = plug.rack_column = None
        taken.add(cell)


@dataclass(frozen=True)
class _Start:
    """The state in which a plug began: fresh from the saw, or as it came."""

    stage: str
    checked_on: date
    healed_on: date | None


def _starts(plugs, checks) -> dict[int, _Start]:
    """How each plug began, from the first row of its history. One query.

    ``checks`` are those that each plug has: one without any, and without history, began as it is.
    """
    first_rows = {
        row.id: row for row in Plug.history.filter(id__in=[plug.pk for plug in plugs], history_type="+").order_by("pk")
    }
    starts = {}
    for plug in plugs:
        row = first_rows.get(plug.pk)
        if row is not None:
            starts[plug.pk] = _Start(row.stage, _moved(row, row.checked_on, plug), _moved(row, row.healed_on, plug))
        elif checks[plug.pk]:
            starts[plug.pk] = _Start(HealingStage.FRESH, plug.began_on, None)
        else:
            starts[plug.pk] = _Start(plug.stage, plug.checked_on, plug.healed_on)
    return starts


def _moved(row, day, plug):
    """A day of the first row, moved along when the day of the cut was corrected since."""
    if day is None:
        return None
    return plug.began_on if day == row.began_on else max(day, plug.began_on)


def _settle(plug: Plug, start: _Start, checks) -> None:
    """Give a plug the stage of its latest check, and the day since which it has been healed without a break.

    ``checks`` are all that hold, the earliest first.
    """
    plug.stage, plug.checked_on, plug.healed_on = start.stage, start.checked_on, start.healed_on
    for check in checks:
        plug.checked_on = max(plug.checked_on, check.checked_on)
        if check.found_dead:
            continue
        plug.stage = check.stage
        if check.stage != HealingStage.HEALED:
            plug.healed_on = None
        elif plug.healed_on is None:
            plug.healed_on = check.checked_on
