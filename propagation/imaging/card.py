"""The scale card: where its code, rulers and neutral patches are. Drawing a card and measuring by it share this.

All places are mm in the plane of the card, from the top left corner of the printed symbol (without its quiet zone),
x to the right and y downwards. Print on matt paper: gloss mirrors the lamp into the patches.
"""

from dataclasses import dataclass

# Bare matt office or label paper without much brightener reflects about nine tenths of the light (from memory).
PAPER_SRGB = (243, 243, 243)
GREY_SRGB = (119, 119, 119)  # L* near 50: reflects 18 %, the grey of exposure meters (common practice)
BLACK_SRGB = (52, 52, 52)  # a good laser black on matt paper is no darker (common practice, no source)

QUIET_SHARE = 4 / 21  # of the symbol's side: the four modules of the smallest symbol, ISO/IEC 18004 §6.3.8
RULER_DEPTH_MM = 6.0
TICK_WIDTH_MM = 0.25
TICK_LENGTHS_MM = {1: 2.0, 5: 3.0, 10: 4.0}
DIGIT_HEIGHT_MM = 1.8
PATCH_GAP_MM = 1.0


@dataclass(frozen=True)
class Rectangle:
    """An upright rectangle in the plane of the card, in mm."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def bottom(self) -> float:
        return self.top + self.height

    def shrunk(self, by: float) -> "Rectangle":
        """The same with ``by`` mm taken off on every side."""
        return Rectangle(self.left + by, self.top + by, self.width - 2 * by, self.height - 2 * by)

    def corners(self) -> tuple[tuple[float, float], ...]:
        """Clockwise from the top left."""
        return (self.left, self.top), (self.right, self.top), (self.right, self.bottom), (self.left, self.bottom)


@dataclass(frozen=True)
class Patch:
    """An even, neutral field of known colour."""

    name: str
    place: Rectangle
    srgb: tuple[int, int, int]


@dataclass(frozen=True)
class Ruler:
    """A ruler whose ticks stand on an edge of the card and point inwards.

    ``start`` is the zero on the edge, ``along`` and ``inwards`` are unit vectors.
    """

    start: tuple[float, float]
    along: tuple[float, float]
    inwards: tuple[float, float]
    length_mm: int

    def ticks(self) -> list[tuple[int, Rectangle]]:
        """Each tick's mm and its ink."""
        return [(mm, self._ink(mm)) for mm in range(self.length_mm + 1)]

    def numbers(self) -> list[tuple[str, float, float]]:
        """What is written at every full centimetre, and where its middle is."""
        deep = TICK_LENGTHS_MM[10] + DIGIT_HEIGHT_MM * 0.8
        return [(str(mm), *self.place(mm, deep)) for mm in range(10, self.length_mm + 1, 10)]

    def place(self, mm: float, deep: float) -> tuple[float, float]:
        """The point ``mm`` along the ruler and ``deep`` mm into the card."""
        return (
            self.start[0] + mm * self.along[0] + deep * self.inwards[0],
            self.start[1] + mm * self.along[1] + deep * self.inwards[1],
        )

    def _ink(self, mm):
        length = next(TICK_LENGTHS_MM[step] for step in (10, 5, 1) if mm % step == 0)
        one = self.place(mm - TICK_WIDTH_MM / 2, 0)
        other = self.place(mm + TICK_WIDTH_MM / 2, length)
        left, right = sorted((one[0], other[0]))
        top, bottom = sorted((one[1], other[1]))
        return Rectangle(left, top, right - left, bottom - top)


@dataclass(frozen=True)
class ScaleCard:
    """A card to be photographed next to a colony.

    ``paper`` is the whole card, so its corner is at negative mm; ``symbol_mm`` is the side of the printed symbol
    without the quiet zone, whatever number of modules it has.
    """

    name: str
    symbol_mm: float
    paper: Rectangle
    patches: tuple[Patch, ...]
    rulers: tuple[Ruler, ...]

    @property
    def quiet_mm(self) -> float:
        """White left free around the symbol."""
        return QUIET_SHARE * self.symbol_mm

    def patch(self, name: str) -> Patch:
        """The patch ``white``, ``grey`` or ``black``."""
        return next(patch for patch in self.patches if patch.name == name)


def lay_out_card(name: str, *, width_mm: float, height_mm: float, symbol_mm: float) -> ScaleCard:
    """A card of a size: the symbol at the top left, patches beside it, rulers on the lower and the right edge.

    Raises ValueError when the parts do not fit next to each other.
    """
    quiet = QUIET_SHARE * symbol_mm
    paper = Rectangle(-quiet, -quiet, width_mm, height_mm)
    left = symbol_mm + quiet + PATCH_GAP_MM
    width = paper.right - RULER_DEPTH_MM - PATCH_GAP_MM - left
    height = (symbol_mm - 2 * PATCH_GAP_MM) / 3
    if width < 5 or height < 4 or symbol_mm + quiet > paper.bottom - RULER_DEPTH_MM:
        raise ValueError(f"A symbol of {symbol_mm} mm leaves no room for patches and rulers on the card “{name}”.")
    shades = (("white", PAPER_SRGB), ("grey", GREY_SRGB), ("black", BLACK_SRGB))
    patches = tuple(
        Patch(shade, Rectangle(left, row * (height + PATCH_GAP_MM), width, height), srgb)
        for row, (shade, srgb) in enumerate(shades)
    )
    # Both rulers keep out of the corner where they would cross.
    free = RULER_DEPTH_MM + 1
    lower = Ruler((paper.left + 2, paper.bottom), (1.0, 0.0), (0.0, -1.0), int(width_mm - 2 - free))
    right = Ruler((paper.right, paper.top + 2), (0.0, 1.0), (-1.0, 0.0), int(height_mm - 2 - free))
    return ScaleCard(name, symbol_mm, paper, patches, (lower, right))


# Sizes: a bank card by ISO/IEC 7810 ID-1, a postcard by ISO 216 A6, and one that stands between frags on a rack.
CARDS = {
    card.name: card
    for card in (
        lay_out_card("small", width_mm=54.0, height_mm=36.0, symbol_mm=20.0),
        lay_out_card("bank card", width_mm=85.6, height_mm=53.98, symbol_mm=32.0),
        lay_out_card("postcard", width_mm=148.0, height_mm=105.0, symbol_mm=60.0),
    )
}

# A code smaller than this leaves no room for patches beside it; a larger one fits no page of A4 or Letter.
SYMBOL_MM = (14.0, 74.0)


def card_with_symbol(symbol_mm: float) -> ScaleCard:
    """The card whose symbol has a side of so many mm: one of `CARDS`, or one of the same proportions.

    Raises ValueError outside `SYMBOL_MM`.
    """
    for card in CARDS.values():
        if abs(card.symbol_mm - symbol_mm) < 0.05:
            return card
    smallest, largest = SYMBOL_MM
    if not smallest <= symbol_mm <= largest:
        raise ValueError(f"The code of a scale card is {smallest:g} to {largest:g} mm wide, not {symbol_mm:g}.")
    return lay_out_card(
        f"{symbol_mm:g} mm code", width_mm=1.38 * symbol_mm + 34, height_mm=1.38 * symbol_mm + 9, symbol_mm=symbol_mm
    )
