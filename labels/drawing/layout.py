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
LARGEST_MODULE_MM = 0.75
COMFORTABLE_MODULE_MM = 0.42
LARGEST_CODE_PT, COMFORTABLE_CODE_PT, SMALLEST_CODE_PT = 17.0, 9.0, 5.0
SMALLEST_NAME_PT, SMALLEST_DETAIL_PT = 5.0, 4.6
COMFORTABLE_NAME_PT = 8.0
CODE_CHARACTERS = 9  # K7M4-2QXP
CODE_ADVANCE = 0.6  # em, every character of Fira Mono
CAPITAL_HEIGHT = 0.69  # em, Fira Mono and FiraGO
DESCENT = 0.25  # em, the deepest letters of FiraGO
DETAIL_CHARACTERS = 21  # 2026-11-25 · from AC-07
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
    symbol : Box
        With its quiet zone.
    dots : int
        Printer dots a module.
    code : Box or None
        None where even the code in clear has no room.
    code_lines : int
        1, or 2 where `K7M4` stands over `2QXP`.
    name, details : Box or None
        None on labels with room for the code alone.
    detail_lines : int
        Whether date and mother share a line.
    align : "left" or "centre"
    """

    arrangement: Literal["beside", "below", "code beside", "code below", "symbol"]
    symbol: Box
    dots: int
    module_mm: float
    code: Box | None = None
    code_lines: int = 1
    code_pt: float = 0.0
    name: Box | None = None
    name_largest_pt: float = 0.0
    name_lines: int = 0
    details: Box | None = None
    detail_pt: float = 0.0
    detail_lines: int = 0
    align: Literal["left", "centre"] = "left"
    score: float = 0.0

    @property
    def is_whole(self) -> bool:
        """Whether everything a label says has room."""
        return self.name is not None

    @property
    def dark(self) -> Box:
        """The symbol without its quiet zone."""
        quiet = QUIET_MODULES * self.module_mm
        return Box(
            self.symbol.x + quiet, self.symbol.y + quiet, self.symbol.width - 2 * quiet, self.symbol.height - 2 * quiet
        )

    def moved(self, right: float, down: float) -> "Layout":
        """The same layout elsewhere on the label."""
        boxes = {
            part: box.moved(right, down)
            for part in ("symbol", "code", "name", "details")
            if (box := getattr(self, part)) is not None
        }
        return replace(self, **boxes)


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
    return min(max(0.3 + 0.035 * min(width_mm, height_mm), 0.6), 2.2)


def _module_score(module):
    score = min(module / COMFORTABLE_MODULE_MM, 1.0) + 0.15 * min(module / LARGEST_MODULE_MM, 1.0)
    if module < READABLE_MODULE_MM - 1e-6:
        score -= 4.0  # a symbol that cannot be scanned is worth less than a label without text
    return score


def _code_score(points):
    return min(points / COMFORTABLE_CODE_PT, 1.0) + 0.35 * min(points / LARGEST_CODE_PT, 1.0)


def _symbol_box(x, y, side):
    return Box(x, y, side, side)


def _edge(width, height, module):
    """Where the symbol's box begins so that its dark part keeps the same distance from the edge as text does."""
    return max(SYMBOL_EDGE_MM, text_edge_mm(width, height) - QUIET_MODULES * module)


def _stack(area, code_first):
    """Sizes for name, details and code in one column, or None when it cannot hold them all.

    Returns (code_pt, name_pt, name_lines, detail_pt, detail_lines, name height in mm).
    """
    best = None
    code = min(LARGEST_CODE_PT, area.width / MM_PER_POINT / (CODE_CHARACTERS * CODE_ADVANCE))
    while code >= SMALLEST_CODE_PT - 1e-9:
        detail = min(max(0.72 * code, SMALLEST_DETAIL_PT), 10.0)
        for lines in (1, 2):
            characters = DETAIL_CHARACTERS if lines == 1 else 11
            fits = area.width / MM_PER_POINT / (characters * ADVANCE)
            if fits < SMALLEST_DETAIL_PT:
                continue
            its_detail = min(detail, fits)
            used = _code_height(code) + _gap(code) + _details_height(its_detail, lines) + _gap(code)
            left = area.height - used
            for name_lines in (1, 2, 3):
                each = (left / MM_PER_POINT) / (0.72 + DESCENT + 1.14 * (name_lines - 1))
                if each < SMALLEST_NAME_PT:
                    break
                name = min(each, code * 1.02, 14.0)
                holds = name_lines * area.width / MM_PER_POINT / (ADVANCE * name)
                score = (
                    _code_score(code)
                    + 0.5 * min(name / COMFORTABLE_NAME_PT, 1.0)
                    + 0.9 * min(holds / NAME_CHARACTERS, 1.0)
                    + 0.3 * min(holds / (2 * NAME_CHARACTERS), 1.0)
                    + 0.4 * min(its_detail / 7.0, 1.0)
                )
                if best is None or score > best[0]:
                    best = (score, code, name, name_lines, its_detail, lines, left)
        code -= 0.5
    return best


def _code_height(points):
    return CAPITAL_HEIGHT * points * MM_PER_POINT


def _details_height(points, lines):
    return (0.72 + DESCENT + 1.2 * (lines - 1)) * points * MM_PER_POINT


def _gap(points):
    return 0.38 * points * MM_PER_POINT


def _beside(width, height, side, dots, module):
    edge = text_edge_mm(width, height)
    x = _edge(width, height, module)
    symbol = _symbol_box(x, (height - side) / 2, side)
    full = Box(symbol.right, edge, width - edge - symbol.right, height - 2 * edge)
    if full.width <= 0 or full.height <= 0:
        return None
    # On a tall label the column is as high as the symbol's dark part, so that both begin and end together.
    dark = side - 2 * QUIET_MODULES * module
    if dark > 14.0 and dark < full.height:
        full = Box(full.x, (height - dark) / 2, full.width, dark)
    sizes = _stack(full, code_first=False)
    if sizes is None:
        return None
    score, code, name, name_lines, detail, detail_lines, name_height = sizes
    code_height, details_height = _code_height(code), _details_height(detail, detail_lines)
    code_box = Box(full.x, full.bottom - code_height, full.width, code_height)
    details = Box(full.x, code_box.y - _gap(code) - details_height, full.width, details_height)
    return Layout(
        arrangement="beside",
        symbol=symbol,
        dots=dots,
        module_mm=module,
        code=code_box,
        code_pt=code,
        name=Box(full.x, full.y, full.width, name_height),
        name_largest_pt=name,
        name_lines=_most_lines(name_height),
        details=details,
        detail_pt=detail,
        detail_lines=detail_lines,
        align="left",
        score=_module_score(module) + score + 0.1,
    )


def _below(width, height, side, dots, module):
    edge = text_edge_mm(width, height)
    symbol = _symbol_box((width - side) / 2, _edge(width, height, module), side)
    full = Box(edge, symbol.bottom, width - 2 * edge, height - edge - symbol.bottom)
    if full.width <= 0 or full.height <= 0:
        return None
    sizes = _stack(full, code_first=True)
    if sizes is None:
        return None
    score, code, name, name_lines, detail, detail_lines, name_height = sizes
    code_height, details_height = _code_height(code), _details_height(detail, detail_lines)
    name_y = full.y + code_height + _gap(code)
    return Layout(
        arrangement="below",
        symbol=symbol,
        dots=dots,
        module_mm=module,
        code=Box(full.x, full.y, full.width, code_height),
        code_pt=code,
        name=Box(full.x, name_y, full.width, name_height),
        name_largest_pt=name,
        name_lines=_most_lines(name_height),
        details=Box(full.x, full.bottom - details_height, full.width, details_height),
        detail_pt=detail,
        detail_lines=detail_lines,
        align="centre",
        score=_module_score(module) + score,
    )


def _most_lines(height):
    return max(1, min(4, int((height / MM_PER_POINT / SMALLEST_NAME_PT - 0.97) / 1.14) + 1))


def _code_below(width, height, side, dots, module):
    edge = text_edge_mm(width, height)
    left_over = height - side - _edge(width, height, module) - edge
    code = min(
        LARGEST_CODE_PT,
        (width - 2 * edge) / MM_PER_POINT / (CODE_CHARACTERS * CODE_ADVANCE),
        left_over / MM_PER_POINT / CAPITAL_HEIGHT,
    )
    if code < SMALLEST_CODE_PT:
        return None
    code_height = _code_height(code)
    # What is left over goes above and below alike, so that a tiny label looks centred.
    spare = (left_over - code_height) / 2
    symbol = _symbol_box((width - side) / 2, _edge(width, height, module) + spare, side)
    return Layout(
        arrangement="code below",
        symbol=symbol,
        dots=dots,
        module_mm=module,
        code=Box(edge, symbol.bottom, width - 2 * edge, code_height),
        code_pt=code,
        align="centre",
        score=_module_score(module) + _code_score(code) - 0.6,
    )


def _code_beside(width, height, side, dots, module):
    edge = text_edge_mm(width, height)
    symbol = _symbol_box(_edge(width, height, module), (height - side) / 2, side)
    across = width - edge - symbol.right
    best = None
    for lines, characters in ((1, CODE_CHARACTERS), (2, 4)):
        code = min(
            LARGEST_CODE_PT,
            across / MM_PER_POINT / (characters * CODE_ADVANCE),
            (height - 2 * edge) / MM_PER_POINT / (CAPITAL_HEIGHT + 1.1 * (lines - 1)),
        )
        if code >= SMALLEST_CODE_PT and (best is None or code > best[1]):
            best = (lines, code)
    if best is None:
        return None
    lines, code = best
    code_height = (CAPITAL_HEIGHT + 1.1 * (lines - 1)) * code * MM_PER_POINT
    return Layout(
        arrangement="code beside",
        symbol=symbol,
        dots=dots,
        module_mm=module,
        code=Box(symbol.right, (height - code_height) / 2, across, code_height),
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
