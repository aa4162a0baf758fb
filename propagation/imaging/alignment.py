"""How one colony lies in picture after picture: turned and moved until it lies as it did before, never scaled.

The label gives every picture its scale and a plane in mm, but it is laid down differently each month. What has grown
stays where it is, so the surface tells how to turn the picture; the outline gives the first guesses. Where neither is
sure, a picture keeps the orientation it was taken in and only its middle is brought to where the middle was.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from scipy import fft

SIDE_PX = 112  # of the patches that are compared
REACH = 1.45  # half a patch's side in radii of the colony
COARSE_PX = 64
TURNS = 72  # tried round the circle
NEAR_TURNS = range(-6, 7)  # tried first
EDGE_WEIGHT = 0.5  # of the outline beside the surface
GUESSES = 3
FEWEST_PX = 40  # of a patch that must lie on each other
APART = np.radians(12)  # turns that are not the same
ANGLES = 360  # at which outlines are compared
SHAPE_WEIGHT = 0.6  # of the outline's likeness beside that of the surface
LEAST_LIKENESS = 0.5  # of both from which a turn is believed (tried on drawn colonies)
LEAST_LEAD = 0.12  # over the next best turn
SHAPE_ALONE, SHAPE_LEAD = 0.85, 0.2  # for an outline whose surface is not known again
CERTAIN = 0.9  # likeness from which no other turn is tried
FARTHEST = 0.4  # of the colony's radius that its middle may have moved by growth
PATIENCE = 3  # unsure pictures in a row until the reference begins anew
REMEMBERS = 0.5  # share of the running reference that is kept


@dataclass(frozen=True)
class Placement:
    """Where a picture lies in the film: ``film_from_px`` maps its pixels to mm, the same for all pictures.

    ``turned_deg`` is how far it was turned from the orientation it was taken in; ``is_sure`` says whether the turn was
    found, or the picture was left as taken.
    """

    film_from_px: np.ndarray
    turned_deg: float
    is_sure: bool


def middle_of(outline: np.ndarray) -> tuple[np.ndarray, float]:
    """The centroid of an outline and the radius of the circle of its area."""
    x, y = outline.T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    area = cross.sum() / 2
    if abs(area) < 1e-9:
        return outline.mean(axis=0), 0.0
    centre = np.array([((x + np.roll(x, -1)) * cross).sum(), ((y + np.roll(y, -1)) * cross).sum()]) / (6 * area)
    return centre, float(np.sqrt(abs(area) / np.pi))


def mapped(matrix: np.ndarray, points) -> np.ndarray:
    """Points, shape (n, 2), through a homography."""
    points = np.asarray(points, dtype=float) @ matrix[:, :2].T + matrix[:, 2]
    return points[:, :2] / points[:, 2:]


def turn(radians: float) -> np.ndarray:
    """A rotation as a 3 × 3 matrix."""
    cos, sin = np.cos(radians), np.sin(radians)
    return np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1.0]])


def move(x: float, y: float) -> np.ndarray:
    """A translation as a 3 × 3 matrix."""
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


def as_taken(mm_from_px: np.ndarray, middle_px: np.ndarray) -> np.ndarray:
    """Mm about a place of the picture, in which what was up in the picture is up, from its pixels."""
    here, above = mapped(mm_from_px, [middle_px, middle_px - [0, 1]])
    up = above - here
    return turn(-np.pi / 2 - np.arctan2(up[1], up[0])) @ move(*-here) @ mm_from_px


class Alignment:
    """Places pictures of one colony one after the other, each against a running reference of those before.

    So errors do not add up from month to month, and slow growth is followed.
    """

    def __init__(self):
        self._reference = None  # surface and cover over the film's mm about the last middle
        self._half_mm = self._middle = None
        self._unsure = 0  # pictures in a row

    def place(self, pixels: np.ndarray, mm_from_px: np.ndarray, outline_px: np.ndarray | None) -> Placement:
        """Place the next picture.

        Parameters
        ----------
        pixels : ndarray, shape (h, w, 3), uint8
        mm_from_px : ndarray, shape (3, 3)
            Homography from these pixels to mm in the label's plane.
        outline_px : ndarray, shape (n, 2), or None
            The colony; without, the picture's middle is taken and it stays as taken.
        """
        if outline_px is None or len(outline_px) < 3:
            height, width = pixels.shape[:2]
            taken = as_taken(mm_from_px, np.array([width / 2, height / 2]))
            return Placement(self._at_last_middle(taken), 0.0, False)
        outline_px = np.asarray(outline_px, dtype=float)
        centre_px, _ = middle_of(outline_px)
        taken = as_taken(mm_from_px, centre_px)
        centre, radius = middle_of(mapped(taken, outline_px))
        taken = move(*-centre) @ taken
        if self._reference is None:
            self._remember(pixels, taken, outline_px, np.zeros(2), radius)
            return Placement(taken, 0.0, True)
        found = self._find_turn(pixels, taken, outline_px, radius)
        if found is None:
            placed = self._at_last_middle(taken)
            self._unsure += 1
            if self._unsure >= PATIENCE:  # cut back or broken: what it looked like before helps no longer
                self._remember(pixels, placed, outline_px, self._middle, radius, afresh=True)
            return Placement(placed, 0.0, False)
        onto, angle = found
        placed = onto @ taken
        self._remember(pixels, placed, outline_px, mapped(onto, [[0, 0]])[0], radius)
        return Placement(placed, float(np.degrees(angle)), True)

    def _at_last_middle(self, taken):
        return taken if self._middle is None else move(*self._middle) @ taken

    def _find_turn(self, pixels, taken, outline_px, radius):
        """The motion from mm as taken to the film's mm, and its angle; None if it is not sure."""
        half = REACH * radius
        surface, cover = _patch(pixels, taken, outline_px, np.zeros(2), half)
        wanted, wanted_cover = self._reference_at(half)
        inner = _inner(wanted_cover)
        ours, theirs = _by_angle(mapped(taken, outline_px)), self._shape
        coarse, coarse_wanted = _coarse(surface, cover), _coarse(wanted, wanted_cover)
        # Most are held much like the last one; all round the circle is tried when that does not fit for certain.
        for turns in (NEAR_TURNS, range(TURNS)):
            tried = []
            for angle, shift in _guesses(coarse, coarse_wanted, list(turns)):
                for likeness, onto, found in _refined(angle, shift, surface, cover, wanted, inner):
                    shape = np.roll(ours, round(np.degrees(found) * ANGLES / 360)) @ theirs
                    tried.append((likeness + SHAPE_WEIGHT * shape, onto, found))
                if tried and tried[0][0] > CERTAIN:
                    break
            if tried and tried[0][0] > CERTAIN:
                break
        if tried:
            likeness, onto, angle = max(tried, key=lambda each: each[0])
            others = [each[0] for each in tried if abs(_wrapped(each[2] - angle)) > APART]
            shift = onto[:2, 2] * 2 * half / SIDE_PX
            leads = not others or likeness - max(others) >= LEAST_LEAD
            if likeness >= LEAST_LIKENESS and leads and np.hypot(*shift) <= FARTHEST * radius:
                return move(*(self._middle + shift)) @ turn(angle), angle
        angle = _turn_by_shape(ours, theirs)
        return None if angle is None else (move(*self._middle) @ turn(angle), angle)

    def _reference_at(self, half_mm):
        """The running reference over another half side."""
        share = half_mm / self._half_mm
        middle = (SIDE_PX - 1) / 2
        scale = (move(middle, middle) @ np.diag([share, share, 1]) @ move(-middle, -middle))[:2].astype(np.float32)
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return tuple(cv2.warpAffine(each, scale, (SIDE_PX, SIDE_PX), flags=flags) for each in self._reference)

    def _remember(self, pixels, placed, outline_px, middle, radius, afresh=False):
        half = REACH * radius
        surface, cover = _patch(pixels, placed, outline_px, middle, half)
        if self._reference is not None and not afresh:
            before, before_cover = self._reference_at(half)
            dx, dy = (self._middle - middle) / (2 * half / SIDE_PX)
            shift = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
            before = cv2.warpAffine(before, shift, (SIDE_PX, SIDE_PX))
            before_cover = cv2.warpAffine(before_cover, shift, (SIDE_PX, SIDE_PX))
            known = REMEMBERS * before_cover * cover
            surface = surface + known * (before - surface)
        self._unsure = 0
        self._shape = _by_angle(mapped(placed, outline_px) - middle)
        self._reference, self._half_mm, self._middle = (surface, cover), half, np.asarray(middle, dtype=float)


def _wrapped(angle):
    return (angle + np.pi) % (2 * np.pi) - np.pi


def _patch(pixels, film_from_px, outline_px, middle, half_mm):
    """The surface (even light, mean 0, sd 1, 0 beside the colony) and the cover about a place of the film."""
    step = SIDE_PX / (2 * half_mm)
    to_patch = move((SIDE_PX - 1) / 2, (SIDE_PX - 1) / 2) @ np.diag([step, step, 1.0]) @ move(*-np.asarray(middle))
    patch_from_px = to_patch @ film_from_px
    places = np.round(mapped(patch_from_px, outline_px) * 16).astype(np.int32)
    cover = np.zeros((SIDE_PX, SIDE_PX), np.uint8)
    cv2.fillPoly(cover, [places], 1, shift=4)
    seen = cv2.warpPerspective(pixels, patch_from_px, (SIDE_PX, SIDE_PX), flags=cv2.INTER_LINEAR)
    light = np.log(seen.astype(np.float32).sum(axis=2) + 12)
    cover = cover.astype(np.float32)
    light *= cover
    # The shade of the whole and the grain are taken off: what is left are branches, rims, polyps.
    spread = cv2.GaussianBlur(cover, (0, 0), 9) + 1e-3
    light = (light - cv2.GaussianBlur(light, (0, 0), 9) / spread) * cover
    light = cv2.GaussianBlur(light, (0, 0), 1.1)
    deviation = float(np.sqrt((light**2).sum() / max(1.0, cover.sum()))) or 1.0
    return np.clip(light / deviation, -3, 3), cover


def _inner(cover):
    """The reference without its rim, which moves on as it grows; bays between branches do not count as rim."""
    whole = cv2.morphologyEx((cover > 0.5).astype(np.uint8), cv2.MORPH_CLOSE, np.ones((13, 13), np.uint8))
    kept = cv2.erode(whole, np.ones((7, 7), np.uint8)) & (cover > 0.5)
    return kept if kept.sum() >= FEWEST_PX else (cover > 0.5).astype(np.uint8)


def _by_angle(outline):
    """How far an outline about its middle reaches at each angle: mean 0, norm 1."""
    angle = np.arctan2(outline[:, 1], outline[:, 0]) % (2 * np.pi)
    order = np.argsort(angle)
    reach = np.hypot(*outline.T)[order]
    even = np.interp(np.arange(ANGLES) * 2 * np.pi / ANGLES, angle[order], reach, period=2 * np.pi)
    even = even - even.mean()
    return even / (np.linalg.norm(even) + 1e-9)


def _turn_by_shape(ours, theirs):
    """The turn that lays one outline on the other, None if it is not sure."""
    fit = np.fft.irfft(np.fft.rfft(theirs) * np.conj(np.fft.rfft(ours)), n=ANGLES)
    best = int(fit.argmax())
    apart = np.abs(_wrapped((np.arange(ANGLES) - best) * 2 * np.pi / ANGLES)) > 2 * APART
    if fit[best] < SHAPE_ALONE or fit[best] - fit[apart].max() < SHAPE_LEAD:
        return None
    return float(_wrapped(best * 2 * np.pi / ANGLES))


def _coarse(surface, cover):
    """What the guesses are made from: few pixels, the edge beside the surface."""
    small = cv2.resize(surface, (COARSE_PX, COARSE_PX), interpolation=cv2.INTER_AREA)
    edge = cv2.resize(cover, (COARSE_PX, COARSE_PX), interpolation=cv2.INTER_AREA)
    edge = edge - cv2.GaussianBlur(edge, (0, 0), 4)
    return [each / (np.linalg.norm(each) + 1e-9) for each in (cv2.GaussianBlur(small, (0, 0), 0.7), edge)]


def _guesses(ours, theirs, turns):
    """Turns and shifts (patch pixels) worth trying, best first, by correlation; ``turns`` in steps round the circle."""
    middle = (COARSE_PX - 1) / 2
    turned = np.empty((len(turns), COARSE_PX, COARSE_PX), np.float32)
    spectra = 0
    for our, their, weight in zip(ours, theirs, (1.0, EDGE_WEIGHT), strict=True):
        for place, number in enumerate(turns):
            onto = cv2.getRotationMatrix2D((middle, middle), -360 * number / TURNS, 1)
            cv2.warpAffine(our, onto, (COARSE_PX, COARSE_PX), dst=turned[place])
        spectra = spectra + weight * fft.rfft2(their) * np.conj(fft.rfft2(turned, axes=(1, 2)))
    fit = fft.irfft2(spectra, s=(COARSE_PX, COARSE_PX), axes=(1, 2))
    farthest = int(FARTHEST / REACH * COARSE_PX / 2)
    near = np.arange(-farthest, farthest + 1)
    fit = fit[:, near][:, :, near]
    best_of = fit.reshape(len(turns), -1).max(axis=1)
    apart = np.abs((np.array(turns)[:, None] - np.array(turns) + TURNS // 2) % TURNS - TURNS // 2)
    guesses = []
    for _ in range(GUESSES):
        best = int(best_of.argmax())
        if best_of[best] == -np.inf:
            break
        row, column = np.unravel_index(int(fit[best].argmax()), fit[best].shape)
        shift = np.array([near[column], near[row]]) * SIDE_PX / COARSE_PX
        guesses.append((2 * np.pi * turns[best] / TURNS, shift))
        best_of[apart[best] <= 4] = -np.inf
    return guesses


def _refined(angle, shift, surface, cover, wanted, inner):
    """A guess moved into place by ECC: its likeness, the motion in pixels about the middle, the angle of it.

    Source: Evangelidis GD, Psarakis EZ 2008, IEEE TPAMI 30:1858–1865, as findTransformECC of OpenCV.
    """
    middle = (SIDE_PX - 1) / 2
    to_middle, back = move(-middle, -middle), move(middle, middle)
    first = move(*shift) @ turn(angle)
    # OpenCV keeps the angle as its sine, so a turn beyond 90° is made first and ECC adds a little to it.
    surface, cover = (
        cv2.warpAffine(each, (back @ first @ to_middle)[:2], (SIDE_PX, SIDE_PX)) for each in (surface, cover)
    )
    enough = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 20, 1e-3)
    try:
        _, motion = cv2.findTransformECC(
            surface, wanted, np.eye(2, 3, dtype=np.float32), cv2.MOTION_EUCLIDEAN, enough, inner, 3
        )
    except cv2.error:  # it found no way on from this guess
        return []
    there = cv2.warpAffine(surface, motion, (SIDE_PX, SIDE_PX))
    covered = cv2.warpAffine(cover, motion, (SIDE_PX, SIDE_PX))
    both = (inner > 0) & (covered > 0.5)
    if both.sum() < FEWEST_PX:
        return []
    one, other = there[both] - there[both].mean(), wanted[both] - wanted[both].mean()
    likeness = float((one * other).sum() / (np.sqrt((one**2).sum() * (other**2).sum()) + 1e-9))
    likeness *= min(1.0, 1.15 * both.sum() / (inner > 0).sum())
    onto = to_middle @ np.vstack([motion, [0, 0, 1]]).astype(float) @ back @ first
    return [(likeness, onto, float(np.arctan2(onto[1, 0], onto[0, 0])))]
