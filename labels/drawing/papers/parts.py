"""The parts a paper is made of: each knows its words, measures itself and is put on pages by a pen.

Lengths are points, as in `pages`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Literal

from labels.drawing.faces import CODE, DETAIL, LATIN, NAME, Style
from labels.drawing.symbol import QUIET_MODULES, SymbolSize, dot_mm, make_symbol_paths, symbol_size
from labels.drawing.typesetting import Line, Typesetter, set_paragraph, tidy

from .pages import BLACK, INK, MARKER, POINTS_PER_MM, RULE, SOFT, SUNK, Book, Ink, Page, Tag

BODY, SMALL, FINE = 9.5, 8.5, 7.5
LEADING = 1.36  # em from baseline to baseline; what a quiet page of short lines bears (common practice, no source)
MARGIN = 17 * POINTS_PER_MM
TOP, BOTTOM = 16 * POINTS_PER_MM, 20 * POINTS_PER_MM
GAP = 12.0
ANY_HEIGHT = 1e9
MOST_LINES = 400
OVERHANGS = (0, 0.15, 0.5)  # em that a last letter may lean over its line; words then wrap a little earlier
DPI = 600  # office printers; modules of the QR are whole dots there
PRINTER_DOT = dot_mm(DPI) * POINTS_PER_MM
SYMBOL_DOTS = 10  # 0.42 mm a module, which a phone reads at arm's length
LEAST_SYMBOL_DOTS = 6  # 0.25 mm
FIGURES = "0123456789 of…"  # of page numbers, which are known only once all is set


@dataclass(frozen=True)
class Words:
    """A text with the way it is set."""

    text: str
    style: Style = DETAIL
    size: float = BODY
    ink: Ink = INK


def soft(text: str, size: float = SMALL) -> Words:
    return Words(text, size=size, ink=SOFT)


def strong(text: str, size: float = BODY) -> Words:
    return Words(text, style=NAME, size=size)


def latin(text: str, size: float = SMALL) -> Words:
    return Words(text, style=LATIN, size=size, ink=SOFT)


def code(text: str, size: float = BODY) -> Words:
    return Words(text, style=CODE, size=size)


def words_in(part) -> Iterator[Words]:
    """All words of a part, whatever it is made of."""
    if isinstance(part, Words):
        yield part
    elif is_dataclass(part):
        for each in fields(part):
            yield from words_in(getattr(part, each.name))
    elif isinstance(part, (list, tuple)):
        for each in part:
            yield from words_in(each)


@dataclass(frozen=True)
class Setting:
    """Words set into a width: lines with one distance, the first baseline and the height of all."""

    lines: tuple[Line, ...]
    ink: Ink
    size: float
    leading: float
    first: float
    height: float
    width: float
    from_right: bool


class Typist:
    """Sets the words of one document; the same words in the same width are set once."""

    def __init__(self, typesetter: Typesetter):
        self.typesetter = typesetter
        self._settings: dict[tuple[Words, float], Setting] = {}

    def set(self, words: Words, width: float) -> Setting:
        """Words in lines no wider than this."""
        key = words, round(width, 2)
        setting = self._settings.get(key)
        if setting is None:
            setting = self._settings[key] = self._set(words, width)
        return setting

    def _set(self, words, width):
        if not tidy(words.text):
            return Setting((), words.ink, words.size, 0, 0, 0, 0, from_right=False)
        for overhang in OVERHANGS:
            paragraph = set_paragraph(
                self.typesetter,
                words.style,
                tidy(words.text),
                width=width - overhang * words.size,
                height=ANY_HEIGHT,
                largest=words.size,
                smallest=words.size,
                most_lines=MOST_LINES,
            )
            if not paragraph.cut_short:
                break
        size = paragraph.size
        leading = max(LEADING * size, paragraph.leading)
        first = max(0.78 * size, paragraph.first_baseline)
        deepest = max(0.25 * size, paragraph.lines[-1].bottom * size)
        return Setting(
            lines=paragraph.lines,
            ink=words.ink,
            size=size,
            leading=leading,
            first=first,
            height=first + leading * (len(paragraph.lines) - 1) + deepest,
            width=max(line.width for line in paragraph.lines) * size,
            from_right=paragraph.from_right,
        )


class Pen:
    """Where a paper is being written: the page, how far down, and the tag that what follows belongs to."""

    def __init__(self, book: Book, typist: Typist, tag: Tag):
        self.book = book
        self.typist = typist
        self.tag = tag
        self.left = MARGIN
        self.width = book.size.width - 2 * MARGIN
        self.bottom = book.size.height - BOTTOM
        self.pages: list[Page] = []
        self.turn()

    @property
    def page(self) -> Page:
        return self.pages[-1]

    @property
    def room(self) -> float:
        return self.bottom - self.y

    @property
    def is_at_top(self) -> bool:
        return self.y <= TOP

    def turn(self) -> None:
        """Go on on a new page."""
        self.pages.append(self.book.turn())
        self.y = TOP

    def need(self, height: float) -> bool:
        """Turn the page unless so much has room; whether it was turned."""
        if height <= self.room + 0.01 or self.is_at_top:
            return False
        self.turn()
        return True

    def skip(self, height: float) -> None:
        """Leave some room, but none at the top of a page."""
        if not self.is_at_top:
            self.y += height

    def put(
        self,
        setting: Setting,
        x: float,
        y: float,
        tag: Tag | None,
        *,
        width: float | None = None,
        align: Literal["left", "right", "centre"] = "left",
    ) -> None:
        """Draw words that were set with the top of their box at (x, y)."""
        if not setting.lines:
            return
        size, ink, parts = setting.size, setting.ink, []
        width = setting.width if width is None else width
        for number, line in enumerate(setting.lines):
            over = (width if align != "left" else setting.width) - line.width * size
            aside = over if align == "right" else over / 2 if align == "centre" else over if setting.from_right else 0
            parts.append(self.page.text(line, x + aside, y + setting.first + number * setting.leading, size, ink))
        self.page.draw(" ".join(parts), tag)


# Symbols -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Symbol:
    """A QR of an address; ``says`` is read to those who cannot see it."""

    address: str
    says: str
    dots: int = SYMBOL_DOTS

    @property
    def measures(self) -> SymbolSize:
        return symbol_size(self.address)

    @property
    def module(self) -> float:
        """Side of a module in points; finer for a long address, as long as a phone still reads it."""
        usual = 33  # modules with the quiet zone of a short address
        dots = round(self.dots * usual / max(usual, self.measures.modules_with_quiet_zone))
        return max(LEAST_SYMBOL_DOTS, dots) * PRINTER_DOT

    @property
    def side(self) -> float:
        """With the quiet zone."""
        return self.measures.modules_with_quiet_zone * self.module


def symbols_in(part) -> Iterator[Symbol]:
    """All symbols of a part."""
    if isinstance(part, Symbol):
        yield part
    elif is_dataclass(part):
        for each in fields(part):
            yield from symbols_in(getattr(part, each.name))
    elif isinstance(part, (list, tuple)):
        for each in part:
            yield from symbols_in(each)


class Symbols:
    """The paths of all symbols of a document, made together."""

    def __init__(self, symbols: Sequence[Symbol]):
        addresses = list(dict.fromkeys(symbol.address for symbol in symbols))
        self._paths = dict(zip(addresses, make_symbol_paths(addresses), strict=True))

    def put(self, pen: Pen, symbol: Symbol, x: float, y: float, tag: Tag) -> None:
        """Draw a symbol with the corner of its quiet zone near (x, y), its modules on the printer's grid of dots."""
        quiet, module = QUIET_MODULES * symbol.module, symbol.module
        left, top = (round((at + quiet) / PRINTER_DOT) * PRINTER_DOT for at in (x, y))
        pen.page.draw(
            f"q {BLACK.numbers} rg {module:.6f} 0 0 {-module:.6f} {left:.5f} {pen.page.height - top:.5f} cm "
            f"{self._paths[symbol.address]} Q",
            tag.add("Figure", symbol.says),
        )


# Parts ---------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Top:
    """The top of a paper: whose it is and what it belongs to, its title, and a line under it."""

    keeper: Words
    reference: Words
    title: Words
    lead: Words | None = None

    def put(self, pen: Pen, symbols: Symbols) -> None:
        _mark(pen.page, pen.left, pen.y)
        beside = pen.left + 22
        reference = pen.typist.set(self.reference, pen.width * 0.4)
        room = pen.width - 22 - reference.width - GAP
        keeper = pen.typist.set(self.keeper, room)
        pen.put(keeper, beside, pen.y + 4.5, pen.tag.add("P"))
        pen.put(reference, pen.left, pen.y + 4.5, pen.tag.add("P"), width=pen.width, align="right")
        pen.y += max(24, keeper.height + 8)
        pen.page.rule(pen.left, pen.y, pen.width, INK, 0.9)
        pen.y += 20
        title = pen.typist.set(self.title, pen.width)
        pen.put(title, pen.left, pen.y, pen.tag.add("H1"))
        pen.y += title.height + 4
        if self.lead:
            lead = pen.typist.set(self.lead, pen.width)
            pen.put(lead, pen.left, pen.y, pen.tag.add("P"))
            pen.y += lead.height
        pen.y += 14


def _mark(page: Page, x: float, y: float) -> None:
    """The house's mark (icons.svg#mark), 17 points high: a colony and the frag that was cut from it."""
    scale = 17 / 24
    page.draw(
        f"q {INK.numbers} RG 1 J 1 j {scale:.4f} 0 0 {-scale:.4f} {x:.3f} {page.height - y:.3f} cm 2.6 w "
        "10 21 m 10 12 l 10 14 m 10 10.5 4.5 11 4.5 6.5 c 4.5 4 l 10 12 m 10 3.5 l "
        "10 16.5 m 12 16.5 13.6 15.7 14.6 14.4 c S 17.5 11 m 17.5 6 l S "
        "1.6 w [1.6 2.4] 0 d 13.8 11.3 m 20.5 14.3 l S Q"
    )


@dataclass(frozen=True)
class Notice:
    """Something to know before all else, on a tinted ground with the marker's edge."""

    words: Words

    def put(self, pen: Pen, symbols: Symbols) -> None:
        setting = pen.typist.set(self.words, pen.width - 24)
        height = setting.height + 14
        pen.need(height)
        pen.page.block(pen.left, pen.y, pen.width, height, SUNK)
        pen.page.block(pen.left, pen.y, 3, height, MARKER)
        pen.put(setting, pen.left + 14, pen.y + 7, pen.tag.add("P"))
        pen.y += height + 14


@dataclass(frozen=True)
class Heading:
    """A heading, kept together with the beginning of what follows."""

    words: Words
    keep: float = 40

    def put(self, pen: Pen, symbols: Symbols) -> None:
        setting = pen.typist.set(self.words, pen.width)
        if not pen.need(9 + setting.height + 5 + self.keep):
            pen.skip(9)
        pen.put(setting, pen.left, pen.y, pen.tag.add("H2"))
        pen.y += setting.height + 5


@dataclass(frozen=True)
class Paragraph:
    """A text in as many lines as it needs."""

    words: Words
    after: float = 6
    before: float = 0

    def put(self, pen: Pen, symbols: Symbols) -> None:
        pen.y += self.before
        setting = pen.typist.set(self.words, pen.width)
        pen.need(setting.height)
        pen.put(setting, pen.left, pen.y, pen.tag.add("P"))
        pen.y += setting.height + self.after


@dataclass(frozen=True)
class Bullets:
    """Sentences one under another, each with a mark of its own."""

    items: tuple[Words, ...]

    def put(self, pen: Pen, symbols: Symbols) -> None:
        listed = pen.tag.add("L")
        for words in self.items:
            setting = pen.typist.set(words, pen.width - 12)
            pen.need(setting.height)
            at = pen.page.height - pen.y - setting.first + 0.27 * words.size
            pen.page.draw(f"{SOFT.numbers} RG 1 w {pen.left:.3f} {at:.3f} m {pen.left + 5:.3f} {at:.3f} l S")
            pen.put(setting, pen.left + 12, pen.y, listed.add("LI").add("LBody"))
            pen.y += setting.height + 2.5
        pen.y += 3


@dataclass(frozen=True)
class Facts:
    """Names with their values, beside one another in columns."""

    pairs: tuple[tuple[Words, Words], ...]
    columns: int = 3

    def put(self, pen: Pen, symbols: Symbols) -> None:
        put_facts(pen, self.pairs, pen.left, pen.width, self.columns)
        pen.y += 2


def put_facts(pen: Pen, pairs, left: float, width: float, columns: int) -> None:
    """Facts from the pen downwards, within a width."""
    listed = pen.tag.add("L")
    each_width = (width - GAP * (columns - 1)) / columns
    for first in range(0, len(pairs), columns):
        row = [
            (pen.typist.set(name, each_width), pen.typist.set(value, each_width))
            for name, value in pairs[first : first + columns]
        ]
        height = max(name.height + 2 + value.height for name, value in row)
        pen.need(height)
        for column, (name, value) in enumerate(row):
            x, item = left + column * (each_width + GAP), listed.add("LI")
            pen.put(name, x, pen.y, item.add("Lbl"))
            pen.put(value, x, pen.y + name.height + 2, item.add("LBody"))
        pen.y += height + 9


@dataclass(frozen=True)
class Sides:
    """Who gives and who gets, beside one another: what each is, and its lines under it.

    Lines of a name that reads from the right all stand at the right, as on a letter.
    """

    sides: tuple[tuple[Words, tuple[Words, ...]], ...]

    def put(self, pen: Pen, symbols: Symbols) -> None:
        listed, width = pen.tag.add("L"), (pen.width - GAP * (len(self.sides) - 1)) / len(self.sides)
        set_sides = [
            (pen.typist.set(what, width), [pen.typist.set(words, width) for words in lines])
            for what, lines in self.sides
        ]
        height = max(what.height + sum(2 + line.height for line in lines) for what, lines in set_sides)
        pen.need(height)
        for place, (what, lines) in enumerate(set_sides):
            x, y, item = pen.left + place * (width + GAP), pen.y, listed.add("LI")
            pen.put(what, x, y, item.add("Lbl"))
            y += what.height
            body, widest = item.add("LBody"), max(line.width for line in lines)
            for line in lines:
                align = "right" if line.from_right or lines[0].from_right else "left"
                pen.put(line, x, y + 2, body.add("P"), width=widest, align=align)
                y += 2 + line.height
        pen.y += height + 14


@dataclass(frozen=True)
class Box:
    """A box to tick."""

    side: float = 12
    says: str = "Box to tick"


Cell = tuple  # of Words one under another, a Symbol, or a Box


@dataclass(frozen=True)
class Column:
    """A column: what stands over it, and its width; 0 for one that takes the room that is left."""

    head: Words
    width: float = 0
    align: Literal["left", "right", "centre"] = "left"


@dataclass(frozen=True)
class Row:
    """A row of cells, or one line over the whole width that begins a group."""

    cells: tuple[Cell, ...] = ()
    group: tuple[Words, Words] | None = None


@dataclass(frozen=True)
class Table:
    """Rows under heads that are repeated on every page; a group that goes on says so there."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    goes_on: Words = Words("continued", size=SMALL, ink=SOFT)
    padding: float = 5
    is_centred: bool = False

    def put(self, pen: Pen, symbols: Symbols) -> None:
        widths = self._widths(pen.width)
        table = pen.tag.add("Table")
        pen.need(50)
        self._put_head(pen, widths, table.add("TR"))
        group = None
        for place, row in enumerate(self.rows):
            height = self._height(pen, row, widths)
            together = height
            if row.group and place + 1 < len(self.rows):
                together += self._height(pen, self.rows[place + 1], widths)
            if pen.need(together):
                self._put_head(pen, widths, None)
                if group and not row.group:
                    self._put_group(pen, (group[0], self.goes_on), None)
            if row.group:
                group = row.group
                self._put_group(pen, group, table.add("TR").add("TD", columns=len(self.columns)))
                continue
            tag, top = table.add("TR"), pen.y
            for column, cell, (left, width) in zip(self.columns, row.cells, widths, strict=True):
                self._put_cell(pen, symbols, cell, column.align, left, top, width, height, tag.add("TD"))
            pen.y += height
            pen.page.rule(pen.left, pen.y, pen.width)
        pen.y += 4

    def _widths(self, whole):
        gaps = GAP * (len(self.columns) - 1)
        open_columns = sum(column.width == 0 for column in self.columns)
        rest = whole - gaps - sum(column.width for column in self.columns)
        widths, left = [], MARGIN
        for column in self.columns:
            width = column.width or rest / open_columns
            widths.append((left, width))
            left += width + GAP
        return widths

    def _put_head(self, pen, widths, tag):
        settings = [pen.typist.set(column.head, width) for column, (_, width) in zip(self.columns, widths, strict=True)]
        height = max(setting.height for setting in settings)
        for column, setting, (left, width) in zip(self.columns, settings, widths, strict=True):
            cell = tag and tag.add("TH")
            aside = height - setting.height
            pen.put(setting, left, pen.y + aside, cell, width=width, align=column.align)
        pen.y += height + 4
        pen.page.rule(pen.left, pen.y, pen.width, INK, 0.9)

    def _put_group(self, pen, group, tag):
        name = pen.typist.set(group[0], pen.width * 0.7)
        detail = pen.typist.set(group[1], pen.width - name.width - GAP)
        height = name.height + 2 * self.padding
        pen.page.block(pen.left, pen.y, pen.width, height, SUNK)
        pen.put(name, pen.left + 6, pen.y + self.padding, tag)
        aside = name.first - detail.first
        pen.put(detail, pen.left, pen.y + self.padding + aside, tag, width=pen.width - 6, align="right")
        pen.y += height
        pen.page.rule(pen.left, pen.y, pen.width)

    def _height(self, pen, row, widths):
        if row.group:
            return pen.typist.set(row.group[0], pen.width * 0.7).height + 2 * self.padding
        return max(self._cell_height(pen, cell, width) for cell, (_, width) in zip(row.cells, widths, strict=True))

    def _cell_height(self, pen, cell, width):
        if cell and isinstance(cell[0], Symbol):
            return cell[0].side + 2
        if cell and isinstance(cell[0], Box):
            return cell[0].side + 2 * self.padding
        return sum(pen.typist.set(words, width).height for words in cell) + 2 * (len(cell) - 1) + 2 * self.padding

    def _put_cell(self, pen, symbols, cell, align, left, top, width, height, tag):
        if not cell:
            return
        if isinstance(cell[0], Symbol):
            symbols.put(pen, cell[0], left + (width - cell[0].side) / 2, top + (height - cell[0].side) / 2, tag)
            return
        if isinstance(cell[0], Box):
            side = cell[0].side
            at = pen.page.height - top - (height + side) / 2
            box = f"{left:.3f} {at:.3f} {side:.3f} {side:.3f} re S"
            pen.page.draw(f"{INK.numbers} RG 0.9 w {box}", tag.add("Figure", cell[0].says))
            return
        settings = [pen.typist.set(words, width) for words in cell]
        used = sum(setting.height for setting in settings) + 2 * (len(cell) - 1)
        # Beside symbols words stand in the middle of their row, in a list at its top.
        y = top + ((height - used) / 2 if self.is_centred else self.padding)
        for setting in settings:
            pen.put(setting, left, y, tag.add("P") if len(settings) > 1 else tag, width=width, align=align)
            y += setting.height + 2


@dataclass(frozen=True)
class Sums:
    """Amounts under a list, set to the right; the main one with a rule and in bold."""

    lines: tuple[tuple[Words, Words, bool], ...]

    def put(self, pen: Pen, symbols: Symbols) -> None:
        table = pen.tag.add("Table")
        settings = [
            (pen.typist.set(words, pen.width * 0.6), pen.typist.set(amount, pen.width * 0.3), is_main)
            for words, amount, is_main in self.lines
        ]
        amounts = max(90.0, *(amount.width for _, amount, _ in settings)) + 16
        width = min(max(words.width for words, _, _ in settings) + amounts, pen.width)
        left = pen.left + pen.width - max(width, pen.width * 0.46)
        pen.need(sum(max(words.height, amount.height) + 9 for words, amount, _ in settings))
        for words, amount, is_main in settings:
            height, row = max(words.height, amount.height), table.add("TR")
            if is_main:
                pen.y += 3
                pen.page.rule(left, pen.y, pen.left + pen.width - left, INK, 0.9)
                pen.y += 3
            pen.put(words, left, pen.y + 3, row.add("TD"))
            aside = words.first - amount.first
            across = pen.left + pen.width - left
            pen.put(amount, left, pen.y + 3 + aside, row.add("TD"), width=across, align="right")
            pen.y += height + 5
        pen.y += 6


@dataclass(frozen=True)
class Timeline:
    """Steps one under another along a line, the nearest first: the day, what happened, and more of it."""

    steps: tuple[tuple[Words, Words, Words | None], ...]

    def put(self, pen: Pen, symbols: Symbols) -> None:
        listed = pen.tag.add("L")
        days = max(pen.typist.set(day, pen.width).width for day, _, _ in self.steps)
        line, text = pen.left + days + 14, pen.left + days + 28
        width = pen.left + pen.width - text
        before = None
        for day, title, detail in self.steps:
            settings = [pen.typist.set(words, width) for words in (title, detail) if words]
            height = sum(setting.height for setting in settings) + 2 * (len(settings) - 1)
            if pen.need(height + 9):
                before = None
            told = pen.typist.set(day, days + 1)
            middle = pen.y + settings[0].first - 0.34 * title.size
            if before is not None:
                at, to = pen.page.height - before - 5, pen.page.height - middle + 5
                pen.page.draw(f"{RULE.numbers} RG 1.2 w {line:.3f} {at:.3f} m {line:.3f} {to:.3f} l S")
            _dot(pen.page, line, middle)
            item = listed.add("LI")
            aside = settings[0].first - told.first
            pen.put(told, pen.left, pen.y + aside, item.add("Lbl"), width=days, align="right")
            body, y = item.add("LBody"), pen.y
            for setting in settings:
                pen.put(setting, text, y, body.add("P") if len(settings) > 1 else body)
                y += setting.height + 2
            before = middle
            pen.y += height + 9
        pen.y += 4


def _dot(page, x, y, radius=2.6):
    handle, at = radius * 0.5522847, page.height - y  # a quarter circle as a Bézier curve
    page.draw(
        f"{INK.numbers} rg {x - radius:.3f} {at:.3f} m "
        f"{x - radius:.3f} {at + handle:.3f} {x - handle:.3f} {at + radius:.3f} {x:.3f} {at + radius:.3f} c "
        f"{x + handle:.3f} {at + radius:.3f} {x + radius:.3f} {at + handle:.3f} {x + radius:.3f} {at:.3f} c "
        f"{x + radius:.3f} {at - handle:.3f} {x + handle:.3f} {at - radius:.3f} {x:.3f} {at - radius:.3f} c "
        f"{x - handle:.3f} {at - radius:.3f} {x - radius:.3f} {at - handle:.3f} {x - radius:.3f} {at:.3f} c f"
    )


@dataclass(frozen=True)
class Shown:
    """A picture for the identity of a certificate, already added to the book under its name."""

    name: str
    width: float
    height: float
    says: str
    caption: Words | None = None


@dataclass(frozen=True)
class Identity:
    """What a certificate is about: the code as large as the page bears, name and species, its symbol and picture."""

    code: Words
    name: Words
    species: Words | None
    symbol: Symbol | None
    facts: tuple[tuple[Words, Words], ...]
    picture: Shown | None = None

    def put(self, pen: Pen, symbols: Symbols) -> None:
        aside = max(self.symbol.side if self.symbol else 0, max(self.picture.width, 90) if self.picture else 0)
        left, top, whole = pen.left, pen.y, pen.width
        text = whole - aside - (GAP * 2 if aside else 0)
        for words, after in ((self.name, 3), (self.species, 8), (self.code, 14)):
            if words:
                setting = pen.typist.set(words, text)
                pen.put(setting, left, pen.y, pen.tag.add("P"))
                pen.y += setting.height + after
        put_facts(pen, self.facts, left, text, 2)
        beside = top - 4
        if self.symbol:
            symbols.put(
                pen, self.symbol, left + whole - self.symbol.side + QUIET_MODULES * self.symbol.module, beside, pen.tag
            )
            beside += self.symbol.side + 2
        if self.picture:
            tag = pen.tag.add("Figure", self.picture.says)
            at = left + whole - self.picture.width
            pen.page.picture(self.picture.name, at, beside, self.picture.width, self.picture.height, tag)
            beside += self.picture.height + 4
            if self.picture.caption:
                caption = pen.typist.set(self.picture.caption, max(self.picture.width, 90))
                at = left + whole - max(self.picture.width, caption.width)
                pen.put(caption, at, beside, pen.tag.add("Caption"))
                beside += caption.height + 4
        pen.y = max(pen.y, beside) + 4


Part = Top | Notice | Heading | Paragraph | Bullets | Facts | Sides | Table | Sums | Timeline | Identity
