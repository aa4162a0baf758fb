"""What a year of cutting yields against how much is taken at a cut."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from propagation.pictures.drawing import (
    Box,
    Drawing,
    Key,
    Line,
    Path,
    Picture,
    Sheet,
    area,
    diamond,
    how_many,
    number_words,
    trace,
)
from propagation.pictures.scales import Axis, SizeWords, nice_values


@dataclass(frozen=True)
class PlanMark:
    """One way of cutting: the share removed (0 to 1), frags a year with a low and a high, and what it means."""

    share_removed: float
    frags_a_year: float
    low: float
    high: float
    cut_at: float
    cut_to: float
    days: float
    frags: int


def plan_curve(
    title: str,
    points: Sequence[PlanMark],
    *,
    best: PlanMark | None = None,
    habit: PlanMark | None = None,
    unit: str = "",
    show: Callable[[float], str] = number_words,
    stored: float = 1.0,
) -> Picture | None:
    """Frags a year against the share removed; None without points.

    ``points`` may be `yield_model.cutting_plan.PlanPoint` too: only their attributes count. ``unit``, ``show`` and
    ``stored`` are as in `SizeWords`.
    """
    if not points:
        return None
    points = sorted(points, key=lambda each: each.share_removed)
    sizes = SizeWords(unit, show, stored)
    legend = [
        Key((Line(2, 7, 26, 7, "curve"),), "frags a year"),
        Key((Path("M2 1H26V13H2Z", "band"), Path("M2 1H26M2 13H26", "band-edge")), "8 of 10 chances"),
    ]
    if best:
        legend.append(Key((Path(diamond(14, 7, 5.5), "best"),), "most frags a year"))
    if habit:
        legend.append(Key((Path("M9 7a5 5 0 1 0 10 0a5 5 0 1 0-10 0Z", "habit"),), "as you cut today"))
    return Picture(
        title=title,
        words=_words(points, best, habit, sizes),
        drawings=tuple(
            _draw(points, best, habit, Sheet(size, height)) for size, height in (("narrow", 250), ("wide", 320))
        ),
        legend=tuple(legend),
        headings=("Removed", "Frags a year", "Low", "High", "Cut at", "Back to", "Every", "Frags a cut"),
        rows=tuple(_row(each, sizes) for each in points),
    )


def _draw(points, best, habit, sheet: Sheet) -> Drawing:
    marked = [each for each in (best, habit) if each]
    top = max(each.high for each in [*points, *marked])
    ticks = nice_values(0, top, most=4 if sheet.is_narrow else 5)
    shares = [100 * each.share_removed for each in [*points, *marked]]
    share_ticks = nice_values(0, max(shares), most=5)
    sheet.left, sheet.right, sheet.top, sheet.floor = 34, sheet.width - 16, 26, sheet.height - 40
    up = Axis(0, ticks[-1], sheet.floor, sheet.top)
    across = Axis(0, share_ticks[-1], sheet.left, sheet.right)
    for value in ticks:
        sheet.line(sheet.left, up(value), sheet.right, up(value), "rule")
        sheet.write(sheet.left - 6, up(value) + 4.5, number_words(value), "words-soft", "end")
    sheet.write(1, 13, "frags a year", "words-soft")
    sheet.line(sheet.left, sheet.floor, sheet.right, sheet.floor, "axis")
    for value in share_ticks:
        sheet.line(across(value), sheet.floor, across(value), sheet.floor + 4, "axis")
        words = f"{number_words(value)} %"
        sheet.write(sheet.fits(across(value), words, "middle"), sheet.floor + 19, words, "words-soft", "middle")
    middle = (sheet.left + sheet.right) / 2
    sheet.write(middle, sheet.height - 4, "removed at a cut", "words-soft", "middle")

    def edge(name):
        return [(across(100 * each.share_removed), up(getattr(each, name))) for each in points]

    if len(points) > 1:
        sheet.path(area(edge("high"), edge("low")), "band")
        sheet.path(trace(edge("high")), "band-edge")
        sheet.path(trace(edge("low")), "band-edge")
        sheet.path(trace(edge("frags_a_year")), "curve")
    else:
        (x, y), each = edge("frags_a_year")[0], points[0]
        sheet.line(x, up(each.low), x, up(each.high), "whisker-likely")
        sheet.dot(x, y, 3.4, "reading")
    for x, y in edge("frags_a_year"):
        sheet.taken.append(Box(x - 3, y - 3, 6, 6, ""))
    for each, look in ((habit, "habit"), (best, "best")):
        if each:
            x, y = across(100 * each.share_removed), up(each.frags_a_year)
            sheet.line(x, y, x, sheet.floor, "drop")
            if look == "best":
                sheet.path(diamond(x, y, 7), look)
            else:
                sheet.dot(x, y, 5.5, look)
            sheet.taken.append(Box(x - 8, y - 8, 16, 16, ""))
    for each, name in ((best, "best"), (habit, "today")):
        if each:
            x, y = across(100 * each.share_removed), up(each.frags_a_year)
            words = f"{name}: {number_words(round(each.frags_a_year, 1))}"
            places = [(x, y + dy, "middle") for dy in (-14, 26, -30, 42, -46)]
            places += [(x + 12, y + dy, "start") for dy in (-4, -16, 4.5)] + [
                (x - 12, y + dy, "end") for dy in (20, 4.5)
            ]
            sheet.write_free(places, words, "words-strong" if name == "best" else "words")
    return sheet.done()


def _row(each, sizes):
    return (
        f"{100 * each.share_removed:.0f} %",
        *(number_words(round(value, 1)) for value in (each.frags_a_year, each.low, each.high)),
        sizes.full(each.cut_at),
        sizes.full(each.cut_to),
        how_many(round(each.days), "day"),
        str(each.frags),
    )


def _words(points, best, habit, sizes):
    told = [f"{how_many(len(points), 'way', 'ways')} of cutting compared."]
    for each, name in ((best, "Best"), (habit, "As you cut today")):
        if each:
            told.append(
                f"{name}: at {sizes.full(each.cut_at)} back to {sizes.full(each.cut_to)}, "
                f"{100 * each.share_removed:.0f} % removed, every {how_many(round(each.days), 'day')}, gives "
                f"{number_words(round(each.frags_a_year, 1))} frags a year, with 8 of 10 chances "
                f"{number_words(round(each.low, 1))} to {number_words(round(each.high, 1))}."
            )
    return " ".join(told)
