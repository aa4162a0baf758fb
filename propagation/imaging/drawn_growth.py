"""One colony drawn as it grows: photographs of the same individual month by month, of known sizes.

They serve the tests and the demo, where they are marked as drawn. Seen from above, as a keeper photographs: the colony
on its rock, a label laid down beside it somewhere else each time, blue light from above. What has grown stays where
it is; the edge and the tips move on. The same arguments always give the same picture.

    individual = DrawnIndividual("branching", seed=3)
    photo = draw_growth(individual, longest_mm=62, text="HTTPS://…", seed=9)
    photo.jpeg, photo.outline_px, photo.area_mm2             # the picture and its truth
"""

import io
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

import cv2
import numpy as np
import qrcode
from PIL import Image
from qrcode.constants import ERROR_CORRECT_M

from .card import BLACK_SRGB, PAPER_SRGB
from .colour import linear_from_srgb
from .lettering import BOLD, PLAIN, written

FORMS = ("branching", "plating", "encrusting")
REEF_LIGHT = (0.42, 0.68, 1.0)  # what is left of a reef lamp's blue after a phone's own balance (no source)
QUIET_MODULES = 4  # ISO/IEC 18004 §6.3.8
EXIF_FOLDER, EXIF_TAKEN, EXIF_SOFTWARE = 0x8769, 36867, 305

_TILE_MM, _TILE_PX_PER_MM = 64.0, 8.0
_LIGHT_FROM = np.array([-0.42, -0.5, 0.76])
_STEP_MM = 1.2  # of a branch as it grows
_ROOM_MM = 4.8  # that a branch keeps to its neighbours
_FINEST_PX_PER_MM = 9.0
_MOST_PX = 620  # a colony is drawn no finer than that across and then enlarged

# Flesh, growing edge or tips, polyps: invented morphs.
_COLOURS = (
    ((74, 164, 116), (232, 240, 170), (150, 220, 180)),
    ((180, 104, 152), (248, 222, 240), (238, 170, 212)),
    ((192, 122, 74), (250, 228, 188), (120, 226, 140)),
    ((84, 120, 190), (216, 228, 250), (160, 200, 246)),
    ((160, 140, 76), (244, 236, 190), (232, 106, 92)),
)


@dataclass(frozen=True)
class DrawnIndividual:
    """A colony that can be drawn at every size. ``seed`` makes it this one and no other."""

    form: str
    seed: int = 0
    colours: tuple = ()

    def __post_init__(self):
        if self.form not in FORMS:
            raise ValueError(f"A colony that is “{self.form}” cannot be drawn; choose one of {', '.join(FORMS)}.")

    @property
    def morph(self):
        """Flesh, tips, polyps as sRGB."""
        return self.colours or _COLOURS[self.seed % len(_COLOURS)]


@dataclass(frozen=True)
class GrowthPhoto:
    """A drawn photograph and its truth. Pixels' middles have whole coordinates; mm are from the symbol's corner.

    ``pixel_from_base`` maps mm about the place where the colony is attached, in directions that never change.
    """

    pixels: np.ndarray
    jpeg: bytes
    text: str
    label_mm: float
    outline_px: np.ndarray
    area_mm2: float
    longest_mm: float
    pixel_from_mm: np.ndarray
    pixel_from_base: np.ndarray

    @property
    def mm_from_pixel(self) -> np.ndarray:
        return np.linalg.inv(self.pixel_from_mm)

    def outline_by_hand(self, tolerance_px: float) -> np.ndarray:
        """The outline with no more points than it takes to stay so near to it."""
        fewer = cv2.approxPolyDP(self.outline_px.astype(np.float32)[:, None], tolerance_px, True)
        return fewer[:, 0, :].astype(float)

    @property
    def box_px(self) -> tuple[float, float, float, float]:
        """The outline's box: x0, y0, x1, y1."""
        return (*self.outline_px.min(axis=0).tolist(), *self.outline_px.max(axis=0).tolist())


# ---- noise that stays with the individual


def _smooth(random, cells, side=int(_TILE_MM * _TILE_PX_PER_MM)):
    """A tile of noise, sd about 1, that joins at its edges."""
    coarse = random.standard_normal((cells, cells)).astype(np.float32)
    wrapped = np.pad(coarse, 2, mode="wrap")
    fine = cv2.resize(wrapped, None, fx=side / cells, fy=side / cells, interpolation=cv2.INTER_CUBIC)
    edge = round(2 * side / cells)
    tile = fine[edge : edge + side, edge : edge + side]
    return tile / tile.std()


def _dots(random, pitch_mm, size_mm):
    """A tile with a round, soft dot about every ``pitch_mm``, 0…1."""
    side = int(_TILE_MM * _TILE_PX_PER_MM)
    tile = np.zeros((3 * side, 3 * side), np.float32)
    number = round(_TILE_MM / pitch_mm)
    for row in range(number):
        for column in range(number):
            x = (column + (row % 2) / 2 + random.uniform(-0.22, 0.22)) / number * side
            y = (row + random.uniform(-0.22, 0.22)) / number * side
            radius = size_mm * _TILE_PX_PER_MM / 2 * random.uniform(0.8, 1.15)
            for across in (0, side, 2 * side):
                for down in (0, side, 2 * side):
                    place = int((x + across) * 16), int((y + down) * 16)
                    cv2.circle(tile, place, int(radius * 16), 1.0, -1, cv2.LINE_AA, shift=4)
    return cv2.GaussianBlur(tile, (0, 0), 1.0)[side : 2 * side, side : 2 * side]


@dataclass
class _Body:
    """The parts of an individual that every picture of it shares, made once."""

    individual: DrawnIndividual
    random: np.random.Generator = field(init=False)

    def __post_init__(self):
        self.random = np.random.default_rng([self.individual.seed, 1884])

    @cached_property
    def bumps(self):
        return 0.7 * _smooth(self.random, 52) + 0.3 * _smooth(self.random, 90)

    @cached_property
    def blotches(self):
        return 0.7 * _smooth(self.random, 6) + 0.3 * _smooth(self.random, 16)

    @cached_property
    def polyps(self):
        return _dots(self.random, 2.6, 1.1)

    @cached_property
    def lobes(self):
        """Radius of the edge by angle, about 1; the edge of a plate or a crust."""
        random = np.random.default_rng([self.individual.seed, 77])
        angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
        rough, strength = (0.9, 0.17) if self.individual.form == "plating" else (1.05, 0.3)
        shapes = []
        for _ in range(4):
            radius = np.ones_like(angle)
            for order in range(2, 22):
                swing = strength / order**rough * random.uniform(0.4, 1)
                radius += swing * np.cos(order * angle + random.uniform(0, 2 * np.pi))
            shapes.append(np.maximum(radius, 0.4).astype(np.float32))
        return shapes

    @cached_property
    def branches(self):
        """Points along all branches it will ever have: x, y, z, thickness, and the reach at which each was grown.

        A branch forks on its way out and stops where another one is too near.
        """
        random = np.random.default_rng([self.individual.seed, 99])
        taken, points = {}, []

        def near(place, own):
            cell = (place // _ROOM_MM).astype(int)
            for across in (-1, 0, 1):
                for down in (-1, 0, 1):
                    for up in (-1, 0, 1):
                        for other, whose in taken.get((cell[0] + across, cell[1] + down, cell[2] + up), ()):
                            if whose not in own and ((place - other) ** 2).sum() < _ROOM_MM**2:
                                return True
            return False

        tips = []
        number = int(random.integers(7, 10))
        for each in range(number):
            around = 2 * np.pi * (each + random.uniform(-0.25, 0.25)) / number
            rise = random.uniform(0.15, 0.8)
            tips.append([np.zeros(3), around, rise, random.uniform(2.2, 2.6), random.uniform(6, 11), {each}, each])
        for each in range(3):
            around = random.uniform(0, 2 * np.pi)
            tips.append([np.zeros(3), around, 1.2, 2.4, random.uniform(7, 12), {number + each}, number + each])
        names, reach = number + 3, 0.0
        while tips and reach < 110:
            reach += _STEP_MM
            onward = []
            for place, around, rise, thick, left, own, name in tips:
                flat = np.cos(rise)
                step = np.array([np.cos(around) * flat, np.sin(around) * flat, np.sin(rise)]) * _STEP_MM
                place = place + step
                if reach > 10 and near(place, own):
                    continue
                points.append((*(place - step / 2), thick, reach - _STEP_MM / 2))
                points.append((*place, thick, reach))
                taken.setdefault(tuple((place // _ROOM_MM).astype(int)), []).append((place, name))
                around += random.normal(0, 0.05)
                rise = np.clip(rise + random.normal(0.004, 0.03), 0.12, 1.35)
                left -= _STEP_MM
                if left > 0:
                    onward.append([place, around, rise, thick, left, own, name])
                    continue
                turn = random.uniform(0.35, 0.7)
                for side in (-1, 1):
                    names += 1
                    kin = {name, names, names + 1 if side < 0 else names - 1}
                    onward.append(
                        [
                            place,
                            around + side * turn,
                            np.clip(rise + random.normal(0, 0.22), 0.12, 1.3),
                            max(1.9, thick * 0.96),
                            random.uniform(5, 10),
                            kin,
                            names,
                        ]
                    )
            tips = onward
        return np.array(points, dtype=np.float32)


_BODIES: dict[DrawnIndividual, _Body] = {}


def _body(individual):
    if individual not in _BODIES:
        if len(_BODIES) > 16:
            _BODIES.clear()
        _BODIES[individual] = _Body(individual)
    return _BODIES[individual]


# ---- the shape at one reach


@dataclass
class _Relief:
    """A colony from above at one size: its height (-1 where there is none) and how young each place is (mm behind the
    edge). Row and column 0 are at ``-half_mm``."""

    height: np.ndarray
    behind: np.ndarray
    px_per_mm: float
    half_mm: float


def _grid(half_mm, px_per_mm):
    side = int(np.ceil(2 * half_mm * px_per_mm)) + 1
    at = np.arange(side, dtype=np.float32) / px_per_mm - half_mm
    return np.meshgrid(at, at)


def _branching(body, reach, px_per_mm):
    points = body.branches[body.branches[:, 4] <= reach]
    half = float(np.abs(points[:, :2]).max()) + 7
    side = int(np.ceil(2 * half * px_per_mm)) + 1
    height, behind = np.full((side, side), -1, np.float32), np.zeros((side, side), np.float32)
    # A foot that spreads over the rock.
    x, y = _grid(half, px_per_mm)
    foot = min(9.0, 3 + reach * 0.12)
    inside = np.hypot(x, y) < foot
    height[inside], behind[inside] = 1.0, 20.0
    for at_x, at_y, z, thick, born in points[np.argsort(points[:, 2])[::-1]]:
        age = reach - born
        radius = thick * (0.62 + 0.38 * min(1.0, age / 9))
        left, top = (at_x + half - radius) * px_per_mm, (at_y + half - radius) * px_per_mm
        column, row = int(np.ceil(left)), int(np.ceil(top))
        across, down = int((at_x + half + radius) * px_per_mm) + 1, int((at_y + half + radius) * px_per_mm) + 1
        seen = height[row:down, column:across]
        if seen.size == 0 or seen[seen.shape[0] // 2, seen.shape[1] // 2] > z + 1.5 * radius:
            continue
        dx = np.arange(column, across, dtype=np.float32) / np.float32(px_per_mm) - np.float32(half + at_x)
        dy = np.arange(row, down, dtype=np.float32) / np.float32(px_per_mm) - np.float32(half + at_y)
        squared = np.float32(radius**2) - dy[:, None] ** 2 - dx[None, :] ** 2
        top_of = np.where(squared > 0, np.float32(z + 3) + np.sqrt(np.maximum(squared, 0)), -1)
        higher = top_of > seen
        seen[higher] = top_of[higher]
        behind[row:down, column:across][higher] = age
    return _Relief(height, behind, px_per_mm, half)


def _lobed(x, y, radii):
    turns = cv2.phase(x, y, angleInDegrees=True) * np.float32(2)
    return radii[np.minimum(turns.astype(np.int32), 719)]


def _plating(body, reach, px_per_mm):
    widest = float(body.lobes[0].max())
    half = reach * widest + 4
    x, y = _grid(half, px_per_mm)
    height, behind = np.full(x.shape, -1, np.float32), np.zeros(x.shape, np.float32)
    random = np.random.default_rng([body.individual.seed, 55])
    for tier, radii in enumerate(body.lobes):
        turn = random.uniform(0, 2 * np.pi)
        grown = reach if tier == 0 else (reach - 8 * tier - 5) * 0.92
        if grown < 1.5:
            continue
        middle = (0.0, 0.0) if tier == 0 else (3 * tier * np.cos(turn), 3 * tier * np.sin(turn))
        at_x, at_y = x - np.float32(middle[0]), y - np.float32(middle[1])
        distance = cv2.magnitude(at_x, at_y)
        edge = _lobed(at_x, at_y, radii) * np.float32(grown)
        if tier:  # a whorl opens to one side
            edge = edge * np.clip(0.62 + 0.42 * np.cos(cv2.phase(at_x, at_y) - np.float32(turn)), 0.22, 1.0)
        inside = distance < edge
        rises = np.float32(3 + 5.5 * tier) + distance * np.float32(0.16)
        higher = inside & (rises > height)
        height[higher], behind[higher] = rises[higher], (edge - distance)[higher]
    return _Relief(height, behind, px_per_mm, half)


def _encrusting(body, reach, px_per_mm):
    half = reach * float(body.lobes[0].max()) + 4
    x, y = _grid(half, px_per_mm)
    distance = cv2.magnitude(x, y)
    edge = _lobed(x, y, body.lobes[0]) * np.float32(reach)
    behind = np.where(distance < edge, edge - distance, 0)
    height = np.where(distance < edge, np.float32(2.2) * np.sqrt(np.minimum(behind, 6) / 6), -1)
    return _Relief(height.astype(np.float32), behind.astype(np.float32), px_per_mm, half)


_RELIEF = {"branching": _branching, "plating": _plating, "encrusting": _encrusting}


def _edge_of(relief):
    """Its outer edge in mm about the base, shape (n, 2)."""
    # Fine branches that touch make bays; a keeper's outline runs where the silhouette does.
    mask = (relief.height >= 0).astype(np.uint8) * 255
    fine = cv2.resize(cv2.GaussianBlur(mask, (0, 0), 1.0), None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
    contours, _ = cv2.findContours((fine > 127).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    edge = max(contours, key=cv2.contourArea)[:, 0, :].astype(float)
    kernel = np.exp(-0.5 * (np.arange(-6, 7) / 2.0) ** 2)
    kernel /= kernel.sum()
    padded = np.concatenate([edge[-6:], edge, edge[:6]])
    smooth = np.stack([np.convolve(padded[:, axis], kernel, mode="valid") for axis in (0, 1)], axis=1)[::2]
    return ((smooth + 0.5) / 2 - 0.5) / relief.px_per_mm - relief.half_mm


def _longest(outline):
    hull = cv2.convexHull(outline.astype(np.float32))[:, 0, :].astype(float)
    return float(np.sqrt(((hull[:, None, :] - hull[None, :, :]) ** 2).sum(axis=-1)).max())


def _area(outline):
    x, y = outline.T
    return abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))) / 2


def _grown_to(body, longest_mm, area_mm2):
    """The relief and the outline of exactly this size: grown to it within a few hundredths, and the rest by scale."""

    def sized(outline):
        return _longest(outline) if longest_mm is not None else 2 * np.sqrt(_area(outline) / np.pi)

    wanted = longest_mm if longest_mm is not None else 2 * np.sqrt(area_mm2 / np.pi)
    make = _RELIEF[body.individual.form]
    reach = wanted / 2
    for _ in range(6):
        size = sized(_edge_of(make(body, max(reach, 4.0), 2.5)))
        if abs(size / wanted - 1) < 0.02:
            break
        reach *= float(np.clip(wanted / size, 0.5, 2))
    finest = min(_FINEST_PX_PER_MM, _MOST_PX / wanted)
    relief = make(body, max(reach, 4.0), finest)
    outline = _edge_of(relief)
    scale = wanted / sized(outline)
    relief.px_per_mm, relief.half_mm = relief.px_per_mm / scale, relief.half_mm * scale
    return relief, outline * scale


# ---- light on it


def _tiled(tile, relief):
    """What a tile has at each place of a relief."""
    side = relief.height.shape[0]
    step = _TILE_PX_PER_MM / relief.px_per_mm
    start = (_TILE_MM / 2 - relief.half_mm) * _TILE_PX_PER_MM
    move = np.array([[step, 0, start], [0, step, start]], np.float32)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(tile, move, (side, side), flags=flags, borderMode=cv2.BORDER_WRAP)


def _lit(body, relief):
    """The light that a colony reflects, linear RGB, shape (n, n, 3)."""
    form = body.individual.form
    flesh, tips, polyps = (linear_from_srgb(colour).astype(np.float32) for colour in body.individual.morph)
    there = relief.height >= 0
    height = np.where(there, relief.height, 0)
    bumps, blotches = _tiled(body.bumps, relief), _tiled(body.blotches, relief)
    rough = {"branching": 0.3, "plating": 0.13, "encrusting": 0.3}[form]
    surface = height + np.float32(rough) * bumps
    if form != "branching":
        dots = _tiled(body.polyps, relief)
        surface = surface + np.float32(0.35) * dots
    if form == "plating":
        rings = np.sin(relief.behind * np.float32(2 * np.pi / 5.5)) * np.float32(0.12)
        surface = surface + rings
    slope_x = cv2.Sobel(surface, cv2.CV_32F, 1, 0, ksize=3) * np.float32(relief.px_per_mm / 8)
    slope_y = cv2.Sobel(surface, cv2.CV_32F, 0, 1, ksize=3) * np.float32(relief.px_per_mm / 8)
    facing = -slope_x * np.float32(_LIGHT_FROM[0]) - slope_y * np.float32(_LIGHT_FROM[1]) + np.float32(_LIGHT_FROM[2])
    facing /= np.sqrt(1 + slope_x**2 + slope_y**2)
    around = cv2.blur(cv2.blur(height, (_odd(7 * relief.px_per_mm),) * 2), (_odd(4 * relief.px_per_mm),) * 2)
    deep = np.exp(-np.maximum(around - height, 0) * np.float32(0.16))
    if form == "branching":
        deep *= np.float32(0.45) + np.float32(0.55) * np.clip(height / max(float(height.max()), 1), 0, 1)
    shade = (np.float32(0.32) + np.float32(0.85) * np.maximum(facing, 0)) * deep
    shine = np.maximum(facing, 0) ** 18 * np.float32(0.10)
    young = np.exp(-relief.behind / np.float32({"branching": 3.2, "plating": 1.8, "encrusting": 1.5}[form]))
    young *= there
    skin = flesh * np.clip(1 + np.float32(0.16) * blotches, 0.5, 1.6)[..., None]
    if form != "branching":
        skin = skin + (np.float32(0.75) * dots)[..., None] * (polyps - skin)
    skin = skin + (np.float32(0.85) * young)[..., None] * (tips - skin)
    return np.clip(skin * shade[..., None] + shine[..., None], 0, 0.95)


def _odd(size):
    return int(size) // 2 * 2 + 1


# ---- the place it grows on


def _rock(random):
    """A tile of rock: grey-brown, hollows, and crusts of coralline algae."""
    height = (
        1.6 * _smooth(random, 7) + 0.8 * _smooth(random, 17) + 0.35 * _smooth(random, 44) + 0.14 * _smooth(random, 120)
    )
    slope_x = (np.roll(height, -1, 1) - np.roll(height, 1, 1)) * np.float32(0.35 * _TILE_PX_PER_MM)
    slope_y = (np.roll(height, -1, 0) - np.roll(height, 1, 0)) * np.float32(0.35 * _TILE_PX_PER_MM)
    facing = (-slope_x * _LIGHT_FROM[0] - slope_y * _LIGHT_FROM[1] + 2.4 * _LIGHT_FROM[2]) / np.sqrt(
        5.8 + slope_x**2 + slope_y**2
    )
    hollows = np.clip(0.75 + 0.2 * height, 0.3, 1.25)
    stone = linear_from_srgb((132, 124, 114)).astype(np.float32)
    crust = linear_from_srgb((168, 102, 146)).astype(np.float32)
    crusted = 1 / (1 + np.exp(-5 * (_smooth(random, 6) + 0.5 * _smooth(random, 20) - 0.9)))
    skin = stone + (0.8 * crusted)[..., None].astype(np.float32) * (crust - stone)
    skin = skin * (1 + 0.1 * _smooth(random, 150))[..., None]
    return np.clip(skin * (np.maximum(facing, 0) * hollows * 0.95)[..., None], 0.004, 0.9).astype(np.float32)


def _rack(random):
    """A tile of a frag rack: pale bars, dark water below."""
    side, pitch = int(_TILE_MM * _TILE_PX_PER_MM), _TILE_MM / 4
    at = (np.arange(side, dtype=np.float32) + 0.5) / _TILE_PX_PER_MM
    from_bar = np.abs((at / pitch + 0.5) % 1 - 0.5) * pitch
    x, y = np.meshgrid(from_bar, from_bar)
    bar = 1 / (1 + np.exp(6 * (np.minimum(x, y) - 1.5)))
    rounded = np.clip(1.05 - 0.28 * np.minimum(x, y) ** 2 / 2.2, 0.4, 1.1)
    water = linear_from_srgb((28, 34, 44)).astype(np.float32)
    plastic = linear_from_srgb((178, 176, 168)).astype(np.float32) * (1 + 0.07 * _smooth(random, 9))[..., None]
    algae = 1 / (1 + np.exp(-4 * (_smooth(random, 11) - 1.1)))
    plastic = plastic + (0.55 * algae)[..., None] * (linear_from_srgb((86, 92, 62)) - plastic)
    below = water * (1 + 0.25 * _smooth(random, 8))[..., None]
    return np.clip(below + bar[..., None] * (plastic * rounded[..., None] - below), 0.002, 0.9).astype(np.float32)


_GROUNDS: dict[DrawnIndividual, np.ndarray] = {}


def _ground(individual):
    if individual not in _GROUNDS:
        if len(_GROUNDS) > 16:
            _GROUNDS.clear()
        random = np.random.default_rng([individual.seed, 31])
        _GROUNDS[individual] = (_rack if individual.form == "plating" else _rock)(random)
    return _GROUNDS[individual]


# ---- the label


_SHEET_PX_PER_MM = 20


def _label_sheet(text, label_mm, lines):
    """The light of a printed label, and where its sheet lies in mm from the symbol's corner: left, top."""
    maker = qrcode.QRCode(error_correction=ERROR_CORRECT_M, border=0)
    maker.add_data(text, optimize=0)
    maker.make()
    modules = np.array(maker.modules, dtype=bool)
    quiet = QUIET_MODULES * label_mm / len(modules)
    width, height = label_mm * 2.35 + 2 * quiet, label_mm + 2 * quiet
    ink = np.zeros((round(height * _SHEET_PX_PER_MM), round(width * _SHEET_PX_PER_MM)), np.float32)
    side = round(label_mm * _SHEET_PX_PER_MM)
    start = round(quiet * _SHEET_PX_PER_MM)
    ink[start : start + side, start : start + side] = cv2.resize(
        modules.astype(np.float32), (side, side), interpolation=cv2.INTER_NEAREST
    )
    row = start
    for number, line in enumerate(lines):
        size = round(side * (0.27 if number == 0 else 0.17))
        letters = written(line, size, BOLD if number == 0 else PLAIN)
        room = ink.shape[1] - 2 * start - side - start // 2
        if letters.shape[1] > room:
            letters = cv2.resize(letters, (room, letters.shape[0]), interpolation=cv2.INTER_AREA)
        column = 2 * start + side
        down = min(row + letters.shape[0], ink.shape[0])
        ink[row:down, column : column + letters.shape[1]] = letters[: down - row].astype(np.float32) / 255
        row += round(size * 1.5)
    paper, black = (linear_from_srgb(shade).astype(np.float32) for shade in (PAPER_SRGB, BLACK_SRGB))
    return paper + ink[..., None] * (black - paper), -quiet


# ---- the photograph


def _turned(angle):
    return np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])


def _moved(x, y):
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


def _mapped(matrix, points):
    mapped = np.asarray(points, dtype=float) @ matrix[:, :2].T + matrix[:, 2]
    return mapped[:, :2] / mapped[:, 2:]


def _camera(seen, size, tilt_deg, towards, roll):
    """Pixels from mm about the base, for a camera that has all that is to be seen in its picture."""
    width, height = size
    focal = 1.1 * width
    middle = (seen.max(axis=0) + seen.min(axis=0)) / 2
    axis = np.array([np.cos(towards), np.sin(towards), 0.0]) * np.radians(tilt_deg)
    rotation = _turned(roll) @ cv2.Rodrigues(axis)[0]
    inner = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1.0]])
    distance = 100.0
    for _ in range(8):
        shift = np.array([0, 0, distance]) - rotation @ np.append(middle, 0.0)
        matrix = inner @ np.column_stack([rotation[:, :2], shift])
        at = np.abs(_mapped(matrix, seen) - [(width - 1) / 2, (height - 1) / 2]).max(axis=0)
        distance *= float(max(at[0] / (width / 2 - 40), at[1] / (height / 2 - 40)))
    return matrix / matrix[2, 2]


def draw_growth(
    individual: DrawnIndividual,
    *,
    longest_mm: float | None = None,
    area_mm2: float | None = None,
    text: str,
    lines: tuple[str, ...] = (),
    label_mm: float = 20.0,
    size_px: tuple[int, int] = (1280, 960),
    turn_deg: float | None = None,
    tilt_deg: float | None = None,
    light: tuple[float, float, float] = REEF_LIGHT,
    taken_at: datetime | None = None,
    quality: int = 88,
    seed: int = 0,
) -> GrowthPhoto:
    """Draw a photograph of an individual grown to a size, with its label beside it.

    Parameters
    ----------
    longest_mm, area_mm2
        Its longest diameter or its projected area; one of them.
    text, lines
        What the label's code says, and what is written beside it.
    label_mm
        Side of the printed symbol without quiet zone.
    turn_deg
        By how much the camera is turned against the colony; a little by chance if it is not given.
    taken_at
        The camera's clock, written into the JPEG.
    seed
        Of this photograph: where the label lies, how the camera is held, the grain.

    Raises ValueError unless exactly one size is given and it is above 8 mm across.
    """
    if (longest_mm is None) == (area_mm2 is None):
        raise ValueError("Give the longest diameter or the area.")
    if (longest_mm if longest_mm is not None else 2 * np.sqrt(area_mm2 / np.pi)) < 8:
        raise ValueError("A colony less than 8 mm across cannot be drawn.")
    random = np.random.default_rng([individual.seed, seed, 2])
    body = _body(individual)
    relief, outline = _grown_to(body, longest_mm, area_mm2)

    # The label lies at one side of it, turned as it happened to be put down.
    sheet, sheet_start = _label_sheet(text, label_mm, lines)
    sheet_mm = np.array([sheet.shape[1], sheet.shape[0]]) / _SHEET_PX_PER_MM
    half = sheet_mm / 2
    roll = np.radians(random.normal(0, 5) if turn_deg is None else turn_deg)
    lies = random.choice([0.5, 0.5, -0.5]) * np.pi + random.normal(0, 0.25) - roll
    turned = -roll + random.normal(0, 0.12)
    outwards, aside = np.array([np.cos(lies), np.sin(lies)]), np.array([-np.sin(lies), np.cos(lies)])
    edges = _mapped(_turned(turned), half * [[1, 1], [1, -1], [-1, 1], [-1, -1]])
    beside = np.abs(outline @ aside) < np.abs(edges @ aside).max() + 2
    reach = float((outline[beside] @ outwards).max()) if beside.any() else 0.0
    middle = outwards * (reach + (edges @ outwards).max() + random.uniform(2, 5))
    base_from_label = _moved(*middle) @ _turned(turned) @ _moved(*(-half - sheet_start))
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * sheet_mm + sheet_start
    seen = np.concatenate([outline[::6], _mapped(base_from_label, corners)])
    tilt = float(abs(random.normal(0, 6))) if tilt_deg is None else tilt_deg
    pixel_from_base = _camera(seen, size_px, tilt, random.uniform(0, 2 * np.pi), roll)
    pixel_from_label = pixel_from_base @ base_from_label

    picture = _placed(_ground(individual), pixel_from_base, size_px, _TILE_PX_PER_MM, -_TILE_MM / 2, cv2.BORDER_WRAP)
    _cast_shadow(picture, _mapped(pixel_from_base, outline), individual.form, pixel_from_base)
    _cast_shadow(picture, _mapped(pixel_from_label, corners), "label", pixel_from_base)
    _lay(picture, sheet, pixel_from_label, size_px, _SHEET_PX_PER_MM, sheet_start, _mapped(pixel_from_label, corners))
    outline_px = _mapped(pixel_from_base, outline)
    there = relief.height >= 0
    colony = np.dstack([_bled(_lit(body, relief), there), _without_holes(there)])
    _lay(picture, colony, pixel_from_base, size_px, relief.px_per_mm, -relief.half_mm, outline_px)

    pixels = _photographed(picture, light, random)
    jpeg = _jpeg(pixels, taken_at, quality)
    return GrowthPhoto(
        pixels=np.array(Image.open(io.BytesIO(jpeg))),
        jpeg=jpeg,
        text=text,
        label_mm=label_mm,
        outline_px=outline_px,
        area_mm2=_area(outline),
        longest_mm=_longest(outline),
        pixel_from_mm=pixel_from_label / pixel_from_label[2, 2],
        pixel_from_base=pixel_from_base,
    )


def _placed(raster, pixel_from_mm, size_px, px_per_mm, start, border):
    """A raster whose row and column 0 are at ``start`` mm, as the camera sees it."""
    to_mm = np.array([[1 / px_per_mm, 0, start], [0, 1 / px_per_mm, start], [0, 0, 1.0]])
    return cv2.warpPerspective(raster, pixel_from_mm @ to_mm, size_px, flags=cv2.INTER_LINEAR, borderMode=border)


def _lay(picture, raster, pixel_from_mm, size_px, px_per_mm, start, edge):
    """Lay a raster onto the picture within an edge; a fourth channel says where it lets through what lies below."""
    height, width = picture.shape[:2]
    first = np.clip(np.floor(edge.min(axis=0)).astype(int) - 2, 0, [width, height])
    last = np.clip(np.ceil(edge.max(axis=0)).astype(int) + 3, 0, [width, height])
    here = _moved(*(-first)) @ pixel_from_mm
    size = (last - first).astype(int)
    # What is printed finer than the picture shows is averaged first, as a lens does.
    finer = int(px_per_mm / np.sqrt(abs(np.linalg.det((pixel_from_mm / pixel_from_mm[2, 2])[:2, :2]))))
    if finer >= 2:
        raster = cv2.blur(raster, (finer, finer))
    seen = _placed(raster, here, tuple(size.tolist()), px_per_mm, start, cv2.BORDER_REPLICATE)
    mask = np.zeros((size[1] * 4, size[0] * 4), np.uint8)
    cv2.fillPoly(mask, [np.round(((edge - first + 0.5) * 4 - 0.5) * 256).astype(np.int32)], 255, shift=8)
    cover = cv2.resize(mask, tuple(size.tolist()), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    if seen.shape[2] == 4:
        cover, seen = cover * seen[..., 3], seen[..., :3]
    part = picture[first[1] : last[1], first[0] : last[0]]
    part += cover[..., None] * (seen - part)


def _bled(light, there):
    """The light drawn out a little over the edge, so that nothing dark is mixed in there."""
    mask = there.astype(np.float32)
    near = cv2.blur(mask, (9, 9))
    spread = cv2.blur(light * mask[..., None], (9, 9)) / np.maximum(near, 1e-3)[..., None]
    return np.where(there[..., None], light, spread)


def _without_holes(there):
    """1 but where the ground is seen between branches."""
    contours, _ = cv2.findContours(there.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = cv2.drawContours(np.zeros(there.shape, np.uint8), contours, -1, 1, cv2.FILLED)
    return 1 - cv2.GaussianBlur((filled.astype(bool) & ~there).astype(np.float32), (0, 0), 0.8)


def _cast_shadow(picture, edge, form, pixel_from_base):
    px_per_mm = np.sqrt(abs(np.linalg.det(pixel_from_base[:2, :2])))
    deep, soft, dark = {"branching": (3.5, 2.5, 0.75), "plating": (3.5, 2.2, 0.75), "label": (0.6, 0.5, 0.5)}.get(
        form, (0.8, 0.7, 0.5)
    )
    height, width = picture.shape[:2]
    small = np.zeros((height // 4, width // 4), np.uint8)
    moved = (edge + px_per_mm * deep * np.array([0.64, 0.76])) / 4
    cv2.fillPoly(small, [np.round(moved * 16).astype(np.int32)], 255, shift=4)
    small = cv2.GaussianBlur(small, (0, 0), max(0.6, soft * px_per_mm / 4))
    shade = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR).astype(np.float32)
    picture *= 1 - (dark / 255) * shade[..., None]


def _photographed(picture, light, random):
    """Light of a lamp through moving water, the lens, grain and the sRGB curve."""
    height, width = picture.shape[:2]
    across = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
    down = np.linspace(-1, 1, height, dtype=np.float32)[:, None] * np.float32(height / width)
    falls = 1 - np.float32(0.24) * (across**2 + down**2)
    falls *= 1 + np.float32(0.10) * (across * np.float32(random.normal()) + down * np.float32(random.normal()))
    ripples = _smooth(random, 9, side=180)
    ripples = np.exp(-4 * np.abs(ripples)) - 0.3
    ripples = cv2.resize(cv2.GaussianBlur(ripples, (0, 0), 2), (width, height), interpolation=cv2.INTER_CUBIC)
    falls *= 1 + np.float32(0.12) * ripples.astype(np.float32)
    colour = np.array(light, np.float32) * np.float32(random.uniform(0.85, 0.95))
    picture *= falls[..., None]
    picture *= colour
    picture += np.float32(0.006) * colour
    picture = cv2.GaussianBlur(picture, (0, 0), 0.7)
    grain = random.standard_normal((256, 256, 3), dtype=np.float32)
    grain = np.tile(grain, (height // 256 + 1, width // 256 + 1, 1))[:height, :width]
    picture += grain * np.float32(0.008) * np.sqrt(np.maximum(picture, 0) + np.float32(0.01))
    np.clip(picture, 0, 1, out=picture)
    return _SRGB_OF_ROOT[(np.sqrt(picture) * np.float32(4095)).astype(np.int32)]


_ROOTS = np.linspace(0, 1, 4096) ** 2
_SRGB_OF_ROOT = np.round(
    255 * np.where(_ROOTS <= 0.0031308, 12.92 * _ROOTS, 1.055 * np.maximum(_ROOTS, 1e-9) ** (1 / 2.4) - 0.055)
).astype(np.uint8)


def _jpeg(pixels, taken_at, quality):
    exif = Image.Exif()
    exif[EXIF_SOFTWARE] = "Drawn, not taken"
    if taken_at is not None:
        exif.get_ifd(EXIF_FOLDER)[EXIF_TAKEN] = f"{taken_at:%Y:%m:%d %H:%M:%S}"
    kept = io.BytesIO()
    Image.fromarray(pixels).save(kept, "JPEG", quality=quality, exif=exif)
    return kept.getvalue()
