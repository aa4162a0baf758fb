"""What came in for something over time, against what was paid for it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from propagation.pictures.drawing import Drawing, Key, Line, Path, Picture, Sheet, diamond, number_words, said, trace
from propagation.pictures.scales import Axis, DayAxis, nice_values


@dataclass(frozen=True)
class MoneyStep:
    """What had come in and what had been paid by the end of a day, all together."""

    day: date
    came_in: float
    paid: float


def money_curve(
    title: str,
    steps: Sequence[MoneyStep],
    *,
    today: date,
    unit: str = "",
    show: Callable[[float], str] = number_words,
    paid_back_on: date | None = None,
) -> Picture | None:
    """Both as stairs from the first day to today, what was paid only if anything was; None without steps.

    ``unit`` names the axis, ``show`` writes an amount, and ``paid_back_on`` is the day on which the one passed the
    other.
    """
    if not steps:
        return None
    steps = sorted(steps, key=lambda each: each.day)
    legend = [Key((Line(2, 7, 26, 7, "curve"),), "came in")]
    if any(each.paid for each in steps):
        legend.append(Key((Path("M2 7H26", "paid"),), "paid"))
    if paid_back_on:
        legend.append(Key((Path(diamond(14, 7, 5.5), "best"),), "paid for itself"))
    last = steps[-1]
    told = f"By {said(today)} {show(last.came_in)} had come in and {show(last.paid)} had been paid."
    if paid_back_on:
        told += f" It paid for itself on {said(paid_back_on)}."
    return Picture(
        title=title,
        words=told,
        drawings=tuple(
            _draw(steps, today, unit, paid_back_on, Sheet(size, height))
            for size, height in (("narrow", 230), ("wide", 300))
        ),
        legend=tuple(legend),
        headings=("By the end of", "Came in", "Paid"),
        rows=tuple((said(each.day), show(each.came_in), show(each.paid)) for each in steps),
    )


def _draw(steps, today, unit, paid_back_on, sheet: Sheet) -> Drawing:
    top = max(max(each.came_in, each.paid) for each in steps)
    low = min(0, *(each.came_in for each in steps))
    ticks = nice_values(low, top, most=4 if sheet.is_narrow else 5)
    words = [number_words(round(value, 9)) for value in ticks]
    sheet.left = max(34, 8 * max(len(each) for each in words) + 10)
    sheet.right, sheet.top, sheet.floor = sheet.width - 16, 26, sheet.height - 28
    up = Axis(ticks[0], ticks[-1], sheet.floor, sheet.top)
    across = DayAxis(steps[0].day, max(today, steps[-1].day), sheet.left, sheet.right)
    for value, each in zip(ticks, words, strict=True):
        sheet.line(sheet.left, up(value), sheet.right, up(value), "rule")
        sheet.write(sheet.left - 6, up(value) + 4.5, each, "words-soft", "end")
    sheet.write(1, 13, unit, "words-soft")
    sheet.line(sheet.left, sheet.floor, sheet.right, sheet.floor, "axis")
    for tick in across.ticks():
        sheet.line(tick.at, sheet.floor, tick.at, sheet.floor + 4, "axis")
        sheet.write(sheet.fits(tick.at, tick.words, "middle"), sheet.floor + 19, tick.words, "words-soft", "middle")
    if any(each.paid for each in steps):
        sheet.path(_stairs(steps, "paid", across, up, sheet.right), "paid")
    sheet.path(_stairs(steps, "came_in", across, up, sheet.right), "curve")
    if paid_back_on:
        reached = [each for each in steps if each.day <= paid_back_on][-1]
        x, y = across(paid_back_on), up(reached.came_in)
        sheet.line(x, y, x, sheet.floor, "drop")
        sheet.path(diamond(x, y, 7), "best")
        places = [(x - 12, y - 8, "end"), (x + 12, y + 20, "start"), (x - 12, y + 20, "end")]
        sheet.write_free(places, said(paid_back_on), "words-strong")
    return sheet.done()


def _stairs(steps, name, across, up, right) -> str:
    """From nothing on the first day to what there is at the right edge, level between the days."""
    points, level = [(across(steps[0].day), up(0))], up(0)
    for each in steps:
        x = across(each.day)
        points += [(x, level), (x, level := up(getattr(each, name)))]
    return trace([*points, (right, level)])
