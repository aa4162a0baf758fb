"""Colour: sRGB to light, white balance by known neutrals, CIELAB under D65 (2° observer), and CIEDE2000.

Sources: IEC 61966-2-1:1999 for sRGB; CIE 15:2004 for CIELAB; Sharma G, Wu W, Dalal EN 2005, Color Res. Appl. 30:21–30
for CIEDE2000 (from memory, checked in tests/published).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from .card import PAPER_SRGB
from .errors import NoWhite

XYZ_FROM_LINEAR = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
WHITE_XYZ = XYZ_FROM_LINEAR.sum(axis=1)  # D65: neutral sRGB has a* = b* = 0
CLIPPED_FROM, CLIPPED_TO = 2, 253  # a channel outside holds no more information (JPEG rounds about ±1)
FEWEST_PIXELS = 30  # fewer give no mean worth saying (common practice, no source)
DARKEST_WHITE = 12  # of 255: white darker than this in a channel is noise, and dividing by it colours everything


def linear_from_srgb(values: np.ndarray) -> np.ndarray:
    """Linear light, 0…1, from sRGB 0…255."""
    scaled = np.asarray(values, dtype=float) / 255
    return np.where(scaled <= 0.04045, scaled / 12.92, ((np.maximum(scaled, 0.04045) + 0.055) / 1.055) ** 2.4)


LINEAR_OF_LEVEL = linear_from_srgb(np.arange(256)).astype(np.float32)


def linear_from_pixels(pixels: np.ndarray) -> np.ndarray:
    """Linear light, float32, 0…1, of uint8 pixels; by table."""
    return LINEAR_OF_LEVEL[pixels]


def srgb_from_linear(light: np.ndarray) -> np.ndarray:
    """sRGB 0…255, unrounded, from linear light; what lies outside 0…1 is clipped."""
    light = np.clip(light, 0, 1)
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0.0031308) ** (1 / 2.4) - 0.055)


def lab_from_linear(light: np.ndarray) -> np.ndarray:
    """CIELAB (D65, 2°) of linear sRGB, shape (…, 3)."""
    relative = np.asarray(light, dtype=float) @ XYZ_FROM_LINEAR.T / WHITE_XYZ
    cubed = (6 / 29) ** 3
    f = np.where(relative > cubed, np.cbrt(np.maximum(relative, cubed)), relative / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def lab_from_srgb(values: np.ndarray) -> np.ndarray:
    """CIELAB (D65, 2°) of sRGB 0…255, shape (…, 3)."""
    return lab_from_linear(linear_from_srgb(values))


def srgb_from_lab(lab: np.ndarray) -> np.ndarray:
    """sRGB 0…255, unrounded, of CIELAB (D65, 2°), shape (…, 3); what no screen shows is clipped."""
    L, a, b = np.moveaxis(np.asarray(lab, dtype=float), -1, 0)
    y = (L + 16) / 116
    f = np.stack([y + a / 500, y, y - b / 200], axis=-1)
    relative = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29))
    return srgb_from_linear(relative * WHITE_XYZ @ np.linalg.inv(XYZ_FROM_LINEAR).T)


def colour_difference(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """CIEDE2000 between CIELAB colours, shapes (…, 3) that broadcast; kL = kC = kH = 1.

    Source: Sharma, Wu, Dalal 2005, equations 2–22.
    """
    L1, a1, b1 = np.moveaxis(np.asarray(first, dtype=float), -1, 0)
    L2, a2, b2 = np.moveaxis(np.asarray(second, dtype=float), -1, 0)
    seventh = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1 + 0.5 * (1 - np.sqrt(seventh / (seventh + 25.0**7)))
    a1, a2 = a1 * stretch, a2 * stretch
    C1, C2 = np.hypot(a1, b1), np.hypot(a2, b2)
    grey = C1 * C2 == 0
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360

    turn = h2 - h1
    turn = np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))
    turn = np.where(grey, 0.0, turn)
    dL, dC, dH = L2 - L1, C2 - C1, 2 * np.sqrt(C1 * C2) * np.sin(np.radians(turn / 2))

    L, C, total = (L1 + L2) / 2, (C1 + C2) / 2, h1 + h2
    apart = np.abs(h1 - h2) > 180
    h = np.where(grey, total, np.where(apart, np.where(total < 360, total + 360, total - 360), total) / 2)
    T = (
        1
        - 0.17 * np.cos(np.radians(h - 30))
        + 0.24 * np.cos(np.radians(2 * h))
        + 0.32 * np.cos(np.radians(3 * h + 6))
        - 0.20 * np.cos(np.radians(4 * h - 63))
    )
    SL = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    SC, SH = 1 + 0.045 * C, 1 + 0.015 * C * T
    rotation = -np.sin(np.radians(60 * np.exp(-(((h - 275) / 25) ** 2)))) * 2 * np.sqrt(C**7 / (C**7 + 25.0**7))
    lightness, chroma, hue = dL / SL, dC / SC, dH / SH
    return np.sqrt(lightness**2 + chroma**2 + hue**2 + rotation * chroma * hue)


@dataclass(frozen=True)
class WhiteReference:
    """What turns the light of a picture into the light under D65: ``(light - black) * gain``, each channel by itself.

    ``source`` says what it was taken from: ``paper``, ``patches`` or ``none``.
    """

    gain: np.ndarray
    black: np.ndarray
    source: str
    notes: tuple[str, ...] = ()

    def balanced(self, light: np.ndarray) -> np.ndarray:
        """Linear light, shape (…, 3), as it would be under D65."""
        return (light - self.black) * self.gain


NO_WHITE = WhiteReference(
    np.ones(3), np.zeros(3), "none", ("Nothing white was found: the colour is as the camera saw it.",)
)


def white_from_paper(pixels: np.ndarray, *, srgb: Sequence[float] = PAPER_SRGB) -> WhiteReference:
    """The white reference from pixels of bare paper, shape (n, 3) uint8 (a diagonal, von Kries in linear sRGB).

    Raises NoWhite if there are too few, if they are blown out or if they are dark.
    """
    pixels = np.asarray(pixels).reshape(-1, 3)
    if len(pixels) < FEWEST_PIXELS:
        raise NoWhite("too little white paper is seen around the code.")
    seen = np.median(linear_from_pixels(pixels), axis=0)
    middle = np.median(pixels, axis=0)
    if (middle > CLIPPED_TO).any():
        raise NoWhite("the label's paper is overexposed; take the picture darker.")
    if (middle < DARKEST_WHITE).any():
        raise NoWhite("the light has almost none of one colour; take the picture under whiter light.")
    return WhiteReference(linear_from_srgb(srgb) / seen, np.zeros(3), "paper")


def white_from_patches(patches: Sequence[tuple[np.ndarray, Sequence[float]]]) -> WhiteReference:
    """The white reference from several neutral patches: per channel a gain and a black by least squares.

    Parameters
    ----------
    patches : sequence of (pixels, srgb)
        Pixels, shape (n, 3) uint8, and the colour each patch is known to have.

    Raises NoWhite if fewer than two can be used.
    """
    seen, known = [], []
    for pixels, srgb in patches:
        middle = np.median(np.asarray(pixels).reshape(-1, 3), axis=0) if len(pixels) >= FEWEST_PIXELS else None
        if middle is not None and (middle <= CLIPPED_TO).all():
            seen.append(np.median(linear_from_pixels(np.asarray(pixels)), axis=0))
            known.append(linear_from_srgb(srgb))
    if len(seen) < 2:
        raise NoWhite("fewer than two of the card's patches are seen well; take the picture without glare.")
    seen, known = np.array(seen, dtype=float), np.array(known)
    if (seen.max(axis=0) < LINEAR_OF_LEVEL[DARKEST_WHITE]).any():
        raise NoWhite("the light has almost none of one colour; take the picture under whiter light.")
    # Weighed by relative error: an eye, and CIELAB, see a small difference in the dark as well as a large in the light.
    weight = 1 / (known + 0.05)
    gain, black = np.empty(3), np.empty(3)
    for channel in range(3):
        design = np.stack([seen[:, channel], np.ones(len(seen))], axis=1) * weight[:, channel, None]
        slope, level = np.linalg.lstsq(design, known[:, channel] * weight[:, channel], rcond=None)[0]
        if slope <= 0:
            raise NoWhite("the card's patches are not in order of brightness; check that nothing lies on them.")
        gain[channel], black[channel] = slope, -level / slope
    return WhiteReference(gain, black, "patches")


@dataclass(frozen=True)
class ColourSeen:
    """The colour inside an outline: mean CIELAB, its spread (one sd of L*, a*, b*), and how much was left out."""

    lab: tuple[float, float, float]
    spread: tuple[float, float, float]
    pixels: int
    clipped: int
    source: str
    notes: tuple[str, ...]


MOST_CLIPPED = 0.2  # share of clipped pixels from which the mean is doubted (common practice, no source)
MOST_SAMPLED = 200_000  # pixels; more change a mean by nothing


def colour_inside(pixels: np.ndarray, outline_px: np.ndarray, white: WhiteReference = NO_WHITE) -> ColourSeen:
    """Mean colour of the pixels inside an outline, shape (n, 2). Clipped pixels are left out and counted.

    Raises NoWhite when every pixel inside is clipped.
    """
    inside = pixels_inside(pixels, outline_px)
    clipped = ((inside > CLIPPED_TO).any(axis=1)) | ((inside < CLIPPED_FROM).all(axis=1))
    usable = inside[~clipped]
    if len(usable) < FEWEST_PIXELS:
        raise NoWhite("the colony is overexposed or black all over; take the picture again with other exposure.")
    notes = list(white.notes)
    if clipped.mean() > MOST_CLIPPED:
        notes.append(f"{clipped.mean():.0%} of the colony is overexposed or black; its colour is that of the rest.")
    usable = usable[:: 1 + len(usable) // MOST_SAMPLED]
    light = white.balanced(linear_from_pixels(usable).astype(float))
    # The mean is taken in light, where noise cancels; CIELAB of dark noise is bent.
    mean = lab_from_linear(np.maximum(light.mean(axis=0), 0))
    spread = lab_from_linear(np.maximum(light, 0)).std(axis=0)
    return ColourSeen(
        tuple(mean.tolist()), tuple(spread.tolist()), len(inside), int(clipped.sum()), white.source, tuple(notes)
    )


def pixels_inside(pixels: np.ndarray, outline_px: np.ndarray) -> np.ndarray:
    """The pixels, shape (n, 3), whose middle lies in a polygon, shape (m, 2); memory only for its bounding box."""
    height, width = pixels.shape[:2]
    outline = np.asarray(outline_px, dtype=float)
    left, top = np.clip(np.floor(outline.min(axis=0)).astype(int), 0, [width, height])
    right, bottom = np.clip(np.ceil(outline.max(axis=0)).astype(int) + 1, 0, [width, height])
    if right <= left or bottom <= top:
        return np.empty((0, 3), dtype=np.uint8)
    mask = np.zeros((bottom - top, right - left), dtype=np.uint8)
    cv2.fillPoly(mask, [np.round((outline - (left, top)) * 256).astype(np.int32)], 1, shift=8)
    return pixels[top:bottom, left:right][mask.astype(bool)]
