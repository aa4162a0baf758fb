"""The outline of a colony, proposed from a box a little larger than it, from strokes, or from nothing but the picture.

    outline = propose_outline(pixels, box=(x0, y0, x1, y1), labels_px=[label.corners_px for label in labels])
    proposal = propose(pixels, box=…)                 # the same with how sure it is, and why it might not be
    box = propose_box(pixels, labels_px)              # None when nothing stands out

An outline is the colony's outer edge: what shows through between branches that close around it counts as colony, as it
does for the projected area; a bay that is open to the outside does not.

How it goes. What lies around the box is background, in its shade and in its light. Two mixtures of normal densities, of
the colony's colours and of the background's, are learned in turn with the part of the box they divide between them
(Rother and others 2004, GrabCut); the division is the least of a convex energy with an edge-weighted total variation
(Chambolle and Pock 2011) instead of a cut, which gives an edge between pixels. Near the edge each pixel is then taken
as a mix of the colony and the background beside it, and the outline runs where the mix is one half.

Places are (x, y) in pixels of the upright picture, the middle of the first pixel at (0, 0).
"""

from dataclasses import dataclass

import cv2
import numpy as np

from .colour import LINEAR_OF_LEVEL
from .errors import BadBox, NothingStandsOut, StrokesDisagree
from .mixture import learn_mixture
from .polygons import (
    check_outline,
    fewer_points,
    outline_mask,
    signed_area,
    simplify_outline,
)

__all__ = [
    "Proposal",
    "check_outline",
    "outline_mask",
    "propose",
    "propose_box",
    "propose_outline",
    "simplify_outline",
]

# The numbers below were chosen on drawn photographs (no source); tests/imaging/test_outline.py holds what they reach.
_COARSE, _FINE, _FINEST = (
    130,
    260,
    640,
)  # pixels along the box: to learn on, to divide on, to find the edge on
_AROUND = 0.3  # of the box, on every side, is looked at as background
_LEAST_BOX = 12  # pixels along a side, below which nothing can be outlined
_PARTS_OF_COLONY, _PARTS_OF_BACKGROUND = 4, 6
_SAMPLES = 6000
_SHADES = (0.8, 0.62, 0.46, 0.33)
_SHARE_IN_SHADE = 0.15
# How much rarer (as a logarithm) than the rare of the ground a colour is at least that is not ground; None: any is not.
_TRIED = (*((_SHADES, like_ground) for like_ground in (None, 3, 6, 10, 16, 25)), ((), None))
_BESIDE = 0.9  # pixels of the coarse window: how far off the edge its two sides are compared
_AS_GOOD = 0.04  # less of fit and contrast, relative: what was tried and has so much less is a third as likely
_FEWEST_INSIDE = 30  # such pixels, to look for edges within
_FARTHER = 3  # such pixels: a line that far inside shows what edges there are within the colony
_USUAL_MARGIN = 0.045  # of its side: how far a box 10 % larger than the colony stands off, on each side
_LABEL_PAPER = 1.45  # times the symbol: with its quiet zone of four modules beside at least 21
_WHOLE = 200  # pixels along the picture, to look for a colony in
_GATHERED = 0.2  # of the picture's sides: a colour whose pixels scatter less is a thing's, not the background's
_LEAST_PART = 0.004  # of the picture: what is smaller is no colony that somebody took a picture of
_POINTS = (40, 150)  # that a thumb can mend
_DISPLACED = 0.003  # of the area, by leaving points out
_CLEAR_AT_ALL = 0.2  # how clear an edge is at least; what is drawn into bare noise stays below
_LOST = 0.4  # of the area: one sd where there is no confidence at all
_LEVELS = (0.1, 0.02)  # off one half: bays and gaps that come and go with it; what an edge is uncertain by
_GAPS_UNSURE = 0.08  # of the area, one sd
_SURE = 0.5  # below this confidence a proposal is called unsure


@dataclass(frozen=True)
class Proposal:
    """``points`` (n, 2), clockwise. ``confidence`` is 0…1: about the chance that IoU with the truth is above 0.9.

    ``area_sd`` and ``longest_sd`` are one relative standard deviation of what it encloses and of its longest diameter.
    ``doubts`` are sentences for the keeper.
    """

    points: np.ndarray
    confidence: float
    doubts: tuple[str, ...] = ()
    area_sd: float = 0.0
    longest_sd: float = 0.0

    @property
    def is_sure(self) -> bool:
        return self.confidence >= _SURE

    @property
    def sds(self) -> tuple[float, float]:
        """Relative, of area and of longest diameter, as `measuring.measure` takes them."""
        return self.area_sd, self.longest_sd


@dataclass(frozen=True)
class _Window:
    """A part of the picture at a scale: ``pixels`` are as seen there, ``labels`` where paper covers it."""

    left: int
    top: int
    scale_x: float
    scale_y: float
    pixels: np.ndarray

    @property
    def size(self):
        return self.pixels.shape[1], self.pixels.shape[0]

    def within(self, places):
        """Places of the picture in the window."""
        return (np.asarray(places, float) - [self.left, self.top] + 0.5) * [
            self.scale_x,
            self.scale_y,
        ] - 0.5

    def without(self, places):
        """Places of the window in the picture."""
        return (np.asarray(places, float) + 0.5) / [self.scale_x, self.scale_y] - 0.5 + [self.left, self.top]


@dataclass(frozen=True)
class _Given:
    """What is known before looking, on the window's pixels."""

    inside_box: np.ndarray  # bool
    colony: np.ndarray  # bool, under a stroke inside
    background: np.ndarray  # bool: beyond the box, a label, or under a stroke outside
    chance: np.ndarray  # of being colony, before its colour is looked at
    weight: np.ndarray  # as an example of background, before its colour is looked at


def propose_outline(image, *, box=None, inside=(), outside=(), labels_px=()) -> np.ndarray:
    """The outline of a colony, a simple polygon of about 40 to 150 points, shape (n, 2), clockwise.

    Parameters
    ----------
    image : ndarray, shape (h, w, 3), uint8
        RGB, upright.
    box : (x0, y0, x1, y1), optional
        A little larger than the colony; about 10 % is best. Without it, strokes inside are needed.
    inside, outside : sequences of arrays, shape (n, 2)
        Strokes over what is colony and over what is not.
    labels_px : sequence of arrays, shape (4, 2)
        Corners of the printed symbols in the picture: they and the paper around them are never colony.

    Raises
    ------
    BadBox, StrokesDisagree, NothingStandsOut
    """
    return propose(image, box=box, inside=inside, outside=outside, labels_px=labels_px).points


def propose(image, *, box=None, inside=(), outside=(), labels_px=()) -> Proposal:
    """`propose_outline` with how sure it is."""
    inside, outside = _strokes(inside), _strokes(outside)
    box = _checked_box(box, image) if box is not None else _box_of_strokes(image, inside, outside, labels_px)
    _check_strokes(inside, outside, box)
    window = _look(image, box, _FINE)
    given = _gather(window, box, inside, outside, labels_px)
    light = _Light.under(window.pixels[given.background])
    features = _even_out(light.lab(window.pixels), given)

    box_here = window.within(np.reshape(box, (2, 2)))
    tries = _divide(
        features,
        given,
        lambda solid, seen: _fit_to_box(solid, box_here * seen, image, window, seen),
    )
    fit, edge, share = tries.fit, tries.edge, tries.share
    solid = _solid(share > 0.5, given.colony)
    if not solid.any():
        raise NothingStandsOut()
    if inside:
        fit, edge = max(fit, 0.8), max(edge, 0.8)  # somebody has said where it is
    finest = _look(image, box, _FINEST)
    light = light.dimmed_for(window.pixels[solid])
    mix, clear = _find_edge(light.lab(finest.pixels), share, solid, _gather(finest, box, inside, outside, labels_px))
    points = _trace(mix)
    if points is None or (clear < _CLEAR_AT_ALL and not inside):
        raise NothingStandsOut()
    points = finest.without(points)
    height, width = image.shape[:2]
    points = np.clip(points, 0, [width - 1, height - 1])
    points = fewer_points(points, fewest=_POINTS[0], most=_POINTS[1], displaced_share=_DISPLACED)
    points = np.clip(points, 0, [width - 1, height - 1])
    if signed_area(points) < 0:
        points = points[::-1].copy()
    return _judged(points, fit, edge, clear, np.hypot(tries.area_sd, _level_sd(mix)))


def propose_box(image, labels_px=(), *, last_outline_px=None):
    """Where the colony is, for a picture in which nobody drew a box: (x0, y0, x1, y1) some 10 % larger, or None.

    Parameters
    ----------
    image : ndarray, shape (h, w, 3), uint8
    labels_px : sequence of arrays, shape (4, 2)
        Corners of the printed symbols.
    last_outline_px : array, shape (n, 2), optional
        The outline in the picture before, brought into this one by the planes of the labels. It is used where what
        lies there is of one piece and other than what is around; a colony that was put elsewhere is looked for anew.

    None says that nothing, or more than one thing, stands out; a box is never a guess among several.
    """
    height, width = image.shape[:2]
    whole = (-0.5, -0.5, width - 0.5, height - 0.5)
    if min(width, height) < 4 * _LEAST_BOX:
        return None
    window = _look(image, whole, _WHOLE)
    paper = _paper(window, labels_px)
    light = _Light.under(window.pixels[~paper] if (~paper).any() else window.pixels.reshape(-1, 3))
    features = cv2.GaussianBlur(light.lab(window.pixels), (0, 0), 0.8)
    chance = _gathered_colours(features, paper)
    if last_outline_px is not None:
        box = _box_of_last(image, window, chance, np.asarray(last_outline_px, dtype=float))
        if box is not None:
            return box
    solid = _the_one(chance, paper)
    return None if solid is None else _box_around(solid, window, image)


# ---- what is given


def _strokes(strokes):
    drawn = [np.atleast_2d(np.asarray(stroke, dtype=float)) for stroke in strokes]
    return [stroke for stroke in drawn if stroke.size]


def _checked_box(box, image):
    height, width = image.shape[:2]
    x0, y0, x1, y1 = (float(value) for value in box)
    if not np.isfinite([x0, y0, x1, y1]).all():
        raise BadBox("its corners are no numbers. Draw it around the colony.")
    x0, x1, y0, y1 = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
    if x1 <= 0 or y1 <= 0 or x0 >= width or y0 >= height:
        raise BadBox(f"it lies outside the picture of {width} × {height} pixels. Draw it around the colony.")
    x0, y0, x1, y1 = (
        max(x0, -0.5),
        max(y0, -0.5),
        min(x1, width - 0.5),
        min(y1, height - 0.5),
    )
    if min(x1 - x0, y1 - y0) < _LEAST_BOX:
        raise BadBox(
            f"{x1 - x0:.0f} × {y1 - y0:.0f} pixels are too few to see an edge in, at least {_LEAST_BOX} each way are "
            "needed. Draw it around the whole colony, or take a picture from nearer."
        )
    return x0, y0, x1, y1


def _check_strokes(inside, outside, box):
    x0, y0, x1, y1 = box
    for stroke in inside:
        if (stroke < [x0, y0]).any() or (stroke > [x1, y1]).any():
            raise StrokesDisagree("A stroke over the colony leaves the box. Make the box larger or the stroke shorter.")
    for one in inside:
        for other in outside:
            if _meet(one, other):
                raise StrokesDisagree(
                    "A stroke over the colony and a stroke beside it cross. Take one of them away and draw it again."
                )


def _meet(one, other):
    """Do two strokes come within a pixel of each other?"""
    one, other = _dense(one), _dense(other)
    return any(
        bool((((part[:, None] - other) ** 2).sum(axis=2) < 1).any())
        for part in np.array_split(one, len(one) // 500 + 1)
    )


def _dense(stroke):
    """Points along a stroke at most a pixel apart."""
    steps = np.r_[0, np.hypot(*np.diff(stroke, axis=0).T).cumsum()] if len(stroke) > 1 else np.zeros(1)
    at = np.linspace(0, steps[-1], int(np.ceil(steps[-1])) + 1)
    return np.column_stack([np.interp(at, steps, stroke[:, 0]), np.interp(at, steps, stroke[:, 1])])


def _look(image, box, side):
    """The box and what is around it, at most ``side`` pixels along the box's longer side."""
    height, width = image.shape[:2]
    x0, y0, x1, y1 = box
    around = _AROUND * max(x1 - x0, y1 - y0)
    left, top = int(max(0, np.floor(x0 - around))), int(max(0, np.floor(y0 - around)))
    right, bottom = (
        int(min(width, np.ceil(x1 + around))),
        int(min(height, np.ceil(y1 + around))),
    )
    scale = min(1.0, side / max(x1 - x0, y1 - y0))
    size = max(4, round((right - left) * scale)), max(4, round((bottom - top) * scale))
    pixels = cv2.resize(image[top:bottom, left:right], size, interpolation=cv2.INTER_AREA)
    return _Window(left, top, size[0] / (right - left), size[1] / (bottom - top), pixels)


def _gather(window, box, inside, outside, labels_px):
    width, height = window.size
    (x0, y0), (x1, y1) = window.within(np.reshape(box, (2, 2)))
    across, down = (
        np.arange(width, dtype=np.float32)[None],
        np.arange(height, dtype=np.float32)[:, None],
    )
    from_middle_x, from_middle_y = (
        np.abs(across - (x0 + x1) / 2) / ((x1 - x0) / 2),
        np.abs(down - (y0 + y1) / 2) / ((y1 - y0) / 2),
    )
    inside_box = (from_middle_x < 1) & (from_middle_y < 1)
    colony, background = (
        np.zeros((height, width), np.uint8),
        np.zeros((height, width), np.uint8),
    )
    background[_paper(window, labels_px)] = 1
    for strokes, mask in ((outside, background), (inside, colony)):
        for stroke in strokes:
            line = np.round(window.within(stroke)).astype(np.int32)
            cv2.polylines(mask, [line], False, 1, 2)
            cv2.circle(mask, tuple(line[0].tolist()), 1, 1, -1)
    colony, background = colony.astype(bool), background.astype(bool) | ~inside_box
    background &= ~colony

    # A colony fills the middle of its box and reaches its edges somewhere; few reach its corners.
    reach = np.hypot(from_middle_x, from_middle_y) * (1 + 2 * _USUAL_MARGIN)
    chance = np.clip(0.9 - 0.75 * np.clip((reach - 0.3) / 0.9, 0, 1), 0.05, 0.9)
    edge = np.minimum((1 - from_middle_x) * (x1 - x0), (1 - from_middle_y) * (y1 - y0)) / 2
    rim = inside_box & (edge < 0.7 * _USUAL_MARGIN * min(x1 - x0, y1 - y0))
    chance = np.where(rim, 0.1 * chance, chance)
    chance = np.where(background, 0, np.where(colony, 1, chance)).astype(np.float32)
    # What is nearest to the box is most like what is in it.
    away = np.maximum(-edge, 0) / max(x1 - x0, y1 - y0)
    weight = np.where(inside_box, rim * 0.7, 0.1 + np.exp(-away / 0.1)).astype(np.float32)
    weight = np.where(background & inside_box, 0.5, weight) * ~colony
    return _Given(inside_box, colony, background, chance, weight)


def _box_of_strokes(image, inside, outside, labels_px):
    """A box around what is like the strokes inside, where no box is given."""
    if not inside:
        raise BadBox("there is none, and no stroke over the colony. Draw a box around it.")
    height, width = image.shape[:2]
    whole = (-0.5, -0.5, width - 0.5, height - 0.5)
    _check_strokes(inside, outside, whole)
    window = _look(image, whole, _COARSE * 2)
    given = _gather(window, whole, inside, outside, labels_px)
    light = _Light.under(window.pixels.reshape(-1, 3))
    features = cv2.GaussianBlur(light.lab(window.pixels), (0, 0), 1.0)
    flat = features.reshape(-1, 3)
    near = given.colony.ravel()
    colony = learn_mixture(flat[near], np.ones(near.sum()), 2, least_variance=9.0)
    # The picture at large, but not what is like the stroke, is background.
    like = colony.log_density(flat)
    far = like < np.percentile(like[near], 5) - 3
    if far.sum() < 50:
        raise NothingStandsOut()
    background = learn_mixture(flat[far], np.ones(far.sum()), _PARTS_OF_BACKGROUND)
    for_background = np.clip(background.log_density(flat) - like, -6, 6).reshape(given.colony.shape) + 0.5
    for_background[given.colony] = -8
    for_background[given.background] = 8
    share = _smooth_division(for_background, _edge_weight(features))
    solid = _solid(share > 0.5, given.colony)
    y, x = np.nonzero(solid)
    if not len(x):
        raise NothingStandsOut()
    low, high = window.without([[x.min() - 0.5, y.min() - 0.5], [x.max() + 0.5, y.max() + 0.5]])
    low, high = (
        np.minimum(low, np.min([s.min(axis=0) for s in inside], axis=0)),
        np.maximum(high, np.max([s.max(axis=0) for s in inside], axis=0)),
    )
    spare = np.maximum(0.06 * (high - low), 2)
    return _checked_box((*(low - spare), *(high + spare)), image)


# ---- colours


@dataclass(frozen=True)
class _Light:
    """The light's colour as gains that make the background neutral, within reason, and the brightest parts white."""

    gains: np.ndarray

    @classmethod
    def under(cls, background):
        """From pixels of the background, shape (n, 3)."""
        light = LINEAR_OF_LEVEL[background[:: max(1, len(background) // 20_000)]]
        middle = np.maximum(np.median(light, axis=0), 0.004)
        gains = np.clip(middle.mean() / middle, 0.5, 2.5)
        bright = np.percentile(light * gains, 98)
        return cls((gains * np.clip(0.5 / max(bright, 1e-3), 0.5, 6)).astype(np.float32))

    def dimmed_for(self, colony):
        """As much less as none of these pixels, shape (n, 3), is beyond white: a colony on dark ground may be."""
        light = LINEAR_OF_LEVEL[colony[:: max(1, len(colony) // 20_000)]]
        brightest = np.percentile(light * self.gains, 98, axis=0).max()
        return _Light(self.gains / np.float32(max(brightest, 1.0)))

    def lab(self, pixels):
        """CIELAB under this light, float32."""
        even = np.dstack(
            [np.minimum(LINEAR_OF_LEVEL * gain, 1.0)[pixels[..., at]] for at, gain in enumerate(self.gains)]
        )
        return cv2.cvtColor(even.astype(np.float32), cv2.COLOR_LRGB2Lab)


def _even_out(lab, given):
    """The colours a little blurred, and without the slope of light that the background shows."""
    soft = cv2.GaussianBlur(lab, (0, 0), 0.8)
    height, width = lab.shape[:2]
    across, down = (
        np.linspace(-0.5, 0.5, width, dtype=np.float32),
        np.linspace(-0.5, 0.5, height, dtype=np.float32),
    )
    y, x = np.nonzero(given.background)
    step = max(1, len(x) // 5000)
    y, x = y[::step], x[::step]
    lightness = soft[y, x, 0]
    plane = np.column_stack([np.ones(len(x)), across[x], down[y]])
    trust = np.ones(len(x))
    for _ in range(4):  # least squares that trust what is far off less
        slope = np.linalg.lstsq(plane * trust[:, None], lightness * trust, rcond=None)[0]
        off = np.abs(lightness - plane @ slope)
        trust = 1 / np.sqrt(1 + (off / (1.5 * np.median(off) + 0.5)) ** 2)
    soft[..., 0] -= slope[1] * across[None] + slope[2] * down[:, None]
    soft[..., 0] *= 0.8  # light varies more than colour
    return soft


def _shaded(mixture, shades):
    """The mixture with each part again under less light: L* + 16, a* and b* go with the cube root of the light."""
    if not shades:
        return mixture
    dark = [mixture.means]
    for shade in shades:
        less = np.cbrt(shade)
        means = mixture.means * less
        means[:, 0] -= 0.8 * 16 * (1 - less)
        dark.append(means)
    # Each reaches half-way to its neighbours: shadows have every depth.
    dark = np.stack(dark)
    along = 0.5 * (dark[1:] - dark[:-1])
    return mixture.joined(
        np.concatenate(dark[1:]),
        _SHARE_IN_SHADE,
        np.concatenate(along).astype(np.float32),
    )


def _paper(window, labels_px):
    """Where labels lie: the symbols, their quiet zones, and the paper as far as it goes on in one colour; bool."""
    width, height = window.size
    covered = np.zeros((height, width), np.uint8)
    for corners in labels_px:
        corners = np.asarray(corners, dtype=float)
        middle = corners.mean(axis=0)
        symbol, quiet = np.zeros_like(covered), np.zeros_like(covered)
        for mask, larger in ((symbol, 1.08), (quiet, _LABEL_PAPER)):
            edge = window.within(middle + (corners - middle) * larger)
            cv2.fillPoly(mask, [np.round(edge * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
        covered |= quiet
        zone = (quiet > 0) & (symbol == 0)
        if zone.sum() < 12:
            continue
        light = window.pixels[zone].astype(np.float32)
        white = np.percentile(light, 75, axis=0)
        alike = (np.abs(window.pixels.astype(np.float32) - white) < 0.16 * white.max() + 6).all(axis=2) | (quiet > 0)
        sheet = cv2.connectedComponents(alike.astype(np.uint8), connectivity=4)[1]
        names = np.bincount(sheet[zone])
        sheet = (sheet == names.argmax()).astype(np.uint8)
        edges = cv2.findContours(sheet, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0]
        hull = cv2.convexHull(max(edges, key=cv2.contourArea))
        # A sheet is filled but for its text; what runs out into a light background is not.
        if sheet.sum() > 0.6 * cv2.contourArea(hull) and cv2.contourArea(hull) < 5 * quiet.sum():
            cv2.fillConvexPoly(covered, hull, 1)
    return cv2.dilate(covered, np.ones((3, 3), np.uint8)).astype(bool) if len(labels_px) else covered.astype(bool)


# ---- dividing the box


@dataclass(frozen=True)
class _Divided:
    """``share`` is how far each pixel is colony; ``fit`` how well that fits the box, and ``edge`` how much of an edge
    there is all the way round, both 0…1; ``area_sd`` how much larger or smaller what else was tried is, relative.
    """

    share: np.ndarray
    fit: float
    edge: float
    area_sd: float


def _divide(features, given, fit_to_box):
    """Learned and tried coarse, then divided at the full scale of ``features``.

    How much of what is in the box is ground that looks a little otherwise there, in the shade or wet, cannot be known
    before: it is tried, from nothing to all that is not very different, and the outline taken that fits the box and
    has the clearest edge where it is least clear.
    """
    height, width = given.colony.shape
    small = (
        max(2, round(width * _COARSE / _FINE)),
        max(2, round(height * _COARSE / _FINE)),
    )
    coarse = cv2.resize(features, small, interpolation=cv2.INTER_AREA)
    known = _Given(
        *(_shrunk(mask, small) > 0.5 for mask in (given.inside_box, given.colony, given.background)),
        _shrunk(given.chance, small),
        _shrunk(given.weight, small),
    )
    seen = np.array(small) / (width, height)
    flat = coarse.reshape(-1, 3)[_drawn(small)]
    background = learn_mixture(flat, known.weight.ravel()[_drawn(small)] + 1e-6, _PARTS_OF_BACKGROUND)
    tries = []
    for shades, like_ground in _TRIED:
        colony, against, divided = _learn(coarse, known, background, shades, like_ground)
        solid = _solid(divided > 0.5, known.colony)
        fit = fit_to_box(solid, seen)
        tries.append((fit * _least_contrast(coarse, solid), fit, solid, colony, against, divided))
    score, fit, solid, colony, against, divided = max(tries, key=lambda tried: tried[0])
    start = cv2.resize(divided, (width, height), interpolation=cv2.INTER_LINEAR)
    share = _division(features, given, colony, against, trust_place=False, start=start)
    # What fits and stands out almost as well might be it.
    sizes, scores = np.array([(_filled(tried[2]).sum(), tried[0]) for tried in tries], dtype=float).T
    likely = np.exp(-(1 - scores / max(score, 1e-6)) / _AS_GOOD)
    apart = sizes / max(_filled(solid).sum(), 1) - 1
    return _Divided(share, fit, _edge_all_round(coarse, solid), float(np.sqrt(np.average(apart**2, weights=likely))))


def _filled(solid):
    """With what it closes around."""
    filled = solid.astype(np.uint8)
    edges = cv2.findContours(filled, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    return cv2.drawContours(filled, edges, -1, 1, -1) > 0


def _contrast(features, solid):
    """How far the colours on both sides of the edge of ``solid`` are apart along it, in CIELAB, shape (n,)."""
    mask = solid.astype(np.float32)
    edge = cv2.morphologyEx(solid.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) > 0
    sides = []
    for side in (mask, 1 - mask):
        sums = cv2.GaussianBlur(np.dstack([features * side[..., None], side]), (0, 0), _BESIDE)[edge]
        sides.append(sums[:, :3] / (sums[:, 3:] + 1e-4))
    return np.linalg.norm(sides[0] - sides[1], axis=1)


def _least_contrast(features, solid):
    """The contrast of its edge where it has least."""
    return float(np.percentile(_contrast(features, solid), 20)) if solid.any() and not solid.all() else 0.0


def _edge_all_round(features, solid):
    """0…1: is there an edge all the way round, is it as clear in every part, and is it clearer than what is inside?

    Where an outline leaves out a part of a colony, or takes in what is of its colour, a part of it runs where there is
    no edge, or true edges lie within.
    """
    if not solid.any() or solid.all():
        return 0.0
    along = _contrast(features, solid)
    faintest, faint, usual = np.percentile(along, [5, 20, 50])
    size = 2 * _FARTHER + 1
    inner = cv2.erode(solid.astype(np.uint8), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))) > 0
    within = np.median(_contrast(features, inner)) if inner.sum() > _FEWEST_INSIDE else 0.0
    everywhere = np.clip((faintest / max(usual, 1e-6) - 0.2) / 0.25, 0, 1)
    alone = 1 - np.clip((within / max(faint, 1e-6) - 0.3) / 0.3, 0, 1)
    at_all = np.clip((faint - 2) / 4, 0, 1)
    return float(everywhere * alone * at_all)


def _drawn(size):
    """Every so many pixels of a window, to learn from."""
    return slice(None, None, max(1, size[0] * size[1] // _SAMPLES))


def _learn(coarse, known, background, shades, like_ground):
    """``(colony, background, divided)``: the colours of both, learned in turn with what each has of the box."""
    chance, weight = known.chance.ravel(), known.weight.ravel()
    drawn = _drawn(known.chance.shape)
    samples, surely = coarse.reshape(-1, 3)[drawn], known.background.ravel()[drawn]
    against = _shaded(background, shades)
    usual = against.log_density(samples)
    odd = usual < np.percentile(usual[surely], 10)
    share = chance[drawn] * np.where(odd, 1.0, 0.2)
    colony, divided = None, None
    parts = _PARTS_OF_COLONY
    for again in range(4):
        colony = learn_mixture(samples, share + 1e-6, parts, start=colony, rounds=3 if again else 6)
        if like_ground is not None:
            colony = _without_ground(colony, against, samples[surely], like_ground)
        if again:
            left_over = np.where(known.inside_box.ravel()[drawn] & ~surely, 1 - share, 0)
            background = learn_mixture(
                samples,
                np.maximum(weight[drawn], left_over) + 1e-6,
                0,
                start=background,
                rounds=2,
            )
            against = _shaded(background, shades)
        divided = _division(coarse, known, colony, against, trust_place=again < 2, start=divided)
        share = cv2.GaussianBlur(divided, (0, 0), 0.8).ravel()[drawn]
    return colony, against, divided


def _without_ground(colony, background, samples, like_ground):
    """The colony's colours without those that the background has as well, in the light or in the shade."""
    usual = np.percentile(background.log_density(samples), 5)
    own = background.log_density(colony.means) < usual - like_ground
    return colony.of_parts(own) if own.any() else colony


def _shrunk(values, size):
    return cv2.resize(np.asarray(values, np.float32), size, interpolation=cv2.INTER_AREA)


def _division(features, given, colony, background, *, trust_place, start):
    shape = given.colony.shape
    y, x = np.nonzero(given.inside_box)
    if not len(x):
        return np.zeros(shape, np.float32)
    part = np.s_[y.min() : y.max() + 1, x.min() : x.max() + 1]
    here = np.ascontiguousarray(features[part])
    flat = here.reshape(-1, 3)
    for_background = background.log_density(flat) - colony.log_density(flat)
    for_background = np.clip(for_background.reshape(here.shape[:2]), -5, 5)
    chance = given.chance[part]
    if not trust_place:
        chance = np.clip(chance, 0.3, 0.7)
    for_background -= 0.7 * np.log((chance + 1e-4) / (1 - chance + 1e-4))
    for_background[given.background[part]] = 8
    for_background[given.colony[part]] = -8
    divided = np.zeros(shape, np.float32)
    divided[part] = _smooth_division(for_background, _edge_weight(here), None if start is None else start[part])
    return divided


def _edge_weight(features):
    """What an edge costs between a pixel and the next: less where the picture has one, 0.1…1."""
    steps = np.zeros(features.shape[:2], np.float32)
    steps[:, :-1] += ((features[:, 1:] - features[:, :-1]) ** 2).sum(axis=2)
    steps[:-1] += ((features[1:] - features[:-1]) ** 2).sum(axis=2)
    return 0.1 + 0.9 * np.exp(-steps / (steps.mean() + 1e-6))


def _smooth_division(for_background, edge_weight, start=None, *, weight=0.25, rounds=60):
    """The least of Σ weight · for_background · u + Σ edge_weight · |∇u| over 0 ≤ u ≤ 1 (Chambolle and Pock 2011)."""
    u = (for_background < 0).astype(np.float32) if start is None else np.array(start, np.float32)
    ahead, across, down = u.copy(), np.zeros_like(u), np.zeros_like(u)
    step = np.float32(0.35)  # squared times 8, the norm of the gradient's square, is below 1
    pull = (weight * step) * for_background.astype(np.float32)
    least, grown = np.reciprocal(edge_weight.astype(np.float32)), np.empty_like(u)
    for _ in range(rounds):
        across[:, :-1] += step * (ahead[:, 1:] - ahead[:, :-1])
        down[:-1] += step * (ahead[1:] - ahead[:-1])
        cv2.magnitude(across, down, grown)
        grown *= least
        np.maximum(grown, 1, out=grown)
        across /= grown
        down /= grown
        flow = across + down
        flow[:, 1:] -= across[:, :-1]
        flow[1:] -= down[:-1]
        flow *= step
        flow += u
        flow -= pull
        np.clip(flow, 0, 1, out=flow)
        np.multiply(flow, 2, out=ahead)
        ahead -= u
        u = flow
    return u


def _solid(mask, wanted):
    """The largest connected part, or what ``wanted`` touches of it, without the holes."""
    count, named, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    if count < 2:
        return np.zeros(mask.shape, bool)
    sizes = stats[:, cv2.CC_STAT_AREA].astype(float)
    if wanted.any():
        touched = np.bincount(named[wanted], minlength=count)
        sizes = np.where(touched > 0, sizes, 0)
    sizes[0] = -1
    return named == sizes.argmax()


def _fit_to_box(solid, box, image, window, seen=1.0):
    """How well its extent fits a box some 10 % larger, 0…1; sides that the picture's edge cuts off do not count.

    A box that is wider all round fits too; one that the extent reaches fits less.
    """
    if not solid.any():
        return 0.0
    y, x = np.nonzero(solid)
    (x0, y0), (x1, y1) = box
    width, height = x1 - x0, y1 - y0
    gaps = np.array([(x.min() - 0.5 - x0) / width, (x1 - x.max() - 0.5) / width])
    gaps = np.r_[gaps, (y.min() - 0.5 - y0) / height, (y1 - y.max() - 0.5) / height]
    full_height, full_width = image.shape[:2]
    low, high = window.without(box / seen)
    free = np.array([low[0] > 1, high[0] < full_width - 2, low[1] > 1, high[1] < full_height - 2])
    if not free.any():
        return 1.0
    # Who draws a wide box draws it wide all round; what is missing of a colony is missing on one side.
    wide = 2 * np.clip(np.median(gaps[free]), _USUAL_MARGIN, 0.2)
    cut = (gaps < 0.003) & (np.median(gaps[free]) > 0.02)  # it goes on beyond this side alone
    off = np.maximum(0.012 - gaps, 0) * 12 + np.maximum(gaps - wide, 0) * 6 + 0.6 * cut
    return float(np.clip(1 - off[free].sum(), 0, 1))


# ---- the edge


def _find_edge(lab, share, solid, given):
    """Near the edge, each pixel as a mix of colony and background beside it: shape as ``lab``, and how clear it is.

    Both colours are means over near pixels of one side, in units of their scatter there; where they hardly differ the
    division found before stands.
    """
    height, width = lab.shape[:2]
    grown = width / share.shape[1]
    part = cv2.resize(
        np.where(solid, share, np.minimum(share, 0.49)),
        (width, height),
        interpolation=cv2.INTER_LINEAR,
    )
    is_colony = part > 0.5
    inwards = _depth(is_colony)
    band = np.abs(inwards) < 4 * grown
    fixed = inwards > 0
    soft = np.clip(0.5 + inwards / (2 * grown), 0, 1)
    depth, units = inwards, None
    at = np.nonzero(band)
    if not len(at[0]):
        return part, 0.0
    seen = lab[at]
    for _ in range(3):
        colony_weight = np.clip(depth / (1.5 * grown), 0, 1) + 1e-3 * (depth > 0)
        other_weight = np.clip(-depth / (1.5 * grown), 0, 1) + 1e-3 * (depth <= 0)
        colony, other = (
            _near_mean(lab, colony_weight, grown, at),
            _near_mean(lab, other_weight, grown, at),
        )
        if units is None:
            units = _units_of_scatter(seen, colony, other, depth[at])
        apart = (colony - other) @ units
        clear = (apart * apart).sum(axis=1)
        share_of_colony = (((seen - other) @ units * apart).sum(axis=1) + 0.5) / (clear + 1)
        half = (((_half_light(colony, other) - other) @ units * apart).sum(axis=1) + 0.5) / (clear + 1)
        half = np.clip(half, 0.25, 0.8)
        low = share_of_colony < half
        share_of_colony = np.where(
            low,
            0.5 * share_of_colony / half,
            0.5 + 0.5 * (share_of_colony - half) / (1 - half),
        )
        mix = fixed.astype(np.float32)
        mix[at] = np.clip(share_of_colony, -0.3, 1.3)
        mix = cv2.GaussianBlur(mix, (0, 0), 0.5 * grown)
        trust = clear / (clear + 2)
        mix[at] = trust * mix[at] + (1 - trust) * soft[at]
        mix = np.where(band, mix, fixed)
        mix = np.where(
            given.background,
            np.minimum(mix, 0.2),
            np.where(given.colony, np.maximum(mix, 0.8), mix),
        )
        depth = _depth(mix > 0.5)
    at_edge = np.abs(depth[at]) < 1.5
    return mix.astype(np.float32), float(np.median(trust[at_edge])) if at_edge.any() else 0.0


def _half_light(one, other):
    """The colours of light that is half of one and half of the other: light mixes in a lens, CIELAB does not."""
    light = [
        cv2.cvtColor(np.ascontiguousarray(colours[None], np.float32), cv2.COLOR_Lab2LRGB) for colours in (one, other)
    ]
    return cv2.cvtColor((light[0] + light[1]) / 2, cv2.COLOR_LRGB2Lab)[0]


def _depth(mask):
    """Pixels to the edge, above zero inside."""
    mask = mask.astype(np.uint8)
    return cv2.distanceTransform(mask, cv2.DIST_L2, 5) - cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)


def _near_mean(lab, weight, grown, at):
    """Mean colour of near pixels by weight, of farther ones where none is near, for the pixels ``at``; shape (n, 3)."""
    both = np.dstack([lab * weight[..., None], weight])
    height, width = weight.shape
    size = (
        max(1, round(width / grown)),
        max(1, round(height / grown)),
    )  # means are smooth: few pixels hold them
    near = cv2.resize(both, size, interpolation=cv2.INTER_AREA)
    far = cv2.resize(near, (max(1, size[0] // 4), max(1, size[1] // 4)), interpolation=cv2.INTER_AREA)
    far = cv2.resize(cv2.GaussianBlur(far, (0, 0), 9 / 4), size, interpolation=cv2.INTER_LINEAR)
    near = cv2.GaussianBlur(near, (0, 0), 3) + 0.02 * far
    x = ((at[1] + 0.5) * (size[0] / width) - 0.5).astype(np.float32)
    y = ((at[0] + 0.5) * (size[1] / height) - 0.5).astype(np.float32)
    sums = _sampled(near, x, y)
    return sums[:, :3] / (sums[:, 3:] + 1e-6)


def _sampled(values, x, y):
    """``values`` at places between pixels, shape (n, channels) or (n,)."""
    rows = 30_000  # remap takes no more than 32767 in a row
    parts = [
        cv2.remap(
            values,
            x[i : i + rows][None],
            y[i : i + rows][None],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )[0]
        for i in range(0, len(x), rows)
    ]
    return np.concatenate(parts)


def _units_of_scatter(seen, colony, other, depth):
    """A matrix that turns colours into units of their scatter about the mean of their side."""
    off = np.concatenate([(seen - colony)[depth > 1], (seen - other)[depth < -1]])
    covariance = np.eye(3)
    if len(off) > 50:
        off = off[:: max(1, len(off) // 20_000)]
        covariance = off.T @ off / len(off) + np.diag([2.0, 1.0, 1.0])
    return np.linalg.cholesky(np.linalg.inv(covariance)).astype(np.float32)


def _trace(mix):
    """The outer edge of the largest part where ``mix`` is above one half, between pixels, clockwise or not."""
    mix = np.pad(mix, 1)
    solid = (mix > 0.5).astype(np.uint8)
    # Threads of one pixel would make the outline touch itself.
    opened = cv2.morphologyEx(solid, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    largest = _solid(opened if opened.any() else solid, np.zeros(1, bool)).astype(np.uint8)
    edges = cv2.findContours(largest, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    if not edges:
        return None
    edge = max(edges, key=len)[:, 0].astype(np.float32)
    if len(edge) < 12:
        return None
    # From a pixel's middle down the slope of the mix to where it is one half, at most a pixel and a half.
    level = cv2.GaussianBlur(mix, (0, 0), 0.7)
    slopes = np.dstack(
        [
            cv2.Sobel(level, cv2.CV_32F, 1, 0, scale=1 / 8),
            cv2.Sobel(level, cv2.CV_32F, 0, 1, scale=1 / 8),
        ]
    )
    places = edge
    for _ in range(2):
        x, y = np.ascontiguousarray(places.T)
        here, slope = _sampled(level, x, y), _sampled(slopes, x, y)
        steep = np.maximum((slope**2).sum(axis=1), 0.01)
        move = slope * ((0.5 - here) / steep)[:, None]
        length = np.maximum(np.hypot(*move.T), 1e-6)
        places = places + move * np.minimum(1, 0.75 / length)[:, None]
    # A little along itself, then only as many points as say where it goes.
    smooth = np.column_stack([_round_blur(places[:, axis]) for axis in (0, 1)])
    smooth = smooth[:: max(1, len(smooth) // 900)]
    return smooth.astype(float) - 1


def _round_blur(values):
    return 0.25 * np.roll(values, 1) + 0.5 * values + 0.25 * np.roll(values, -1)


# ---- where it is


def _gathered_colours(features, paper):
    """How far each pixel is of a colour that keeps to one place in the picture, smoothed: 0…1."""
    height, width = paper.shape
    flat = features.reshape(-1, 3)
    free = (~paper).ravel().astype(np.float32)
    if free.sum() < 200:
        return np.zeros(paper.shape, np.float32)
    colours = learn_mixture(flat, free + 1e-6, 9, rounds=8, least_variance=2.0)
    parts = colours.log_parts(flat)
    belongs = np.exp(parts - parts.max(axis=0))
    belongs *= free / belongs.sum(axis=0)
    across, down = (
        np.tile(np.arange(width) / width, height),
        np.repeat(np.arange(height) / height, width),
    )
    sums = belongs.sum(axis=1) + 1e-6
    scatter = np.ones(len(sums))
    for place in (across, down):
        # Between the outer sixths, halved: as the standard deviation, but deaf to a few pixels elsewhere.
        for part, own in enumerate(belongs):
            heaped = np.bincount((place * 64).astype(int), weights=own, minlength=64).cumsum() / sums[part]
            scatter[part] *= (np.searchsorted(heaped, 0.84) - np.searchsorted(heaped, 0.16)) / 128 + 1 / 128
    gathered = 1 / (1 + np.exp((np.sqrt(scatter) - _GATHERED) / 0.02))
    chance = (belongs * gathered[:, None]).sum(axis=0)
    # Learned once more with the two sides as they now are.
    for _ in range(2):
        if min(chance.sum(), (free - chance).sum()) < 40:
            return np.zeros(paper.shape, np.float32)
        colony = learn_mixture(flat, chance + 1e-6, 3, rounds=4)
        other = learn_mixture(flat, np.clip(free - chance, 0, 1) + 1e-6, 6, rounds=4)
        for_other = np.clip(other.log_density(flat) - colony.log_density(flat), -5, 5) + 0.5
        for_other = for_other.reshape(paper.shape)
        for_other[paper] = 8
        divided = _smooth_division(for_other, _edge_weight(features), rounds=80)
        chance = divided.ravel() * free
    return divided


def _the_one(chance, paper):
    """The part that stands out alone, or None."""
    closed = cv2.morphologyEx((chance > 0.5).astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    count, named, stats, _ = cv2.connectedComponentsWithStats(closed, connectivity=8)
    if count < 2:
        return None
    height, width = chance.shape
    sizes = stats[:, cv2.CC_STAT_AREA].astype(float)
    sizes[0] = 0
    spans = stats[:, cv2.CC_STAT_WIDTH] / width, stats[:, cv2.CC_STAT_HEIGHT] / height
    sizes[(spans[0] > 0.97) | (spans[1] > 0.97)] = 0  # what goes from edge to edge is background
    best = int(sizes.argmax())
    others = np.delete(sizes, best)
    if sizes[best] < _LEAST_PART * chance.size or others.max() > 0.3 * sizes[best] or others.sum() > 0.6 * sizes[best]:
        return None
    return named == best


def _box_around(solid, window, image):
    y, x = np.nonzero(solid)
    low, high = window.without([[x.min() - 0.5, y.min() - 0.5], [x.max() + 0.5, y.max() + 0.5]])
    spare = _USUAL_MARGIN * (high - low)
    height, width = image.shape[:2]
    low, high = (
        np.maximum(low - spare, -0.5),
        np.minimum(high + spare, [width - 0.5, height - 0.5]),
    )
    return (*low.tolist(), *high.tolist()) if (high - low).min() >= _LEAST_BOX else None


def _box_of_last(image, window, chance, last):
    """The box of what stands out where the last outline lies, if most of that outline holds it; else None."""
    inside = outline_mask(window.within(last), window.size)
    if inside.sum() < 20:
        return None
    count, named = cv2.connectedComponents((chance > 0.5).astype(np.uint8), connectivity=8)
    held = np.bincount(named[inside], minlength=count)
    held[0] = 0
    if held.max() < 0.6 * inside.sum():
        return None
    solid = named == held.argmax()
    # A colony grows some in a month; what is more than twice as large is something else with it.
    return _box_around(solid, window, image) if solid.sum() < 2 * inside.sum() else None


def _level_sd(mix):
    """How much what is enclosed hangs on where between colony and ground the edge is drawn; relative.

    A bay that is hardly open, or a gap that is hardly closed, comes and goes with that.
    """
    wide, narrow = _LEVELS
    sizes = {
        level: _filled(_solid(mix > level, np.zeros(1, bool))).sum()
        for level in (0.5, 0.5 - wide, 0.5 + wide, 0.5 - narrow, 0.5 + narrow)
    }
    size = max(sizes[0.5], 1)
    by_narrow = (sizes[0.5 - narrow] - sizes[0.5 + narrow]) / 2 / size
    by_wide = (sizes[0.5 - wide] - sizes[0.5 + wide]) / 2 / size
    return float(np.hypot(by_narrow, max(by_wide - by_narrow * wide / narrow, 0)))


def _judged(points, fit, edge, clear, area_sd):
    doubts = []
    if fit < 0.6:
        doubts.append(
            "The outline does not fill the box: check whether a part of the colony is missing, or draw the box closer."
        )
    if clear < 0.6:
        doubts.append("The colony hardly stands out from what is around it: check the outline all the way round.")
    elif edge < _SURE:
        doubts.append("In places the outline runs where no clear edge is seen: check it all the way round.")
    elif area_sd > _GAPS_UNSURE:
        doubts.append("Whether some of what lies between its parts is colony is not clear: check the gaps.")
    confidence = fit * edge * np.clip((clear - _CLEAR_AT_ALL) / 0.5, 0, 1)
    unsure = _LOST * (1 - confidence) ** 1.5
    steady = 1 / (1 + (area_sd / 0.15) ** 2)
    return Proposal(
        points, float(confidence * steady), tuple(doubts), float(np.hypot(area_sd, unsure)), float(unsure / 2)
    )
