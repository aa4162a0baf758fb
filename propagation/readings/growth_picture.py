"""The sizes of a colony over time as a picture: plain numbers in, coordinates out."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

WIDTH, HEIGHT = 320, 150
LEFT, RIGHT, TOP, BOTTOM = 44, 12, 12, 24


@dataclass(frozen=True)
class Tick:
    at: float
    words: str


@dataclass(frozen=True)
class GrowthPicture:
    """Coordinates in a view box of ``width`` × ``height``."""

    width: int
    height: int
    lines: list[str]  # the points of each stretch between two cuts, for <polyline>
    dots: list[tuple[float, float]]
    cuts: list[float]
    sizes: list[Tick]
    days: list[Tick]
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    floor: int = HEIGHT - BOTTOM


def growth_picture(readings: list[tuple[date, Decimal]], cuts: list[date]) -> GrowthPicture | None:
    """Draw sizes over days, cuts marked; None for fewer than two readings.

    ``readings`` are ``(day, size)`` in the order they were taken; two on one day are before and after a cut. The line
    breaks where a cut lies between two readings.
    """
    if len(readings) < 2:
        return None
    first, last = readings[0][0], readings[-1][0]
    span = max((last - first).days, 1)
    top = _round_up(max(size for _, size in readings))

    def across(day):
        return round(LEFT + (WIDTH - LEFT - RIGHT) * (day - first).days / span, 1)

    def up(size):
        return round(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * float(size / top), 1)

    cut_days = sorted({day for day in cuts if first <= day <= last})
    dots = [(across(day), up(size)) for day, size in readings]
    lines, stretch = [], [dots[0]]
    for (before, old), (day, new), dot in zip(readings, readings[1:], dots[1:], strict=False):
        if new < old and any(before <= cut <= day for cut in cut_days):
            lines.append(stretch)
            stretch = []
        stretch.append(dot)
    lines.append(stretch)
    return GrowthPicture(
        width=WIDTH,
        height=HEIGHT,
        lines=[" ".join(f"{x},{y}" for x, y in stretch) for stretch in lines if len(stretch) > 1],
        dots=dots,
        cuts=[across(day) for day in cut_days],
        sizes=[Tick(up(size), f"{size:f}") for size in (top / 2, top)],
        days=[Tick(across(day), f"{day:%b %Y}") for day in (first, last)],
    )


def _round_up(size: Decimal) -> Decimal:
    """The next of 1, 2, 4, 5, 6, 8 or 10 times a power of ten."""
    power = Decimal(10) ** size.adjusted()
    for step in (1, 2, 4, 5, 6, 8, 10):
        if size <= step * power:
            return step * power
    return size
