"""The open fonts that labels are set in, and which of them has a character.

FiraGO and Fira Mono (package pymupdf-fonts) set Latin, Greek, Cyrillic, Arabic, Hebrew, Thai, Georgian and Devanagari
and the code in clear. Noto Sans (package manimgx-fonts) sets the scripts these lack, symbols and emoji; Noto Sans CJK
(package manimgx-fonts-cjk) sets Chinese, Japanese and Korean. All are under the SIL Open Font License 1.1, which
allows embedding, and install with pip on every system, so a label looks the same wherever it is printed.
"""

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import pymupdf_fonts
import uharfbuzz

# Order of faces in the collection NotoSansCJK-VF.otf.ttc, by the regional shapes of the characters that Han shares.
_CJK_JAPANESE, _CJK_KOREAN, _CJK_CHINESE = 0, 1, 2

_NOTO_SCRIPTS = (
    "Sans",
    "SansArmenian",
    "SansEthiopic",
    "SansBengali",
    "SansGujarati",
    "SansGurmukhi",
    "SansKannada",
    "SansMalayalam",
    "SansOriya",
    "SansSinhala",
    "SansTamil",
    "SansTelugu",
    "SansKhmer",
    "SansLao",
    "SansMyanmar",
    "SansArabic",
    "SansDevanagari",
    "SansHebrew",
    "SansThai",
    "SansGeorgian",
    "SansSymbols",
)


@dataclass(frozen=True, eq=False)
class Face:
    """One font file, at one weight if it is variable. There is one of each, so they are compared by identity."""

    name: str
    package: str
    file: str
    index: int = 0
    weight: int | None = None

    def has(self, text: str) -> bool:
        """Whether the face has a glyph for each character of a text."""
        coverage = _coverage(self.package, self.file, self.index)
        return all(ord(character) in coverage for character in text)


@cache
def _fira(name, buffer):
    return Face(name=name, package="pymupdf_fonts", file=buffer)


@cache
def _noto(weight):
    return tuple(
        Face(name=f"Noto{script}", package="manimgx_fonts", file=f"Noto{script}[wght].ttf", weight=weight)
        for script in (*_NOTO_SCRIPTS, "Emoji")
    )


@cache
def _cjk(weight, index):
    return Face(
        name="NotoSansCJK", package="manimgx_fonts_cjk", file="NotoSansCJK-VF.otf.ttc", index=index, weight=weight
    )


_SYMBOLS = tuple(_fira(name, buffer) for name, buffer in (("NotoSansSymbols2", "symbol2"), ("NotoSansMath", "math")))


@dataclass(frozen=True, eq=False)
class Style:
    """A first choice of face, and what stands in where it lacks a character."""

    first: tuple[Face, ...]
    noto_weight: int

    def faces_for(self, text: str) -> Iterator[Face]:
        """Faces to try for a text, best first; `text` decides whose shapes Han characters take."""
        yield from self.first
        yield _cjk(self.noto_weight, _han_index(text))
        yield from _noto(self.noto_weight)
        yield from _SYMBOLS


NAME = Style(first=(_fira("FiraGO-Bold", "figbo"),), noto_weight=650)
DETAIL = Style(first=(_fira("FiraGO-Regular", "figo"),), noto_weight=400)
LATIN = Style(first=(_fira("FiraGO-Italic", "figit"),), noto_weight=400)  # names of species
CODE = Style(first=(_fira("FiraMono-Bold", "fimbo"), _fira("FiraGO-Bold", "figbo")), noto_weight=700)


def _han_index(text):
    if any("HANGUL" in unicodedata.name(character, "") for character in text):
        return _CJK_KOREAN
    if any("KATAKANA" in (name := unicodedata.name(character, "")) or "HIRAGANA" in name for character in text):
        return _CJK_JAPANESE
    return _CJK_CHINESE


@cache
def _file(package, file):
    if package == "pymupdf_fonts":
        return uharfbuzz.Blob(pymupdf_fonts.myfont(file))
    # Read by mapping: the collection of Chinese, Japanese and Korean is 32 MB, of which a label needs a few glyphs.
    return uharfbuzz.Blob.from_file_path(str(files(package) / file))


@cache
def open_face(package: str, file: str, index: int) -> uharfbuzz.Face:
    """The whole face, kept for the life of the process."""
    return uharfbuzz.Face(_file(package, file), index)


@cache
def _coverage(package, file, index):
    return open_face(package, file, index).unicodes
