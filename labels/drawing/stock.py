"""The geometry of a sheet or roll of labels.

Everything is in millimetres from the top left corner of the page, as a keeper measures it with a ruler.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple

from .errors import StartOutsideSheet

A4_MM = (210.0, 297.0)  # ISO 216:2007, A series
LETTER_MM = (215.9, 279.4)  # ANSI/ASME Y14.1, size A: 8.5 × 11 inch

# What a desktop or label printer takes (common practice, no source); beyond it a measure was mistyped.
PAGE_LIMITS_MM = (8.0, 500.0)
LABEL_MINIMUM_MM = 8.0  # the smallest QR of an address, 33 modules with its quiet zone, is 8.3 mm at 0.25 mm a module
COUNT_LIMIT = 100
# Sheets are cut to about a tenth of a millimetre, so smaller overlaps are rounding, not mistakes.
TOLERANCE_MM = 0.1


@dataclass(frozen=True)
class StockGeometry:
    """A sheet of labels, or a roll with one label on each page. All lengths in mm."""

    name: str
    kind: Literal["sheet", "roll"]
    page_width_mm: float
    page_height_mm: float
    label_width_mm: float
    label_height_mm: float
    columns: int = 1
    rows: int = 1
    left_mm: float = 0.0
    top_mm: float = 0.0
    pitch_x_mm: float = 0.0
    pitch_y_mm: float = 0.0
    corner_radius_mm: float = 0.0

    @property
    def per_page(self) -> int:
        """How many labels a page holds."""
        return self.columns * self.rows


class Position(NamedTuple):
    """Where a label lies: its page, counted from 0, and its top left corner in mm."""

    page: int
    x_mm: float
    y_mm: float


def problems(stock: StockGeometry) -> list[str]:
    """Sentences that name what is wrong with a stock, by how much, and what would be right; empty when it prints."""
    found = _measure_problems(stock)
    if found:
        return found  # the sums below mean nothing with absurd measures
    if stock.kind == "roll" and (stock.columns, stock.rows) != (1, 1):
        found.append(
            f"A roll has one label on each page, not {stock.columns} × {stock.rows}. "
            "Set columns and rows to 1, or make it a sheet."
        )
    found += _overlap_problems(stock)
    found += _edge_problems(stock)
    shorter = min(stock.label_width_mm, stock.label_height_mm)
    if stock.corner_radius_mm > shorter / 2 + TOLERANCE_MM:
        found.append(
            f"The corner radius of {_mm(stock.corner_radius_mm)} is more than half of the label's shorter side; "
            f"{_mm(shorter / 2)} is the most."
        )
    return found


def positions(stock: StockGeometry, start: int = 1) -> Iterator[Position]:
    """Where labels go, row by row, page after page without end; `start` is the first free label of the first page.

    Take as many as there are labels: `zip(labels, positions(stock, start))`. Raises StartOutsideSheet at once.
    """
    if not 1 <= start <= stock.per_page:
        raise StartOutsideSheet(start, stock.per_page)
    places = [
        (stock.left_mm + column * stock.pitch_x_mm, stock.top_mm + row * stock.pitch_y_mm)
        for row in range(stock.rows)
        for column in range(stock.columns)
    ]

    def endless():
        page, first = 0, start - 1
        while True:
            for x_mm, y_mm in places[first:]:
                yield Position(page, x_mm, y_mm)
            page, first = page + 1, 0

    return endless()


def _mm(length: float) -> str:
    return f"{round(length, 2):g} mm"


def _measure_problems(stock):
    found = []
    lengths = {
        "page width": stock.page_width_mm,
        "page height": stock.page_height_mm,
        "label width": stock.label_width_mm,
        "label height": stock.label_height_mm,
        "left margin": stock.left_mm,
        "top margin": stock.top_mm,
        "pitch across": stock.pitch_x_mm,
        "pitch down": stock.pitch_y_mm,
        "corner radius": stock.corner_radius_mm,
    }
    for words, length in lengths.items():
        if not math.isfinite(length):
            found.append(f"The {words} is not a number.")
        elif length < 0:
            found.append(f"The {words} is {_mm(length)}; it cannot be less than nothing.")
    if found:
        return found
    if stock.kind not in ("sheet", "roll"):
        found.append(f"A stock is a sheet or a roll, not “{stock.kind}”.")
    low, high = PAGE_LIMITS_MM
    for words in ("page width", "page height"):
        if not low <= lengths[words] <= high:
            found.append(f"The {words} is {_mm(lengths[words])}; it must lie between {_mm(low)} and {_mm(high)}.")
    for words in ("label width", "label height"):
        if lengths[words] < LABEL_MINIMUM_MM:
            found.append(
                f"The {words} is {_mm(lengths[words])}; a QR that a phone can read needs {_mm(LABEL_MINIMUM_MM)}."
            )
    for words, count in (("columns", stock.columns), ("rows", stock.rows)):
        if count != int(count) or not 1 <= count <= COUNT_LIMIT:
            found.append(f"The number of {words} is {count:g}; it must be a whole number from 1 to {COUNT_LIMIT}.")
    return found


def _overlap_problems(stock):
    found = []
    for words, side, length, count, pitch, pitch_words in (
        ("across", "wide", stock.label_width_mm, stock.columns, stock.pitch_x_mm, "pitch across"),
        ("down", "high", stock.label_height_mm, stock.rows, stock.pitch_y_mm, "pitch down"),
    ):
        overlap = length - pitch
        if count > 1 and overlap > TOLERANCE_MM:
            found.append(
                f"The labels overlap {words}: each is {_mm(length)} {side}, but the next one begins after "
                f"{_mm(pitch)}, so {_mm(overlap)} lie on one another. Set the {pitch_words} to {_mm(length)} or more."
            )
    return found


def _edge_problems(stock):
    found = []
    for words, edge, side, first, count, pitch, length, page in (
        (
            "columns",
            "right",
            "wide",
            stock.left_mm,
            stock.columns,
            stock.pitch_x_mm,
            stock.label_width_mm,
            stock.page_width_mm,
        ),
        (
            "rows",
            "bottom",
            "high",
            stock.top_mm,
            stock.rows,
            stock.pitch_y_mm,
            stock.label_height_mm,
            stock.page_height_mm,
        ),
    ):
        end = first + (count - 1) * pitch + length
        beyond = end - page
        if beyond > TOLERANCE_MM:
            what = "The label leaves" if count == 1 else f"The {count} {words} leave"
            found.append(
                f"{what} the page at the {edge}: the last label ends at {_mm(end)} and the page is {_mm(page)} {side}, "
                f"{_mm(beyond)} too far. Check the margin, the pitch and the number of {words}."
            )
    return found
