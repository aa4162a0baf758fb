"""All colonies of a lineage on one scale, over the calendar or over their age."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from propagation.pictures.drawing import (
    Drawing,
    Key,
    Line,
    Path,
    Picture,
    Sheet,
    cross,
    how_many,
    number_words,
    said,
    shortened,
    spread,
    text_width,
    trace,
)
from propagation.pictures.scales import Axis, DayAxis, SizeWords, Tick

MOST_NAMED = 12
GAP = 15  # between the names at the ends of lines
HUES = 5
DAYS_A_YEAR = 365.25
DAYS_A_MONTH = DAYS_A_YEAR / 12


@dataclass(frozen=True)
class ColonyLine:
    """The sizes ``(day, size)`` of one colony, ascending by day, and the day its life began here."""

    name: str
    began_on: date
    sizes: Sequence[tuple[date, float]]
    is_alive: bool = True


def lineage_scale(
    title: str,
    colonies: Sequence[ColonyLine],
    *,
    by_age: bool,
    unit: str = "",
    show: Callable[[float], str] = number_words,
    stored: float = 1.0,
) -> Picture | None:
    """One line for each colony; None when none was measured.

    Twelve are named at the end of their lines: the living ones first, then those of the latest size. The others are
    drawn thin and counted. ``unit``, ``show`` and ``stored`` are as in `SizeWords`.
    """
    measured = [colony for colony in colonies if colony.sizes]
    if not measured:
        return None
    sizes = SizeWords(unit, show, stored)
    measured.sort(key=lambda each: (each.is_alive, each.sizes[-1][0]), reverse=True)
    named, others = measured[:MOST_NAMED], measured[MOST_NAMED:]
    legend = [Key((Line(2, 7, 22, 7, "hue-0"), Path("M22 7h.1", "end-0")), "kept")]
    if any(not each.is_alive for each in measured):
        legend.append(Key((Line(2, 7, 20, 7, "hue-0-ended"), Path(cross(23, 7, 3), "cross-0")), "no longer kept"))
    if others:
        legend.append(Key((Line(2, 7, 26, 7, "faint"),), f"{how_many(len(others), 'more colony', 'more colonies')}"))
    return Picture(
        title=title,
        words=_words(measured, sizes),
        drawings=tuple(_draw(named, others, by_age, sizes, Sheet(size, height)) for size, height in _SHEETS),
        legend=tuple(legend),
        headings=("Colony", "Day", "Age (days)", f"Size ({unit})" if unit else "Size"),
        rows=tuple(
            (each.name, said(day), str((day - each.began_on).days), sizes.bare(size))
            for each in measured
            for day, size in each.sizes
        ),
    )


_SHEETS = (("narrow", 280), ("wide", 340))


def _draw(named, others, by_age, sizes, sheet: Sheet) -> Drawing:
    everyone = [*named, *others]
    all_sizes = [size for each in everyone for _, size in each.sizes]
    ticks = sizes.ticks(min(all_sizes), max(all_sizes), most=4 if sheet.is_narrow else 5)
    names = [shortened(each.name, 92 if sheet.is_narrow else 150) for each in named]
    sheet.left = max(text_width(words) for _, words in ticks) + 9
    sheet.right = sheet.width - max(map(text_width, names)) - 24
    sheet.top, sheet.floor = 26, sheet.height - (40 if by_age else 24)
    up = Axis(ticks[0][0], ticks[-1][0], sheet.floor, sheet.top)
    across, day_ticks = _across(everyone, by_age, sheet)
    for value, words in ticks:
        sheet.line(sheet.left, up(value), sheet.right, up(value), "rule")
        sheet.write(sheet.left - 6, up(value) + 4.5, words, "words-soft", "end")
    sheet.write(1, 13, sizes.unit, "words-soft")
    sheet.line(sheet.left, sheet.floor, sheet.right, sheet.floor, "axis")
    for tick in day_ticks:
        sheet.line(tick.at, sheet.floor, tick.at, sheet.floor + 4, "axis")
        sheet.write(sheet.fits(tick.at, tick.words, "middle"), sheet.floor + 19, tick.words, "words-soft", "middle")
    if by_age:
        sheet.write((sheet.left + sheet.right) / 2, sheet.height - 4, "age", "words-soft", "middle")

    def points(each):
        return [(across(each, day), up(size)) for day, size in each.sizes]

    for each in others:
        _draw_line(sheet, points(each), "faint")
    ends = [points(each)[-1] for each in named]
    order = sorted(range(len(named)), key=lambda index: ends[index][1])
    heights = spread([ends[index][1] for index in order], GAP, sheet.top, sheet.floor)
    for index, height in zip(order, heights, strict=True):
        each, (x, y), hue = named[index], ends[index], index % HUES
        _draw_line(sheet, points(each), f"hue-{hue}" + ("" if each.is_alive else "-ended"))
        sheet.line(x + 5, y, sheet.right + 14, height, "leader")
        if each.is_alive:
            sheet.path(f"M{x} {y}h.1", f"end-{hue}")
        else:
            sheet.path(cross(x, y, 3.5), f"cross-{hue}")
        sheet.write(sheet.right + 18, height + 4.5, names[index], "words")
    return sheet.done()


def _draw_line(sheet, points, look):
    sheet.path(trace(points if len(points) > 1 else [points[0], (points[0][0] + 0.1, points[0][1])]), look)


def _across(everyone, by_age, sheet):
    """A function from a colony and a day to x, and the ticks below."""
    if not by_age:
        days = [day for each in everyone for day, _ in each.sizes]
        axis = DayAxis(min(days), max(days), sheet.left + 6, sheet.right - 2)
        return (lambda _, day: axis(day)), axis.ticks()
    oldest = max((day - each.began_on).days for each in everyone for day, _ in each.sizes)
    youngest = min(0, min((day - each.began_on).days for each in everyone for day, _ in each.sizes))
    axis = Axis(youngest, max(oldest, 28), sheet.left + 6, sheet.right - 2)
    return (lambda each, day: axis((day - each.began_on).days)), age_ticks(axis)


def age_ticks(axis: Axis) -> list[Tick]:
    """Ticks at whole months or years of age whose words do not touch."""
    for months in (1, 2, 3, 6, 12, 24, 60, 120, 240, 600):
        step = months * DAYS_A_MONTH
        ages = [months * index for index in range(int(axis.high / step) + 1)]
        ticks = [Tick(axis(age * DAYS_A_MONTH), _age(age)) for age in ages]
        if all(
            right.at - left.at > (text_width(left.words) + text_width(right.words)) / 2 + 8
            for left, right in pairwise(ticks)
        ):
            return ticks
    return [Tick(axis(0), "0")]


def _age(months: int) -> str:
    if months == 0:
        return "0"
    return f"{months // 12} y" if months % 12 == 0 else f"{months} m"


def _words(measured, sizes):
    alive = sum(each.is_alive for each in measured)
    told = [f"{how_many(len(measured), 'colony', 'colonies')} measured, {alive} still kept."]
    for each in measured[:MOST_NAMED]:
        day, size = each.sizes[-1]
        told.append(f"{each.name}: {sizes.full(size)} on {said(day)}.")
    if len(measured) > MOST_NAMED:
        told.append(f"{len(measured) - MOST_NAMED} more in the table.")
    return " ".join(told)
