"""Labels on pages, as a PDF."""

import io
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from .content import LabelContent
from .errors import BadResolution, BadStock, NothingToDraw
from .faces import CODE, DETAIL, NAME
from .layout import MM_PER_POINT, SMALLEST_DETAIL_PT, SMALLEST_NAME_PT, Box, Layout, choose_layout
from .stock import StockGeometry, positions, problems
from .symbol import QUIET_MODULES, dot_mm, make_symbols, module_warning, symbol_path, symbol_size
from .typesetting import Line, Paragraph, Typesetter, set_paragraph, tidy

POINTS_PER_MM = 72 / 25.4
RESOLUTIONS = (72, 4800)  # dpi; below and above there is no printer (common practice, no source)
RULER_MM = 100
_HAIRLINE_PT = 0.25
_DETAIL_GAP = " · "

# Streams as 7-bit text make a PDF a quarter larger and serve no reader of today.
rl_config.useA85 = 0


@dataclass(frozen=True)
class DrawnSheet:
    """A finished PDF, how many pages it has, and what the keeper should know before printing it."""

    pdf: bytes
    pages: int
    warnings: list[str]


@dataclass(frozen=True)
class PlacedLine:
    """One line of text on a label: what it says, where its ink lies (mm) and where its baseline begins."""

    part: str
    line: Line
    x_mm: float
    baseline_mm: float
    size_pt: float

    @property
    def ink(self) -> Box:
        """The box that holds all ink of the line, in mm from the label's top left corner."""
        em = self.size_pt * MM_PER_POINT
        return Box(
            self.x_mm + self.line.left * em,
            self.baseline_mm - self.line.top * em,
            (self.line.right - self.line.left) * em,
            (self.line.top + self.line.bottom) * em,
        )


def draw_labels(
    contents: Iterable[LabelContent],
    *,
    stock: StockGeometry,
    dpi: float = 300,
    start: int = 1,
    outline: bool = False,
    title: str = "Labels",
) -> DrawnSheet:
    """Draw labels on as many pages of a stock as they need.

    Parameters
    ----------
    contents : iterable of LabelContent
        In the order they are printed.
    stock : StockGeometry
    dpi : float
        Dots an inch of the printer; modules of the QR are whole dots.
    start : int
        The first free label of a part-used sheet, counted from 1, row by row.
    outline : bool
        Whether to draw the edge of each label as a hairline.
    title : str
        Title of the PDF.

    Returns
    -------
    DrawnSheet
        The same contents give the same bytes.

    Raises
    ------
    NothingToDraw, BadStock, StartOutsideSheet, BadResolution, SymbolTooLarge, AddressTooLong
    """
    contents = [_tidied(content) for content in contents]
    if not contents:
        raise NothingToDraw
    _check(stock, dpi)
    places = positions(stock, start)
    painter = LabelPainter(contents, stock=stock, dpi=dpi)
    page = _Pages(stock, title)
    current = 0
    symbols = make_symbols(content.address for content in contents)
    for content, modules, place in zip(contents, symbols, places, strict=False):
        if place.page != current:
            page.turn()
            current = place.page
        page.add(painter.operators(content, modules, place.x_mm, place.y_mm))
        if outline:
            page.add(_outline(stock, place.x_mm, place.y_mm, page.height_pt))
    pdf = page.finish(painter.typesetter)
    return DrawnSheet(pdf=pdf, pages=current + 1, warnings=painter.warnings())


def draw_test_outline(stock: StockGeometry) -> bytes:
    """One page with the edge and number of every label and rulers, to hold against the sheet before printing.

    Raises BadStock when the stock cannot be printed.
    """
    found = problems(stock)
    if found:
        raise BadStock(stock.name, found)
    across, down = (_ruler_length(side) for side in (stock.page_width_mm, stock.page_height_mm))
    texts = [str(number) for number in range(1, stock.per_page + 1)]
    captions = [f"{across} mm", f"{down} mm", tidy(stock.name)]
    typesetter = Typesetter({DETAIL: texts + captions})
    page = _Pages(stock, f"Test outline: {stock.name}")
    height_pt = page.height_pt

    def write(text, centre_mm, baseline_mm, size):
        line = typesetter.line(DETAIL, text)
        x = centre_mm * POINTS_PER_MM - line.width * size / 2
        page.add(f"BT {line.operators(x, height_pt - baseline_mm * POINTS_PER_MM, size)} ET")

    for text, place in zip(texts, positions(stock), strict=False):
        page.add(_outline(stock, place.x_mm, place.y_mm, height_pt))
        size = min(9.0, 0.3 * min(stock.label_width_mm, stock.label_height_mm) * POINTS_PER_MM)
        write(
            text,
            place.x_mm + stock.label_width_mm / 2,
            place.y_mm + stock.label_height_mm / 2 + 0.36 * size * MM_PER_POINT,
            size,
        )
    # The rulers cross in a corner of the page's middle, one each way: a printer may stretch one and not the other.
    x, y = (stock.page_width_mm - across) / 2, (stock.page_height_mm - down) / 2
    page.add(_ruler(x, stock.page_height_mm / 2, across, False, height_pt))
    page.add(_ruler(stock.page_width_mm / 2, y, down, True, height_pt))
    if stock.kind == "sheet":
        write(captions[0], x + across + 8, stock.page_height_mm / 2 + 1, 8)
        write(captions[1], stock.page_width_mm / 2, y - 2, 8)
        write(captions[2], x + 12, stock.page_height_mm / 2 + 7, 8)
    return page.finish(typesetter)


class LabelPainter:
    """Turns contents into PDF operators; one for each document.

    Everything but the QR and the code repeats from label to label, so texts are set once and kept.
    """

    def __init__(self, contents: list[LabelContent], *, stock: StockGeometry, dpi: float):
        self.stock = stock
        self.dpi = dpi
        self.height_pt = stock.page_height_mm * POINTS_PER_MM
        details = {text for content in contents for text in _detail_choices(content) if text}
        self.typesetter = Typesetter(
            {
                CODE: {content.code for content in contents},
                DETAIL: details,
                NAME: {content.lineage for content in contents},
            }
        )
        self._layouts: dict[int, Layout] = {}
        self._cut_short: dict[str, None] = {}
        self._texts = lru_cache(maxsize=20_000)(self._set_texts)
        self._code_glyphs = self._monospaced(contents)

    def layout(self, address: str) -> Layout:
        """The layout of the label with this address."""
        modules = symbol_size(address).modules_with_quiet_zone
        layout = self._layouts.get(modules)
        if layout is None:
            layout = self._layouts[modules] = choose_layout(
                self.stock.label_width_mm,
                self.stock.label_height_mm,
                modules,
                self.dpi,
                self.stock.name,
                self.stock.corner_radius_mm,
            )
        return layout

    def lines(self, content: LabelContent) -> list[PlacedLine]:
        """Every line of text of a label, the code first."""
        layout = self.layout(content.address)
        return [*self._code_lines(content, layout), *self._text_lines(content, layout)]

    def symbol_corner(self, layout: Layout, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Top left corner, in mm on the page, of the dark part of the symbol of a label at (x, y).

        It lies on the printer's grid of dots, counted from the page's top left, so that no module is a dot wider
        than its neighbour.
        """
        dot = dot_mm(self.dpi)
        dark = layout.dark
        return round((x_mm + dark.x) / dot) * dot, round((y_mm + dark.y) / dot) * dot

    def operators(self, content: LabelContent, modules, x_mm: float, y_mm: float) -> str:
        """PDF operators for one label with its top left corner at (x, y) in mm on the page."""
        layout = self.layout(content.address)
        corner_x, corner_y = self.symbol_corner(layout, x_mm, y_mm)
        module = layout.module_mm * POINTS_PER_MM
        symbol = (
            f"q {module:.6f} 0 0 {-module:.6f} {corner_x * POINTS_PER_MM:.5f} "
            f"{self.height_pt - corner_y * POINTS_PER_MM:.5f} cm {symbol_path(modules)} Q"
        )
        code = self._code_operators(content, layout)
        texts = self._texts(content.lineage, content.cut_on, content.mother, content.kind, layout)
        if not code and not texts:
            return symbol
        at = f"q 1 0 0 1 {x_mm * POINTS_PER_MM:.3f} {self.height_pt - y_mm * POINTS_PER_MM:.3f} cm"
        return f"{symbol} {at} BT {code} {texts} ET Q"

    def warnings(self) -> list[str]:
        """What the keeper should know: small modules, missing text, names cut short, characters without a glyph."""
        found = []
        for layout in self._layouts.values():
            warning = module_warning(layout.module_mm, self.stock.name)
            if warning:
                found.append(warning)
            if layout.code is None:
                found.append(f"“{self.stock.name}” has room for the QR alone; the code in clear is not printed.")
            elif not layout.is_whole:
                found.append(
                    f"“{self.stock.name}” has room for the QR and the code; lineage, date and mother are not printed."
                )
        for name in self._cut_short:
            found.append(f"“{name}” is too long for “{self.stock.name}” and was cut short with an ellipsis.")
        for character in sorted(self.typesetter.missing):
            found.append(_missing_sentence(character))
        return found

    def _monospaced(self, contents):
        """Glyph of each character of the codes in the first face for codes, for codes that need no other."""
        font = self.typesetter.fonts[CODE.first[0]]
        glyphs = {}
        for character in sorted({character for content in contents for character in content.code}):
            if CODE.first[0].has(character) and character.isascii():
                line = self.typesetter.line(CODE, character)
                (run,) = line.runs
                glyphs[character] = f"{run.glyphs[0][0]:04X}"
        self._code_resource = font.resource
        self._code_advance = self.typesetter.line(CODE, "M").width if "M" in glyphs else None
        return glyphs

    def _code_operators(self, content, layout):
        if layout.code is None:
            return ""
        glyphs = self._code_glyphs
        if layout.code_lines == 1 and len(content.code) <= 9 and all(each in glyphs for each in content.code):
            # The common case, thousands of times over: every character is as wide as the next.
            box, size = layout.code, layout.code_pt
            x = box.x
            if layout.align == "centre":
                x += (box.width - 0.6 * len(content.code) * size * MM_PER_POINT) / 2
            text = "".join([glyphs[each] for each in content.code])
            return (
                f"/{self._code_resource} {size:.4g} Tf 1 0 0 1 {x * POINTS_PER_MM:.3f} "
                f"{-box.bottom * POINTS_PER_MM:.3f} Tm <{text}> Tj"
            )
        return _line_operators(self._code_lines(content, layout))

    def _code_lines(self, content, layout):
        if layout.code is None:
            return []
        box = layout.code
        texts = [content.code]
        if layout.code_lines == 2 and "-" in content.code:
            texts = content.code.split("-", 1)
        lines = [self.typesetter.line(CODE, text) for text in texts]
        widest = max(max(line.width, line.right) - min(0, line.left) for line in lines)
        highest = max(max(line.top, 0.69) + max(line.bottom - 0.05, 0) for line in lines)
        size = min(
            layout.code_pt,
            box.width * POINTS_PER_MM / widest,
            box.height * POINTS_PER_MM / (highest + 1.1 * (len(lines) - 1)),
        )
        placed = []
        for number, line in enumerate(lines):
            baseline = box.bottom - 1.1 * size * MM_PER_POINT * (len(lines) - 1 - number)
            placed.append(_place("code", line, box, baseline, size, layout.align))
        return placed

    def _set_texts(self, lineage, cut_on, mother, kind, layout):
        content = LabelContent(address="", code="", lineage=lineage, cut_on=cut_on, mother=mother, kind=kind)
        return _line_operators(self._text_lines(content, layout))

    def _text_lines(self, content, layout):
        if not layout.is_whole:
            return []
        details = self._details(content, layout)
        name_box = layout.name
        if not details:
            # A label without date and mother gives their room to the name.
            name_box = Box(name_box.x, name_box.y, name_box.width, layout.details.bottom - name_box.y)
        placed = []
        if content.lineage:
            paragraph = set_paragraph(
                self.typesetter,
                NAME,
                content.lineage,
                width=name_box.width * POINTS_PER_MM,
                height=name_box.height * POINTS_PER_MM,
                largest=layout.name_largest_pt,
                smallest=min(SMALLEST_NAME_PT, layout.name_largest_pt),
                most_lines=layout.name_lines,
            )
            if paragraph.cut_short:
                self._cut_short[content.lineage] = None
            placed += _place_paragraph("name", paragraph, name_box, layout.align)
        return placed + details

    def _details(self, content, layout):
        full, day, mother = _detail_choices(content)
        box, size = layout.details, layout.detail_pt
        lines = [each for each in (day, mother) if each]
        if layout.detail_lines == 1 or len(lines) < 2:
            lines = [full] if full else []
        if not lines:
            return []
        step = 1.2 * size * MM_PER_POINT
        placed = []
        last = box.bottom - 0.25 * size * MM_PER_POINT
        for number, text in enumerate(lines):
            baseline = last - step * (len(lines) - 1 - number)
            paragraph = set_paragraph(
                self.typesetter,
                DETAIL,
                text,
                width=box.width * POINTS_PER_MM,
                height=(0.72 + 0.25) * size + 0.01,
                largest=size,
                smallest=min(SMALLEST_DETAIL_PT, size),
                most_lines=1,
            )
            line = paragraph.lines[0]
            # A script that hangs deep is lifted so that it stays in its own band.
            lift = max(0.0, line.bottom * paragraph.size - 0.25 * size) * MM_PER_POINT
            part = "mother" if text == mother and number else "details"
            placed.append(_place(part, line, box, baseline - lift, paragraph.size, layout.align))
        return placed


def _tidied(content):
    return replace(
        content,
        code=tidy(content.code),
        lineage=tidy(content.lineage),
        mother=tidy(content.mother) if content.mother else None,
    )


def _check(stock, dpi):
    found = problems(stock)
    if found:
        raise BadStock(stock.name, found)
    if not RESOLUTIONS[0] <= dpi <= RESOLUTIONS[1]:
        raise BadResolution(dpi)


def _detail_choices(content):
    """Date and mother on one line, the date alone, the mother alone; empty where there is nothing to say."""
    day = content.cut_on.isoformat() if content.cut_on else ""
    mother = f"from {content.mother}" if content.mother else ""
    full = _DETAIL_GAP.join(each for each in (day, mother) if each)
    return full, day, mother


def _place(part, line, box, baseline, size, align):
    em = size * MM_PER_POINT
    if align == "centre":
        x = box.x + (box.width - (line.right + line.left) * em) / 2
    elif align == "right":
        x = box.right - max(line.width, line.right) * em
    else:
        x = box.x
    # Ink that overhangs its own advance never leaves the box.
    x = min(max(x, box.x - line.left * em), max(box.right - line.right * em, box.x - line.left * em))
    return PlacedLine(part=part, line=line, x_mm=x, baseline_mm=baseline, size_pt=size)


def _place_paragraph(part, paragraph: Paragraph, box, align):
    if align == "left" and paragraph.from_right:
        align = "right"
    baseline = box.y + paragraph.first_baseline * MM_PER_POINT
    placed = []
    for line in paragraph.lines:
        placed.append(_place(part, line, box, baseline, paragraph.size, align))
        baseline += paragraph.leading * MM_PER_POINT
    return placed


def _line_operators(lines):
    return " ".join(
        each.line.operators(each.x_mm * POINTS_PER_MM, -each.baseline_mm * POINTS_PER_MM, each.size_pt)
        for each in lines
    )


def _missing_sentence(character):
    import unicodedata

    name = unicodedata.name(character, "")
    words = f"U+{ord(character):04X}{' ' + name if name else ''}"
    return f"No font here has the character “{character}” ({words}); a box stands in its place on the label."


class _Pages:
    """Pages of a stock, written through reportlab with bytes that depend on nothing but what is drawn."""

    def __init__(self, stock, title):
        self.height_pt = stock.page_height_mm * POINTS_PER_MM
        self._buffer = io.BytesIO()
        self._canvas = Canvas(
            self._buffer,
            pagesize=(stock.page_width_mm * POINTS_PER_MM, self.height_pt),
            pageCompression=1,
            invariant=1,
        )
        self._canvas.setTitle(title)
        self._canvas.setCreator("Ramet")
        self._canvas.setViewerPreference("PrintScaling", "None")

    def add(self, operators):
        self._canvas.addLiteral(operators)

    def turn(self):
        self._canvas.showPage()

    def finish(self, typesetter):
        self._canvas.showPage()
        typesetter.embed(self._canvas._doc)
        self._canvas.save()
        return self._buffer.getvalue()


def _outline(stock, x_mm, y_mm, height_pt):
    """A label's edge as a hairline with its rounded corners."""
    radius = min(stock.corner_radius_mm, stock.label_width_mm / 2, stock.label_height_mm / 2) * POINTS_PER_MM
    left, right = x_mm * POINTS_PER_MM, (x_mm + stock.label_width_mm) * POINTS_PER_MM
    top, bottom = height_pt - y_mm * POINTS_PER_MM, height_pt - (y_mm + stock.label_height_mm) * POINTS_PER_MM
    if radius <= 0:
        return f"q {_HAIRLINE_PT} w 0.5 G {left:.3f} {bottom:.3f} {right - left:.3f} {top - bottom:.3f} re S Q"
    handle = radius * (1 - 0.5522847)  # a quarter circle as a Bézier curve
    return (
        f"q {_HAIRLINE_PT} w 0.5 G {left + radius:.3f} {bottom:.3f} m {right - radius:.3f} {bottom:.3f} l "
        f"{right - handle:.3f} {bottom:.3f} {right:.3f} {bottom + handle:.3f} {right:.3f} {bottom + radius:.3f} c "
        f"{right:.3f} {top - radius:.3f} l "
        f"{right:.3f} {top - handle:.3f} {right - handle:.3f} {top:.3f} {right - radius:.3f} {top:.3f} c "
        f"{left + radius:.3f} {top:.3f} l "
        f"{left + handle:.3f} {top:.3f} {left:.3f} {top - handle:.3f} {left:.3f} {top - radius:.3f} c "
        f"{left:.3f} {bottom + radius:.3f} l "
        f"{left:.3f} {bottom + handle:.3f} {left + handle:.3f} {bottom:.3f} {left + radius:.3f} {bottom:.3f} c h S Q"
    )


def _ruler_length(side_mm):
    """The longest whole 10 mm up to the full ruler that fits, or whole 5 mm on a small label."""
    if side_mm >= RULER_MM + 20:
        return RULER_MM
    room = side_mm - 1
    return int(room // 10 * 10) or int(room // 5 * 5)


def _ruler(x_mm, y_mm, length_mm, upright, height_pt):
    """Millimetre marks along a line, longer at 5 and 10 mm."""
    parts = [f"q {_HAIRLINE_PT} w 0 G"]

    def stroke(from_x, from_y, to_x, to_y):
        parts.append(
            f"{from_x * POINTS_PER_MM:.3f} {height_pt - from_y * POINTS_PER_MM:.3f} m "
            f"{to_x * POINTS_PER_MM:.3f} {height_pt - to_y * POINTS_PER_MM:.3f} l"
        )

    if upright:
        stroke(x_mm, y_mm, x_mm, y_mm + length_mm)
    else:
        stroke(x_mm, y_mm, x_mm + length_mm, y_mm)
    for mark in range(length_mm + 1):
        tick = 3.0 if mark % 10 == 0 else 2.0 if mark % 5 == 0 else 1.0
        if upright:
            stroke(x_mm, y_mm + mark, x_mm + tick, y_mm + mark)
        else:
            stroke(x_mm + mark, y_mm, x_mm + mark, y_mm - tick)
    return " ".join(parts) + " S Q"


__all__ = [
    "QUIET_MODULES",
    "DrawnSheet",
    "LabelPainter",
    "PlacedLine",
    "draw_labels",
    "draw_test_outline",
]
