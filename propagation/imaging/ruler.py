"""The ruler of a scale card: whether its code was printed as large as it is recorded.

A printer that fits to the page makes code and ruler smaller alike; only a ruler held to the print can tell that. But a
code of another size than recorded, on a card whose ruler is true, shows in the picture.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from .card import TICK_LENGTHS_MM, Ruler, ScaleCard
from .plane import Plane

FEWEST_PX_PER_MM = 3.5  # ticks a quarter of a mm wide vanish in coarser pictures
PER_MM = 12  # samples along the ruler
WIDEST_OFF = 0.25  # how far the size may be off and still be found, relative
LEAST_CLEAR = 0.25  # share of the pattern's power in one spacing; by chance it is about a twentieth


@dataclass(frozen=True)
class RulerSeen:
    """How long a mm of the ruler is by its code's plane, and the side that the code then has; each with one sd."""

    mm: float
    sd: float
    symbol_mm: float
    symbol_sd_mm: float

    def disagrees(self) -> bool:
        """Whether the code cannot be as large as recorded: by more than 1 %, and beyond what chance makes."""
        return abs(self.mm - 1) > max(0.01, 4 * self.sd)


def look_at_rulers(pixels: np.ndarray, plane: Plane, card: ScaleCard) -> RulerSeen | None:
    """The spacing of the ticks on a card's rulers, in the plane of its code; None if they are not seen clearly.

    The plane must have the card's recorded ``symbol_mm`` as its side.
    """
    seen = [found for ruler in card.rulers if (found := _spacing(pixels, plane, card, ruler))]
    if not seen:
        return None
    weights = np.array([1 / sd**2 for _, sd in seen])
    mm = float(np.average([spacing for spacing, _ in seen], weights=weights))
    sd = float(weights.sum() ** -0.5)
    return RulerSeen(mm, sd, card.symbol_mm / mm, card.symbol_mm * sd / mm**2)


def _spacing(pixels, plane, card: ScaleCard, ruler: Ruler):
    """The spacing along one ruler and its sd, or None."""
    middle = np.full(2, card.symbol_mm / 2)
    length = ruler.length_mm
    if plane.px_per_mm(np.array(ruler.place(length / 2, 0))) < FEWEST_PX_PER_MM:
        return None
    best = None
    # If the code is of another size, the ruler lies nearer or farther in the code's scale, by the same share.
    for share in np.linspace(1 - WIDEST_OFF, 1 + WIDEST_OFF, 61):
        along = np.arange(0, length * PER_MM) / PER_MM
        profile = np.zeros(len(along), np.float32)
        for deep in np.linspace(0.3, 0.8, 4) * TICK_LENGTHS_MM[1]:
            places = np.stack([ruler.place(mm, deep) for mm in (0.0, 1.0)])
            line = places[0] + along[:, None] * (places[1] - places[0])
            profile += _sampled(pixels, plane.to_pixels((line - middle) * share + middle))
        if not np.isfinite(profile).all():
            continue
        frequency, clear, sd = _strongest(along, profile, share)
        if best is None or clear > best[1]:
            best = (share / frequency, clear, sd * share / frequency)
    if best is None or best[1] < LEAST_CLEAR:
        return None
    return best[0], best[2]


def _sampled(pixels, points):
    height, width = pixels.shape[:2]
    if (points < 0).any() or (points > [width - 1, height - 1]).any():
        return np.full(len(points), np.nan, np.float32)
    left, top = np.floor(points.min(axis=0)).astype(int)
    right, bottom = np.ceil(points.max(axis=0)).astype(int) + 2
    grey = cv2.cvtColor(np.ascontiguousarray(pixels[top:bottom, left:right]), cv2.COLOR_RGB2GRAY)
    moved = (points - (left, top)).astype(np.float32)
    return cv2.remap(grey.astype(np.float32), moved[None, :, 0], moved[None, :, 1], cv2.INTER_LINEAR)[0]


def _strongest(along, profile, share):
    """The ticks' frequency per sampled mm, how much of the pattern is in it, and the relative sd of it."""
    # Light that falls unevenly is slow; what is left must be the ticks.
    smooth = cv2.GaussianBlur(profile[None], (0, 0), 1.5 * PER_MM, borderType=cv2.BORDER_REFLECT)[0]
    wave = (profile - smooth) * np.hanning(len(profile))
    # The spacing in sampled mm is about 1 / share, give or take as much as the share itself may be off.
    tried = np.linspace(0.9, 1.1, 241)
    turns = np.exp(-2j * np.pi * along[:, None] * tried)
    power = np.abs(wave @ turns) ** 2
    top = int(power.argmax())
    total = float((wave**2).sum()) + 1e-9
    # A sine wave under a Hann window holds (Σw)² / (2 Σw²) of the total here.
    window = np.hanning(len(profile))
    clear = power[top] / total / (window.sum() ** 2 / (2 * (window**2).sum()))
    if 0 < top < len(tried) - 1:
        before, here, after = np.log(power[top - 1 : top + 2] + 1e-12)
        shift = 0.5 * (before - after) / min(before - 2 * here + after, -1e-9)
    else:
        return tried[top], 0.0, 1.0
    frequency = tried[top] + shift * (tried[1] - tried[0])
    noise = max(1 - clear, 0.02)
    # Cramér–Rao for the frequency of a sine wave in noise, a sample every half mm standing by itself.
    sd = np.sqrt(6 * noise / max(clear, 1e-3) / (np.pi**2 * (2 * along[-1]))) / (along[-1] * frequency)
    return float(frequency), float(clear), float(np.hypot(sd, 5e-4))
