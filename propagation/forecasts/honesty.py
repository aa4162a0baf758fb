"""How right the forecasts were: what was said, set against what came."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from django.db.models import Count, F, Field, Func, Q
from scipy.stats import beta

from propagation.forecasts import learning
from propagation.forecasts.scoring import STEPS
from propagation.models import ColonyOutlook, ForecastScore, LearnedGrowth, Lineage
from propagation.pictures.calibration import StatedShare
from propagation.yield_model.scales import EXPONENT_NAMES

SHARES = (0.5, 0.8, 0.95)
# With fewer, a share says next to nothing: of 20 it is known to some 20 per cent. Common practice, no source.
ENOUGH = 20
RANK_PARTS = 10
WORST = 8
CHANCES = 0.95


@dataclass(frozen=True)
class Kept:
    """Of ``number`` forecasts that stated ``stated``, ``held`` held; with 95 % between ``low`` and ``high``."""

    stated: float
    number: int
    held: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.held / self.number

    @property
    def words(self) -> str:
        """E.g. ``83 % (75 to 90)``."""
        return f"{100 * self.share:.0f} % ({100 * self.low:.0f} to {100 * self.high:.0f})"


def kept(stated: float, number: int, held: int) -> Kept:
    """With the interval of Clopper CJ, Pearson ES 1934, Biometrika 26:404–413 (from memory)."""
    tail = (1 - CHANCES) / 2
    low = 0.0 if held == 0 else float(beta.ppf(tail, held, number - held + 1))
    high = 1.0 if held == number else float(beta.ppf(1 - tail, held + 1, number - held))
    return Kept(stated, number, held, low, high)


@dataclass(frozen=True)
class Errors:
    """Median error in per cent of the outcome; None where a method had nothing to say."""

    model: float | None
    no_growth: float | None
    last_rate: float | None


@dataclass(frozen=True)
class Figures:
    """How some of the forecasts came out; ``steps`` readings ahead, or at all of these."""

    steps: int | None
    number: int
    shares: tuple[Kept, ...]
    errors: Errors

    @property
    def name(self) -> str:
        if self.steps is None:
            return "All"
        return "Next size" if self.steps == 1 else f"{self.steps} sizes ahead"


@dataclass(frozen=True)
class Miss:
    """A forecast far from what came. ``off`` is in per cent of the outcome, above it positive."""

    score: ForecastScore
    off: float

    @property
    def colony(self):
        return self.score.forecast.colony

    @property
    def off_words(self) -> str:
        return f"{abs(self.off):.0f} % too {'high' if self.off > 0 else 'low'}"

    @property
    def was_unlikely(self) -> bool:
        """Did the outcome lie outside what was said to hold 19 times in 20?"""
        return not 0.025 <= self.score.rank <= 0.975


@dataclass(frozen=True)
class SetAside:
    """A size that was not believed."""

    outlook: ColonyOutlook
    day: date
    size: float
    reason: str


@dataclass(frozen=True)
class ModelTold:
    """A growth model in use and what it took; ``scale`` says in words what grows steadily."""

    row: LearnedGrowth
    scale: str
    exponent: float
    reason: str
    published: str


@dataclass(frozen=True)
class Honesty:
    """All that the page says."""

    everything: Figures | None
    by_steps: list[Figures] = field(default_factory=list)
    colonies: int = 0
    replayed: int = 0
    ranks: list[int] = field(default_factory=list)
    misses: list[Miss] = field(default_factory=list)

    @property
    def number(self) -> int:
        return self.everything.number if self.everything else 0

    @property
    def stated(self) -> list[StatedShare]:
        """For the picture."""
        if self.everything is None:
            return []
        return [StatedShare(k.stated, k.share, k.number, k.low, k.high) for k in self.everything.shares]

    @property
    def verdict(self) -> tuple[str, str]:
        """As `verdict`."""
        return verdict(self.everything)

    @property
    def compared(self) -> str:
        """As `compared`."""
        return compared(self.everything)


def verdict(figures: Figures | None) -> tuple[str, str]:
    """The kind of a notice, and how far forecasts kept their word, in a sentence or two."""
    number = figures.number if figures else 0
    if number < ENOUGH:
        one = number == 1
        return "info", (
            f"Too few to tell: {number or 'no'} forecast{'' if one else 's'} met {'its' if one else 'their'} outcome "
            f"so far. From {ENOUGH} on it is worth a look."
        )
    told = figures.shares[1]
    words = f"Of {told.number} forecasts said to hold 8 times in 10, {told.held} held: {100 * told.share:.0f}\u00a0%. "
    if told.high < told.stated:
        return "warning", words + "They were too sure of themselves: think of every window as wider than it looks."
    if told.low > told.stated:
        return "info", words + "They were more careful than need be: windows are wider than they have to be."
    return "success", words + "That is as it should be."


def compared(figures: Figures | None) -> str:
    """How far off forecasts were, beside plainer ways; nothing while they are too few."""
    if figures is None or figures.number < ENOUGH:
        return ""
    errors = figures.errors
    words = f"Half of them missed by less than {errors.model:.1f}\u00a0%"
    if errors.no_growth is not None:
        words += f"; to say that nothing grows would have missed by {errors.no_growth:.1f}\u00a0%"
    if errors.last_rate is not None:
        words += f", that the last pace goes on by {errors.last_rate:.1f}\u00a0%"
    return words + "."


class DaysBetween(Func):
    """Days from one date to another, counted by the database: of a hundred thousand it makes short work."""

    output_field = Field()  # a number as the database gives it

    def as_sqlite(self, compiler, connection, **context):
        return self.as_sql(compiler, connection, template="(-julianday(%(expressions)s))", arg_joiner=") + julianday(")

    def as_postgresql(self, compiler, connection, **context):
        return self.as_sql(compiler, connection, template="(-(%(expressions)s))", arg_joiner=" - ")


def how_right(lineage: Lineage | None = None) -> Honesty:
    """Of every stored forecast that met its outcome, or of those of one line. Three queries."""
    scores = ForecastScore.objects.order_by()
    if lineage is not None:
        scores = scores.filter(forecast__colony__lineage=lineage)
    rows = scores.values_list(
        "pk",
        "steps",
        "outcome",
        "median",
        "rank",
        F("forecast__last_size"),
        F("forecast__last_rate"),
        DaysBetween(F("forecast__made_for"), F("taken_on")),
    )
    columns = list(zip(*rows.iterator(chunk_size=20_000), strict=True))
    if not columns:
        return Honesty(None)
    whole = scores.aggregate(
        colonies=Count("forecast__colony", distinct=True), replayed=Count("pk", filter=Q(forecast__replayed=True))
    )
    keys, steps, outcome, middle, rank, last_size, last_rate, days = columns
    outcome, middle, rank, steps = (np.array(column, dtype=float) for column in (outcome, middle, rank, steps))
    size = np.array(last_size, dtype=float)  # None becomes nan
    told = {
        "model": middle,
        "no_growth": size,
        "last_rate": np.maximum(size + np.array(last_rate, dtype=float) * np.array(days, dtype=float), 0.0),
    }
    everything = np.ones(len(outcome), dtype=bool)
    off = (middle - outcome) / outcome
    return Honesty(
        everything=_figures(None, everything, outcome, rank, told),
        by_steps=[_figures(each, steps == each, outcome, rank, told) for each in STEPS if (steps == each).any()],
        colonies=whole["colonies"],
        replayed=whole["replayed"],
        ranks=np.bincount(np.minimum((rank * RANK_PARTS).astype(int), RANK_PARTS - 1), minlength=RANK_PARTS).tolist(),
        misses=_worst(keys, off),
    )


def _figures(steps, chosen, outcome, rank, told) -> Figures:
    number = int(chosen.sum())
    shares = []
    for share in SHARES:
        inside = np.abs(rank[chosen] - 0.5) <= share / 2 + 1e-12
        shares.append(kept(share, number, int(inside.sum())))
    errors = {}
    for name, values in told.items():
        missed = np.abs(values[chosen] - outcome[chosen]) / outcome[chosen]
        known = missed[np.isfinite(missed)]
        errors[name] = float(np.median(known) * 100) if known.size else None
    return Figures(steps, number, tuple(shares), Errors(**errors))


def _worst(keys, off) -> list[Miss]:
    """The largest misses, each outcome once."""
    # A forecast of half and one of twice the outcome missed by as much.
    order = np.argsort(-np.abs(np.log1p(np.maximum(off, -0.999999))), kind="stable")[: WORST * 2 * len(STEPS)]
    found = ForecastScore.objects.select_related("forecast__colony__lineage").defer("forecast__state")
    found = found.in_bulk([keys[place] for place in order])
    misses = {}
    for place in order:
        score = found[keys[place]]
        misses.setdefault(score.reading_id, Miss(score, float(100 * off[place])))
    return list(misses.values())[:WORST]


def set_aside(lineage: Lineage | None = None) -> list[SetAside]:
    """Sizes of living colonies that were not believed, the latest first. One query."""
    outlooks = ColonyOutlook.objects.exclude(absurd=[]).select_related("colony").defer("state")
    if lineage is not None:
        outlooks = outlooks.filter(colony__lineage=lineage)
    found = [
        SetAside(outlook, date.fromisoformat(item["day"]), item["size"], item["reason"])
        for outlook in outlooks
        for item in outlook.absurd
    ]
    return sorted(found, key=lambda each: (each.day, each.outlook.colony_id), reverse=True)


def models_in_use() -> list[ModelTold]:
    """What each measure and growth form learned from; one query."""
    told = []
    for learned in learning.latest_learned().values():
        exponent = learned.model.exponent
        nearest = min(EXPONENT_NAMES, key=lambda known: abs(known - exponent))
        told.append(
            ModelTold(
                learned.row,
                EXPONENT_NAMES[nearest],
                exponent,
                learned.model.scale.reason,
                learned.model.published.basis,
            )
        )
    return sorted(told, key=lambda each: -each.row.readings)


def lineages_with_scores() -> Sequence[Lineage]:
    """Lines of which a forecast met its outcome: a queryset."""
    return Lineage.objects.filter(pk__in=ForecastScore.objects.order_by().values("forecast__colony__lineage"))
