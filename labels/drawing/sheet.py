"""Labels on pages, as a PDF."""

import io
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import islice
from math import sqrt

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from .content import LabelContent
from .errors import BadResolution, BadStock, NothingToDraw
from .faces import CODE, DETAIL, NAME
from .layout import (
    CAPITAL_HEIGHT,
    CODE_ADVANCE,
    CODE_CHARACTERS,
    CODE_LEADING,
    DESCENT,
    DETAIL_LEADING,
    MM_PER_POINT,
    SMALLEST_DETAIL_PT,
    SMALLEST_NAME_PT,
    Box,
    Layout,
    choose_layout,
    code_height_mm,
    details_height_mm,
    gap_mm,
)
from .stock import StockGeometry, positions, problems
from .symbol import dot_mm, make_symbol_paths, module_warning, symbol_size
from .typesetting import Line, Paragraph, Typesetter, set_paragraph, tidy

POINTS_PER_MM = 72 / 25.4
RESOLUTIONS = (72, 4800)  # dpi; below and above there is no printer (common practice, no source)
RULER_MM = 100
_HAIRLINE_PT = 0.35
_OVERSHOOT = 0.03  # em by which round figures pass the line and the height of capitals
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
    paths = make_symbol_paths(content.address for content in contents)
    for content, path, place in zip(contents, paths, places, strict=False):
        if place.page != current:
            page.turn()
            current = place.page
        page.add(painter.operators(content, path, place.x_mm, place.y_mm))
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
    captions = [f"{across} mm", f"{down} mm"]
    if stock.kind == "sheet":
        captions[0] += f" · {tidy(stock.name)}"
    numbers = [str(number) for number in range(1, stock.per_page + 1)] if stock.per_page > 1 else []
    typesetter = Typesetter({DETAIL: [*numbers, *captions]})
    page = _Pages(stock, f"Test outline: {stock.name}")

    def write(text, x_mm, baseline_mm, size):
        line = typesetter.line(DETAIL, text)
        x, y = x_mm * POINTS_PER_MM, page.height_pt - baseline_mm * POINTS_PER_MM
        # White behind the words, or the edge of a label would run through them.
        behind = f"1 g {x - 1:.3f} {y - 0.3 * size:.3f} {line.width * size + 2:.3f} {1.2 * size:.3f} re f 0 g"
        page.add(f"q {behind} BT {line.operators(x, y, size)} ET Q")

    for place in islice(positions(stock), stock.per_page):
        page.add(_outline(stock, place.x_mm, place.y_mm, page.height_pt))
    # Numbers stand in the corner of their label, where neither ruler covers many of them.
    inset = 1.0 + (1 - sqrt(0.5)) * stock.corner_radius_mm
    size = min(8.0, 0.2 * min(stock.label_width_mm, stock.label_height_mm) * POINTS_PER_MM)
    for text, place in zip(numbers, positions(stock), strict=False):
        write(text, place.x_mm + inset, place.y_mm + inset + CAPITAL_HEIGHT * size * MM_PER_POINT, size)
    # Two rulers, one each way: a printer may stretch one and not the other.
    x, y = (stock.page_width_mm - across) / 2, (stock.page_height_mm - down) / 2
    level, upright = 0.62 * stock.page_height_mm, x + 0.1 * across
    page.add(_ruler(x, level, across, False, page.height_pt))
    page.add(_ruler(upright, y, down, True, page.height_pt))
    size = 8 if stock.kind == "sheet" else 4
    drop = size * MM_PER_POINT
    write(captions[0], x + 0.2 * across, level + 1.2 * drop, size)
    write(captions[1], upright + 3.5, y + 1.0 * drop, size)
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
        texts, code_box = self._compose(content, layout)
        return [*self._code_lines(content.code, layout, code_box), *texts]

    def symbol_corner(self, layout: Layout, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Top left corner, in mm on the page, of the dark part of the symbol of a label at (x, y).

        It lies on the printer's grid of dots, counted from the page's top left, so that no module is a dot wider
        than its neighbour.
        """
        dot = dot_mm(self.dpi)
        dark = layout.dark
        return round((x_mm + dark.x) / dot) * dot, round((y_mm + dark.y) / dot) * dot

    def operators(self, content: LabelContent, path: str, x_mm: float, y_mm: float) -> str:
        """PDF operators for a label at (x, y), its top left corner in mm on the page; `path` is its symbol's."""
        layout = self.layout(content.address)
        corner_x, corner_y = self.symbol_corner(layout, x_mm, y_mm)
        module = layout.module_mm * POINTS_PER_MM
        symbol = (
            f"q {module:.6f} 0 0 {-module:.6f} {corner_x * POINTS_PER_MM:.5f} "
            f"{self.height_pt - corner_y * POINTS_PER_MM:.5f} cm {path} Q"
        )
        if layout.text is None:
            return symbol
        texts, code_box = self._texts(
            content.lineage, content.cut_on, content.mother, content.kind, symbol_size(content.address)
        )
        code = self._code_operators(content.code, layout, code_box)
        at = f"q 1 0 0 1 {x_mm * POINTS_PER_MM:.3f} {self.height_pt - y_mm * POINTS_PER_MM:.3f} cm"
        return f"{symbol} {at} BT {code} {texts} ET Q"

    def warnings(self) -> list[str]:
        """What the keeper should know: small modules, missing text, names cut short, characters without a glyph."""
        found = []
        for layout in self._layouts.values():
            warning = module_warning(layout.module_mm, self.stock.name)
            if warning:
                found.append(warning)
            if layout.text is None:
                found.append(f"“{self.stock.name}” has room for the QR alone; the code in clear is not printed.")
            elif not layout.is_whole:
                found.append(
                    f"“{self.stock.name}” has room for the QR and the code; lineage, date and mother are not printed."
                )
        for name in self._cut_short:
            found.append(f"“{name}” is too long for “{self.stock.name}” and is cut short with an ellipsis.")
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
        return glyphs

    def _code_operators(self, code, layout, box):
        glyphs = self._code_glyphs
        if layout.code_lines == 1 and len(code) <= CODE_CHARACTERS and all(each in glyphs for each in code):
            # The common case, thousands of times over: every character is as wide as the next.
            x = box.x
            if layout.align == "centre":
                x += (box.width - CODE_ADVANCE * len(code) * layout.code_pt * MM_PER_POINT) / 2
            text = "".join([glyphs[each] for each in code])
            return (
                f"/{self._code_resource} {layout.code_pt:.4g} Tf 1 0 0 1 {x * POINTS_PER_MM:.3f} "
                f"{-box.bottom * POINTS_PER_MM:.3f} Tm <{text}> Tj"
            )
        return _line_operators(self._code_lines(code, layout, box))

    def _code_lines(self, code, layout, box):
        if box is None or not code:
            return []
        texts = code.split("-", 1) if layout.code_lines == 2 and "-" in code else [code]
        lines = [self.typesetter.line(CODE, text) for text in texts]
        widest = max(max(line.width, line.right) - min(0.0, line.left) for line in lines)
        highest = max(line.top + line.bottom for line in lines) + CODE_LEADING * (len(lines) - 1)
        size = min(layout.code_pt, box.width * POINTS_PER_MM / widest)
        if highest > CAPITAL_HEIGHT + CODE_LEADING * (len(lines) - 1) + _OVERSHOOT:
            size = min(size, box.height * POINTS_PER_MM / highest)
        em = size * MM_PER_POINT
        # A tag may hang below the line, which a code of capitals and figures never does.
        lift = lines[-1].bottom * em if lines[-1].bottom > _OVERSHOOT else 0.0
        return [
            _place(
                "code", line, box, box.bottom - lift - CODE_LEADING * em * (len(lines) - 1 - number), size, layout.align
            )
            for number, line in enumerate(lines)
        ]

    def _set_texts(self, lineage, cut_on, mother, kind, size):
        layout = self._layouts[size.modules_with_quiet_zone]
        content = LabelContent(address="", code="", lineage=lineage, cut_on=cut_on, mother=mother, kind=kind)
        texts, code_box = self._compose(content, layout)
        return _line_operators(texts), code_box

    def _compose(self, content, layout):
        """Lines of name and details, and the box left for the code."""
        area = layout.text
        if area is None or not layout.is_whole:
            return [], area
        details = self._detail_texts(content, layout)
        gap = gap_mm(layout.code_pt)
        code_height = code_height_mm(layout.code_pt, 1)
        details_height = details_height_mm(layout.detail_pt, len(details)) if details else 0.0
        name_room = area.height - code_height - gap - (details_height + gap if details else 0.0)
        name = self._name(content.lineage, area.width, name_room, layout) if content.lineage else None
        name_height = name.height * MM_PER_POINT if name else 0.0
        heights = [height for height in (name_height, details_height, code_height) if height]
        used = sum(heights) + gap * (len(heights) - 1)
        if layout.arrangement == "beside":
            # Beside a large symbol the text begins and ends with its dark part; otherwise it is centred on it.
            dark = layout.dark
            span = max(used, dark.height)
            top = min(max(dark.y + (dark.height - span) / 2, area.y), area.bottom - span)
            code_box = Box(area.x, top + span - code_height, area.width, code_height)
            name_y = top
            details_y = code_box.y - gap - details_height
        else:
            top = area.y + min((area.height - used) / 2, gap)
            code_box = Box(area.x, top, area.width, code_height)
            name_y = code_box.bottom + gap
            details_y = name_y + (name_height + gap if name else 0.0)
        lines = []
        if details:
            lines += self._place_details(details, Box(area.x, details_y, area.width, details_height), layout)
        if name:
            width = area.width
            if name.from_right:
                # A name that reads from the right ends where the lines under it do, not at the label's far edge.
                width = max(
                    CODE_CHARACTERS * CODE_ADVANCE * layout.code_pt * MM_PER_POINT,
                    *(line.ink.right - area.x for line in lines),
                    *(line.right * name.size * MM_PER_POINT for line in name.lines),
                )
                width = area.width if layout.align == "centre" else min(width, area.width)
            lines += _place_paragraph("name", name, Box(area.x, name_y, width, name_height), layout.align)
        return lines, code_box

    def _name(self, lineage, width_mm, height_mm, layout):
        paragraph = set_paragraph(
            self.typesetter,
            NAME,
            lineage,
            width=width_mm * POINTS_PER_MM,
            height=height_mm * POINTS_PER_MM,
            largest=layout.name_largest_pt,
            smallest=min(SMALLEST_NAME_PT, layout.name_largest_pt),
            most_lines=layout.name_lines,
        )
        if paragraph.cut_short:
            self._cut_short[lineage] = None
        return paragraph

    def _detail_texts(self, content, layout):
        full, day, mother = _detail_choices(content)
        if layout.detail_lines == 2 and day and mother:
            return [("date", day), ("mother", mother)]
        return [("details", full)] if full else []

    def _place_details(self, details, box, layout):
        size = layout.detail_pt
        step = DETAIL_LEADING * size * MM_PER_POINT
        last = box.bottom - DESCENT * size * MM_PER_POINT
        placed = []
        for number, (part, text) in enumerate(details):
            paragraph = set_paragraph(
                self.typesetter,
                DETAIL,
                text,
                width=box.width * POINTS_PER_MM,
                height=(CAPITAL_HEIGHT + DESCENT) * size + 0.01,
                largest=size,
                smallest=min(SMALLEST_DETAIL_PT, size),
                most_lines=1,
            )
            if paragraph.cut_short:
                self._cut_short[text] = None
            line = paragraph.lines[0]
            # A script that hangs deep is lifted so that it stays in its own band.
            lift = max(0.0, line.bottom * paragraph.size - DESCENT * size) * MM_PER_POINT
            baseline = last - step * (len(details) - 1 - number) - lift
            placed.append(_place(part, line, box, baseline, paragraph.size, layout.align))
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
    mother = content.mother or ""
    if mother and content.kind == "plug":
        mother = f"from {mother}"
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
            pdfVersion=(1, 6),  # the first to say that a viewer should not scale the page when it prints
        )
        # reportlab begins every page in Helvetica, which it does not embed; nothing here is set in it.
        self._canvas._preamble = ""
        self._canvas._doc.idToObject["BasicFonts"].dict.clear()
        self._canvas.setTitle(title)
        self._canvas.setAuthor("")
        self._canvas.setSubject("")
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
        return f"q {_HAIRLINE_PT} w 0 G {left:.3f} {bottom:.3f} {right - left:.3f} {top - bottom:.3f} re S Q"
    handle = radius * (1 - 0.5522847)  # a quarter circle as a Bézier curve
    return (
        f"q {_HAIRLINE_PT} w 0 G {left + radius:.3f} {bottom:.3f} m {right - radius:.3f} {bottom:.3f} l "
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
