"""Finding and reading the codes in a picture, and knowing every module of what was printed."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import qrcode
import zxingcpp
from qrcode.constants import ERROR_CORRECT_H, ERROR_CORRECT_L, ERROR_CORRECT_M, ERROR_CORRECT_Q
from qrcode.exceptions import DataOverflowError

from .errors import NoSymbolFound

_LEVELS = {"L": ERROR_CORRECT_L, "M": ERROR_CORRECT_M, "Q": ERROR_CORRECT_Q, "H": ERROR_CORRECT_H}
# Error correction mends at most 30 % of the codewords of a symbol, so a right guess agrees with what was read in more.
AGREES_FROM = 0.85
ENLARGED_UP_TO = 16_000_000  # pixels; a larger picture is not enlarged, its symbols are large enough
SAME_PLACE = 0.5  # two readings whose middles lie within half a side are of one symbol


@dataclass(frozen=True)
class FoundSymbol:
    """A code read in a picture.

    ``corners_px``, shape (4, 2): the outer corners of the symbol's top left, top right, bottom right and bottom left
    module, as the decoder saw them (about a quarter of a module wrong). ``modules`` is what was printed, True where
    dark; ``is_regenerated`` tells that it was made anew from the text and not taken from the picture.
    """

    text: str
    corners_px: np.ndarray
    modules: np.ndarray
    is_mirrored: bool
    is_regenerated: bool

    @property
    def side_px(self) -> float:
        """The mean side in the picture."""
        return float(np.hypot(*(self.corners_px - np.roll(self.corners_px, 1, axis=0)).T).mean())

    @property
    def px_per_module(self) -> float:
        return self.side_px / len(self.modules)


def find_symbols(pixels: np.ndarray) -> list[FoundSymbol]:
    """Every QR that can be read in a picture, from the top, then from the left.

    The first two ways of looking are always taken, because two codes in one picture may need different ones; the
    others only until something is found.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (height, width, 3)
        RGB.

    Raises
    ------
    NoSymbolFound
        With what the picture looks like.
    """
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    found: list[FoundSymbol] = []
    for step, (seen, scale, binarizer) in enumerate(_ways_of_looking(pixels, grey)):
        if found and step > 1:
            break
        for barcode in zxingcpp.read_barcodes(
            np.ascontiguousarray(seen), formats=zxingcpp.BarcodeFormat.QRCode, binarizer=binarizer
        ):
            symbol = _understood(barcode, scale)
            if symbol is not None and not any(_same_place(symbol, other) for other in found):
                found.append(symbol)
    if not found:
        raise NoSymbolFound(_why_nothing(grey))
    return sorted(found, key=lambda symbol: tuple(symbol.corners_px.mean(axis=0)[::-1].round().tolist()))


def _ways_of_looking(pixels, grey) -> Iterator[tuple[np.ndarray, float, zxingcpp.Binarizer]]:
    """Pictures to look for codes in, how much each is enlarged, and how it is made black and white."""
    local, overall = zxingcpp.Binarizer.LocalAverage, zxingcpp.Binarizer.GlobalHistogram
    equalised = cv2.createCLAHE(2.0, (8, 8)).apply(grey)
    yield grey, 1.0, local
    yield equalised, 1.0, local
    if grey.size <= ENLARGED_UP_TO:
        yield cv2.resize(grey, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), 2.0, local
        sharpened = cv2.addWeighted(grey, 3.0, cv2.GaussianBlur(grey, (0, 0), 2.0), -2.0, 0)
        yield cv2.resize(sharpened, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), 2.0, local
    yield cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), 0.5, local
    yield cv2.medianBlur(grey, 3), 1.0, local
    yield cv2.GaussianBlur(grey, (0, 0), 1.5), 1.0, local
    yield grey, 1.0, overall
    # Coloured light: one channel may hold what the mean of three drowns.
    for channel in (1, 2, 0):
        yield pixels[..., channel], 1.0, local
        yield cv2.createCLAHE(4.0, (8, 8)).apply(np.ascontiguousarray(pixels[..., channel])), 1.0, local
    strong = cv2.createCLAHE(8.0, (16, 16)).apply(cv2.medianBlur(grey, 3))
    yield strong, 1.0, local
    for side in (31, 75):
        yield cv2.adaptiveThreshold(grey, 255, cv2.ADAPTIVE_THRESH_GAUSSIAN_C, cv2.THRESH_BINARY, side, 5), 1.0, overall
    yield cv2.resize(grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), 0.25, local


def _understood(barcode, scale):
    place = barcode.position
    corners = np.array(
        [(corner.x, corner.y) for corner in (place.top_left, place.top_right, place.bottom_right, place.bottom_left)],
        dtype=float,
    )
    # The decoder counts from a pixel's corner, and so does enlarging.
    corners = corners / scale - 0.5
    seen = np.array(barcode.to_image(scale=1, add_quiet_zones=False)) < 128
    if seen.ndim != 2 or seen.shape[0] != seen.shape[1] or not barcode.text:
        return None
    made, agreement, mirrored = None, 0.0, False
    for candidate in _candidates(barcode, len(seen)):
        for is_turned in (False, True):
            agrees = float(((candidate.T if is_turned else candidate) == seen).mean())
            if agrees > agreement:
                made, agreement, mirrored = candidate, agrees, is_turned
    if agreement < AGREES_FROM:
        # Made by another program with other rules; what was read is then the best there is. Which way round it is
        # shows in the one module that is always dark, ISO/IEC 18004 §7.9.1: beside the lower left finder.
        mirrored = bool(seen[8, -8] and not seen[-8, 8])
        made = seen.T if mirrored else seen
    if mirrored:
        corners = corners[[0, 3, 2, 1]]
    return FoundSymbol(barcode.text, corners, made, mirrored, agreement >= AGREES_FROM)


def _candidates(barcode, side):
    version, told = (side - 17) // 4, barcode.extra or {}
    levels = [told["ECLevel"]] if told.get("ECLevel") in _LEVELS else list(_LEVELS)
    masks = [int(told["DataMask"])] if str(told.get("DataMask", "")).isdigit() else list(range(8))
    for level in levels:
        for mask in masks:
            for optimize in (0, 20):
                made = make_modules(barcode.text, version, level, mask, optimize)
                if made is not None:
                    yield made


@lru_cache(maxsize=64)
def make_modules(text: str, version: int, level: str, mask: int, optimize: int = 0) -> np.ndarray | None:
    """The modules of a text, True where dark, without quiet zone; None if they do not fit into this version."""
    maker = qrcode.QRCode(version=version, error_correction=_LEVELS[level], border=0, mask_pattern=mask)
    try:
        maker.add_data(text, optimize=optimize)
        maker.make(fit=False)
    except (DataOverflowError, ValueError):
        return None
    made = np.array(maker.modules, dtype=bool)
    made.setflags(write=False)
    return made


def _same_place(one, other):
    apart = np.hypot(*(one.corners_px.mean(axis=0) - other.corners_px.mean(axis=0)))
    return apart < SAME_PLACE * max(one.side_px, other.side_px)


def _why_nothing(grey):
    """What a picture without a readable code looks like, as a clause that ends the sentence."""
    small = cv2.resize(grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA) if grey.size > 1_000_000 else grey
    if grey.size < 10_000:
        return f"it has only {grey.shape[1]} × {grey.shape[0]} pixels. Take it with a larger size."
    if np.percentile(small, 99) < 50:
        return "it is almost black. Take it with more light."
    if np.percentile(small, 20) > 245:
        return "it is overexposed. Take it darker."
    if cv2.Laplacian(cv2.GaussianBlur(small, (0, 0), 1), cv2.CV_32F).std() < 1.5:
        return "it is blurred. Hold still, focus on the label, and take it again."
    return (
        "no label is seen, or it is too small, hidden or blurred. Let it lie flat and whole in the picture, at least a "
        "tenth of its width."
    )
