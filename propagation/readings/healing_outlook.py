"""When plugs on the racks will be ready, how likely they make it, and how each line heals."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from propagation.actions.learn_healing import from_dict, learn_healing_at_first
from propagation.losses import NOTHING_LEFT, Left, Of, lost_after_leaving
from propagation.models import CutTool, HealingStage, LearnedHealing, Lineage, Plug
from propagation.pictures.healing_curve import HealedShare
from propagation.readings.healing_records import cut_plugs, healing_records, plugs_by_tool
from propagation.yield_model.healing import HealingModel, LineageHealing, share_of_healed

__all__ = ["ReadyWindow", "healing_by_tool", "healing_lines", "healing_records", "learned_healing", "ready_windows"]

# A line with fewer plugs leans on the others for most of its figures. Common practice, no source.
FEW_PLUGS = 8
POINTS = 41  # of a curve


def learned_healing(day: date) -> HealingModel:
    """The healing model in use; learned from the records of a day when there is none yet. One query once it is there.

    Lineages are named by their id as text: ``learned_healing(day).of(str(lineage_pk)).healed_share``.
    """
    return _model_of(_latest(day))


def _latest(day: date) -> LearnedHealing:
    learned = LearnedHealing.objects.first()
    if learned is not None:
        try:
            from_dict(learned.model)
        except (KeyError, TypeError):  # kept by another version
            learned = None
    return learned or learn_healing_at_first(day)


def _model_of(learned: LearnedHealing) -> HealingModel:
    return from_dict(learned.model)


def in_ten(probability: float) -> str:
    """``9 in 10``; near the ends in words, for nothing is certain."""
    tenths = round(probability * 10)
    if tenths >= 10:
        return "nearly all"
    return "hardly any" if tenths < 1 else f"{tenths} in 10"


@dataclass(frozen=True)
class ReadyWindow:
    """When a healing plug is ready, if it heals: with probability 0.1, one half and 0.9; and how likely it heals."""

    earliest: date
    likely: date
    latest: date
    probability: float

    @property
    def chance(self) -> str:
        """``9 in 10 make it``."""
        return f"{in_ten(self.probability)} make it"

    def is_over_on(self, day: date) -> bool:
        """Has its likely day passed unseen, so that a look is worth while?"""
        return self.likely <= day


def ready_windows(plugs: Iterable[Plug], day: date) -> dict[int, ReadyWindow]:
    """``{plug id: ReadyWindow}`` for those of the plugs that the keeper cut and that still heal. One query in all.

    Each window takes into account that its plug was not healed when last looked at.
    """
    healing = [p for p in plugs if p.is_kept and p.stage != HealingStage.HEALED and p.cut_event_id is not None]
    if not healing:
        return {}
    model, known, windows = learned_healing(day), {}, {}
    for plug in healing:
        seen = str(plug.lineage_id), max((plug.checked_on - plug.began_on).days, 0)
        if seen not in known:
            known[seen] = model.ready_days(*seen), model.healed_probability(*seen)
        days, probability = known[seen]
        windows[plug.pk] = ReadyWindow(*(plug.began_on + timedelta(days=round(d)) for d in days), probability)
    return windows


@dataclass(frozen=True)
class HealingLine:
    """How one line heals; ``lineage`` is None for the usual of the collection. ``healing`` plugs heal at present.

    ``left`` are those sold, and how many of them were lost since: no part of the figures of healing.
    """

    lineage: Lineage | None
    figures: LineageHealing
    healing: int = 0
    left: Left = NOTHING_LEFT

    @property
    def leans_on_others(self) -> bool:
        return self.figures.plugs < FEW_PLUGS


@dataclass(frozen=True)
class HealingLines:
    """How the lines heal, the quickest first; none when no plug was ever cut."""

    lines: list[HealingLine]
    usual: HealingLine
    learned_on: date
    healing: int
    model: HealingModel

    def of(self, lineage_id: str | None) -> HealingLine:
        """The line of a lineage, or the usual of the collection."""
        return next((line for line in self.lines if str(line.lineage.pk) == lineage_id), self.usual)


def healing_lines(day: date) -> HealingLines:
    """How each line that was cut heals. Three queries once it is learned, and one a floor that knows of losses."""
    learned = _latest(day)
    model = _model_of(learned)
    now = {}
    for lineage in cut_plugs().healing().order_by().values_list("lineage_id", flat=True):
        now[lineage] = now.get(lineage, 0) + 1
    known = Lineage.objects.in_bulk([int(key) for key in model.lineages])
    left = lost_after_leaving(Of.LINEAGE, known)
    lines = [
        HealingLine(known[int(key)], figures, now.get(int(key), 0), left.get(int(key), NOTHING_LEFT))
        for key, figures in model.lineages.items()
        if int(key) in known
    ]
    lines.sort(key=lambda line: (line.figures.median_days, line.lineage.name.lower()))
    usual = HealingLine(None, model.usual, left=sum(left.values(), NOTHING_LEFT))
    return HealingLines(lines, usual, learned.learned_on, sum(now.values()), model)


@dataclass(frozen=True)
class HealingByTool:
    """How plugs heal that were cut with one tool; ``tool`` is None for those of which it was not noted.

    ``lost`` are those that died while they healed; ``left`` those sold, and how many of them were lost since.
    """

    tool: CutTool | None
    plugs: int
    healed: int
    lost: int
    healing: int
    healed_share: float
    healed_share_low: float
    healed_share_high: float
    left: Left = NOTHING_LEFT

    @property
    def leans_on_others(self) -> bool:
        return self.healed + self.lost < FEW_PLUGS


def healing_by_tool(model: HealingModel) -> list[HealingByTool]:
    """How the latest plugs fare by what they were cut with, in the order of the tools, those not noted last.

    Nothing when no tool was ever noted. One query, and then one a floor that knows of losses.
    """
    by_tool: dict[str, list] = {}
    for plug in plugs_by_tool():
        by_tool.setdefault(plug.tool, []).append(plug)
    if not set(by_tool) - {""}:
        return []
    left = lost_after_leaving(Of.TOOL, by_tool)
    return [
        _by_tool(model, tool or None, by_tool[tool], left.get(tool, NOTHING_LEFT))
        for tool in [*CutTool, ""]
        if tool in by_tool
    ]


def _by_tool(model: HealingModel, tool: CutTool | None, plugs: list, left: Left) -> HealingByTool:
    healed, lost = sum(plug.healed for plug in plugs), sum(plug.lost for plug in plugs)
    unknown = [plug for plug in plugs if not (plug.healed or plug.lost)]
    seen = Counter((plug.lineage, plug.seen_days) for plug in unknown)
    share = share_of_healed(model, healed, lost, [(*key, count) for key, count in seen.items()])
    return HealingByTool(tool, len(plugs), healed, lost, sum(plug.is_kept for plug in unknown), *share, left)


def healed_shares(model: HealingModel, line: HealingLine) -> list[HealedShare]:
    """The share of a line's plugs that is healed by each day since the cut, up to the day nearly all are.

    Low and high put the slowest median with the smallest share, and the quickest with the largest: a little wider than
    8 chances in 10.
    """
    figures = line.figures
    quantiles = np.linspace(0.005, 0.995, 199)
    lineage = None if line.lineage is None else str(line.lineage.pk)
    by_then = np.array(model.ready_days(lineage, 0.0, quantiles.tolist()))
    slower, quicker = (figures.median_days / m for m in (figures.median_days_high, figures.median_days_low))
    days = np.linspace(0.0, by_then[-5] / slower, POINTS)

    def share_by(days, share):
        return share * np.interp(days, by_then, quantiles, left=0.0, right=1.0)

    middle = share_by(days, figures.healed_share)
    low, high = share_by(days * slower, figures.healed_share_low), share_by(days * quicker, figures.healed_share_high)
    return [HealedShare(*(float(value) for value in each)) for each in zip(days, middle, low, high, strict=True)]
