"""Words in pictures, set in the same open fonts as the labels.

FiraGO (package pymupdf-fonts) sets Latin, Greek, Cyrillic, Arabic, Hebrew, Thai, Georgian and Devanagari; Noto Sans
(package manimgx-fonts) stands in where it lacks a character, and Noto Sans CJK (package manimgx-fonts-cjk) sets
Chinese, Japanese and Korean. All are under the SIL Open Font License 1.1.
"""

import io
from functools import cache
from importlib.resources import files

import numpy as np
import pymupdf_fonts
import uharfbuzz
from PIL import Image, ImageDraw, ImageFont

PLAIN, BOLD = "figo", "figbo"
_WEIGHT = {PLAIN: 400, BOLD: 700}
_CJK = "manimgx_fonts_cjk", "NotoSansCJK-VF.otf.ttc"


def written(text: str, size_px: float, style: str = PLAIN) -> np.ndarray:
    """The ink of one line, shape (height, width) uint8, 255 where it is full; as high for every text of one size."""
    font = _font(_face_for(text, style), max(6, round(size_px)), style)
    house = _font((None, style), max(6, round(size_px)), style)
    ascent, descent = house.getmetrics()
    left, _, right, _ = font.getbbox(text, anchor="ls")
    line = Image.new("L", (max(1, round(right - min(left, 0))), ascent + descent))
    ImageDraw.Draw(line).text((-min(left, 0), ascent), text, fill=255, font=font, anchor="ls")
    return np.asarray(line)


def _face_for(text, style):
    """The first face with all characters of a text; the house's own if none has."""
    wanted = {ord(character) for character in text}
    candidates = [(None, style), _CJK]
    candidates += [("manimgx_fonts", file) for file in _noto_files()]
    return next((face for face in candidates if wanted <= _characters(*face)), candidates[0])


@cache
def _noto_files():
    names = sorted(entry.name for entry in files("manimgx_fonts").iterdir())
    return tuple(name for name in names if name.endswith("[wght].ttf") and "Italic" not in name)


@cache
def _characters(package, file):
    if package is None:
        blob = uharfbuzz.Blob(pymupdf_fonts.myfont(file))
    else:
        blob = uharfbuzz.Blob.from_file_path(str(files(package) / file))
    return frozenset(uharfbuzz.Face(blob).unicodes)


@cache
def _font(face, size_px, style):
    package, file = face
    if package is None:
        return ImageFont.truetype(io.BytesIO(pymupdf_fonts.myfont(file)), size_px)
    font = ImageFont.truetype(str(files(package) / file), size_px)
    font.set_variation_by_axes([_WEIGHT[style]])
    return font
