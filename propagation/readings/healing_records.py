"""What the healing checks say of every plug that was cut, in days since the cut."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from propagation.models import Fate, HealingCheck, HealingStage, Plug
from propagation.yield_model.healing import PlugHealing

# The latest ones say more of today's racks than those of years ago, and are enough.
MOST_PLUGS = 5_000
# A plug cannot heal before the day after the cut; a day keeps a slip from being taken for an instant.
SHORTEST_DAYS = 1.0


@dataclass(frozen=True)
class _Ends:
    """How a plug left its healing: the day of the first check that found it healed, or dead."""

    fresh: date | None
    healed: date | None
    dead: date | None


def cut_plugs():
    """Plugs that the keeper cut, mistakes left out. Of one that came by acquisition the day of its cut is unknown."""
    return Plug.objects.filter(cut_event__isnull=False).exclude(fate=Fate.VOID)


def known_outcomes() -> int:
    """Of how many cut plugs it is known whether they healed. One query."""
    return cut_plugs().filter(Q(healed_on__isnull=False) | Q(fate=Fate.DEAD)).count()


def healing_records(as_of: date, *, most: int = MOST_PLUGS) -> list[PlugHealing]:
    """What was known on a day of the latest plugs that were cut. Two queries.

    A plug that left before it was seen healed is known up to its last check. Lineages are named by their id, as text.
    """
    plugs = list(
        cut_plugs()
        .filter(began_on__lte=as_of)
        .order_by("-pk")
        .values_list("pk", "lineage_id", "began_on", "healed_on", "fate", "ended_on")[:most]
    )
    checks = defaultdict(list)
    rows = (
        HealingCheck.objects.standing()
        .filter(plug__in=[plug[0] for plug in plugs], checked_on__lte=as_of)
        .order_by("checked_on", "id")
        .values_list("plug_id", "checked_on", "stage", "found_dead")
    )
    for plug, *check in rows:
        checks[plug].append(check)
    found = []
    for pk, lineage, began_on, healed_on, fate, ended_on in reversed(plugs):
        ends = _ends(checks[pk])
        if ends.healed is None and ends.dead is None:
            # Entered with its stage, without a check.
            healed = healed_on if healed_on is not None and healed_on <= as_of else None
            died = ended_on if healed is None and fate == Fate.DEAD and ended_on <= as_of else None
            ends = _Ends(ends.fresh if ends.fresh and ends.fresh <= (healed or died or as_of) else None, healed, died)
        found.append(_in_days(str(lineage), began_on, ends))
    return found


@dataclass(frozen=True)
class CutPlug:
    """What became of one plug that was cut, and with what; ``tool`` is empty where that was not noted."""

    tool: str
    lineage: str
    healed: bool
    lost: bool  # dead before it was seen healed
    is_kept: bool
    seen_days: float  # from the cut to the last look


def plugs_by_tool(*, most: int = MOST_PLUGS) -> list[CutPlug]:
    """The latest plugs that were cut, each with what it was cut with. One query."""
    rows = (
        cut_plugs()
        .order_by("-pk")
        .values_list("cut_event__cut_with", "lineage_id", "healed_on", "fate", "began_on", "checked_on")[:most]
    )
    return [
        CutPlug(
            tool,
            str(lineage),
            healed=healed_on is not None,
            lost=healed_on is None and fate == Fate.DEAD,
            is_kept=fate == Fate.KEPT,
            seen_days=float(max((checked_on - began_on).days, 0)),
        )
        for tool, lineage, healed_on, fate, began_on, checked_on in rows
    ]


def _ends(checks) -> _Ends:
    fresh = None
    for checked_on, stage, found_dead in checks:
        if found_dead:
            return _Ends(fresh, None, checked_on)
        if stage == HealingStage.HEALED:
            return _Ends(fresh, checked_on, None)
        fresh = checked_on
    return _Ends(fresh, None, None)


def _in_days(lineage: str, began_on: date, ends: _Ends) -> PlugHealing:
    def days(day):
        return None if day is None else float(max((day - began_on).days, 0))

    fresh, healed, dead = days(ends.fresh) or 0.0, days(ends.healed), days(ends.dead)
    end = healed if healed is not None else dead
    if end is not None:
        end = max(end, SHORTEST_DAYS)
        # Seen twice on one day, it happened on that day.
        fresh = min(fresh, end - SHORTEST_DAYS)
    return PlugHealing(lineage, fresh, end if healed is not None else None, end if healed is None else None)
