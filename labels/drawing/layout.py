"""Where things stand on a label: chosen from its measures, the symbol and the printer's dots.

Three arrangements are tried: text beside the QR, text below it, and on tiny labels the code alone. Each is tried at
every whole number of dots per module; the one that reads best wins. Millimetres from the label's top left corner.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from math import sqrt
from typing import Literal

from .errors import SymbolTooLarge
from .symbol import QUIET_MODULES, READABLE_MODULE_MM, dot_mm

MM_PER_POINT = 25.4 / 72
# The symbol may lie this near to the edge because its own quiet zone keeps the dark modules further in.
SYMBOL_EDGE_MM = 0.3
# Past these sizes nothing reads better at arm's length (common practice, no source).
LARGEST_MODULE_MM = 0.85
COMFORTABLE_MODULE_MM = 0.42
LARGEST_CODE_PT, COMFORTABLE_CODE_PT, SMALLEST_CODE_PT = 21.0, 9.0, 5.0
LARGEST_NAME_PT, COMFORTABLE_NAME_PT, SMALLEST_NAME_PT = 17.0, 8.0, 5.0
LARGEST_DETAIL_PT, COMFORTABLE_DETAIL_PT, SMALLEST_DETAIL_PT = 11.0, 7.0, 4.6
CODE_CHARACTERS = 9  # K7M4-2QXP
CODE_ADVANCE = 0.6  # em, every character of Fira Mono
CAPITAL_HEIGHT = 0.69  # em, Fira Mono and FiraGO
NAME_RISE = 0.72  # em, accents apart
DESCENT = 0.25  # em, the deepest letters of FiraGO
CODE_LEADING, DETAIL_LEADING, NAME_LEADING = 1.1, 1.2, 1.14  # em from baseline to baseline
DETAIL_CHARACTERS = 21  # 2026-11-25 · from AC-07
DETAIL_CHARACTERS_HALF = 11  # 2026-11-25 over from AC-07
NAME_CHARACTERS = 18  # a name of common length; longer ones wrap
ADVANCE = 0.56  # em, the mean of FiraGO


@dataclass(frozen=True)
class Box:
    """A rectangle in mm."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.x + self.width

    @property
    def bottom(self) -> float:
        return self.y + self.height

    def moved(self, right: float, down: float) -> "Box":
        """The same box elsewhere."""
        return Box(self.x + right, self.y + down, self.width, self.height)

    def holds(self, other: "Box", tolerance: float = 1e-6) -> bool:
        """Whether another box lies wholly inside."""
        return (
            other.x >= self.x - tolerance
            and other.y >= self.y - tolerance
            and other.right <= self.right + tolerance
            and other.bottom <= self.bottom + tolerance
        )

    def touches(self, other: "Box", tolerance: float = 1e-6) -> bool:
        """Whether two boxes share more than an edge."""
        return (
            other.x < self.right - tolerance
            and self.x < other.right - tolerance
            and other.y < self.bottom - tolerance
            and self.y < other.bottom - tolerance
        )


@dataclass(frozen=True)
class Layout:
    """Boxes of a label and the sizes of its texts.

    Attributes
    ----------
    arrangement : str
        Whether the text stands beside or below the symbol, and how much of it.
    symbol : Box
        With its quiet zone.
    dots : int
        Printer dots a module.
    text : Box or None
        Where text may stand; None on labels with room for the symbol alone.
    code_pt : float
        Size of the code in clear.
    code_lines : int
        1, or 2 where `K7M4` stands over `2QXP`.
    name_largest_pt, name_height_mm, name_lines : float, float, int
        The most the name may take; 0 lines on labels with room for the code alone.
    detail_pt, detail_lines : float, int
        Whether date and mother share a line.
    align : "left" or "centre"
    """

    arrangement: Literal["beside", "below", "code beside", "code below", "symbol"]
    symbol: Box
    dots: int
    module_mm: float
    text: Box | None = None
    code_pt: float = 0.0
    code_lines: int = 1
    name_largest_pt: float = 0.0
    name_height_mm: float = 0.0
    name_lines: int = 0
    detail_pt: float = 0.0
    detail_lines: int = 0
    align: Literal["left", "centre"] = "left"
    score: float = 0.0

    @property
    def is_whole(self) -> bool:
        """Whether everything a label says has room."""
        return self.name_lines > 0

    @property
    def dark(self) -> Box:
        """The symbol without its quiet zone."""
        quiet = QUIET_MODULES * self.module_mm
        return Box(
            self.symbol.x + quiet, self.symbol.y + quiet, self.symbol.width - 2 * quiet, self.symbol.height - 2 * quiet
        )

    def moved(self, right: float, down: float) -> "Layout":
        """The same layout elsewhere on the label."""
        text = self.text.moved(right, down) if self.text else None
        return replace(self, symbol=self.symbol.moved(right, down), text=text)


@lru_cache(maxsize=256)
def choose_layout(
    width_mm: float, height_mm: float, modules: int, dpi: float, stock_name: str, corner_radius_mm: float = 0.0
) -> Layout:
    """The layout that reads best on a label.

    Parameters
    ----------
    width_mm, height_mm : float
        The label.
    modules : int
        Modules on a side of the symbol with its quiet zone.
    dpi : float
        Printer dots an inch.
    corner_radius_mm : float
        Of the label; half of its side for a round one. Everything stays inside the curve.

    Raises
    ------
    SymbolTooLarge
        If not even one dot a module fits.
    """
    # The largest box with this label's centre whose corners do not leave the rounded corners; the edge that text keeps
    # anyway is enough for small radii.
    inset = max(0.0, (1 - sqrt(0.5)) * corner_radius_mm - 0.6)
    if inset:
        width_mm, height_mm = width_mm - 2 * inset, height_mm - 2 * inset
    dot = dot_mm(dpi)
    room = min(width_mm, height_mm) - 2 * SYMBOL_EDGE_MM
    most = int(room / (modules * dot) + 1e-9)
    if most < 1:
        raise SymbolTooLarge(stock_name, modules - 2 * QUIET_MODULES, dpi)
    enough = max(1, int(LARGEST_MODULE_MM / dot + 1e-9))
    found = []
    for dots in range(1, min(most, enough) + 1):
        module = dots * dot
        for arrange in (_beside, _below, _code_beside, _code_below, _symbol_alone):
            layout = arrange(width_mm, height_mm, modules * module, dots, module)
            if layout is not None:
                found.append(layout)
    best = max(found, key=lambda layout: layout.score)
    return best.moved(inset, inset) if inset else best


def text_edge_mm(width_mm: float, height_mm: float) -> float:
    """How far text keeps from the edge of a label, since sheets are fed and cut a little askew."""
    return min(max(0.1 * min(width_mm, height_mm) - 0.4, 0.6), 3.5)


def _module_score(module):
    score = min(module / COMFORTABLE_MODULE_MM, 1.0) + 0.7 * min(module / LARGEST_MODULE_MM, 1.0)
    if module < READABLE_MODULE_MM - 1e-6:
        # A symbol that cannot be scanned is worth less than a label without text, and the smaller the less.
        score -= 4.0 + 10.0 * (1 - module / READABLE_MODULE_MM)
    return score


def _code_score(points):
    return min(points / COMFORTABLE_CODE_PT, 1.0) + 0.35 * min(points / LARGEST_CODE_PT, 1.0)


def _symbol_box(x, y, side):
    return Box(x, y, side, side)


def _edge(width, height, module):
    """Where the symbol's box begins so that its dark part keeps the same distance from the edge as text does."""
    return max(SYMBOL_EDGE_MM, text_edge_mm(width, height) - QUIET_MODULES * module)


def _snap(module, dots):
    """Air between the quiet zone and text: the dot the symbol may move by to lie on the printer's grid, and the hair
    by which round figures are higher than capitals."""
    return module / dots + 0.05


def _stack(area):
    """The sizes at which code, details and name read best together in a column, or None when they do not fit.

    Returns the fields of a Layout, with `score`.
    """
    best = None
    code = min(LARGEST_CODE_PT, area.width / MM_PER_POINT / (CODE_CHARACTERS * CODE_ADVANCE))
    while code >= SMALLEST_CODE_PT - 1e-9:
        for detail_lines, characters in ((1, DETAIL_CHARACTERS), (2, DETAIL_CHARACTERS_HALF)):
            fits = area.width / MM_PER_POINT / (characters * ADVANCE)
            if fits < SMALLEST_DETAIL_PT:
                continue
            detail = min(max(0.66 * code, SMALLEST_DETAIL_PT), LARGEST_DETAIL_PT, fits)
            left = area.height - code_height_mm(code, 1) - details_height_mm(detail, detail_lines) - 2 * gap_mm(code)
            for name_lines in (1, 2, 3):
                each = left / MM_PER_POINT / (NAME_RISE + DESCENT + NAME_LEADING * (name_lines - 1))
                if each < SMALLEST_NAME_PT:
                    break
                name = min(each, LARGEST_NAME_PT)
                holds = name_lines * area.width / MM_PER_POINT / (ADVANCE * name)
                score = (
                    _code_score(code)
                    + 0.5 * min(name / COMFORTABLE_NAME_PT, 1.0)
                    + 0.2 * min(name / LARGEST_NAME_PT, 1.0)
                    + 0.9 * min(holds / NAME_CHARACTERS, 1.0)
                    + 0.3 * min(holds / (2 * NAME_CHARACTERS), 1.0)
                    + 0.4 * min(detail / COMFORTABLE_DETAIL_PT, 1.0)
                )
                if best is None or score > best["score"]:
                    best = {
                        "code_pt": code,
                        "name_largest_pt": name,
                        "name_height_mm": left,
                        "name_lines": _most_lines(left),
                        "detail_pt": detail,
                        "detail_lines": detail_lines,
                        "score": score,
                    }
        code -= 0.5
    return best


def code_height_mm(points: float, lines: int) -> float:
    """Height of the code: capitals and figures only."""
    return (CAPITAL_HEIGHT + CODE_LEADING * (lines - 1)) * points * MM_PER_POINT


def details_height_mm(points: float, lines: int) -> float:
    """Height of the lines with date and mother."""
    return (CAPITAL_HEIGHT + DESCENT + DETAIL_LEADING * (lines - 1)) * points * MM_PER_POINT


def gap_mm(code_points: float) -> float:
    """Least air between name, details and code."""
    return 0.36 * code_points * MM_PER_POINT


def _beside(width, height, side, dots, module):
    edge = text_edge_mm(width, height)
    symbol = _symbol_box(_edge(width, height, module), (height - side) / 2, side)
    begin = symbol.right + _snap(module, dots)
    text = Box(begin, edge, width - edge - begin, height - 2 * edge)
    sizes = _stack(text) if text.width > 0 else None
    if sizes is None:
        return None
    sizes["score"] += _module_score(module) + 0.1
    return Layout(arrangement="beside", symbol=symbol, dots=dots, module_mm=module, text=text, align="left", **sizes)


def _below(width, height, side, dots, module):
    edge = text_edge_mm(width, height)
    symbol = _symbol_box((width - side) / 2, _edge(width, height, module), side)
    begin = symbol.bottom + _snap(module, dots)
    text = Box(edge, begin, width - 2 * edge, height - edge - begin)
    sizes = _stack(text) if text.height > 0 else None
    if sizes is None:
        return None
    sizes["score"] += _module_score(module)
    return Layout(arrangement="below", symbol=symbol, dots=dots, module_mm=module, text=text, align="centre", **sizes)


def _most_lines(height):
    return max(1, min(4, int((height / MM_PER_POINT / SMALLEST_NAME_PT - 0.97) / 1.14) + 1))


def _code_below(width, height, side, dots, module):
    edge = text_edge_mm(width, height)
    snap = _snap(module, dots)
    left_over = height - side - _edge(width, height, module) - edge - snap
    code = min(
        LARGEST_CODE_PT,
        (width - 2 * edge) / MM_PER_POINT / (CODE_CHARACTERS * CODE_ADVANCE),
        left_over / MM_PER_POINT / CAPITAL_HEIGHT,
    )
    if code < SMALLEST_CODE_PT:
        return None
    code_height = code_height_mm(code, 1)
    # What is left over goes above and below alike, so that a tiny label looks centred.
    spare = (left_over - code_height) / 2
    symbol = _symbol_box((width - side) / 2, _edge(width, height, module) + spare, side)
    return Layout(
        arrangement="code below",
        symbol=symbol,
        dots=dots,
        module_mm=module,
        text=Box(edge, symbol.bottom + snap, width - 2 * edge, code_height),
        code_pt=code,
        align="centre",
        score=_module_score(module) + _code_score(code) - 0.6,
    )


def _code_beside(width, height, side, dots, module):
    edge = text_edge_mm(width, height)
    symbol = _symbol_box(_edge(width, height, module), (height - side) / 2, side)
    begin = symbol.right + _snap(module, dots)
    across = width - edge - begin
    best = None
    for lines, characters in ((1, CODE_CHARACTERS), (2, 4)):
        code = min(
            LARGEST_CODE_PT,
            across / MM_PER_POINT / (characters * CODE_ADVANCE),
            (height - 2 * edge) / MM_PER_POINT / (CAPITAL_HEIGHT + CODE_LEADING * (lines - 1)),
        )
        if code >= SMALLEST_CODE_PT and (best is None or code > best[1]):
            best = (lines, code)
    if best is None:
        return None
    lines, code = best
    code_height = code_height_mm(code, lines)
    return Layout(
        arrangement="code beside",
        symbol=symbol,
        dots=dots,
        module_mm=module,
        text=Box(begin, (height - code_height) / 2, across, code_height),
        code_lines=lines,
        code_pt=code,
        align="left",
        score=_module_score(module) + _code_score(code) - 0.6,
    )


def _symbol_alone(width, height, side, dots, module):
    return Layout(
        arrangement="symbol",
        symbol=_symbol_box((width - side) / 2, (height - side) / 2, side),
        dots=dots,
        module_mm=module,
        align="centre",
        score=_module_score(module) - 1.5,
    )
