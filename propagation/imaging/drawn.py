"""Drawn photographs of labels, scale cards and colonies, with everything known that is measured in a real one.

They serve the tests and the demo, where they are marked as drawn. A pinhole camera looks at a plane; light, water, lens
and JPEG do to the picture what they do to a photograph. The same arguments always give the same picture.

    photo = draw_sample(7)                                   # everything by chance, from a seed
    photo = draw_photo(text="HTTPS://…", colony=DrawnColony(form="branching", longest_mm=60, at_mm=(50, 10)), …)
    photo.pixels, photo.outline_px, photo.area_mm2           # uint8 RGB; the truth
"""

import contextlib
import io
from dataclasses import dataclass, field, replace
from functools import cached_property

import cv2
import numpy as np
import qrcode
from PIL import Image
from qrcode.constants import ERROR_CORRECT_H, ERROR_CORRECT_L, ERROR_CORRECT_M, ERROR_CORRECT_Q

from .card import BLACK_SRGB, PAPER_SRGB, ScaleCard
from .colour import lab_from_linear, linear_from_srgb

QUIET_MODULES = 4  # ISO/IEC 18004 §6.3.8
FORMS = ("branching", "plating", "massive", "encrusting")
_LEVELS = {"L": ERROR_CORRECT_L, "M": ERROR_CORRECT_M, "Q": ERROR_CORRECT_Q, "H": ERROR_CORRECT_H}
_CELLS = 40  # a module
_INK_DOTS_PER_MM = 20  # text and rulers, about 500 dpi
_MARGIN_PX = 60  # free around what is seen
_MOST_WIDE = 5200  # pixels; a picture of 20 million, unless a larger one is asked for
_USUAL_WIDE = 2200  # pixels that a photograph by chance covers, about, to be drawn in a second


class DoesNotFit(ValueError):
    """What is to be drawn would not fit into a picture."""

    def __init__(self):
        super().__init__("What is to be seen does not fit into a picture at this scale and tilt; draw it smaller.")


@dataclass(frozen=True)
class DrawnColony:
    """A colony lying in the picture. ``at_mm`` is its middle from the symbol's top left corner, in the plane.

    ``height_mm`` is how far its outline stands out of the label's plane, towards the camera.
    """

    form: str = "plating"
    longest_mm: float = 50.0
    at_mm: tuple[float, float] = (60.0, 10.0)
    srgb: tuple[int, int, int] = (150, 105, 70)
    texture: float = 0.25
    height_mm: float = 0.0
    turn_deg: float = 0.0
    seed: int = 0


@dataclass(frozen=True)
class Circumstances:
    """How a drawn photograph is taken.

    ``px_per_module`` is the mean over the symbol's area. ``cast`` is the light's colour as gains in linear RGB.
    ``dot_gain`` is how far ink runs, in modules, on every edge. ``bend_mm`` lifts the middle of the label like a sheet
    that curls. ``focal`` is in widths of the picture. ``jpeg_quality`` None leaves the pixels as drawn.
    """

    px_per_module: float = 7.0
    tilt_deg: float = 15.0
    tilt_direction_deg: float = 30.0
    roll_deg: float = 5.0
    focal: float = 0.85
    blur_px: float = 0.8
    motion_px: float = 0.0
    motion_deg: float = 0.0
    noise: float = 0.008
    vignetting: float = 0.15
    gradient: float = 0.15
    gradient_deg: float = 0.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    exposure: float = 0.8
    haze: float = 0.01
    contrast: float = 1.0
    dot_gain: float = 0.0
    bend_mm: float = 0.0
    sharpening: float = 0.0
    zoom: float = 1.0
    jpeg_quality: int | None = 90
    mirrored: bool = False
    least_px: tuple[int, int] = (1000, 750)


@dataclass(frozen=True)
class DrawnPhoto:
    """A drawn photograph and its truth. Pixels' middles have whole coordinates; mm are from the symbol's corner."""

    pixels: np.ndarray
    jpeg: bytes | None
    text: str
    modules: np.ndarray
    label_mm: float
    card: ScaleCard | None
    pixel_from_mm: np.ndarray
    symbol_corners_px: np.ndarray
    camera_height_mm: float
    focal_px: float
    tilt_deg: float
    px_per_mm: float
    colony: DrawnColony | None
    outline_px: np.ndarray | None
    outline_mm: np.ndarray | None
    area_mm2: float | None
    longest_mm: float | None
    colour_lab: np.ndarray | None
    circumstances: Circumstances
    other_corners_px: np.ndarray | None = None
    other_text: str | None = None
    patch_corners_px: dict[str, np.ndarray] = field(default_factory=dict)


# ---- shapes


def draw_outline(form: str, longest_mm: float, *, seed: int = 0, turn_deg: float = 0.0) -> np.ndarray:
    """The outline of a colony seen from above, shape (n, 2) in mm, about its middle.

    The same seed gives the same individual at every size, so that it can grow from picture to picture.
    """
    random = np.random.default_rng([seed, 77])
    drawn = {"branching": _branches, "plating": _plate, "massive": _dome, "encrusting": _crust}[form](random)
    centred = drawn - (drawn.max(axis=0) + drawn.min(axis=0)) / 2
    angle = np.radians(turn_deg)
    turned = centred @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return turned * (longest_mm / _longest(turned))


def _radial(random, lobes, strength, rough):
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    radius = np.ones_like(angle)
    for order in range(2, lobes):
        radius += (
            strength / order**rough * np.cos(order * angle + random.uniform(0, 2 * np.pi)) * random.uniform(0.4, 1)
        )
    radius = np.maximum(radius, 0.25)
    return np.stack([radius * np.cos(angle) * random.uniform(0.75, 1.0), radius * np.sin(angle)], axis=1)


def _dome(random):
    return _radial(random, 5, 0.12, 1.0)


def _plate(random):
    return _radial(random, 26, 0.22, 0.9)


def _crust(random):
    return _radial(random, 14, 0.35, 1.0)


def _branches(random):
    """Branches that fork outwards from one base, drawn thick on a raster, and their outer edge."""
    side = 900
    raster = np.zeros((side, side), dtype=np.uint8)
    tips = [(0.0, 0.0, angle, 0.38, 0.105) for angle in np.arange(0, 2 * np.pi, 2 * np.pi / random.integers(5, 8))]
    cv2.circle(raster, (side // 2, side // 2), int(0.17 * side / 2), 255, -1)
    for _ in range(3):
        grown = []
        for x, y, angle, length, thick in tips:
            angle += random.normal(0, 0.18)
            ending = x + length * np.cos(angle), y + length * np.sin(angle)
            for share in np.linspace(0, 1, 24):
                place = x + share * (ending[0] - x), y + share * (ending[1] - y)
                middle = tuple(round(256 * side * (0.5 + part / 2.6)) for part in place)
                cv2.circle(raster, middle, int(256 * side * thick * (1 - 0.25 * share) / 2.6), 255, -1, shift=8)
            fork = random.uniform(0.35, 0.6)
            for turn in (-fork, fork):
                grown.append((*ending, angle + turn, length * random.uniform(0.6, 0.85), thick * 0.78))
        tips = grown
    raster = cv2.GaussianBlur(raster, (0, 0), 3)
    contours, _ = cv2.findContours((raster > 127).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    edge = max(contours, key=cv2.contourArea)[:, 0, :].astype(float)
    kernel = np.exp(-0.5 * (np.arange(-9, 10) / 3.0) ** 2)
    kernel /= kernel.sum()
    padded = np.concatenate([edge[-9:], edge, edge[:9]])
    return np.stack([np.convolve(padded[:, axis], kernel, mode="valid") for axis in (0, 1)], axis=1)[::2]


def _longest(outline):
    return max(float(np.hypot(*(outline - point).T).max()) for point in outline)


def _area(outline):
    x, y = outline.T
    return abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))) / 2


# ---- camera


def _mapped(matrix, points):
    points = np.asarray(points, dtype=float)
    mapped = points @ matrix[:, :2].T + matrix[:, 2]
    return mapped[:, :2] / mapped[:, 2:]


@dataclass(frozen=True)
class _Camera:
    matrix: np.ndarray  # 3 × 4: pixels from (x, y, z mm, 1); z points away from the camera, into the plane
    height_mm: float
    focal_px: float
    size_px: tuple[int, int]

    def plane(self, height_mm=0.0):
        """Pixels from mm in the parallel plane that stands ``height_mm`` out towards the camera."""
        lifted = self.matrix[:, [0, 1, 3]].copy()
        lifted[:, 2] -= height_mm * self.matrix[:, 2]
        return lifted


def _place_camera(circumstances, label_mm, modules, seen_mm, height_mm):
    """A camera that looks at the middle of what is to be seen, from where the symbol has its px per module."""
    tilt, direction, roll = np.radians(
        [circumstances.tilt_deg, circumstances.tilt_direction_deg, circumstances.roll_deg]
    )
    axis = np.array([np.cos(direction), np.sin(direction), 0.0])
    tilted = cv2.Rodrigues(axis * tilt)[0]
    rolled = cv2.Rodrigues(np.array([0.0, 0.0, roll]))[0]
    rotation = rolled @ tilted
    if circumstances.mirrored:
        rotation = rotation @ np.diag([-1.0, 1.0, 1.0])
    target = np.append((seen_mm.max(axis=0) + seen_mm.min(axis=0)) / 2, 0.0)
    middle = np.array([[label_mm / 2, label_mm / 2]])
    wanted = circumstances.px_per_module * modules / label_mm
    least_width, least_height = circumstances.least_px
    # Begun wide enough, or what is seen would lie behind the camera.
    width = max(least_width, int(1.5 * wanted * np.ptp(seen_mm, axis=0).max()))
    height = int(width * least_height / least_width)
    distance = circumstances.focal * width / wanted
    for _ in range(60):
        focal = circumstances.focal * width
        inner = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
        shift = np.array([0, 0, distance]) - rotation @ target
        camera = _Camera(
            inner @ np.column_stack([rotation, shift]), abs((rotation.T @ shift)[2]), focal, (width, height)
        )
        plane, lifted = camera.plane(), camera.plane(height_mm)
        if min((np.column_stack([seen_mm, np.ones(len(seen_mm))]) @ each[2]).min() for each in (plane, lifted)) <= 0:
            distance *= 1.5
            continue
        step = (_mapped(plane, middle + np.array([[0.01, 0], [0, 0.01]])) - _mapped(plane, middle)) / 0.01
        scale = np.sqrt(abs(np.linalg.det(step)))
        if abs(scale / wanted - 1) > 1e-3:
            distance *= scale / wanted
            continue
        points = np.concatenate([_mapped(plane, seen_mm), _mapped(lifted, seen_mm)])
        extent = 2 * (np.abs(points - [(width - 1) / 2, (height - 1) / 2]).max(axis=0) + _MARGIN_PX)
        needed = int(max(least_width, extent[0], extent[1] * least_width / least_height)) // 2 * 2
        if needed > max(_MOST_WIDE, least_width):
            break
        if abs(needed - width) <= 8:
            return camera
        distance *= needed / width
        width, height = needed, int(needed * least_height / least_width) // 2 * 2
    raise DoesNotFit


# ---- paper


def _make_modules(text, level):
    maker = qrcode.QRCode(error_correction=_LEVELS[level], border=0)
    maker.add_data(text, optimize=0)
    maker.make()
    return np.array(maker.modules, dtype=bool)


@dataclass
class _Paper:
    """A printed sheet: its edges in mm, a raster of its ink as sRGB 0…1, and the symbol whose modules are sharp."""

    left: float
    top: float
    width: float
    height: float
    modules: np.ndarray
    symbol_mm: float
    raster: np.ndarray
    at_mm: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0
    bend_mm: float = 0.0
    dot_gain: float = 0.0

    def corners(self):
        """On the plane, mm."""
        x, y, w, h = self.left, self.top, self.width, self.height
        return self.placed([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])

    def placed(self, points):
        """Where points of the sheet are on the plane."""
        angle = np.radians(self.turn_deg)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        return np.asarray(points, dtype=float) @ turn.T + self.at_mm

    def light(self, points):
        """Reflected light, shape (n, 3), and whether the point is on the sheet, for points on the plane."""
        angle = np.radians(self.turn_deg)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        x, y = ((points - self.at_mm) @ turn).T
        if self.bend_mm:
            x = x + self.bend_mm * (((x - self.symbol_mm / 2) / (self.symbol_mm / 2)) ** 2 - 1) * 0.5
        on = (x >= self.left) & (x < self.left + self.width) & (y >= self.top) & (y < self.top + self.height)
        height, width = self.raster.shape[:2]
        columns = np.clip(((x - self.left) * _INK_DOTS_PER_MM).astype(int), 0, width - 1)
        rows = np.clip(((y - self.top) * _INK_DOTS_PER_MM).astype(int), 0, height - 1)
        light = self.raster[rows, columns]
        cells = self.dark_cells
        in_symbol = (np.abs(x / self.symbol_mm - 0.5) < 0.5 + self.cell_margin) & (
            np.abs(y / self.symbol_mm - 0.5) < 0.5 + self.cell_margin
        )
        per_mm = _CELLS * len(self.modules) / self.symbol_mm
        columns = (x[in_symbol] * per_mm + _CELLS).astype(int)
        rows = (y[in_symbol] * per_mm + _CELLS).astype(int)
        light[in_symbol] = np.where(cells[rows, columns][:, None], _INK, light[in_symbol])
        return light, on

    @property
    def cell_margin(self):
        """How far the raster of dark cells reaches beyond the symbol, as a share of its side; a little less."""
        return 0.99 / len(self.modules)

    @cached_property
    def dark_cells(self):
        """The symbol with a module around it, ``_CELLS`` cells a module, ink run by the dot gain."""
        cells = np.kron(np.pad(self.modules, 1), np.ones((_CELLS, _CELLS), np.uint8))
        run = round(abs(self.dot_gain) * _CELLS)
        kernel = np.ones((2 * run + 1, 2 * run + 1), np.uint8)
        return (cv2.dilate if self.dot_gain >= 0 else cv2.erode)(cells, kernel).astype(bool)


_PAPER = linear_from_srgb(PAPER_SRGB).astype(np.float32)
_INK = linear_from_srgb(BLACK_SRGB).astype(np.float32)


def _blank(width, height):
    raster = np.empty((round(height * _INK_DOTS_PER_MM), round(width * _INK_DOTS_PER_MM), 3), np.float32)
    raster[:] = _PAPER
    return raster


def _write(raster, text, x_mm, y_mm, height_mm):
    scale = height_mm * _INK_DOTS_PER_MM / 21  # the face is 21 dots high at scale 1
    ink = np.zeros(raster.shape[:2], dtype=np.uint8)
    place = int(x_mm * _INK_DOTS_PER_MM), int(y_mm * _INK_DOTS_PER_MM)
    cv2.putText(ink, text, place, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, max(1, int(scale * 2)), cv2.LINE_AA)
    raster *= 1 - ink[..., None] / np.float32(255) * (1 - _INK / _PAPER)


def _label(text, modules, symbol_mm):
    quiet = QUIET_MODULES * symbol_mm / len(modules)
    width, height = symbol_mm * 2.4 + 2 * quiet, symbol_mm + 2 * quiet
    raster = _blank(width, height)
    size = symbol_mm / 8
    for line, words in enumerate((text[-8:], "Ash Lantern", "cut 14 May", "tray 3")):
        _write(raster, words, symbol_mm + 2.2 * quiet, quiet + size * (1.2 + 1.9 * line), size)
    return _Paper(-quiet, -quiet, width, height, modules, symbol_mm, raster)


def _card(card, modules):
    paper = card.paper
    raster = _blank(paper.width, paper.height)

    def fill(place, light):
        first = (np.array([place.left - paper.left, place.top - paper.top]) * _INK_DOTS_PER_MM).round().astype(int)
        last = (np.array([place.right - paper.left, place.bottom - paper.top]) * _INK_DOTS_PER_MM).round().astype(int)
        raster[max(first[1], 0) : last[1], max(first[0], 0) : last[0]] = light

    for patch in card.patches:
        fill(patch.place, linear_from_srgb(patch.srgb))
    for ruler in card.rulers:
        for _, tick in ruler.ticks():
            fill(tick, _INK)
        for number, x, y in ruler.numbers():
            _write(raster, number, x - paper.left - 1.0, y - paper.top + 0.6, 1.4)
    return _Paper(paper.left, paper.top, paper.width, paper.height, modules, card.symbol_mm, raster)


# ---- picture


def _noise_field(random, shape, cells):
    """Smooth noise, sd about 1: few cells stretched over a shape."""
    height, width = shape
    coarse = random.normal(size=(max(2, int(cells * height / width)), cells)).astype(np.float32)
    return cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)


def _sampled(paper, from_pixel, box, fine):
    """A sheet seen by the pixels of a box, each as the mean of ``fine`` × ``fine`` points; and how much it covers."""
    left, top, right, bottom = box
    offsets = (np.arange(fine) + 0.5) / fine - 0.5
    total = np.zeros((bottom - top, right - left, 3), np.float32)
    cover = np.zeros((bottom - top, right - left), np.float32)
    near = np.zeros(cover.shape, np.uint8)
    seen_corners = _mapped(np.linalg.inv(from_pixel), paper.corners()) - (left, top)
    cv2.fillPoly(near, [seen_corners.round().astype(np.int32)], 1)
    rows, columns = np.nonzero(cv2.dilate(near, np.ones((9, 9), np.uint8)))
    points = np.stack([columns + left, rows + top], axis=1)
    for down in offsets:
        for across in offsets:
            light, on = paper.light(_mapped(from_pixel, points + np.array([across, down])))
            total[rows, columns] += light * on[:, None]
            cover[rows, columns] += on
    return total / np.maximum(cover, 1)[..., None], cover / fine**2


def _box(points, size, margin=2):
    width, height = size
    left, top = np.clip(np.floor(points.min(axis=0)).astype(int) - margin, 0, [width, height])
    right, bottom = np.clip(np.ceil(points.max(axis=0)).astype(int) + margin + 1, 0, [width, height])
    return int(left), int(top), int(right), int(bottom)


def _cover(outline, box, fine=4):
    left, top, right, bottom = box
    mask = np.zeros(((bottom - top) * fine, (right - left) * fine), np.uint8)
    points = (outline - (left, top) + 0.5) * fine - 0.5
    cv2.fillPoly(mask, [np.round(points * 256).astype(np.int32)], 255, shift=8)
    return cv2.resize(mask, (right - left, bottom - top), interpolation=cv2.INTER_AREA).astype(np.float32) / 255


def draw_photo(
    *,
    text: str,
    label_mm: float = 12.0,
    level: str = "Q",
    card: ScaleCard | None = None,
    colony: DrawnColony | None = None,
    other: tuple[str, float, tuple[float, float]] | None = None,
    circumstances: Circumstances = Circumstances(),
    seed: int = 0,
) -> DrawnPhoto:
    """Draw a photograph.

    Parameters
    ----------
    text
        What the code says.
    label_mm
        Side of the printed symbol without quiet zone; a card brings its own.
    card
        A scale card instead of a label.
    other
        A second label: its text, its side in mm and where its symbol's corner is.
    """
    random = np.random.default_rng([seed, 13])
    modules = _make_modules(text, level)
    paper = _card(card, modules) if card else _label(text, modules, label_mm)
    label_mm = paper.symbol_mm
    paper.dot_gain, paper.bend_mm = circumstances.dot_gain, circumstances.bend_mm
    sheets = [paper]
    if other:
        second = _label(other[0], _make_modules(other[0], level), other[1])
        second.at_mm, second.turn_deg = other[2], float(random.uniform(-180, 180))
        sheets.append(second)
    seen = np.concatenate([sheet.corners() for sheet in sheets])
    outline_mm = None
    if colony:
        shape = draw_outline(colony.form, colony.longest_mm, seed=colony.seed, turn_deg=colony.turn_deg)
        outline_mm = shape + colony.at_mm
        seen = np.concatenate([seen, outline_mm[::8]])
    camera = _place_camera(circumstances, label_mm, len(modules), seen, colony.height_mm if colony else 0.0)
    plane = camera.plane()
    width, height = camera.size_px

    picture = _draw_background(random, plane, camera.size_px, label_mm)
    for sheet in sheets:
        box = _box(_mapped(plane, sheet.corners()), (width, height))
        fine = 4 if circumstances.px_per_module < 8 else 3
        light, cover = _sampled(sheet, np.linalg.inv(plane), box, fine)
        part = picture[box[1] : box[3], box[0] : box[2]]
        part += cover[..., None] * (light - part)
    outline_px = colour_lab = None
    if colony:
        outline_px = _mapped(camera.plane(colony.height_mm), outline_mm)
        colour_lab = _draw_colony(picture, colony, outline_px, camera, random)
    pixels = _expose(picture, circumstances, random)
    jpeg = None
    if circumstances.jpeg_quality is not None:
        kept = io.BytesIO()
        Image.fromarray(pixels).save(
            kept, "JPEG", quality=circumstances.jpeg_quality, subsampling=random.choice([0, 2])
        )
        jpeg = kept.getvalue()
        pixels = np.array(Image.open(io.BytesIO(jpeg)))
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=float)
    return DrawnPhoto(
        pixels=pixels,
        jpeg=jpeg,
        text=text,
        modules=modules,
        label_mm=label_mm,
        card=card,
        pixel_from_mm=plane,
        symbol_corners_px=_mapped(plane, square * label_mm),
        camera_height_mm=camera.height_mm,
        focal_px=camera.focal_px,
        tilt_deg=circumstances.tilt_deg,
        px_per_mm=circumstances.px_per_module * len(modules) / label_mm,
        colony=colony,
        outline_px=outline_px,
        outline_mm=outline_mm,
        area_mm2=_area(outline_mm) if colony else None,
        longest_mm=_longest(outline_mm) if colony else None,
        colour_lab=colour_lab,
        circumstances=circumstances,
        other_corners_px=_mapped(plane, sheets[1].placed(square * other[1])) if other else None,
        other_text=other[0] if other else None,
        patch_corners_px={patch.name: _mapped(plane, patch.place.corners()) for patch in card.patches} if card else {},
    )


def _draw_background(random, plane, size, label_mm):
    """A rack or a tank's floor: a dull colour with blotches, often with the dark holes of a grid."""
    width, height = size
    base = random.uniform(0.02, 0.35) * np.array([1, random.uniform(0.8, 1.2), random.uniform(0.7, 1.4)])
    picture = np.empty((height, width, 3), np.float32)
    picture[:] = base
    blotches = 1 + 0.15 * _noise_field(random, (height, width), 24) + 0.08 * _noise_field(random, (height, width), 160)
    picture *= np.clip(blotches, 0.2, 2)[..., None]
    if random.random() < 0.6:
        pitch, hole = label_mm * random.uniform(0.9, 1.3), random.uniform(0.6, 0.8)
        inverse = (np.linalg.inv(plane) / pitch).astype(np.float32)
        inverse[2] *= pitch
        columns = np.arange(width, dtype=np.float32)
        rows = np.arange(height, dtype=np.float32)[:, None]
        weights, *places = (row[0] * columns + row[1] * rows + row[2] for row in inverse[[2, 0, 1]])
        inside = np.ones((height, width), dtype=bool)
        for place in places:
            place /= weights
            inside &= np.abs(place - np.floor(place) - 0.5) < hole / 2
        depth = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 1.5)
        picture *= 1 - depth[..., None] * np.float32(random.uniform(0.4, 0.85))
    return picture


def _draw_colony(picture, colony, outline_px, camera, random):
    height, width = picture.shape[:2]
    box = _box(outline_px, (width, height))
    cover = _cover(outline_px, box)
    # A soft shadow beside it.
    shade = cv2.GaussianBlur(_cover(outline_px + random.uniform(-6, 6, 2), (0, 0, width, height), 1), (0, 0), 7)
    picture *= 1 - 0.35 * shade[..., None]
    left, top, right, bottom = box
    local = cover.shape
    span = max(local)
    bumps = _noise_field(random, local, max(8, span // 9)) * 0.6 + _noise_field(random, local, max(4, span // 60)) * 0.5
    base = linear_from_srgb(colony.srgb).astype(np.float32)
    albedo = base * np.clip(1 + colony.texture * bumps, 0.15, 2.2)[..., None]
    tint = 1 + 0.3 * colony.texture * _noise_field(random, local, max(4, span // 40))
    albedo[..., 1] *= np.clip(tint, 0.3, 1.7)
    # Light falls off towards the edge, where the colony curves away; white growing tips on some.
    depth = cv2.distanceTransform((cover > 0.5).astype(np.uint8), cv2.DIST_L2, 3)
    rim = np.exp(-depth / max(2.0, 0.02 * span))
    albedo *= 1 + (0.5 if colony.seed % 2 else -0.25) * rim[..., None]
    albedo = np.clip(albedo, 0, 0.95)
    part = picture[top:bottom, left:right]
    part += cover[..., None] * (albedo - part)
    return lab_from_linear(albedo[cover > 0.99].mean(axis=0))


def _expose(picture, circumstances, random):
    """What light, water, lens, sensor and the maker's processing do, in this order."""
    height, width = picture.shape[:2]
    across = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
    down = np.linspace(-1, 1, height, dtype=np.float32)[:, None] * height / width
    angle = np.radians(circumstances.gradient_deg)
    light = 1 + circumstances.gradient * (across * np.cos(angle) + down * np.sin(angle)).astype(np.float32)
    light *= 1 - circumstances.vignetting * (across**2 + down**2) / (1 + (height / width) ** 2)
    colour = np.array(circumstances.cast, dtype=np.float32) * np.float32(circumstances.exposure)
    picture = picture * light[..., None]
    picture *= colour
    picture += np.float32(circumstances.haze) * colour
    if circumstances.blur_px:
        picture = cv2.GaussianBlur(picture, (0, 0), circumstances.blur_px)
    if circumstances.motion_px >= 1:
        picture = cv2.filter2D(picture, -1, _streak(circumstances.motion_px, circumstances.motion_deg))
    if circumstances.zoom != 1:
        small = round(width / circumstances.zoom), round(height / circumstances.zoom)
        picture = cv2.resize(picture, small, interpolation=cv2.INTER_AREA)
        picture = cv2.resize(picture, (width, height), interpolation=cv2.INTER_CUBIC)
    grain = random.standard_normal(picture.shape, dtype=np.float32)
    picture += grain * np.float32(circumstances.noise) * np.sqrt(np.maximum(picture, 0) + np.float32(0.02))
    np.clip(picture, 0, 1, out=picture)
    levels = np.interp(np.linspace(0, 1, 4096), *_tone_curve(circumstances.contrast)).astype(np.float32)
    picture = levels[np.minimum((np.sqrt(picture) * 4095).round().astype(np.int32), 4095)]
    if circumstances.sharpening:
        picture += np.float32(circumstances.sharpening) * (picture - cv2.GaussianBlur(picture, (0, 0), 1.2))
    return np.clip(picture + 0.5, 0, 255).astype(np.uint8)


def _tone_curve(contrast):
    """The sRGB curve on the square root of light (dense where it is steep); a contrast above 1 bends it like an S."""
    root = np.linspace(0, 1, 1025)
    light = root**2
    srgb = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    bent = srgb**contrast / (srgb**contrast + (1 - srgb) ** contrast)
    return root, 255 * bent


def _streak(length, angle_deg):
    side = int(np.ceil(length)) | 1
    kernel = np.zeros((side + 2, side + 2), np.float32)
    middle = (side + 1) / 2
    for share in np.linspace(-0.5, 0.5, 41):
        x = middle + share * length * np.cos(np.radians(angle_deg))
        y = middle + share * length * np.sin(np.radians(angle_deg))
        kernel[round(y), round(x)] += 1
    return kernel / kernel.sum()


BLUE_LIGHT = (0.28, 0.55, 1.0)  # reef lamps lean to 450 nm; a phone's own balance takes half of it away (no source)


def draw_sample(
    seed: int,
    *,
    with_card: ScaleCard | None = None,
    far: bool = True,
    two_codes: bool = False,
    **fixed,
) -> DrawnPhoto:
    """A photograph with everything by chance: 4–12 px a module, tilt to 40°, blur, noise, blue light, JPEG.

    ``far`` puts the colony two to five label widths away from the symbol, else beside it. ``fixed`` names fields of
    `Circumstances` that are not left to chance.
    """
    random = np.random.default_rng([seed, 5])
    label_mm = float(random.uniform(8, 22)) if with_card is None else with_card.symbol_mm
    px_per_module = float(np.exp(random.uniform(np.log(4), np.log(12))))
    sharp = px_per_module / 7
    blue = random.uniform(0, 1)
    chance = Circumstances(
        px_per_module=px_per_module,
        tilt_deg=float(random.uniform(0, 40)),
        tilt_direction_deg=float(random.uniform(0, 360)),
        roll_deg=float(random.uniform(-180, 180)),
        focal=float(random.uniform(0.7, 1.2)),
        blur_px=float(random.uniform(0.5, 0.9 + 0.5 * sharp)),
        motion_px=float(random.choice([0, 0, 0, 1.5 * sharp])),
        motion_deg=float(random.uniform(0, 180)),
        noise=float(random.uniform(0.002, 0.02)),
        vignetting=float(random.uniform(0, 0.35)),
        gradient=float(random.uniform(0, 0.3)),
        gradient_deg=float(random.uniform(0, 360)),
        cast=tuple(float(1 - blue * (1 - part)) for part in BLUE_LIGHT),
        exposure=float(random.uniform(0.45, 0.85)),
        haze=float(random.uniform(0, 0.05)),
        contrast=float(random.uniform(0.95, 1.25)),
        dot_gain=float(random.uniform(-0.04, 0.1)),
        sharpening=float(random.choice([0, 0.3, 0.8])),
        zoom=float(random.choice([1, 1, 1.25])),
        jpeg_quality=int(random.integers(70, 96)),
    )
    chance = replace(chance, **fixed)
    code = "".join(random.choice(list("23456789ABCDEFGHJKMNPQRSTVWXYZ"), 8))
    across = label_mm * float(random.uniform(1.2, 3.0)) if with_card is None else float(random.uniform(25, 90))
    away = label_mm * float(random.uniform(2, 5)) if far and with_card is None else label_mm * 1.5
    if with_card is None:
        side_px = px_per_module * 29  # about: most of these codes have 25 to 33 modules
        room = _USUAL_WIDE / side_px * label_mm
        across = min(across, 0.4 * room)
        away = max(min(away, room - across - 2 * label_mm), min(away, 2 * label_mm))
    bearing = random.uniform(0, 2 * np.pi)
    colony = DrawnColony(
        form=str(random.choice(FORMS)),
        srgb=tuple(int(level) for level in random.integers(60, 200, 3)),
        texture=float(random.uniform(0.1, 0.35)),
        turn_deg=float(random.uniform(0, 360)),
        seed=int(random.integers(0, 10_000)),
    )
    level = str(random.choice(["L", "M", "Q", "H"]))
    for nearer in (1.0, 0.85, 0.7, 0.55, 0.4):
        if with_card is None:
            reach = label_mm / 2 + nearer * (away + across / 2)
        else:
            reach = with_card.paper.width * 0.75 + nearer * across / 2
        at = label_mm / 2 + reach * np.array([np.cos(bearing), np.sin(bearing)])
        other = None
        if two_codes:
            place = label_mm / 2 - reach * 0.8 * np.array([np.cos(bearing), np.sin(bearing)])
            other = ("HTTPS://RAMET.EXAMPLE/P/" + code[::-1], label_mm, (float(place[0]), float(place[1])))
        with contextlib.suppress(DoesNotFit):
            return draw_photo(
                text="HTTPS://RAMET.EXAMPLE/P/" + code,
                label_mm=label_mm,
                level=level,
                card=with_card,
                colony=replace(colony, longest_mm=nearer * across, at_mm=(float(at[0]), float(at[1]))),
                other=other,
                circumstances=chance,
                seed=seed,
            )
    raise DoesNotFit
