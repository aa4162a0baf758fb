"""The share of frags healed by the days since the cut."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from propagation.pictures.drawing import Drawing, Key, Line, Path, Picture, Sheet, area, diamond, number_words, trace
from propagation.pictures.scales import Axis, nice_values


@dataclass(frozen=True)
class HealedShare:
    """The share healed by so many days, 0 to 1, with a low and a high."""

    days: float
    share: float
    low: float
    high: float


def healing_curve(title: str, points: Sequence[HealedShare], *, median: float | None = None) -> Picture | None:
    """Share healed over days with its band and the day by which half are healed; None without points.

    ``median`` is in days; when not given it is read off the curve, if that reaches half.
    """
    if not points:
        return None
    points = sorted(points, key=lambda each: each.days)
    median = half_day(points) if median is None else median
    legend = [
        Key((Line(2, 7, 26, 7, "curve"),), "share healed"),
        Key((Path("M2 1H26V13H2Z", "band"), Path("M2 1H26M2 13H26", "band-edge")), "how sure that is"),
    ]
    if median is not None:
        legend.append(Key((Path(diamond(14, 7, 5.5), "best"),), "half are healed"))
    last = points[-1]
    half = "Half are not healed by then." if median is None else f"Half are healed by day {round(median)}."
    return Picture(
        title=title,
        words=f"By day {number_words(last.days)} {last.share:.0%} are healed "
        f"({last.low:.0%} to {last.high:.0%}). {half}",
        drawings=tuple(_draw(points, median, Sheet(size, height)) for size, height in (("narrow", 230), ("wide", 300))),
        legend=tuple(legend),
        headings=("Days since the cut", "Healed", "Low", "High"),
        rows=tuple(
            (number_words(each.days), *(f"{value:.0%}" for value in (each.share, each.low, each.high)))
            for each in points
        ),
    )


def half_day(points: Sequence[HealedShare]) -> float | None:
    """Where the curve reaches one half, between points on a straight line."""
    if points[0].share >= 0.5:
        return points[0].days
    for left, right in pairwise(points):
        if left.share < 0.5 <= right.share:
            return left.days + (right.days - left.days) * (0.5 - left.share) / (right.share - left.share)
    return None


def _draw(points, median, sheet: Sheet) -> Drawing:
    ticks = nice_values(0, max([points[-1].days, median or 0, 1]), most=5)
    sheet.left, sheet.right, sheet.top, sheet.floor = 48, sheet.width - 16, 26, sheet.height - 40
    up, across = Axis(0, 1, sheet.floor, sheet.top), Axis(0, ticks[-1], sheet.left, sheet.right)
    for share in (0, 0.25, 0.5, 0.75, 1):
        sheet.line(sheet.left, up(share), sheet.right, up(share), "rule")
        sheet.write(sheet.left - 6, up(share) + 4.5, f"{share:.0%}", "words-soft", "end")
    sheet.write(1, 13, "healed", "words-soft")
    sheet.line(sheet.left, sheet.floor, sheet.right, sheet.floor, "axis")
    for value in ticks:
        sheet.line(across(value), sheet.floor, across(value), sheet.floor + 4, "axis")
        words = number_words(value)
        sheet.write(sheet.fits(across(value), words, "middle"), sheet.floor + 19, words, "words-soft", "middle")
    sheet.write((sheet.left + sheet.right) / 2, sheet.height - 4, "days since the cut", "words-soft", "middle")

    def edge(name):
        return [(across(each.days), up(getattr(each, name))) for each in points]

    if len(points) > 1:
        sheet.path(area(edge("high"), edge("low")), "band")
        sheet.path(trace(edge("high")), "band-edge")
        sheet.path(trace(edge("low")), "band-edge")
        sheet.path(trace(edge("share")), "curve")
    else:
        x, y = edge("share")[0]
        sheet.line(x, up(points[0].low), x, up(points[0].high), "whisker-likely")
        sheet.dot(x, y, 3.4, "reading")
    if median is not None:
        x, y = across(median), up(0.5)
        sheet.line(x, y, x, sheet.floor, "drop")
        sheet.path(diamond(x, y, 7), "best")
        places = [(x + 13, y + 16, "start"), (x - 13, y - 8, "end"), (x + 13, y - 8, "start")]
        sheet.write_free(places, f"half by day {round(median)}", "words-strong")
    return sheet.done()
