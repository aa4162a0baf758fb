"""The measured colours of a colony over time: swatches by month, and how far each picture is from what it was."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby, pairwise

from propagation.pictures.drawing import (
    Box,
    Dot,
    Drawing,
    Key,
    Line,
    Path,
    Picture,
    Sheet,
    how_many,
    number_words,
    said,
    text_width,
    trace,
)
from propagation.pictures.scales import Axis, DayAxis, nice_values

SWATCH_HEIGHT, WIDEST_SWATCH, GAP = 30, 44, 1
MARK_ROOM = 10  # before a row of swatches, where its mark stands if there are several
MOST_DOTS_LARGE = 40
UNIT = "ΔE00"


@dataclass(frozen=True)
class ColourPoint:
    """A day's colour: its sRGB, its lightness, chroma and hue in CIELAB, and CIEDE2000 to what it was and to before."""

    day: date
    fill: str
    lightness: float
    chroma: float
    hue_deg: float
    to_first: float
    to_before: float | None = None


@dataclass(frozen=True)
class ColourRun:
    """Colours that may be compared with each other: those after one kind of white, in order of time.

    ``n_first`` is how many of the first days make what it was.
    """

    white: str
    is_card: bool
    n_first: int
    points: tuple[ColourPoint, ...]


@dataclass(frozen=True)
class TrendPoint:
    day: date
    to_first: float


def colour_line(
    title: str,
    runs: Sequence[ColourRun],
    *,
    sentence: str,
    trend: Sequence[TrendPoint] = (),
    light_differs: float,
) -> Picture | None:
    """Swatches over a line of ΔE00; None without colours.

    ``sentence`` is what can be said of it. ``light_differs`` is the ΔE00 that a change of light alone may make.
    """
    runs = [run for run in runs if run.points]
    if not runs:
        return None
    return Picture(
        title=title,
        words=_words(runs, sentence),
        drawings=tuple(
            _draw(runs, trend, light_differs, Sheet(size, height + SWATCH_HEIGHT * len(runs)))
            for size, height in (("narrow", 160), ("wide", 190))
        ),
        legend=tuple(_legend(runs, trend)),
        headings=("Day", UNIT, "To before", "L*, C*, h", "sRGB", *(["White"] if len(runs) > 1 else [])),
        rows=tuple(_rows(runs)),
        notes=(_note(runs),),
    )


def _words(runs, sentence) -> str:
    days = sorted(point.day for run in runs for point in run.points)
    return f"{how_many(len(days), 'day')} from {said(days[0])} to {said(days[-1])}. {sentence}"


def _note(runs) -> str:
    first = max(run.n_first for run in runs)
    was = "its first picture" if first == 1 else f"the mean of its first {first} days"
    apart = ", for each kind of white by itself" if len(runs) > 1 else ""
    return f"{UNIT} is the difference to the eye (CIEDE2000), here to {was}{apart}; about 1 can just be seen."


def _draw(runs, trend, light_differs, sheet: Sheet) -> Drawing:
    points = [point for run in runs for point in run.points]
    top = max(light_differs, *(point.to_first for point in points), *(each.to_first for each in trend))
    ticks = nice_values(0, top, most=3)
    words = [number_words(round(value, 9)) for value in ticks]
    rows_height = SWATCH_HEIGHT * len(runs)
    sheet.left = max(max(text_width(each) for each in words) + 9, 2 * MARK_ROOM + 4)
    sheet.right = sheet.width - 10
    sheet.top, sheet.floor = rows_height + 34, sheet.height - 26
    up = Axis(ticks[0], ticks[-1], sheet.floor, sheet.top)
    days = [point.day for point in points]
    room = 14  # so that the swatches at the ends stay inside
    across = DayAxis(min(days), max(days), sheet.left + room, sheet.right - room)

    for row, run in enumerate(runs):
        _draw_swatches(run, len(runs) > 1, sheet, across, SWATCH_HEIGHT * row)
    sheet.box(sheet.left, up(light_differs), sheet.right - sheet.left, sheet.floor - up(light_differs), "doubt")
    for value, each in zip(ticks, words, strict=True):
        sheet.line(sheet.left, up(value), sheet.right, up(value), "rule")
        sheet.write(sheet.left - 6, up(value) + 4.5, each, "words-soft", "end")
    sheet.write(1, sheet.top - 13, UNIT, "words-soft")
    sheet.line(sheet.left, sheet.floor, sheet.right, sheet.floor, "axis")
    for tick in across.ticks():
        sheet.line(tick.at, sheet.floor, tick.at, sheet.floor + 4, "axis")
        sheet.write(sheet.fits(tick.at, tick.words, "middle"), sheet.floor + 19, tick.words, "words-soft", "middle")
    r = 3.4 if len(points) <= MOST_DOTS_LARGE else 2.4
    for run in runs:
        places = [(across(point.day), up(point.to_first)) for point in run.points]
        if len(places) > 1:
            sheet.path(trace(places), "readings")
        for x, y in places:
            sheet.dot(x, y, r, _dot_look(run))
    if trend:
        sheet.path(trace([(across(each.day), up(each.to_first)) for each in trend]), "median")
    return sheet.done()


def _draw_swatches(run, is_marked, sheet, across, y):
    """One swatch a month, that of its last day, as wide as there is room to its neighbours."""
    months = [list(each)[-1] for _, each in groupby(run.points, key=lambda point: (point.day.year, point.day.month))]
    middles = [across(point.day) for point in months]
    between = [(one + other) / 2 for one, other in pairwise(middles)]
    # At the ends as wide to the outside as to the inside.
    first, last = (2 * middles[0] - between[0], 2 * middles[-1] - between[-1]) if between else (0, sheet.width)
    edges = [max(first, sheet.left), *between, min(last, sheet.right)]
    if is_marked:
        sheet.dot(MARK_ROOM, y + SWATCH_HEIGHT / 2, 3.4, _dot_look(run))
    for point, middle, (left, right) in zip(months, middles, pairwise(edges), strict=True):
        left, right = max(left, middle - WIDEST_SWATCH / 2), min(right, middle + WIDEST_SWATCH / 2)
        sheet.swatch(left, y + 1, max(right - left - GAP, 1), SWATCH_HEIGHT - 4, point.fill)


def _dot_look(run) -> str:
    return "habit" if run.is_card else "reading"


def _legend(runs, trend):
    for run in runs:
        yield Key(
            (Line(2, 7, 26, 7, "readings"), Dot(14, 7, 3.4, _dot_look(run))), f"a day's colour, white by {run.white}"
        )
    if trend:
        yield Key((Path("M2 7H26", "median"),), "trend")
    yield Key((Box(2, 1, 24, 12, "doubt"),), "what a change of light may do")


def _rows(runs):
    """All days, the latest first; what the white was taken from where that differs."""
    rows = [(point.day, "card" if run.is_card else "paper", point) for run in runs for point in run.points]
    for day, white, point in sorted(rows, key=lambda row: row[:2], reverse=True):
        yield (
            said(day).replace(" ", "\u00a0"),
            f"{point.to_first:.1f}",
            "–" if point.to_before is None else f"{point.to_before:.1f}",
            f"{point.lightness:.0f}, {point.chroma:.0f}, {point.hue_deg:.0f}°".replace(" ", "\u00a0"),
            point.fill,
            *([white] if len(runs) > 1 else []),
        )
