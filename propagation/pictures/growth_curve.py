"""The sizes of one colony over time: what was measured, what happened, and what is likely to come."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from propagation.pictures.drawing import (
    Box,
    Dot,
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
    said,
    shortened,
    text_width,
    trace,
    triangle,
)
from propagation.pictures.scales import Axis, DayAxis, SizeWords

MOST_WHISKERS = 36  # readings with error bars; beyond, they would hide the line
FOOT = 14  # height of the lane of incidents and moves
FEWEST_DAYS = 28  # a picture of less would be all of one day
HEADROOM = 1.7  # how far above everything else the forecast's upper edge may stretch the picture


@dataclass(frozen=True)
class SizePoint:
    """One size reading. ``low`` to ``high`` is its error bar; ``absurd`` says why it is not believed.

    ``is_after_cut`` matters for a reading on the day of a cut; None means that the second on one day is the one after.
    """

    day: date
    size: float
    low: float | None = None
    high: float | None = None
    note: str = ""
    absurd: str = ""
    is_after_cut: bool | None = None


@dataclass(frozen=True)
class CutMark:
    day: date
    frags: int


@dataclass(frozen=True)
class MoveMark:
    day: date
    words: str


@dataclass(frozen=True)
class IncidentSpan:
    """``until`` is None while it is open."""

    since: date
    until: date | None
    words: str


@dataclass(frozen=True)
class ForecastPoint:
    """The size on a day: its median and the quantiles at 0.1, 0.25, 0.75 and 0.9."""

    day: date
    q10: float
    q25: float
    median: float
    q75: float
    q90: float


@dataclass(frozen=True)
class CutWindow:
    """When the next cut may be; each day may be unknown."""

    earliest: date | None = None
    day: date | None = None
    latest: date | None = None

    @property
    def days(self) -> list[date]:
        return [day for day in (self.earliest, self.day, self.latest) if day]


@dataclass(frozen=True)
class _Facts:
    readings: tuple[SizePoint, ...]
    cuts: tuple[CutMark, ...]
    moves: tuple[MoveMark, ...]
    incidents: tuple[IncidentSpan, ...]
    forecast: tuple[ForecastPoint, ...]
    today: date
    window: CutWindow
    needed: float | None
    needed_words: str
    sizes: SizeWords

    @property
    def sound(self) -> list[SizePoint]:
        return [each for each in self.readings if not each.absurd]

    @property
    def first(self) -> date:
        days = [each.day for each in (*self.readings, *self.cuts, *self.moves, *self.forecast)]
        days += [each.since for each in self.incidents]
        return min([*days, *self.window.days, self.today])

    @property
    def last(self) -> date:
        """Where the axis ends. A window that reaches far beyond the forecast is cut off, not followed."""
        days = [each.day for each in (*self.readings, *self.cuts, *self.moves, *self.forecast)]
        days += [day for day in (self.window.earliest, self.window.day) if day]
        if not self.forecast and self.window.latest:
            days.append(self.window.latest)
        return max([*days, self.today])

    def bounds(self) -> tuple[float, float]:
        """The smallest and the largest size that the axis must hold."""
        low = [value for each in self.sound for value in (each.size, each.low) if value is not None]
        high = [value for each in self.sound for value in (each.size, each.high) if value is not None]
        low += [each.q10 for each in self.forecast]
        high += [each.q75 for each in self.forecast]
        if self.needed is not None:
            low.append(self.needed)
            high.append(self.needed * 1.02)
        if not high:
            low = high = [each.size for each in self.readings] or [1.0]
        top = max(high)
        if self.forecast:
            top = max(top, min(max(each.q90 for each in self.forecast), HEADROOM * top))
        return min(low), top


def growth_curve(
    title: str,
    readings: Sequence[SizePoint],
    *,
    today: date,
    cuts: Sequence[CutMark] = (),
    moves: Sequence[MoveMark] = (),
    incidents: Sequence[IncidentSpan] = (),
    forecast: Sequence[ForecastPoint] = (),
    window: CutWindow | None = None,
    needed: float | None = None,
    needed_words: str = "",
    unit: str = "",
    show: Callable[[float], str] = number_words,
    stored: float = 1.0,
) -> Picture | None:
    """Sizes over days with the forecast and the next cut; None when there is neither a reading nor a forecast.

    ``needed`` is the size that the next cut wants, ``needed_words`` what for, e.g. "for 8 frags". Sizes are in the
    unit of the measure; ``unit``, ``show`` and ``stored`` are as in `SizeWords`.
    """
    if not readings and not forecast:
        return None
    facts = _Facts(
        readings=tuple(sorted(readings, key=lambda each: each.day)),
        cuts=tuple(sorted(cuts, key=lambda each: each.day)),
        moves=tuple(sorted(moves, key=lambda each: each.day)),
        incidents=tuple(sorted(incidents, key=lambda each: each.since)),
        forecast=tuple(sorted(forecast, key=lambda each: each.day)),
        today=today,
        window=window or CutWindow(),
        needed=needed,
        needed_words=needed_words,
        sizes=SizeWords(unit, show, stored),
    )
    return Picture(
        title=title,
        words=_words(facts),
        drawings=(_draw(facts, Sheet("narrow", 250)), _draw(facts, Sheet("wide", 320))),
        legend=_legend(facts),
        headings=("Day", f"Size ({unit})" if unit else "Size", "From", "To", "What"),
        rows=_rows(facts),
        notes=tuple(
            f"The {facts.sizes.full(each.size)} of {said(each.day)} is left out: {each.absurd}"
            for each in facts.readings
            if each.absurd
        ),
    )


# -- drawing


def _draw(facts: _Facts, sheet: Sheet) -> Drawing:
    has_window = bool(facts.window.days)
    has_foot = bool(facts.incidents or facts.moves)
    ticks = facts.sizes.ticks(*facts.bounds(), most=4 if sheet.is_narrow else 5)
    sheet.left = max(text_width(words) for _, words in ticks) + 9
    sheet.right = sheet.width - 10
    sheet.top = 40 if facts.cuts else 26
    sheet.floor = sheet.height - 24 - (30 if has_window else 0) - (FOOT if has_foot else 0)
    up = Axis(ticks[0][0], ticks[-1][0], sheet.floor, sheet.top)
    first, last = facts.first, facts.last
    if (last - first).days < FEWEST_DAYS:
        first = last - timedelta(FEWEST_DAYS)
    across = DayAxis(first, last, sheet.left + 6, sheet.right - 6)

    for value, words in ticks:
        sheet.line(sheet.left, up(value), sheet.right, up(value), "rule")
        sheet.write(sheet.left - 6, up(value) + 4.5, words, "words-soft", "end")
    if facts.sizes.unit:
        sheet.write(1, 13, facts.sizes.unit, "words-soft")
    _draw_forecast(facts, sheet, across, up)
    _draw_today(facts, sheet, across)
    _draw_cuts(facts, sheet, across)
    line_end = sheet.floor + (FOOT if has_foot else 0)
    _draw_foot(facts, sheet, across)
    sheet.line(sheet.left, line_end, sheet.right, line_end, "axis")
    for tick in across.ticks():
        sheet.line(tick.at, line_end, tick.at, line_end + 4, "axis")
        sheet.write(sheet.fits(tick.at, tick.words, "middle"), line_end + 19, tick.words, "words-soft", "middle")
    _draw_readings(facts, sheet, across, up)
    _draw_window(facts, sheet, across, up, line_end + 32)
    _draw_needed(facts, sheet, across, up)
    return sheet.done()


def _draw_forecast(facts, sheet, across, up):
    points = facts.forecast
    if not points:
        return
    if len(points) == 1:
        each = points[0]
        x = across(each.day)
        sheet.line(x, up(each.q10), x, up(each.q90), "whisker-likely")
        sheet.line(x, up(each.q25), x, up(each.q75), "whisker-even")
        sheet.path(diamond(x, up(each.median), 4), "median-dot")
        return

    def edge(name):
        return [(across(each.day), up(getattr(each, name))) for each in points]

    sheet.path(area(edge("q90"), edge("q10")), "band")
    sheet.path(area(edge("q75"), edge("q25")), "band-inner")
    sheet.path(trace(edge("q90")), "band-edge")
    sheet.path(trace(edge("q10")), "band-edge")
    sheet.path(trace(edge("median")), "median")


def _draw_today(facts, sheet, across):
    x = across(facts.today)
    sheet.line(x, 18, x, sheet.floor, "today")
    beside_unit = text_width(facts.sizes.unit) + text_width("today") / 2 + 6
    sheet.write(sheet.fits(max(x, beside_unit), "today", "middle"), 13, "today", "words", "middle")


def _draw_cuts(facts, sheet, across):
    """A mark above the plot and a thin line for each cut; its number of frags where there is room."""
    free_from = sheet.width
    frags_on: dict[date, int] = {}
    for cut in facts.cuts:
        frags_on[cut.day] = frags_on.get(cut.day, 0) + cut.frags
    for day, frags in reversed(frags_on.items()):
        x = across(day)
        sheet.line(x, sheet.top, x, sheet.floor, "cut-line")
        sheet.path(triangle(x, sheet.top, 3.5), "cut")
        words = str(frags)
        half = text_width(words) / 2
        if x + half < free_from:
            sheet.write(sheet.fits(x, words, "middle"), sheet.top - 8, words, "words-soft", "middle")
            free_from = x - half - 4


def _draw_foot(facts, sheet, across):
    """Below the plot: bars of incidents, with their words where they fit, and marks of moves."""
    middle = sheet.floor + FOOT / 2 + 1
    for each in facts.incidents:
        start, end = across(each.since), across(each.until or max(facts.today, each.since))
        width = max(end - start, 4)
        sheet.box(start, middle - 4, width, 8, "incident" if each.until else "incident-open")
    for each in facts.moves:
        sheet.path(diamond(across(each.day), middle, 4.5), "move")


def stretches(readings: Sequence[SizePoint], cuts: Sequence[date]) -> list[list[SizePoint]]:
    """The readings in runs without a cut in between. Both ascend by day."""
    cut_days, runs = set(cuts), []
    last: tuple[date, int] | None = None
    for each in readings:
        if each.is_after_cut is None:
            is_after = each.day in cut_days and last is not None and last[0] == each.day
        else:
            is_after = each.is_after_cut
        moment = (each.day, 2 if is_after else 0)
        if last is None or any(last < (cut, 1) < moment for cut in cut_days):
            runs.append([])
        runs[-1].append(each)
        last = moment
    return runs


def _draw_readings(facts, sheet, across, up):
    sound = facts.sound
    crowd = len(sound) / (sheet.right - sheet.left)
    r = 3.4 if crowd < 0.06 else 2.4 if crowd < 0.16 else 1.6
    for run in stretches(sound, [cut.day for cut in facts.cuts]):
        if len(run) > 1:
            sheet.path(trace([(across(each.day), up(each.size)) for each in run]), "readings")
    for each in sound:
        x, y = across(each.day), up(each.size)
        if each.low is not None and each.high is not None and len(sound) <= MOST_WHISKERS:
            sheet.line(x, up(each.low), x, up(each.high), "whisker")
            sheet.line(x - 2.5, up(each.low), x + 2.5, up(each.low), "whisker")
            sheet.line(x - 2.5, up(each.high), x + 2.5, up(each.high), "whisker")
        sheet.dot(x, y, r, "reading")
        sheet.taken.append(_around(x, y, 4))
    for each in facts.readings:
        if each.absurd:
            x, y = across(each.day), up(each.size)
            if up.low <= each.size <= up.high:
                sheet.dot(x, y, 4, "absurd")
            else:
                y = sheet.top + 2 if each.size > up.high else sheet.floor - 2
                sheet.path(triangle(x, y, 4.5, up=each.size > up.high), "absurd")
            sheet.taken.append(_around(x, y, 6))


def _around(x, y, r):
    return Box(x - r, y - r, 2 * r, 2 * r, "")


def _draw_needed(facts, sheet, across, up):
    if facts.needed is None:
        return
    y = up(facts.needed)
    sheet.line(sheet.left, y, sheet.right, y, "needed")
    words = _needed_words(facts)
    if text_width(words) > sheet.right - sheet.left:
        words = shortened(words, sheet.right - sheet.left)
    below, above = y + 15, y - 6
    places = [(x, height, anchor) for height in (above, below) for x, anchor in _along(sheet)]
    short = f"{facts.sizes.full(facts.needed)} needed"
    sheet.write_free(places, words if sheet.has_room(places, words) else short, "words-needed")


def _along(sheet):
    middle = (sheet.left + sheet.right) / 2
    return (sheet.left + 4, "start"), (middle, "middle"), (sheet.right - 4, "end")


def _needed_words(facts):
    return " ".join(part for part in (facts.sizes.full(facts.needed), "needed", facts.needed_words) if part)


def _draw_window(facts, sheet, across, up, y):
    """The window of the next cut under the axis: a bar from the earliest to the latest day, its day marked."""
    window = facts.window
    if not window.days:
        return
    start = across(window.earliest or window.days[0])
    end = across(window.latest or facts.last)
    is_open = window.latest is None or window.latest > facts.last
    if window.days == [window.day]:
        start = end = across(window.day)
        is_open = False
    if end - start > 1:
        sheet.box(start, y - 4, end - start, 8, "window")
    if is_open:
        sheet.path(f"M{end + 1:.1f} {y - 5:.1f}l5 5l-5 5", "window-on")
    if window.day:
        x = across(window.day)
        foot = up(facts.needed) if facts.needed is not None else sheet.floor
        sheet.line(x, min(foot, sheet.floor), x, y - 6, "window-day")
        sheet.path(diamond(x, y, 6), "window-mark")
    for words in (_window_words(window), _window_words(window, short=True)):
        if text_width(words) < sheet.width - 4:
            break
    middle = across(window.day) if window.day else (start + end) / 2
    sheet.write(sheet.fits(middle, words, "middle"), y + 18, words, "words", "middle")


def _window_words(window, *, short=False):
    if window.day:
        words = f"next cut {said(window.day)}"
        if short or {window.earliest, window.latest} <= {None, window.day}:
            return words
        if window.earliest and window.latest:
            early = said(window.earliest)
            early = early.rsplit(" ", 1)[0] if window.earliest.year == window.latest.year else early
            return f"{words} ({early} – {said(window.latest)})"
        return f"{words} (from {said(window.earliest)})" if window.earliest else f"{words} (by {said(window.latest)})"
    if window.earliest and window.latest:
        return f"next cut {said(window.earliest)} – {said(window.latest)}"
    return f"next cut not before {said(window.earliest)}" if window.earliest else f"next cut by {said(window.latest)}"


# -- words, legend, table


def _words(facts: _Facts) -> str:
    told, sizes, sound = [], facts.sizes, facts.sound
    if len(sound) > 1:
        first, last = sound[0], sound[-1]
        told.append(
            f"From {sizes.full(first.size)} on {said(first.day)} to {sizes.full(last.size)} on {said(last.day)}, "
            f"{how_many(len(sound), 'size')}."
        )
    elif sound:
        told.append(f"{sizes.full(sound[0].size)} on {said(sound[0].day)}, the only size.")
    else:
        told.append("Not measured yet.")
    left_out = len(facts.readings) - len(sound)
    if left_out:
        told.append(f"{how_many(left_out, 'size')} left out as not believable.")
    if facts.cuts:
        told.append(f"{how_many(len(facts.cuts), 'cut')}, {how_many(sum(c.frags for c in facts.cuts), 'frag')}.")
    if facts.incidents:
        told.append(f"{how_many(len(facts.incidents), 'incident')}.")
    if facts.forecast:
        last = facts.forecast[-1]
        told.append(
            f"Forecast for {said(last.day)}: {sizes.full(last.median)}, with 8 of 10 chances "
            f"{sizes.between(last.q10, last.q90)}."
        )
    if facts.window.days:
        words = _window_words(facts.window)
        told.append(f"{words[0].upper()}{words[1:]}.")
    if facts.needed is not None:
        words = _needed_words(facts)
        told.append(f"{words[0].upper()}{words[1:]}.")
    return " ".join(told)


def _legend(facts: _Facts) -> tuple[Key, ...]:
    keys = []
    if facts.sound:
        keys.append(Key((Line(2, 7, 26, 7, "readings"), Dot(14, 7, 3.4, "reading")), "measured"))
    if any(each.absurd for each in facts.readings):
        keys.append(Key((Dot(14, 7, 4, "absurd"),), "left out, not believable"))
    if facts.forecast:
        keys.append(Key((Line(2, 7, 26, 7, "median"),), "forecast"))
        keys.append(Key((Path("M2 1H26V13H2Z", "band-inner"),), "5 of 10 chances"))
        keys.append(Key((Path("M2 1H26V13H2Z", "band"), Path("M2 1H26M2 13H26", "band-edge")), "8 of 10 chances"))
    if facts.cuts:
        keys.append(Key((Path(triangle(14, 11, 4.5), "cut"),), "cut, with its frags"))
    if facts.moves:
        keys.append(Key((Path(diamond(14, 7, 5), "move"),), "moved"))
    if facts.incidents:
        latest = facts.incidents[-1]
        others = len(facts.incidents) - 1
        words = f"incident: {latest.words}{f' and {others} more' if others else ''}"
        keys.append(Key((Line(2, 7, 26, 7, "incident-key"),), words))
    if facts.window.days:
        keys.append(Key((Line(2, 7, 26, 7, "window-key"), Path(diamond(14, 7, 5), "window-mark")), "next cut"))
    return tuple(keys)


def _rows(facts: _Facts) -> tuple[tuple[str, ...], ...]:
    """All that is drawn, the latest first."""
    show = facts.sizes.bare
    rows = []
    for each in facts.readings:
        low = "" if each.low is None else show(each.low)
        high = "" if each.high is None else show(each.high)
        what = ", ".join(part for part in ("measured", each.note) if part)
        what = f"left out: {each.absurd}" if each.absurd else what
        rows.append((each.day, 2 if each.is_after_cut else 0, (show(each.size), low, high, what)))
    rows += [(each.day, 1, ("", "", "", f"cut, {how_many(each.frags, 'frag')}")) for each in facts.cuts]
    rows += [(each.day, 3, ("", "", "", f"moved: {each.words}")) for each in facts.moves]
    for each in facts.incidents:
        until = f"until {said(each.until)}" if each.until else "still open"
        rows.append((each.since, 4, ("", "", "", f"{each.words}, {until}")))
    for each in facts.forecast:
        what = f"forecast; 5 of 10 chances {facts.sizes.between(each.q25, each.q75)}"
        rows.append((each.day, 5, (show(each.median), show(each.q10), show(each.q90), what)))
    names = ("earliest", "day", "latest")
    window = {name: getattr(facts.window, name) for name in names}
    what = {"earliest": "next cut, earliest", "day": "next cut", "latest": "next cut, latest"}
    needed = "" if facts.needed is None else show(facts.needed)
    rows += [(day, 6, (needed, "", "", what[name])) for name, day in window.items() if day]
    rows.sort(key=lambda row: (row[0], row[1]), reverse=True)
    return tuple((said(day), *cells) for day, _, cells in rows)
