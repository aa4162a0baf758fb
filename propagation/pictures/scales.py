"""Axes: from days and sizes to coordinates, with ticks at days and sizes that people like."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from math import ceil, floor, isfinite, log10

from propagation.pictures.drawing import number_words, text_width

MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120, 240, 600)
DAY_STEPS = (1, 2, 4, 7, 14)


@dataclass(frozen=True)
class Tick:
    at: float
    words: str


@dataclass(frozen=True)
class Axis:
    """A straight scale from values ``low`` to ``high`` onto coordinates ``start`` to ``end``."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """The coordinate; values outside land on the edge."""
        value = min(max(float(value), self.low), self.high)
        return self.start + (self.end - self.start) * (value - self.low) / (self.high - self.low)


@dataclass(frozen=True)
class DayAxis:
    """Days from ``first`` to ``last`` onto coordinates."""

    first: date
    last: date
    start: float
    end: float

    def __call__(self, day: date) -> float:
        return Axis(0, max((self.last - self.first).days, 1), self.start, self.end)((day - self.first).days)

    def ticks(self) -> list[Tick]:
        """At the starts of years, quarters, months, or at days when the whole is short; words never touch."""
        for candidates in self._steps():
            ticks = [Tick(self(day), words) for day, words in candidates]
            if ticks and all(
                right.at - left.at > (text_width(left.words) + text_width(right.words)) / 2 + 8
                for left, right in pairwise(ticks)
            ):
                return ticks
        return [Tick(self(self.first), f"{self.first:%b %Y}")]

    def _steps(self):
        span = (self.last - self.first).days
        if span < 62:
            for step in DAY_STEPS:
                days = [self.first + timedelta(days) for days in range(0, span + 1, step)]
                yield [(day, f"{day.day} {day:%b}") for day in days]
        for step in MONTH_STEPS:
            days = list(_month_starts(self.first, self.last, step))
            has_january = any(day.month == 1 for day in days)
            yield [
                (day, f"{day:%Y}" if day.month == 1 else f"{day:%b}" if index or has_january else f"{day:%b %Y}")
                for index, day in enumerate(days)
            ]


def _month_starts(first: date, last: date, step: int):
    """First days of months that are multiples of ``step`` counted from January of year 0."""
    month = first.year * 12 + first.month - 1
    month += -month % step
    if date(month // 12, month % 12 + 1, 1) < first:
        month += step
    while month // 12 <= 9999 and (day := date(month // 12, month % 12 + 1, 1)) <= last:
        yield day
        month += step


def nice_step(span: float, most: int) -> float:
    """The smallest of 1, 2, 2.5, 5 times a power of ten that takes at most ``most`` steps over the span."""
    power = 10.0 ** floor(log10(span / most))
    for step in (1, 2, 2.5, 5, 10, 20):
        if span / (step * power) <= most + 1e-9:
            return step * power
    raise AssertionError("20 times the power of ten below span / most is above it.")


def nice_values(low: float, high: float, *, most: int = 5, from_zero: bool = True) -> list[float]:
    """Values at equal steps that enclose ``low`` and ``high``.

    With ``from_zero`` sizes start at zero, unless they all lie in the upper part, where that would flatten them.
    Raises ValueError for values that are no numbers.
    """
    if not (isfinite(low) and isfinite(high)):
        raise ValueError("An axis needs numbers at both ends.")
    if from_zero and 0 <= low < 0.6 * high:
        low = 0.0
    if high <= low:
        low, high = (low - 1, high + 1) if low < 0 else (0.0, high * 1.25 or 1.0)
    step = nice_step(high - low, most)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [step * index for index in range(first, last + 1)]


@dataclass(frozen=True)
class SizeWords:
    """How sizes are written and where their ticks lie.

    ``unit`` is its name, e.g. ``mm``. ``show`` gives the words of a stored size; the unit at their end is left out
    where it is written once for all. ``stored`` is how much of the stored measure one shown unit is: 25.4 for inches
    stored in mm, so that ticks lie at whole inches.
    """

    unit: str = ""
    show: Callable[[float], str] = number_words
    stored: float = 1.0

    def bare(self, size: float) -> str:
        return str(self.show(size)).removesuffix(self.unit).strip()

    def full(self, size: float) -> str:
        return f"{self.bare(size)} {self.unit}".strip()

    def between(self, low: float, high: float) -> str:
        """``84 to 96 mm``."""
        return f"{self.bare(low)} to {self.full(high)}"

    def ticks(self, low: float, high: float, *, most: int = 5) -> list[tuple[float, str]]:
        """``(size, words)`` of the ticks that enclose the sizes; the first and last are the ends of the axis."""
        values = nice_values(low / self.stored, high / self.stored, most=most)
        return [(value * self.stored, number_words(round(value, 9))) for value in values]
