"""Scale cards on A4 or Letter: a large code, two rulers in mm and three neutral patches, to be cut out.

Where everything stands on a card comes from `propagation.imaging.card`, which measuring uses too.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from labels.drawing.errors import NothingToDraw
from labels.drawing.faces import CODE, DETAIL, NAME
from labels.drawing.papers.pages import BLACK, INK, SOFT, Book, Ink, Page, PaperSize, Tag
from labels.drawing.sheet import POINTS_PER_MM, DrawnSheet
from labels.drawing.symbol import make_symbol_paths, symbol_size
from labels.drawing.typesetting import Typesetter, set_paragraph, tidy
from propagation.imaging.card import DIGIT_HEIGHT_MM, RULER_DEPTH_MM, Rectangle, ScaleCard

MARGIN_MM = 12.0
GAP_MM = 6.0  # between cards, for the scissors
HEAD_MM = 26.0  # for the heading, what to do, and the line to check the printer by
CHECK_MM = 100
CUT_MM = 3.0  # length of a cutting mark
CLEAR_MM = 0.7  # between the words and the figures of the ruler
EDGE = Ink(0xC6, 0xCF, 0xC6)
HEADING = "Scale cards"
HOW = (
    "Print at actual size (100 %) on matt paper: gloss mirrors the lamp. Lay the card flat beside the colony, at the "
    "same height as its widest part, and keep it dry."
)
CHECK = f"This line is {CHECK_MM} mm long when the printer kept the size."
_CAPITAL = 0.69  # height of capitals and figures of the faces used, em


@dataclass(frozen=True)
class CardContent:
    """What stands on one card: what its code says, and a line that names it (``M12 Harbour Ember · K7M4-2QXP``)."""

    address: str
    words: str


def cards_on_a_page(card: ScaleCard, size: PaperSize) -> int:
    """How many cards of a kind fit a page; none if a single one does not."""
    across, down = _grid(card, size)
    return across * down


def draw_scale_cards(contents: Sequence[CardContent], *, card: ScaleCard, size: PaperSize, title: str) -> DrawnSheet:
    """The cards one after another on as many pages as they need. The same contents give the same bytes.

    Raises NothingToDraw, AddressTooLong, and ValueError if the card does not fit the page.
    """
    contents = [CardContent(content.address, tidy(content.words)) for content in contents]
    if not contents:
        raise NothingToDraw
    across, down = _grid(card, size)
    if not across * down:
        raise ValueError(f"A card of {card.paper.width:.0f} × {card.paper.height:.0f} mm does not fit {size.words}.")
    figures = {text for ruler in card.rulers for text, *_ in ruler.numbers()}
    typesetter = Typesetter(
        {NAME: [HEADING], DETAIL: [HOW, CHECK, *figures, *(content.words for content in contents)], CODE: []}
    )
    book = Book(size)
    painter = _Painter(card, typesetter)
    paths = make_symbol_paths(content.address for content in contents)
    for number, (content, path) in enumerate(zip(contents, paths, strict=True)):
        place = number % (across * down)
        if place == 0:
            page = book.turn()
            _head(page, book.root, typesetter, size)
        row, column = divmod(place, across)
        left = MARGIN_MM + column * (card.paper.width + GAP_MM)
        top = MARGIN_MM + HEAD_MM + row * (card.paper.height + GAP_MM)
        painter.draw(page, book.root, content, path, left - card.paper.left, top - card.paper.top)
    return DrawnSheet(pdf=book.write(typesetter, title=title, as_it_is=True), pages=len(book.pages), warnings=[])


def _grid(card, size):
    across = int((size.width_mm - 2 * MARGIN_MM + GAP_MM) // (card.paper.width + GAP_MM))
    down = int((size.height_mm - 2 * MARGIN_MM - HEAD_MM + GAP_MM) // (card.paper.height + GAP_MM))
    return max(across, 0), max(down, 0)


def _head(page: Page, root: Tag, typesetter: Typesetter, size: PaperSize) -> None:
    left = MARGIN_MM * POINTS_PER_MM
    width = size.width - 2 * left
    line = typesetter.line(NAME, HEADING)
    page.draw(page.text(line, left, left + 11, 15, INK), root.add("H1"))
    how = set_paragraph(typesetter, DETAIL, HOW, width=width, height=30, largest=8.5, smallest=7, most_lines=2)
    for number, line in enumerate(how.lines):
        page.draw(page.text(line, left, left + 24 + number * how.leading, how.size, SOFT), root.add("P"))
    y = left + 24 + len(how.lines) * how.leading + 8
    length = CHECK_MM * POINTS_PER_MM
    at = page.height - y
    page.draw(
        f"{INK.numbers} RG 0.5 w {left:.3f} {at:.3f} m {left + length:.3f} {at:.3f} l "
        f"{left:.3f} {at - 4:.3f} m {left:.3f} {at + 4:.3f} l "
        f"{left + length:.3f} {at - 4:.3f} m {left + length:.3f} {at + 4:.3f} l S"
    )
    check = set_paragraph(
        typesetter, DETAIL, CHECK, width=width - length - 8, height=30, largest=8.5, smallest=6, most_lines=2
    )
    top = y - (len(check.lines) - 1) * check.leading / 2 + _CAPITAL * check.size / 2
    for number, line in enumerate(check.lines):
        page.draw(page.text(line, left + length + 8, top + number * check.leading, check.size, SOFT), root.add("P"))


class _Painter:
    """Draws cards of one kind; ``x`` and ``y`` are where the corner of the symbol stands, mm from the page's."""

    def __init__(self, card: ScaleCard, typesetter: Typesetter):
        self.card = card
        self.typesetter = typesetter

    def draw(self, page: Page, root: Tag, content: CardContent, path: str, x: float, y: float) -> None:
        self._cutting_marks(page, x, y)
        figure = root.add("Figure", alt=f"Scale card. {content.words}")
        page.draw(self._symbol(page, content.address, path, x, y), figure)
        page.draw(" ".join(self._patches(page, x, y)))
        page.draw(" ".join(self._rulers(page, x, y)))
        self._words(page, root, content.words, x, y)

    def _symbol(self, page, address, path, x, y):
        module = self.card.symbol_mm / symbol_size(address).modules * POINTS_PER_MM
        at = page.height - y * POINTS_PER_MM
        return f"q {BLACK.numbers} rg {module:.6f} 0 0 {-module:.6f} {x * POINTS_PER_MM:.5f} {at:.5f} cm {path} Q"

    def _patches(self, page, x, y):
        for patch in self.card.patches:
            place = patch.place
            if patch.name == "white":  # the paper itself, with a line around it
                yield f"{EDGE.numbers} RG 0.4 w {self._box(page, place.shrunk(0.1), x, y)} S"
            else:
                yield f"{Ink(*patch.srgb).numbers} rg {self._box(page, place, x, y)} f"

    def _rulers(self, page, x, y):
        yield f"{BLACK.numbers} rg"
        for ruler in self.card.rulers:
            for _, tick in ruler.ticks():
                yield f"{self._box(page, tick, x, y)} f"
            for text, middle_x, middle_y in ruler.numbers():
                size = DIGIT_HEIGHT_MM / _CAPITAL * POINTS_PER_MM
                line = self.typesetter.line(DETAIL, text)
                left = (x + middle_x) * POINTS_PER_MM - line.width * size / 2
                baseline = (y + middle_y + DIGIT_HEIGHT_MM / 2) * POINTS_PER_MM
                yield page.text(line, left, baseline, size, BLACK)

    def _words(self, page, root, words, x, y):
        """One line between the code and the ruler below it."""
        card = self.card
        top = card.symbol_mm + card.quiet_mm
        room = card.paper.bottom - RULER_DEPTH_MM - CLEAR_MM - top
        paragraph = set_paragraph(
            self.typesetter,
            DETAIL,
            words,
            width=(card.paper.right - RULER_DEPTH_MM - 1) * POINTS_PER_MM,
            height=room * POINTS_PER_MM,
            largest=min(11.0, room * POINTS_PER_MM),
            smallest=3.5,
            most_lines=1,
        )
        baseline = (y + top) * POINTS_PER_MM + paragraph.first_baseline
        page.draw(page.text(paragraph.lines[0], x * POINTS_PER_MM, baseline, paragraph.size, INK), root.add("P"))

    def _cutting_marks(self, page, x, y):
        paper, strokes = self.card.paper, []
        for corner_x, way_x in ((paper.left, -1), (paper.right, 1)):
            for corner_y, way_y in ((paper.top, -1), (paper.bottom, 1)):
                left, top = (x + corner_x) * POINTS_PER_MM, page.height - (y + corner_y) * POINTS_PER_MM
                begin, end = 0.6 * POINTS_PER_MM, CUT_MM * POINTS_PER_MM
                strokes.append(f"{left + way_x * begin:.3f} {top:.3f} m {left + way_x * end:.3f} {top:.3f} l")
                strokes.append(f"{left:.3f} {top - way_y * begin:.3f} m {left:.3f} {top - way_y * end:.3f} l")
        page.draw(f"{SOFT.numbers} RG 0.35 w {' '.join(strokes)} S")

    def _box(self, page, place: Rectangle, x, y):
        return (
            f"{(x + place.left) * POINTS_PER_MM:.4f} {page.height - (y + place.bottom) * POINTS_PER_MM:.4f} "
            f"{place.width * POINTS_PER_MM:.4f} {place.height * POINTS_PER_MM:.4f} re"
        )
