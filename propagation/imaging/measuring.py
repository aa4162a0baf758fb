"""Area, longest diameter and colour of what an outline encloses, each with how sure it is."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import cv2
import numpy as np

from . import colour as colours
from .card import ScaleCard
from .errors import BadOutline, BadScale, NoWhite, SymbolNotInPicture, WhichSymbol
from .opening import OpenedPicture
from .plane import USUAL_CAMERA_HEIGHT_MM, Plane, apply_homography, fit_plane
from .ruler import look_at_rulers
from .symbol import FoundSymbol, find_symbols

# How far the widest part of a colony is above or below its label (common practice, no source).
USUAL_HEIGHT_SD_MM = 2.0
# Residual distortion after the maker's correction: scale at the picture's corner against its middle (no source).
LENS_SD = 0.0003
POOR_AREA_SD = 0.10  # a tenth of the area: a month's growth of most corals drowns in it (common practice, no source)
WHITE_RING_MODULES = (0.8, 2.2)  # of the quiet zone: clear of blurred ink, and of a label's cut edge
STEP = 1e-6
FAR_SIDES = 12  # label widths from which a note is made


class OutlineSd(NamedTuple):
    """How far an outline may be off the true edge, in pixels: all around alike, and any one point of it."""

    around: float
    point: float


TRUE_OUTLINE = OutlineSd(0.0, 0.0)
HAND_OUTLINE_SD_PX = OutlineSd(1.5, 1.5)  # common practice, no source
# Of one that was proposed and is right at all: on photographs of four painters it was 0.3 to 0.6 px off all around.
PROPOSED_OUTLINE_SD_PX = OutlineSd(0.5, 1.0)


@dataclass(frozen=True)
class ReadLabel:
    """A code in a picture and the plane it lies in.

    ``plane`` is in mm if the side was given, else in sides of the symbol; `Plane.scaled` gives it another.
    """

    text: str
    symbol: FoundSymbol
    plane: Plane

    @property
    def corners_px(self) -> np.ndarray:
        """The symbol's outer corners, shape (4, 2): top left, top right, bottom right, bottom left."""
        return self.plane.corners_px

    @property
    def is_mirrored(self) -> bool:
        return self.symbol.is_mirrored

    @property
    def px_per_module(self) -> float:
        return self.symbol.px_per_module


@dataclass(frozen=True)
class SizeMeasured:
    """Projected area and longest diameter of an outline in a plane; every ``sd`` is one standard deviation."""

    area_mm2: float
    longest_mm: float
    sd_area_mm2: float
    sd_longest_mm: float
    longest_between_px: np.ndarray
    poor: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Measured:
    """What was measured in a photo. ``poor`` says why it should not be trusted; empty if it may."""

    code: str | None
    label_mm: float | None
    area_mm2: float
    longest_mm: float
    sd_area_mm2: float
    sd_longest_mm: float
    longest_between_px: np.ndarray
    px_per_mm: float
    tilt_deg: float | None
    camera_height_mm: float | None
    colour_lab: tuple[float, float, float] | None
    colour_spread: tuple[float, float, float] | None
    colour_source: str
    clipped_pixels: int
    plane: Plane
    poor: str
    notes: tuple[str, ...]


def _pixels_of(image):
    if isinstance(image, OpenedPicture):
        return image.pixels, image.focal_35mm
    return image, None


def read_labels(
    image: np.ndarray | OpenedPicture,
    *,
    side_mm: float | Mapping[str, float] | None = None,
    focal_35mm: float | None = None,
) -> list[ReadLabel]:
    """Every code in a picture with its plane, from the top, then from the left.

    Parameters
    ----------
    image
        RGB pixels, uint8, or what `open_picture` gave.
    side_mm
        Side of the printed symbols without quiet zone, for all or by text; unknown ones are measured in sides.

    Raises
    ------
    NoSymbolFound
        With what the picture looks like.
    """
    pixels, known_focal = _pixels_of(image)
    read = []
    for symbol in find_symbols(pixels):
        side = side_mm.get(symbol.text) if isinstance(side_mm, Mapping) else side_mm
        plane = fit_plane(pixels, symbol, side or 1.0, focal_35mm=focal_35mm or known_focal)
        read.append(ReadLabel(symbol.text, symbol, plane))
    return read


def side_seen_mm(label: ReadLabel, plane: Plane) -> float:
    """The side of a label's symbol as another plane's scale sees it: what was recorded of either can be checked so."""
    corners = plane.to_mm(label.corners_px)
    return float(np.hypot(*(corners - np.roll(corners, 1, axis=0)).T).mean())


def choose_label(labels: list[ReadLabel], text: str | None = None) -> ReadLabel:
    """The label with a text, or the only one.

    Raises SymbolNotInPicture, and WhichSymbol when none was named and several codes are seen.
    """
    if text is None:
        if len({label.text for label in labels}) > 1:
            raise WhichSymbol([label.text for label in labels])
        return max(labels, key=lambda label: label.px_per_module)
    wanted = [label for label in labels if label.text == text]
    if not wanted:
        raise SymbolNotInPicture(text, [label.text for label in labels])
    return max(wanted, key=lambda label: label.px_per_module)


def measure(
    image: np.ndarray | OpenedPicture,
    *,
    outline_px: np.ndarray,
    label_mm: float,
    symbol: ReadLabel | str | None = None,
    height_mm: float = 0.0,
    height_sd_mm: float = 0.0,
    outline_sd_px: OutlineSd = TRUE_OUTLINE,
    outline_sd: tuple[float, float] = (0.0, 0.0),
    label_sd_mm: float = 0.0,
    focal_35mm: float | None = None,
    card: ScaleCard | None = None,
) -> Measured:
    """Measure what an outline encloses, by the printed code in the picture.

    Parameters
    ----------
    image
        RGB pixels, uint8, shape (height, width, 3), or what `open_picture` gave.
    outline_px : ndarray, shape (n, 2)
        The colony's edge.
    label_mm, label_sd_mm
        Side of the printed symbol without its quiet zone, and how sure that is.
    symbol
        A label already read from this picture, or the text of the one to use; needed when there are several.
    height_mm, height_sd_mm
        How far the colony's widest outline stands out of the label's plane towards the camera, and how sure that is.
        What is nearer looks larger, by 2 × height ÷ camera's height in area, and a tilted camera sees its side as well.
    outline_sd_px
        How far the outline may be off the true edge: `HAND_OUTLINE_SD_PX`, `PROPOSED_OUTLINE_SD_PX`, or none.
    outline_sd
        How far the outline may be off besides, as relative sds of area and longest diameter: `Proposal.sds`.
    card
        Where patches and rulers are, if the code is on a scale card: its ruler then tells if the code was printed at
        another size than ``label_mm``.

    Raises
    ------
    NoSymbolFound, WhichSymbol, SymbolNotInPicture
        When no code, or not one code, serves as the ruler.
    PlaneTooPoor, BadOutline, BadScale
        When nothing can be measured.
    """
    pixels, known_focal = _pixels_of(image)
    if not isinstance(symbol, ReadLabel):
        symbol = choose_label(read_labels(image, focal_35mm=focal_35mm), symbol)
    plane = symbol.plane.scaled(label_mm, sd_mm=label_sd_mm)
    if focal_35mm or known_focal:
        plane = plane.seen_through(focal_35mm or known_focal)
    size = measure_outline(
        plane,
        outline_px,
        height_mm=height_mm,
        height_sd_mm=height_sd_mm,
        outline_sd_px=outline_sd_px,
        outline_sd=outline_sd,
    )
    notes, poor = list(size.notes), size.poor
    if card is not None:
        ruler = look_at_rulers(pixels, plane, replace(card, symbol_mm=float(label_mm)))
        if ruler and ruler.disagrees():
            poor = poor or (
                f"by the card's ruler its code is {ruler.symbol_mm:.1f} mm wide, not {label_mm:.1f} mm. Measure it on "
                "the print and record that."
            )
    try:
        white = white_reference(pixels, symbol, card=card)
    except NoWhite as error:
        white = colours.NO_WHITE
        notes.append(str(error))
    seen = None
    try:
        seen = colours.colour_inside(pixels, outline_px, white)
        notes.extend(seen.notes)
    except NoWhite as error:
        notes.append(str(error))
    return Measured(
        code=symbol.text,
        label_mm=float(label_mm),
        area_mm2=size.area_mm2,
        longest_mm=size.longest_mm,
        sd_area_mm2=size.sd_area_mm2,
        sd_longest_mm=size.sd_longest_mm,
        longest_between_px=size.longest_between_px,
        px_per_mm=plane.px_per_mm(),
        tilt_deg=plane.tilt_deg,
        camera_height_mm=plane.camera_height_mm,
        colour_lab=seen.lab if seen else None,
        colour_spread=seen.spread if seen else None,
        colour_source=white.source,
        clipped_pixels=seen.clipped if seen else 0,
        plane=plane,
        poor=poor,
        notes=tuple(dict.fromkeys(notes)),
    )


def measure_outline(
    plane: Plane,
    outline_px: np.ndarray,
    *,
    height_mm: float = 0.0,
    height_sd_mm: float = 0.0,
    outline_sd_px: OutlineSd = TRUE_OUTLINE,
    outline_sd: tuple[float, float] = (0.0, 0.0),
) -> SizeMeasured:
    """Area and longest diameter of an outline in a plane; see `measure`. Also for a plane set by two points."""
    outline = _checked(plane, outline_px)
    flat = plane.to_mm(outline)
    area, (first, last) = polygon_area(flat), longest_between(flat)
    longest = float(np.hypot(*(flat[first] - flat[last])))
    if area <= 0 or longest <= 0:
        raise BadOutline("it encloses nothing. Draw it around the colony.")

    # By the plane's fit: derivatives of both by each entry of D.
    ends = flat[[first, last]]
    slopes = np.zeros((2, 8))
    for entry in range(8):
        change = np.zeros(8)
        change[entry] = STEP
        slopes[0, entry] = (polygon_area(plane.perturbed(flat, change)) / area - 1) / STEP
        moved = plane.perturbed(ends, change)
        slopes[1, entry] = (np.hypot(*(moved[0] - moved[1])) / longest - 1) / STEP
    of_plane = np.einsum("ki,ij,kj->k", slopes, plane.covariance, slopes)

    # By the scale, the lens and the height: all of them make lengths longer alike, and area twice as much.
    middle = flat.mean(axis=0)
    off_px = np.hypot(*(plane.to_pixels(middle[None])[0] - plane.corners_px.mean(axis=0)))
    lens = LENS_SD * off_px / (np.hypot(*plane.size_px) / 2)
    away, nearer, of_height = plane.camera_height_mm, 1.0, 0.0
    if plane.knows_tilt:
        if height_mm >= 0.8 * away:
            raise BadScale(f"the colony cannot stand {height_mm:g} mm high under a camera {away:.0f} mm away.")
        nearer = 1 - height_mm / away
        # The camera's own height is known to a tenth or so, which matters as much as the height is large.
        of_height = np.hypot(height_sd_mm, height_mm * plane.camera_height_sd) / (away - height_mm)
    else:
        of_height = height_sd_mm / USUAL_CAMERA_HEIGHT_MM
    alike = plane.scale_sd**2 + lens**2 + of_height**2

    # By the outline: shifted outwards all around by one sd, and with or without what may not belong to it.
    local = plane.px_per_mm(middle)
    around = float(np.hypot(*(flat - np.roll(flat, 1, axis=0)).T).sum())
    by_pixel = np.array([around / area, np.sqrt(2) / longest]) / local
    of_outline = np.hypot(by_pixel * outline_sd_px, outline_sd)

    # By the view: what stands out is seen from aside by a tilted camera, and leans over by height × tan tilt.
    lean = np.tan(np.radians(plane.tilt_deg or 0.0)) * height_sd_mm / 2
    of_lean = np.array([longest / area, 1 / longest]) * lean
    sd_area, sd_longest = np.sqrt(of_plane + np.array([4, 1]) * alike + of_outline**2 + of_lean**2)

    notes = list(plane.notes)
    poor = plane.poor
    if not poor and sd_area > POOR_AREA_SD:
        poor = f"the area is known only to ±{sd_area:.0%}. " + (
            "Look the outline over and mend it."
            if outline_sd[0] > sd_area / 2
            else "Lay the label closer to the colony, take a larger one, or hold the camera straight above."
        )
    apart = np.hypot(*(middle - plane.side_mm / 2)) / plane.side_mm
    if plane.knows_tilt and apart > FAR_SIDES:
        notes.append("The label lies far from the colony; closer by, it measures better.")
    return SizeMeasured(
        area_mm2=float(area * nearer**2),
        longest_mm=float(longest * nearer),
        sd_area_mm2=float(area * nearer**2 * sd_area),
        sd_longest_mm=float(longest * nearer * sd_longest),
        longest_between_px=outline[[first, last]],
        poor=poor,
        notes=tuple(notes),
    )


def _checked(plane, outline_px):
    outline = np.asarray(outline_px, dtype=float)
    if outline.ndim != 2 or outline.shape[1] != 2 or len(outline) < 3 or not np.isfinite(outline).all():
        raise BadOutline("it needs at least three places in the picture. Draw it around the colony.")
    width, height = plane.size_px
    if (outline < -1).any() or (outline > [width, height]).any():
        raise BadOutline(
            "it reaches out of the picture. Draw it within, or take a picture that holds the whole colony."
        )
    depth = np.column_stack([outline, np.ones(len(outline))]) @ plane.mm_from_pixel[2]
    here = np.append(plane.corners_px.mean(axis=0), 1) @ plane.mm_from_pixel[2]
    if (depth * np.sign(here) <= 1e-3 * abs(here)).any():
        raise BadOutline("a part of it is beyond the horizon of the label's plane. Hold the camera straighter above.")
    enclosed = polygon_area(outline)
    if enclosed < 1:
        raise BadOutline("it encloses nothing. Draw it around the colony.")
    if _filled(outline) > 1.02 * enclosed:
        raise BadOutline("it crosses itself. Draw it once around the colony.")
    return outline


def _filled(outline):
    """The area that a polygon covers, px²; more than its signed area when it crosses itself."""
    low = outline.min(axis=0)
    fine = 600 / max(np.ptp(outline, axis=0).max(), 1)
    points = np.round((outline - low + 2 / fine) * fine * 256).astype(np.int32)
    size = np.ceil((np.ptp(outline, axis=0) + 4 / fine) * fine).astype(int) + 2
    mask = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(mask, [points], 1, shift=8)
    # OpenCV fills the pixels on the edge too: half of them are outside.
    edge = np.zeros_like(mask)
    cv2.polylines(edge, [points], True, 1, shift=8)
    return (mask.sum() - edge.sum() / 2) / fine**2


def polygon_area(points: np.ndarray) -> float:
    """Area of a simple polygon, shape (n, 2)."""
    x, y = (points - points[0]).T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(np.roll(x, -1), y))) / 2


def longest_between(points: np.ndarray) -> tuple[int, int]:
    """Which two of the points, shape (n, 2), lie farthest apart."""
    points = np.asarray(points, dtype=float)
    # A hull in whole steps of a millionth of the extent loses nothing that matters.
    scaled = ((points - points.min(axis=0)) / max(np.ptp(points, axis=0).max(), 1e-12)).astype(np.float32)
    corners = cv2.convexHull(scaled, returnPoints=False).ravel()
    best, pair = -1.0, (0, 0)
    for corner in corners:
        apart = ((points[corners] - points[corner]) ** 2).sum(axis=1)
        farthest = int(apart.argmax())
        if apart[farthest] > best:
            best, pair = float(apart[farthest]), (int(corner), int(corners[farthest]))
    return pair


def white_reference(pixels: np.ndarray, label: ReadLabel, *, card: ScaleCard | None = None) -> colours.WhiteReference:
    """The white reference from a card's patches, or else from the paper around the symbol.

    Raises NoWhite.
    """
    if card is not None:
        plane = label.plane.scaled(card.symbol_mm)
        patches = []
        for patch in card.patches:
            shrunk = patch.place.shrunk(0.15 * min(patch.place.width, patch.place.height))
            patches.append((colours.pixels_inside(pixels, plane.to_pixels(np.array(shrunk.corners()))), patch.srgb))
        try:
            return colours.white_from_patches(patches)
        except NoWhite as error:
            paper = colours.white_from_paper(_paper_pixels(pixels, label))
            return colours.WhiteReference(paper.gain, paper.black, paper.source, (str(error),))
    return colours.white_from_paper(_paper_pixels(pixels, label))


def _paper_pixels(pixels, label):
    """Pixels of the quiet zone, shape (n, 3)."""
    side = len(label.symbol.modules)
    plane = label.plane.scaled(side)  # mm are modules now
    near, far = WHITE_RING_MODULES
    outer = plane.to_pixels(np.array([[-far, -far], [side + far, -far], [side + far, side + far], [-far, side + far]]))
    height, width = pixels.shape[:2]
    left, top = np.clip(np.floor(outer.min(axis=0)).astype(int), 0, [width, height])
    right, bottom = np.clip(np.ceil(outer.max(axis=0)).astype(int) + 1, 0, [width, height])
    if right <= left or bottom <= top:
        return np.empty((0, 3), np.uint8)
    every = max(1, int(np.sqrt((right - left) * (bottom - top) / 400_000)))
    columns, rows = np.meshgrid(np.arange(left, right, every), np.arange(top, bottom, every))
    places = np.stack([columns.ravel(), rows.ravel()], axis=1)
    off = np.abs(apply_homography(plane.mm_from_pixel, places) - side / 2).max(axis=1) - side / 2
    taken = places[(off > near) & (off < far)]
    return pixels[taken[:, 1], taken[:, 0]]
