"""Intervals one under the other, the highest on top: what mothers yield, or how two systems differ."""

from collections.abc import Sequence
from dataclasses import dataclass

from propagation.pictures.drawing import Drawing, Key, Line, Path, Picture, Sheet, number_words, shortened, text_width
from propagation.pictures.scales import Axis, nice_values

MOST = 40  # rows drawn; the table has all


@dataclass(frozen=True)
class RateRow:
    """``words`` stand beside the interval, e.g. "31 a year"; without them its mean does."""

    name: str
    mean: float
    low: float
    high: float
    words: str = ""

    @property
    def told(self) -> str:
        return self.words or number_words(self.mean)


def rates(title: str, rows: Sequence[RateRow], *, unit: str = "", zero_words: str = "") -> Picture | None:
    """Ranked by their mean; None without rows. Zero is marked where values lie on both sides of it.

    ``unit`` names the axis; ``zero_words`` say what zero means, e.g. "no difference".
    """
    if not rows:
        return None
    ranked = sorted(rows, key=lambda row: row.mean, reverse=True)
    drawn = ranked[:MOST]
    legend = [Key((Line(2, 7, 26, 7, "interval"), Path("M14 7h.1", "point")), "mean, 8 of 10 chances")]
    if min(row.low for row in drawn) < 0:
        legend.append(Key((Line(14, 1, 14, 13, "zero"),), zero_words or "zero"))
    told = [f"{row.name}: {row.told}, {number_words(row.low)} to {number_words(row.high)}." for row in drawn]
    left = len(ranked) - len(drawn)
    return Picture(
        title=title,
        words=" ".join(told) + (f" {left} more in the table." if left else ""),
        drawings=(_draw(drawn, unit, "narrow"), _draw(drawn, unit, "wide")),
        legend=tuple(legend),
        headings=("Name", f"Mean ({unit})" if unit else "Mean", "Low", "High", "In words"),
        rows=tuple(
            (row.name, *(number_words(value) for value in (row.mean, row.low, row.high)), row.told) for row in ranked
        ),
        notes=(f"{left} more in the table.",) if left else (),
    )


def _draw(rows, unit, size) -> Drawing:
    pitch = 42 if size == "narrow" else 28
    sheet = Sheet(size, 10 + pitch * len(rows) + 42)
    if sheet.is_narrow:
        sheet.left, sheet.right = 14, sheet.width - 14
    else:
        sheet.left = min(max(text_width(row.name) for row in rows), 190) + 14
        sheet.right = sheet.width - min(max(text_width(row.told) for row in rows), 130) - 14
    sheet.top, sheet.floor = 6, sheet.height - 40
    ticks = nice_values(min(0, *(row.low for row in rows)), max(0, *(row.high for row in rows)), most=5)
    across = Axis(ticks[0], ticks[-1], sheet.left, sheet.right)
    for value in ticks:
        x, words = across(value), number_words(round(value, 9))
        sheet.line(x, sheet.top, x, sheet.floor, "zero" if abs(value) < 1e-12 and ticks[0] < 0 else "rule")
        sheet.write(sheet.fits(x, words, "middle"), sheet.floor + 19, words, "words-soft", "middle")
    sheet.line(sheet.left, sheet.floor, sheet.right, sheet.floor, "axis")
    sheet.write((sheet.left + sheet.right) / 2, sheet.height - 4, unit, "words-soft", "middle")
    for index, row in enumerate(rows):
        line = sheet.top + pitch * index
        if sheet.is_narrow:
            y, words = line + 29, shortened(row.told, 130)
            name = shortened(row.name, sheet.width - text_width(words) - 24)
            sheet.write(2, line + 17, name, "words")
            sheet.write(sheet.width - 2, line + 17, words, "words-soft", "end")
        else:
            y = line + pitch / 2 + 2
            sheet.write(2, y + 4.5, shortened(row.name, 190), "words")
            sheet.write(sheet.width - 2, y + 4.5, shortened(row.told, 130), "words-soft", "end")
        sheet.line(across(row.low), y, across(row.high), y, "interval")
        sheet.path(f"M{across(row.mean):.1f} {y:.1f}h.1", "point")
    return sheet.done()
