"""The family tree of a plug or colony: which knots it has, where they stand, and the drawing (SVG).

A tree has a trunk, the line from the acquisition down to what was asked for, and branches, what came of it. A cut is
one knot with all its frags, each a small mark whose shape and colour say what became of it; a plug is a knot of its own
only if it was asked for, or left and came back. What would make the picture too large folds into a knot that counts it
and leads on.

Layouts and drawing know nothing of the database; `grow_tree` takes the rows of `trace`.
"""

import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby, pairwise

from django.utils.dateformat import format as date_format

from propagation.codes import in_clear
from propagation.models.terms import Fate, HealingStage
from propagation.readings.trace import Descent, Generation, Stem, as_day

MOST_KNOTS = 150
MOST_ON_ONE = 24  # knots on one stem
MOST_UP = 6  # generations of the trunk
MOST_DOWN = 4  # generations of the branches

# Marks of frags in the order in which they stand, and how one or more are said.
MARKS = {
    "grown_on": "grown on",
    "healed": "healed",
    "encrusting": "encrusting",
    "sealed": "sealed",
    "fresh": "fresh",
    "left": "left",
    "dead": "dead",
}


CAME_AS = {
    "bought": "Bought",
    "gift": "Gift",
    "trade": "Traded for",
    "returned": "Came back",
    "found": "Kept already",
}


def mark_of(fate: str, stage: str) -> str:
    """The mark of a frag: its stage while it is kept, else what became of it."""
    if fate == Fate.KEPT:
        return str(HealingStage(stage))
    if fate in (Fate.SOLD, Fate.TRADED, Fate.GIVEN):
        return "left"
    return str(fate)


def _marks(fates) -> Counter:
    """Marks of ``{(fate, stage): number}``."""
    marks = Counter()
    for (fate, stage), number in fates.items():
        marks[mark_of(fate, stage)] += number
    return marks


def marks_of(frags) -> Counter:
    """The marks of rows of `Descent.frags`."""
    return Counter(mark_of(frag[7], frag[8]) for frag in frags)


def said(marks: Counter) -> str:
    """``8 frags: 5 healed, 2 left, 1 dead``."""
    number = sum(marks.values())
    parts = ", ".join(f"{marks[mark]} {words}" for mark, words in MARKS.items() if marks[mark])
    return f"{number} {'frag' if number == 1 else 'frags'}{': ' if parts else ''}{parts}"


def written(day: date | None) -> str:
    return date_format(day, "j M Y") if day else ""


@dataclass(slots=True)
class Knot:
    """One knot of the tree. ``kind`` is acquisition, colony, cut, plug or more."""

    kind: str
    title: str
    detail: str = ""
    day: date | None = None
    address: str = ""
    is_asked_for: bool = False
    has_ended: bool = False
    marks: Counter = field(default_factory=Counter)
    children: list["Knot"] = field(default_factory=list)
    generation: int = 0
    x: float = 0
    y: float = 0
    width: float = 0

    def words(self) -> str:
        """All that the knot says, in a line."""
        told = [self.title, said(self.marks) if self.marks else "", self.detail]
        return ", ".join(part for part in told if part)

    def walk(self):
        """Itself and all below it, parents first."""
        waiting = [self]
        while waiting:
            knot = waiting.pop()
            yield knot
            waiting.extend(reversed(knot.children))


# Growing -------------------------------------------------------------------------------------------------------------


def _colony_knot(code, tag, began_on, ended_on, address_of, *, is_asked_for=False) -> Knot:
    months = [date_format(day, "M Y") for day in (began_on, ended_on) if day]
    life = " – ".join(months) if ended_on else f"since {written(began_on)}"
    return Knot(
        "colony", tag, life, began_on, address_of(code), is_asked_for=is_asked_for, has_ended=ended_on is not None
    )


class _Grower:
    """Grows knots on the stems of a descent, the nearest generation first.

    A bud is what may become a knot: a `Stem`, or the list of the frags of one cut.
    """

    def __init__(self, descent, address_of, *, most, skip):
        self.address_of = address_of
        self.left = most
        self.skip = skip
        self.borne = descent.frags_of_stems()
        self.stems: dict[int | None, list[Stem]] = {}  # by the plug they came from
        for stem in descent.stems:
            self.stems.setdefault(stem.from_plug_id, []).append(stem)

    def grow(self, root: Knot, buds: list) -> None:
        """Grow what is below the knot that was asked for, breadth first.

        Every knot that something could stand on keeps one place free for the knot that counts what did not fit.
        """
        waiting = [(root, buds)]
        self.left -= 1
        skip = self.skip
        while waiting:
            knot, buds = waiting.pop(0)
            buds = buds[skip:]
            shown = buds[: self._room(knot, buds)]
            for bud in shown:
                child, further = self._knot_of(bud, knot)
                knot.children.append(child)
                self.left -= 1 + bool(further)
                if further:
                    waiting.append((child, further))
            if len(shown) < len(buds):
                knot.children.append(self._more(knot, buds[len(shown) :], skip + len(shown)))
            else:
                self.left += 1
            skip = 0

    def _room(self, knot, buds) -> int:
        if knot.generation >= MOST_DOWN and buds and isinstance(buds[0], list):
            return 0
        room = min(MOST_ON_ONE, max(self.left // 2, 0))
        return len(buds) if len(buds) <= room else max(room - 1, 0)

    def cuts_of(self, stem: Stem) -> list[list[tuple]]:
        """The cuts of a colony by day, each with its frags."""
        frags = self.borne.get((stem.colony_id, None), ())
        return [list(cut) for _, cut in groupby(frags, key=lambda frag: frag[2])]

    def stems_of(self, frags) -> list[Stem]:
        """What grew on or came back of frags."""
        return [stem for frag in frags for stem in self.stems.get(frag[3], ())]

    def _knot_of(self, bud, below):
        """The knot of a bud, and the buds on it in turn."""
        if isinstance(bud, list):
            day = as_day(bud[0][5])
            child = Knot("cut", f"Cut {written(day)}", "", day, marks=marks_of(bud), generation=below.generation)
            child.address = self.address_of(bud[0][4]) if len(bud) == 1 else ""
            return child, self.stems_of(bud)
        if bud.colony_id:
            child = _colony_knot(bud.code, bud.tag, bud.began_on, bud.ended_on, self.address_of)
            if bud.acquisition_id:
                child.detail = f"back {written(bud.acquired_on)}"
            further = self.cuts_of(bud)
        else:
            came = self.borne.get((None, bud.acquisition_id), ())
            day = bud.acquired_on
            child = Knot("acquisition", "Came back", written(day), day, marks=marks_of(came))
            further = self.stems_of(came)
        child.generation = below.generation + 1
        return child, further

    def _more(self, knot, rest, number_before):
        """The knot that counts what did not fit, and leads to it."""
        if isinstance(rest[0], list):
            frags = sum(map(len, rest))
            title, detail = ("cut", "cuts")[len(rest) != 1], f"{frags} {'frag' if frags == 1 else 'frags'} and on"
            address = f"{knot.address}?skip={number_before}" if knot.is_asked_for else knot.address
        else:
            title, detail = ("colony", "colonies")[len(rest) != 1], "and all from them"
            address = self.address_of(rest[0].code) if rest[0].code else knot.address
        more = "more " if number_before else ""
        return Knot("more", f"{len(rest)} {more}{title}", detail, None, address)


def grow_tree(
    generations: list[Generation],
    descent: Descent,
    *,
    address_of: Callable[[str], str],
    fates_of_cuts: dict[int, Counter],
    skip: int = 0,
    most: int = MOST_KNOTS,
) -> Knot:
    """The tree of what `ancestry_of` and `descent_of` were asked about, its topmost knot.

    ``address_of`` gives the page of a code; ``fates_of_cuts`` what became of the frags of the cuts of the trunk
    (`trace.fates_of_cuts`); ``skip`` leaves out so many of the first cuts of the colony that was asked for, so that a
    picture can be paged through.
    """
    asked_for = generations[0]
    trunk = generations[:MOST_UP]
    line: list[Knot] = []
    if len(generations) > len(trunk):
        beyond = generations[MOST_UP]
        words = len(generations) - len(trunk)
        line.append(
            Knot(
                "more",
                f"{words} more {'generation' if words == 1 else 'generations'}",
                f"back to {written(as_day(generations[-1].acquired_on))}",
                None,
                address_of(beyond.plug_code),
            )
        )
    for row in reversed(trunk):
        is_asked_for = row is asked_for
        if row.acquisition_id:
            line.append(
                Knot("acquisition", CAME_AS[row.acquired_as], written(as_day(row.acquired_on)), as_day(row.acquired_on))
            )
        if row.tag:
            is_itself = is_asked_for and not row.plug_id
            line.append(
                _colony_knot(
                    row.colony_code, row.tag, as_day(row.colony_began_on), as_day(row.colony_ended_on), address_of,
                    is_asked_for=is_itself,
                )
            )  # fmt: skip
        if row.cut_event_id:
            line.append(
                Knot(
                    "cut",
                    f"Cut {written(as_day(row.plug_began_on))}",
                    "",
                    as_day(row.plug_began_on),
                    marks=_marks(fates_of_cuts.get(row.cut_event_id, {})),
                )
            )
        # A plug that grew on is told by its colony; one that left and came back stands for itself.
        if row.plug_id and (is_asked_for or row.plug_fate != Fate.GROWN_ON):
            line.append(_plug_knot(row, address_of, is_asked_for=is_asked_for))
    for upper, lower in pairwise(line):
        upper.children.append(lower)
    focus = line[-1]
    grower = _Grower(descent, address_of, most=most - len(line), skip=skip)
    is_colony = asked_for.plug_id is None
    stems = grower.stems.get(asked_for.plug_id, [])
    grower.grow(focus, grower.cuts_of(stems[0]) if is_colony and stems else stems)
    return line[0]


def _plug_knot(row, address_of, *, is_asked_for):
    fate = Fate(row.plug_fate)
    detail = f"{fate.label.lower()} {date_format(as_day(row.plug_ended_on), 'M Y')}" if fate != Fate.KEPT else "kept"
    return Knot(
        "plug",
        in_clear(row.plug_code),
        detail,
        as_day(row.plug_began_on),
        address_of(row.plug_code),
        is_asked_for=is_asked_for,
        has_ended=fate != Fate.KEPT,
    )


# Standing ------------------------------------------------------------------------------------------------------------

HEIGHT = 56
ACROSS_WIDTH, ACROSS_GAP, ACROSS_STEP = 156, 28, HEIGHT + 14
LINES_OF_A_SCREEN = 9
DOWN_WIDTH, DOWN_INDENT, DOWN_STEP = 304, 15, HEIGHT + 12
MARGIN = 6  # room for the ring around what has the focus


def stand_across(root: Knot) -> tuple[float, float]:
    """Place the knots for a wide page, generations from left to right; returns width and height.

    Every knot without children has a line of its own, and a parent stands midway between its first and last child, so
    no two knots meet. In a tree taller than a screen it stands beside its first child: so the picture begins where it
    is opened.
    """
    lines = 0
    deepest = 0
    columns = {id(root): 0}
    order = list(root.walk())
    for knot in order:
        deepest = max(deepest, columns[id(knot)])
        for child in knot.children:
            columns[id(child)] = columns[id(knot)] + 1
        knot.x = MARGIN + columns[id(knot)] * (ACROSS_WIDTH + ACROSS_GAP)
        knot.width = ACROSS_WIDTH
        if not knot.children:
            knot.y = MARGIN + lines * ACROSS_STEP
            lines += 1
    for knot in reversed(order):
        if knot.children:
            last = knot.children[-1] if lines <= LINES_OF_A_SCREEN else knot.children[0]
            knot.y = (knot.children[0].y + last.y) / 2
    width = 2 * MARGIN + deepest * (ACROSS_WIDTH + ACROSS_GAP) + ACROSS_WIDTH
    return width, 2 * MARGIN + (lines - 1) * ACROSS_STEP + HEIGHT


def stand_down(root: Knot) -> tuple[float, float]:
    """Place the knots for a phone, one below the other, each branching a step further in; returns width and height."""
    indents = {id(root): 0}
    for line, knot in enumerate(root.walk()):
        indent = indents[id(knot)]
        for child in knot.children:
            indents[id(child)] = indent + (len(knot.children) > 1)
        knot.x = MARGIN + indent * DOWN_INDENT
        knot.y = MARGIN + line * DOWN_STEP
        knot.width = DOWN_WIDTH - 2 * MARGIN - indent * DOWN_INDENT
    return DOWN_WIDTH, 2 * MARGIN + line * DOWN_STEP + HEIGHT


# Drawing -------------------------------------------------------------------------------------------------------------

MOST_MARKS = 12  # drawn one by one; more are drawn once each with their number
MARK = 5  # half the side of a mark
CHARACTER = 7.6  # width of a character of the title, on average


# For a picture that stands without the page's stylesheet; the same colours as ramet.css.
STYLE_ALONE = """
svg{--paper:#eef1ea;--sheet:#fbfcf8;--ink:#13242b;--soft:#42545b;--edge:#72827d;--marker:#d6f24a;--marker-ink:#13242b;
--fresh:#a3213a;--sealed:#754a00;--encrusting:#0a566e;--healed:#1b5c34;--gone:#4b565a;
font-family:system-ui,sans-serif}
@media(prefers-color-scheme:dark){svg{--paper:#0e1619;--sheet:#162227;--ink:#e9efe7;--soft:#adbcba;--edge:#75888e;
--marker:#d2f046;--marker-ink:#0e1619;--fresh:#ff9fa1;--sealed:#f4c162;--encrusting:#84d5eb;--healed:#8ade9e;
--gone:#a8b4b6}}
.tree-ground{fill:var(--paper)}.bough{fill:none;stroke:var(--edge);stroke-width:2}
.knot-face{fill:var(--sheet);stroke:var(--edge);stroke-width:1.5}.knot-bar{fill:var(--ink)}
.knot-title{fill:var(--ink);font-size:14.5px;font-weight:700}.knot-detail{fill:var(--soft);font-size:12.5px}
.knot-more .knot-face{stroke-dasharray:5 4}.knot-ended .knot-face{stroke-dasharray:2 4}
.knot-ended .knot-bar{fill:var(--edge)}
.knot-asked-for .knot-face{fill:var(--marker);stroke:var(--ink);stroke-width:2.5}
.knot-asked-for text{fill:var(--marker-ink)}.knot-asked-for .knot-bar{fill:var(--marker-ink)}
.mark-solid{fill:currentColor}.mark-line{fill:none;stroke:currentColor;stroke-width:1.8}
.mark-fresh{color:var(--fresh)}.mark-sealed{color:var(--sealed)}.mark-encrusting{color:var(--encrusting)}
.mark-healed,.mark-grown_on{color:var(--healed)}.mark-left,.mark-dead{color:var(--gone)}
"""


def _add(parent, name, **attributes):
    told = {key.rstrip("_").replace("_", "-"): f"{value:g}" if isinstance(value, float) else str(value)
            for key, value in attributes.items()}  # fmt: skip
    return ET.SubElement(parent, name, told)


def draw_mark(parent, mark: str, x: float, y: float) -> None:
    """One mark around a point. Each has a shape of its own, so colour is never needed to tell them apart."""
    group = _add(parent, "g", class_=f"mark mark-{mark}")
    r = float(MARK)
    if mark == "dead":
        _add(group, "path", d=f"M{x - 4:g} {y - 4:g}l8 8m0-8l-8 8", class_="mark-line")
    elif mark == "left":
        _add(group, "path", d=f"M{x - 4:g} {y - 4.5:g}l8 4.5-8 4.5z", class_="mark-line")
    elif mark == "grown_on":
        _add(group, "path", d=f"M{x:g} {y - 6:g}l6 6-6 6-6-6z", class_="mark-solid")
    else:
        _add(group, "circle", cx=x, cy=y, r=r, class_="mark-solid" if mark == "healed" else "mark-line")
        if mark == "encrusting":
            _add(group, "path", d=f"M{x - 5:g} {y:g}a5 5 0 0 0 10 0z", class_="mark-solid")
        elif mark == "sealed":
            _add(group, "circle", cx=x, cy=y, r=2.0, class_="mark-solid")


def _draw_marks(parent, marks, x, y):
    number = sum(marks.values())
    if number <= MOST_MARKS:
        for mark in MARKS:
            for _ in range(marks[mark]):
                draw_mark(parent, mark, x + MARK, y)
                x += 2 * MARK + 2.5
        return
    for mark in MARKS:
        if marks[mark]:
            draw_mark(parent, mark, x + MARK, y)
            text = _add(parent, "text", x=x + 2 * MARK + 3, y=y + 4, class_="knot-detail")
            text.text = str(marks[mark])
            x += 2 * MARK + 10 + 7 * len(text.text)


def _short(text, width):
    most = int(width / CHARACTER)
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


def _draw_knot(parent, knot):
    kinds = ["knot", f"knot-{knot.kind}"]
    kinds += ["knot-asked-for"] if knot.is_asked_for else []
    kinds += ["knot-ended"] if knot.has_ended else []
    if knot.address and not knot.is_asked_for:
        holder = _add(parent, "a", href=knot.address, class_=" ".join(kinds))
    else:
        holder = _add(parent, "g", class_=" ".join(kinds))
    _add(holder, "title").text = knot.words()
    round_ = {"acquisition": HEIGHT / 2, "plug": 4, "cut": 14}.get(knot.kind, 10)
    _add(holder, "rect", x=knot.x, y=knot.y, width=knot.width, height=HEIGHT, rx=round_, class_="knot-face")
    if knot.kind == "colony":
        _add(holder, "rect", x=knot.x, y=knot.y + 10, width=5, height=HEIGHT - 20, class_="knot-bar")
    x = knot.x + (22 if knot.kind == "acquisition" else 16)
    has_second = bool(knot.marks or knot.detail)
    title = _add(holder, "text", x=x, y=knot.y + (23 if has_second else 33), class_="knot-title")
    title.text = _short(knot.title, knot.width - 28)
    if knot.marks:
        _draw_marks(holder, knot.marks, x, knot.y + 39.0)
    elif knot.detail:
        detail = _add(holder, "text", x=x, y=knot.y + 42, class_="knot-detail")
        detail.text = _short(knot.detail, (knot.width - 28) * 1.2)


def _draw_bough(parent, upper, lower, *, across):
    if across:
        start_x, start_y = upper.x + upper.width, upper.y + HEIGHT / 2
        end_x, end_y = lower.x, lower.y + HEIGHT / 2
        middle = (start_x + end_x) / 2
        path = f"M{start_x:g} {start_y:g}C{middle:g} {start_y:g} {middle:g} {end_y:g} {end_x:g} {end_y:g}"
    elif upper.x == lower.x:
        path = f"M{upper.x + 28:g} {upper.y + HEIGHT:g}V{lower.y:g}"
    else:
        x, y = upper.x + 7, lower.y + HEIGHT / 2
        path = f"M{x:g} {upper.y + HEIGHT - 8:g}V{y - 8:g}Q{x:g} {y:g} {lower.x:g} {y:g}"
    _add(parent, "path", d=path, class_="bough")


def draw_tree(root: Knot, *, across: bool, name: str, style: str = "") -> str:
    """The drawing as SVG text. ``style`` is written into it when it must stand alone, without the page's stylesheet."""
    width, height = (stand_across if across else stand_down)(root)
    key = "across" if across else "down"
    svg = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "class": "family-tree",
            "width": f"{width:g}",
            "height": f"{height:g}",
            "viewBox": f"0 0 {width:g} {height:g}",
            "role": "group",
            "aria-labelledby": f"tree-title-{key}",
            "aria-describedby": f"tree-words-{key}",
        },
    )
    _add(svg, "title", id=f"tree-title-{key}").text = name
    knots = list(root.walk())
    count = Counter(knot.kind for knot in knots)
    _add(svg, "desc", id=f"tree-words-{key}").text = (
        f"From {root.words()}: {count['colony']} colonies and {count['cut']} cuts are drawn, parents before what came "
        "of them. The table below says the same."
    )
    if style:
        _add(svg, "style").text = style
        _add(svg, "rect", width="100%", height="100%", class_="tree-ground")
    boughs = _add(svg, "g", class_="boughs")
    for knot in knots:
        for child in knot.children:
            _draw_bough(boughs, knot, child, across=across)
    for knot in knots:
        _draw_knot(svg, knot)
    return ET.tostring(svg, encoding="unicode")


def draw_legend(marks) -> list[tuple[str, str]]:
    """``(svg text, words)`` of each mark that is in use, to explain the picture."""
    legend = []
    for mark, words in MARKS.items():
        if mark in marks:
            svg = ET.Element("svg", {"width": "16", "height": "16", "viewBox": "0 0 16 16", "aria-hidden": "true"})
            draw_mark(svg, mark, 8.0, 8.0)
            legend.append((ET.tostring(svg, encoding="unicode"), words))
    return legend
