"""What a picture is made of: marks with coordinates, its legend, its words and its table.

Every picture is drawn twice, for a phone and for a wide page, so that its words keep their size instead of shrinking or
swelling with the drawing; the stylesheet shows the one that fits. Coordinates are pixels, y downwards.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import ClassVar
from zlib import crc32

TEXT = 13  # font size of all words in drawings, as in ramet.css
NARROW, WIDE = 320, 600  # widths of the two drawings


@dataclass(frozen=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    look: str
    kind: ClassVar[str] = "line"


@dataclass(frozen=True)
class Path:
    d: str
    look: str
    kind: ClassVar[str] = "path"


@dataclass(frozen=True)
class Dot:
    x: float
    y: float
    r: float
    look: str
    kind: ClassVar[str] = "dot"


@dataclass(frozen=True)
class Box:
    x: float
    y: float
    width: float
    height: float
    look: str
    kind: ClassVar[str] = "box"

    def overlaps(self, other: "Box") -> float:
        """The area that both cover."""
        across = min(self.x + self.width, other.x + other.width) - max(self.x, other.x)
        down = min(self.y + self.height, other.y + other.height) - max(self.y, other.y)
        return max(across, 0) * max(down, 0)

    def within(self, other: "Box") -> bool:
        return (
            self.x >= other.x
            and self.y >= other.y
            and self.x + self.width <= other.x + other.width
            and self.y + self.height <= other.y + other.height
        )


@dataclass(frozen=True)
class Swatch(Box):
    """A box in a colour of its own, ``#rrggbb``: one that was measured, the same in light and dark."""

    fill: str
    kind: ClassVar[str] = "swatch"


@dataclass(frozen=True)
class Words:
    """Words on a base line; ``anchor`` is start, middle or end."""

    x: float
    y: float
    text: str
    look: str = "words"
    anchor: str = "start"
    kind: ClassVar[str] = "words"

    @property
    def box(self) -> Box:
        """The room that they take, estimated."""
        width = text_width(self.text)
        left = {"start": 0, "middle": width / 2, "end": width}[self.anchor]
        return Box(self.x - left, self.y - 0.8 * TEXT, width, 1.05 * TEXT, "")


Mark = Line | Path | Dot | Box | Swatch | Words


@dataclass(frozen=True)
class Drawing:
    """Marks in a view box of ``width`` × ``height``. ``size`` is narrow or wide."""

    size: str
    width: int
    height: int
    marks: tuple[Mark, ...]

    def of(self, look: str) -> list[Mark]:
        """The marks of one look, in the order in which they are drawn."""
        return [mark for mark in self.marks if mark.look == look]

    @property
    def words(self) -> list[Words]:
        return [mark for mark in self.marks if isinstance(mark, Words)]


@dataclass(frozen=True)
class Key:
    """One line of a legend: a sample in a box of 28 × 14, and what it means."""

    marks: tuple[Mark, ...]
    words: str


@dataclass(frozen=True)
class Picture:
    """A picture in its two drawings, with what stands for it where it is not seen.

    ``title`` is its caption, ``words`` say what it shows with its numbers, ``headings`` and ``rows`` are its table.
    """

    title: str
    words: str
    drawings: tuple[Drawing, ...]
    legend: tuple[Key, ...] = ()
    headings: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    notes: tuple[str, ...] = ()  # sentences below the picture

    @property
    def narrow(self) -> Drawing:
        return self.drawings[0]

    @property
    def wide(self) -> Drawing:
        return self.drawings[1]

    @property
    def ident(self) -> str:
        """For the ids of its title and words: the same picture has the same one on every page."""
        return f"{crc32((self.title + self.words).encode()):08x}"


@dataclass
class Sheet:
    """A drawing in the making. ``left``, ``right``, ``top`` and ``floor`` are the edges of its plot."""

    size: str
    height: int
    left: float = 0
    right: float = 0
    top: float = 0
    floor: float = 0
    marks: list[Mark] = field(default_factory=list)
    taken: list[Box] = field(default_factory=list)  # where words may not stand

    @property
    def width(self) -> int:
        return NARROW if self.size == "narrow" else WIDE

    @property
    def is_narrow(self) -> bool:
        return self.size == "narrow"

    @property
    def plot(self) -> Box:
        return Box(self.left, self.top, self.right - self.left, self.floor - self.top, "")

    def line(self, x1, y1, x2, y2, look):
        self.marks.append(Line(at(x1), at(y1), at(x2), at(y2), look))

    def box(self, x, y, width, height, look):
        self.marks.append(Box(at(x), at(y), at(width), at(height), look))

    def swatch(self, x, y, width, height, fill):
        self.marks.append(Swatch(at(x), at(y), at(width), at(height), "swatch", fill))

    def dot(self, x, y, r, look):
        self.marks.append(Dot(at(x), at(y), r, look))

    def path(self, d, look):
        self.marks.append(Path(d, look))

    def write(self, x, y, text, look="words", anchor="start"):
        words = Words(at(x), at(y), text, look, anchor)
        self.marks.append(words)
        self.taken.append(words.box)

    def fits(self, x, text, anchor) -> float:
        """The x nearest to ``x`` at which words stay inside the drawing."""
        width = text_width(text)
        before = {"start": 0, "middle": width / 2, "end": width}[anchor]
        return min(max(x, before + 1), self.width - (width - before) - 1)

    def write_free(self, places: Iterable[tuple[float, float, str]], text, look="words", inside: Box | None = None):
        """Write at the first of the places ``(x, y, anchor)`` where nothing stands, else where least does."""
        inside = inside or Box(1, 1, self.width - 2, self.height - 2, "")
        best, least = None, None
        for x, y, anchor in places:
            words = Words(at(x), at(y), text, look, anchor)
            covered = sum(words.box.overlaps(other) for other in self.taken)
            if not words.box.within(inside):
                covered += 10_000
            if least is None or covered < least:
                best, least = words, covered
            if covered == 0:
                break
        x = self.fits(best.x, text, best.anchor)
        self.write(x, best.y, text, look, best.anchor)
        return self.marks[-1]

    def has_room(self, places: Iterable[tuple[float, float, str]], text) -> bool:
        """Whether words find one of the places free."""
        boxes = [Words(x, y, text, anchor=anchor).box for x, y, anchor in places]
        return any(not any(box.overlaps(other) for other in self.taken) for box in boxes)

    def done(self) -> Drawing:
        return Drawing(self.size, self.width, self.height, tuple(self.marks))


def at(value: float) -> float:
    """A coordinate, to a tenth of a pixel."""
    return round(float(value), 1) + 0.0


def text_width(text: str) -> float:
    """About how wide words are in the drawing's font; a little too much rather than too little."""
    return sum(_WIDTHS.get(letter, 0.58) for letter in text) * TEXT


_WIDTHS = dict.fromkeys(" .,:;'|!iljtfI()-", 0.3) | dict.fromkeys("mwMW%", 0.86)


def shortened(text: str, width: float) -> str:
    """Words that fit a width, an ellipsis where they were cut."""
    if text_width(text) <= width:
        return text
    while text and text_width(f"{text}…") > width:
        text = text[:-1]
    return f"{text.rstrip()}…"


def trace(points: Sequence[tuple[float, float]]) -> str:
    """The path through points."""
    return "M" + "L".join(f"{at(x):g} {at(y):g}" for x, y in points)


def area(upper: Sequence[tuple[float, float]], lower: Sequence[tuple[float, float]]) -> str:
    """The path around what lies between two lines."""
    return trace([*upper, *reversed(lower)]) + "Z"


def diamond(x: float, y: float, r: float) -> str:
    return f"M{at(x):g} {at(y - r):g}l{r:g} {r:g}l{-r:g} {r:g}l{-r:g} {-r:g}Z"


def cross(x: float, y: float, r: float) -> str:
    return f"M{at(x - r):g} {at(y - r):g}l{2 * r:g} {2 * r:g}m0 {-2 * r:g}l{-2 * r:g} {2 * r:g}"


def triangle(x: float, y: float, r: float, *, up: bool = False) -> str:
    """A triangle that points down (or up) to ``(x, y)``."""
    way = 1 if up else -1
    return f"M{at(x):g} {at(y):g}l{r:g} {way * 1.6 * r:g}h{-2 * r:g}Z"


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Heights as near as may be to those wanted, in the same order, at least ``gap`` apart, between low and high.

    ``wanted`` ascends. When they do not fit, they stand at equal distances.
    """
    if not wanted:
        return []
    if gap * (len(wanted) - 1) > high - low:
        gap = (high - low) / (len(wanted) - 1)
    placed = []
    for height in wanted:
        height = max(height, low)
        placed.append(max(height, placed[-1] + gap) if placed else height)
    ceiling = high
    for index in range(len(placed) - 1, -1, -1):
        placed[index] = max(min(placed[index], ceiling), low)
        ceiling = placed[index] - gap
    return placed


def said(day: date) -> str:
    """``3 Feb 2026``."""
    return f"{day.day} {day:%b %Y}"


def how_many(number: int, one: str, more: str | None = None) -> str:
    """``1 cut``, ``3 cuts``."""
    return f"{number} {one if number == 1 else more or one + 's'}"


def number_words(value: float) -> str:
    """A number as a person writes it, with as many places as it deserves."""
    size = abs(value)
    text = (
        f"{value:.0f}" if size >= 100 or float(value).is_integer() else f"{value:.1f}" if size >= 10 else f"{value:.2g}"
    )
    if "e" in text:
        text = f"{value:.3f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text.replace("-", "−")
