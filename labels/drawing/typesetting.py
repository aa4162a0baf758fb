"""Text of any script as PDF operators: faces chosen by run, bidirectional order, shaping, subset embedding.

reportlab can shape text too, but it embeds TrueType outlines in subsets of 256 characters and cannot take the
variable fonts that cover most scripts. HarfBuzz cuts each font down to the glyphs in use at one weight; these are
embedded once and addressed by glyph number (ISO 32000-1 §9.7, composite fonts with Identity-H).
"""

import hashlib
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import uharfbuzz
from bidi import algorithm as bidi
from reportlab.pdfbase import pdfdoc

from .faces import CODE, DETAIL, NAME, Face, Style, open_face

_FLAGS = uharfbuzz.SubsetFlags
_SUBSET = _FLAGS.NO_HINTING | _FLAGS.NOTDEF_OUTLINE | _FLAGS.DOWNGRADE_CFF2 | _FLAGS.CFF_IDENTITY_CHARSET
_LAYOUT_TABLES = ("GSUB", "GPOS", "GDEF", "BASE", "STAT", "OS/2", "name", "post", "VORG", "vhea", "vmtx", "DSIG")
_JOINERS = "\u200c\u200d"  # they shape the letters beside them and have no glyph of their own
_ELLIPSIS = "…"
_DOTTED_CIRCLE = "\u25cc"


@lru_cache(maxsize=4096)
def tidy(text: str) -> str:
    """A name on one line, composed, without control and direction marks; any character a font may have stays."""
    kept = []
    for character in unicodedata.normalize("NFC", text):
        category = unicodedata.category(character)
        if category == "Cs":
            kept.append("\ufffd")  # half of a surrogate pair is no character
        elif category in ("Cc", "Zl", "Zp"):
            kept.append(" ")
        elif (category == "Cf" and character not in _JOINERS) or "\ufe00" <= character <= "\ufe0f":
            continue
        else:
            kept.append(character)
    return " ".join("".join(kept).split())


def clusters(text: str) -> list[str]:
    """Letters with the marks that belong to them, so that no break falls inside."""
    parts: list[str] = []
    for character in text:
        joined = (
            unicodedata.category(character).startswith("M")
            or character in _JOINERS
            or (parts and parts[-1].endswith("\u200d"))
            or "\U0001f3fb" <= character <= "\U0001f3ff"  # skin tones follow what they colour
        )
        if joined and parts:
            parts[-1] += character
        else:
            parts.append(character)
    return parts


def reads_from_right(text: str) -> bool:
    """Whether the first strong character of a text runs from right to left."""
    return bool(bidi.get_base_level(text))


@dataclass(frozen=True)
class GlyphRun:
    """Glyphs of one face in the order they stand: (glyph, advance, x offset, y offset), lengths in em."""

    font: "EmbeddedFont"
    glyphs: tuple[tuple[int, float, float, float], ...]

    @property
    def width(self) -> float:
        return sum(advance for _, advance, _, _ in self.glyphs)


@dataclass(frozen=True)
class Line:
    """A shaped line. Lengths in em: times the size gives the length on paper.

    `left` and `right` are where ink begins and ends from the origin, `top` and `bottom` how far it rises above and
    falls below the baseline.
    """

    runs: tuple[GlyphRun, ...]
    width: float
    left: float
    right: float
    top: float
    bottom: float

    def operators(self, x: float, y: float, size: float) -> str:
        """PDF operators that set the line with its baseline at (x, y) in points; between BT and ET."""
        parts = []
        for run in self.runs:
            parts.append(run.font.operators(run, x, y, size))
            x += run.width * size
        return " ".join(parts)


class EmbeddedFont:
    """The glyphs of one face that a document needs."""

    def __init__(self, resource: str, face: Face, characters: Iterable[str]):
        self.resource = resource
        self.face = face
        self.characters = sorted(set(characters))
        whole = open_face(face.package, face.file, face.index)
        wanted = uharfbuzz.SubsetInput()
        wanted.unicode_set.update(ord(character) for character in self.characters)
        wanted.flags = _SUBSET
        for axis in whole.axis_infos:
            if axis.tag == "wght" and face.weight is not None:
                wanted.pin_axis_location(whole, "wght", min(max(face.weight, axis.min_value), axis.max_value))
            else:
                wanted.pin_axis_to_default(whole, axis.tag)
        self.subset = uharfbuzz.subset(whole, wanted)
        self.em = self.subset.upem
        self.font = uharfbuzz.Font(self.subset)
        self.widths = [self.font.get_glyph_h_advance(glyph) for glyph in range(self.subset.glyph_count)]
        self.texts: dict[int, str] = {}

    def shape(self, text: str, *, from_right: bool) -> GlyphRun:
        """Glyphs of a text that all runs one way."""
        buffer = uharfbuzz.Buffer()
        buffer.add_str(text)
        buffer.guess_segment_properties()
        buffer.direction = "rtl" if from_right else "ltr"
        uharfbuzz.shape(self.font, buffer)
        infos, placed = buffer.glyph_infos, buffer.glyph_positions
        starts = sorted({info.cluster for info in infos})
        covers = dict(pairwise([*starts, len(text)]))
        glyphs = []
        seen = set()
        for info, position in zip(infos, placed, strict=True):
            if info.cluster not in seen:
                seen.add(info.cluster)
                # What the glyph says, so that text can be searched in and copied from the PDF.
                self.texts.setdefault(info.codepoint, text[info.cluster : covers[info.cluster]])
            glyphs.append(
                (
                    info.codepoint,
                    position.x_advance / self.em,
                    position.x_offset / self.em,
                    position.y_offset / self.em,
                )
            )
        return GlyphRun(font=self, glyphs=tuple(glyphs))

    @lru_cache(maxsize=4096)  # noqa: B019 - a font lives as long as the one document it is embedded in
    def ink(self, glyph: int) -> tuple[float, float, float, float] | None:
        """Left, right, top and bottom of a glyph's ink in em from its origin, or None when it has none."""
        extents = self.font.get_glyph_extents(glyph)
        if extents is None or not extents.width:
            return None
        return (
            extents.x_bearing / self.em,
            (extents.x_bearing + extents.width) / self.em,
            extents.y_bearing / self.em,
            (extents.y_bearing + extents.height) / self.em,
        )

    def operators(self, run: GlyphRun, x: float, y: float, size: float) -> str:
        """PDF operators for a run at (x, y) in points."""
        head = f"/{self.resource} {size:.4g} Tf 1 0 0 1 {x:.3f} {y:.3f} Tm "
        if any(dx or dy for _, _, dx, dy in run.glyphs):
            # Marks that stand over their letter are placed one by one.
            parts = [head]
            for glyph, advance, dx, dy in run.glyphs:
                parts.append(f"1 0 0 1 {x + dx * size:.3f} {y + dy * size:.3f} Tm <{glyph:04X}> Tj ")
                x += advance * size
            return "".join(parts)
        pieces, plain = [], []
        for glyph, advance, _, _ in run.glyphs:
            plain.append(f"{glyph:04X}")
            kern = self.widths[glyph] / self.em - advance
            if abs(kern) > 1e-6:
                pieces.append(f"<{''.join(plain)}>{round(kern * 1000)}")
                plain = []
        if not pieces:
            return f"{head}<{''.join(plain)}> Tj"
        if plain:
            pieces.append(f"<{''.join(plain)}>")
        return f"{head}[{''.join(pieces)}] TJ"

    def embed(self, document: pdfdoc.PDFDocument) -> None:
        """Add the font to a document under its resource name, for all pages."""
        tag = hashlib.sha256("".join(self.characters).encode("utf-8", "surrogatepass")).digest()
        name = "".join(chr(65 + byte % 26) for byte in tag[:6]) + "+" + self.face.name
        program = pdfdoc.PDFStream(filters=[pdfdoc.PDFZCompress])
        outlines = "CFF " if "CFF " in self.subset.table_tags else "glyf"
        if outlines == "CFF ":
            program.content = self.subset.reference_table("CFF ").data
            program.dictionary["Subtype"] = pdfdoc.PDFName("CIDFontType0C")
        else:
            program.content = self._without_layout()
            program.dictionary["Length1"] = len(program.content)
        per_mille = 1000 / self.em
        extents = self.font.get_font_extents("ltr")
        boxes = [self.ink(glyph) or (0, 0, 0, 0) for glyph in range(len(self.widths))]
        box = (min(b[0] for b in boxes), min(b[3] for b in boxes), max(b[1] for b in boxes), max(b[2] for b in boxes))
        descriptor = pdfdoc.PDFDictionary(
            {
                "Type": pdfdoc.PDFName("FontDescriptor"),
                "FontName": pdfdoc.PDFName(name),
                "Flags": 4,
                "FontBBox": pdfdoc.PDFArray([round(edge * 1000) for edge in box]),
                "ItalicAngle": 0,
                "Ascent": round(extents.ascender * per_mille),
                "Descent": round(extents.descender * per_mille),
                "CapHeight": 700,
                "StemV": 80,
                "FontFile3" if outlines == "CFF " else "FontFile2": document.Reference(
                    program, f"fontFile:{self.resource}"
                ),
            }
        )
        descendant = {
            "Type": pdfdoc.PDFName("Font"),
            "Subtype": pdfdoc.PDFName("CIDFontType0" if outlines == "CFF " else "CIDFontType2"),
            "BaseFont": pdfdoc.PDFName(name),
            "CIDSystemInfo": pdfdoc.PDFDictionary(
                {"Registry": pdfdoc.PDFString("Adobe"), "Ordering": pdfdoc.PDFString("Identity"), "Supplement": 0}
            ),
            "FontDescriptor": document.Reference(descriptor, f"fontDescriptor:{self.resource}"),
            "W": pdfdoc.PDFArray([0, pdfdoc.PDFArray([round(width * per_mille) for width in self.widths])]),
        }
        if outlines == "glyf":
            descendant["CIDToGIDMap"] = pdfdoc.PDFName("Identity")
        to_unicode = pdfdoc.PDFStream(content=self._to_unicode(name), filters=[pdfdoc.PDFZCompress])
        font = pdfdoc.PDFDictionary(
            {
                "Type": pdfdoc.PDFName("Font"),
                "Subtype": pdfdoc.PDFName("Type0"),
                "BaseFont": pdfdoc.PDFName(name),
                "Encoding": pdfdoc.PDFName("Identity-H"),
                "DescendantFonts": pdfdoc.PDFArray(
                    [document.Reference(pdfdoc.PDFDictionary(descendant), f"descendant:{self.resource}")]
                ),
                "ToUnicode": document.Reference(to_unicode, f"toUnicode:{self.resource}"),
            }
        )
        document.idToObject["BasicFonts"].dict[self.resource] = document.Reference(font, f"font:{self.resource}")

    def _without_layout(self):
        """The same glyphs under the same numbers, without the tables that only shaping needs."""
        wanted = uharfbuzz.SubsetInput()
        wanted.glyph_set.update(range(self.subset.glyph_count))
        wanted.drop_table_tag_set.update(int.from_bytes(table.ljust(4).encode(), "big") for table in _LAYOUT_TABLES)
        wanted.flags = _FLAGS.NO_HINTING | _FLAGS.NOTDEF_OUTLINE | _FLAGS.RETAIN_GIDS
        return uharfbuzz.subset(self.subset, wanted).blob.data

    def _to_unicode(self, name):
        pairs = [
            f"<{glyph:04X}> <{text.encode('utf-16-be', 'replace').hex().upper()}>"
            for glyph, text in sorted(self.texts.items())
            if text
        ]
        blocks = [pairs[first : first + 100] for first in range(0, len(pairs), 100)]
        return "\n".join(
            [
                "/CIDInit /ProcSet findresource begin 12 dict begin begincmap",
                "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def",
                f"/CMapName /{name} def /CMapType 2 def",
                "1 begincodespacerange <0000> <FFFF> endcodespacerange",
                *(f"{len(block)} beginbfchar\n" + "\n".join(block) + "\nendbfchar" for block in blocks),
                "endcmap CMapName currentdict /CMap defineresource pop end end",
            ]
        )


class Typesetter:
    """Sets the texts of one document.

    Fonts are cut to the characters in use before anything is shaped, so all texts are named first.

    Parameters
    ----------
    texts : dict of Style to iterable of str
        Every text that will be set, after `tidy`.
    """

    def __init__(self, texts: dict[Style, Iterable[str]]):
        self.missing: set[str] = set()
        self._faces: dict[tuple[Style, str, bool], Face] = {}
        self._lines: dict[tuple[Style, str, bool | None, str], Line] = {}
        wanted: dict[Face, set[str]] = {}
        for style, its in texts.items():
            wanted.setdefault(style.first[0], set())
            neutral = {" ", _ELLIPSIS, _DOTTED_CIRCLE}
            for text in sorted({_ELLIPSIS, *its}):
                neutral.update(filter(_is_neutral, text))
                for part, face in self._itemise(style, text, _region(text)):
                    wanted.setdefault(face, set()).update(part)
            # A comma is set in the face of the word before it, which depends on where a line breaks; and shaping may
            # take a letter apart (Thai sara am) or put a dotted circle under a mark that stands alone.
            for face, used in wanted.items():
                parts = {part for character in used for part in unicodedata.normalize("NFKD", character)}
                used.update(character for character in neutral | parts if face.has(character))
        self.fonts = {
            face: EmbeddedFont(f"L{number}", face, characters)
            for number, (face, characters) in enumerate(
                sorted(wanted.items(), key=lambda item: (item[0].name, item[0].index, item[0].weight or 0)), start=1
            )
        }

    def embed(self, document: pdfdoc.PDFDocument) -> None:
        """Add the fonts that were used to a document."""
        for font in self.fonts.values():
            if font.texts:
                font.embed(document)

    def line(self, style: Style, text: str, *, from_right: bool | None = None, part_of: str | None = None) -> Line:
        """A shaped line of text; `from_right` says how its paragraph reads, by default as its first letter does.

        `part_of` is the text that was named where this is a part of it: Han characters that stand alone on a line keep
        the shapes of the whole.
        """
        han = _region(text if part_of is None else part_of)
        key = (style, text, from_right, han)
        line = self._lines.get(key)
        if line is None:
            line = self._lines[key] = self._shape(style, text, from_right, han)
        return line

    def _shape(self, style, text, from_right, han):
        runs = []
        for part, level in _directional_runs(text, from_right):
            pieces = [
                self.fonts[face].shape(piece, from_right=level % 2 == 1)
                for piece, face in self._itemise(style, part, han)
            ]
            runs.extend(reversed(pieces) if level % 2 else pieces)
        width = sum(run.width for run in runs)
        x, left, right, top, bottom = 0.0, width, 0.0, 0.0, 0.0
        for run in runs:
            for glyph, advance, dx, dy in run.glyphs:
                ink = run.font.ink(glyph)
                if ink is not None:
                    left, right = min(left, x + dx + ink[0]), max(right, x + dx + ink[1])
                    top, bottom = max(top, dy + ink[2]), max(bottom, -(dy + ink[3]))
                x += advance
        return Line(tuple(runs), width, min(left, right), right, top, bottom)

    def _itemise(self, style, text, han):
        """Stretches of text with the face that sets each."""
        stretches: list[tuple[str, Face]] = []
        script = None
        for cluster in clusters(text):
            face = stretches[-1][1] if stretches else None
            if not (_is_neutral(cluster[0]) and face is not None and face.has(cluster)):
                face = self._face_for(style, cluster, han)
            its_script = _script(cluster[0]) or script
            # Each script is shaped by its own rules, so a stretch holds one script even where one face has two.
            if stretches and stretches[-1][1] == face and script in (None, its_script):
                stretches[-1] = (stretches[-1][0] + cluster, face)
            else:
                stretches.append((cluster, face))
            script = its_script
        return stretches

    def _face_for(self, style, cluster, han):
        key = (style, cluster, han)
        face = self._faces.get(key)
        if face is None:
            bare = "".join(character for character in cluster if character not in _JOINERS)
            face = next((each for each in style.faces_for(han) if each.has(bare)), None)
            if face is None:
                face = style.first[0]  # its .notdef is the visible box
                self.missing.update(character for character in bare if not face.has(character))
            self._faces[key] = face
        return face


def _is_neutral(character):
    return unicodedata.category(character).startswith("P")


@lru_cache(maxsize=4096)
def _script(character):
    """The script of a letter, as the first word of its Unicode name (LATIN, DEVANAGARI …); None for anything else."""
    if not unicodedata.category(character).startswith("L"):
        return None
    return unicodedata.name(character, "").partition(" ")[0] or None


@lru_cache(maxsize=4096)
def _region(text):
    """One sample of the script that decides the regional shape of Han characters in a text, or nothing."""
    for character in text:
        if "\u3040" <= character <= "\u30ff" or "\uac00" <= character <= "\ud7a3" or "\u1100" <= character <= "\u11ff":
            return character
    return ""


def _directional_runs(text, from_right):
    """Stretches that run one way, in the order they stand on the line, each with its embedding level.

    The Unicode bidirectional algorithm (UAX #9) as the package python-bidi does it.
    """
    if text.isascii():
        return [(text, 0)] if not from_right else _resolved(text, 1)
    return _resolved(text, bidi.get_base_level(text) if from_right is None else int(from_right))


def _resolved(text, base_level):
    # A character newer than this Python has no direction yet and counts as a letter from the left.
    known = "".join(character if unicodedata.bidirectional(character) else "A" for character in text)
    storage = bidi.get_empty_storage()
    storage["base_level"] = base_level
    storage["base_dir"] = ("L", "R")[base_level]
    bidi.get_embedding_levels(known, storage)
    bidi.explicit_embed_and_overrides(storage)
    bidi.resolve_weak_types(storage)
    bidi.resolve_neutral_types(storage, False)
    bidi.resolve_implicit_levels(storage, False)
    # Joiners are set aside by the algorithm (rule X9) but shape their neighbours, so they take the level before them.
    levels, resolved = [], iter(storage["chars"])
    current = next(resolved, None)
    for character in known:
        if current is not None and current["ch"] == character:
            levels.append(current["level"])
            current = next(resolved, None)
        else:
            levels.append(levels[-1] if levels else base_level)
    runs: list[list] = []
    for character, level in zip(text, levels, strict=True):
        if runs and runs[-1][1] == level:
            runs[-1][0] += character
        else:
            runs.append([character, level])
    # Rule L2: from the highest level down to the lowest odd one, reverse what stands at that level or above.
    ordered = [tuple(run) for run in runs]
    if any(level % 2 for _, level in ordered):
        lowest = min(level for _, level in ordered if level % 2)
        for level in range(max(level for _, level in ordered), lowest - 1, -1):
            ordered = _reversed_at(ordered, level)
    return ordered


def _reversed_at(runs, level):
    result, waiting = [], []
    for run in runs:
        if run[1] >= level:
            waiting.append(run)
        else:
            result += [*reversed(waiting), run]
            waiting = []
    return result + list(reversed(waiting))


@dataclass(frozen=True)
class Paragraph:
    """A text set into a width: shaped lines at one size, in points."""

    lines: tuple[Line, ...]
    size: float
    leading: float
    first_baseline: float
    height: float
    from_right: bool
    cut_short: bool = False

    @property
    def ink_width(self) -> float:
        """Width of the widest line with all its ink, in points."""
        return max(_ink_width(line) for line in self.lines) * self.size


def set_paragraph(
    typesetter: Typesetter,
    style: Style,
    text: str,
    *,
    width: float,
    height: float,
    largest: float,
    smallest: float,
    most_lines: int,
) -> Paragraph:
    """Set a text into a box: shrink it, then wrap it, then cut it short with an ellipsis. Lengths in points.

    The ink never leaves the box, whatever the script, unless even one line at the smallest size is too high; then
    the size goes below `smallest`.
    """
    from_right = reads_from_right(text)

    def measured(token):
        return typesetter.line(style, token, from_right=from_right, part_of=text).width

    def lined(texts, size):
        lines = [typesetter.line(style, each, from_right=from_right, part_of=text) for each in texts]
        return _paragraph(lines, size, from_right)

    def fits(paragraph):
        return paragraph.height <= height and paragraph.ink_width <= width + 1e-6

    tokens = [(token, is_space, measured(token)) for token, is_space in _tokens(text)]
    # One line may shrink to three quarters before the name wraps; each further line may shrink a little more.
    for count in range(1, most_lines + 1):
        floor = max(smallest, largest * (0.78 if count == 1 else 0.64)) if count < most_lines else smallest
        for size in _sizes(largest, floor):
            texts = _filled(tokens, width / size)
            if texts is not None and len(texts) <= count:
                paragraph = lined(texts, size)
                if fits(paragraph):
                    return paragraph
    # Too long a word for the line: break inside it, and end with an ellipsis if it is still too long.
    pieces = []
    for token, is_space, its_width in tokens:
        if is_space or its_width <= width / smallest:
            pieces.append((token, is_space, its_width))
        else:
            pieces += [(part, False, measured(part)) for part in clusters(token)]
    for count in range(most_lines, 0, -1):
        texts = _filled(pieces, width / smallest) or [text]
        cut_short = len(texts) > count
        if cut_short:
            rest = text
            for line in texts[: count - 1]:
                rest = rest[rest.index(line) + len(line) :]
            last = _shortened(typesetter, style, rest.strip(), width / smallest, from_right, text)
            texts = [*texts[: count - 1], last]
        paragraph = lined(texts, smallest)
        if fits(paragraph):
            return replace(paragraph, cut_short=cut_short)
    # Ink higher or wider than the box even so: an unusual script or sign on a tiny label.
    shrink = min(height / paragraph.height, width / paragraph.ink_width)
    return replace(lined(texts, smallest * min(shrink, 1.0)), cut_short=cut_short)


def _sizes(largest, smallest):
    sizes, size = [], largest
    while size > smallest:
        sizes.append(size)
        size -= 0.25 if size <= 10 else 0.5
    return [*sizes, smallest]


def _paragraph(lines, size, from_right):
    top = max(0.70, lines[0].top)
    bottom = max(0.0, lines[-1].bottom)
    # Scripts with marks above and below need more air than Latin does.
    leading = max(1.14, max((upper.bottom + lower.top + 0.06 for upper, lower in pairwise(lines)), default=0))
    height = (top + leading * (len(lines) - 1) + bottom) * size
    return Paragraph(tuple(lines), size, leading * size, top * size, height, from_right)


def _tokens(text):
    """Words with whether a token is only the space between two; a line may break after each."""
    tokens, word = [], ""
    for part in clusters(text):
        if part.isspace():
            if word:
                tokens.append((word, False))
            tokens.append((part, True))
            word = ""
        elif _breaks_alone(part):
            if word and not unicodedata.category(part[0]).startswith("P"):
                tokens.append((word, False))
                word = ""
            word += part
            tokens.append((word, False))
            word = ""
        else:
            word += part
            # A tag like AC-07 stays whole.
            if part in "–—/·" or (part == "-" and len(word) > 4):
                tokens.append((word, False))
                word = ""
    if word:
        tokens.append((word, False))
    return tokens


def _breaks_alone(part):
    # Chinese and Japanese are written without spaces; a line may break after any character. Korean breaks at spaces.
    return unicodedata.east_asian_width(part[0]) in "WF" and not "\uac00" <= part[0] <= "\ud7a3"


def _filled(tokens, width):
    """Lines no wider than `width` em by the widths of their tokens, or None when one is wider than a line."""
    lines, current, used = [], "", 0.0
    for token, is_space, its_width in tokens:
        if is_space:
            if current:
                current, used = current + token, used + its_width
            continue
        if used + its_width > width + 1e-9:
            if its_width > width + 1e-9:
                return None
            lines.append(current.strip())
            current, used = "", 0.0
        current, used = current + token, used + its_width
    if current.strip():
        lines.append(current.strip())
    return lines


def _ink_width(line):
    return max(line.width, line.right) - min(0.0, line.left)


def _shortened(typesetter, style, text, width, from_right, part_of):
    parts = clusters(text)
    low, high = 0, len(parts)
    while low < high:
        middle = (low + high + 1) // 2
        tried = "".join(parts[:middle]).rstrip() + _ELLIPSIS
        if _ink_width(typesetter.line(style, tried, from_right=from_right, part_of=part_of)) <= width:
            low = middle
        else:
            high = middle - 1
    return "".join(parts[:low]).rstrip() + _ELLIPSIS


__all__ = ["CODE", "DETAIL", "NAME", "Line", "Paragraph", "Typesetter", "clusters", "set_paragraph", "tidy"]
