"""The course of one parameter as a picture: plain numbers in, coordinates out."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from propagation.dates import day_in_words
from propagation.lengths import plain
from propagation.models import WaterLimits

WIDTH, HEIGHT = 320, 150
LEFT, RIGHT, TOP, BOTTOM = 44, 12, 12, 24
MARGIN = Decimal("0.1")  # of what is shown, left free above and below


@dataclass(frozen=True)
class Tick:
    at: float
    words: str


@dataclass(frozen=True)
class WaterPicture:
    """Coordinates in a view box of ``width`` × ``height``; ``band`` is ``(y, height)`` of what is within the limits."""

    points: str  # for <polyline>
    dots: list[tuple[float, float, bool]]  # with: lies out of the limits
    band: tuple[float, float]
    values: list[Tick]
    days: list[Tick]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    across: int = WIDTH - LEFT - RIGHT
    top: int = TOP
    floor: int = HEIGHT - BOTTOM


def water_picture(course: list[tuple[date, Decimal]], limits: WaterLimits) -> WaterPicture | None:
    """Draw ``(day, value)``, the earliest first, over the band of its limits; None for fewer than two."""
    if len(course) < 2:
        return None
    first, last = course[0][0], course[-1][0]
    span = max((last - first).days, 1)
    shown = [*(value for _, value in course), limits.low, limits.high]
    margin = (max(shown) - min(shown)) * MARGIN
    bottom, top = max(min(shown) - margin, Decimal(0)), max(shown) + margin

    def across(day):
        return round(LEFT + (WIDTH - LEFT - RIGHT) * (day - first).days / span, 1)

    def up(value):
        return round(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * float((value - bottom) / (top - bottom)), 1)

    dots = [(across(day), up(value), not limits.low <= value <= limits.high) for day, value in course]
    days = [Tick(LEFT, day_in_words(first))]
    if last > first:
        days.append(Tick(WIDTH - RIGHT, day_in_words(last)))
    return WaterPicture(
        points=" ".join(f"{x},{y}" for x, y, _ in dots),
        dots=dots,
        band=(up(limits.high), round(up(limits.low) - up(limits.high), 1)),
        values=[Tick(up(value), plain(value)) for value in (limits.low, limits.high)],
        days=days,
    )
