"""The plane of a printed symbol: from pixels to millimetres, and how sure that is.

Once its text is read, every module of a symbol is known. The whole of it is matched to the picture: a homography, the
light (a black and a white level, each with a gradient), the blur and how far the ink ran are fitted at once to all
pixels of the symbol by Gauss–Newton with robust weights. What a lamp mirrored in the label, a drop or a shadow does to
the light is smooth beside the modules: it is taken off as a level and a contrast of each neighbourhood. Corners of a
decoder are about a quarter of a module wrong; what is fitted to some hundred edges is wrong by a hundredth.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import cv2
import numpy as np

from .colour import LINEAR_OF_LEVEL
from .errors import BadScale, PlaneTooPoor
from .symbol import FoundSymbol

CELLS = 8  # of the template, a module
FEWEST_PX_BETWEEN = 20  # points nearer to each other give no scale worth having (common practice, no source)
MARGIN = 3  # modules of white around the template
SEEN_MARGIN = 1.0  # modules of white around the symbol that are matched too
MOST_PX_PER_MODULE = 9.0  # finer pictures are reduced before matching: it gains nothing and costs time
STEPS = 24
STEADY = 2e-4  # modules; a smaller step ends the fit
LIGHT_MODULES = 1.5  # over which light is taken to be even: wide beside a module, narrow beside a glint (by trial)
ALIKE_MODULES = 3.0  # squares within which errors go together, as glints and sharpening leave them (by trial)
GLARING = 6.0  # times the usual residual, from which a pixel hardly counts: glints, dirt, a drop (by trial)
# Print, paper and lens are never quite what the model says: nine places of the symbol are each taken to be wrong by
# this many modules besides (calibrated on drawn photographs with ink that ran, sharpening and tone curves).
UNMODELLED_MODULES = 0.0005
POOR_CORRELATION = 0.8
POOR_WOBBLE_MODULES = 0.03  # flat symbols stay under 0.005 in drawn photographs
BEND_SHARE = 4.0  # how much more of a bend the homography itself swallows than it leaves to be seen (by trial)
POOR_SCALE_SD = 0.10
# Phones' main cameras: 24 to 28 mm at 35 mm film's size (from memory); used when the picture does not say.
USUAL_FOCAL_35MM = 26.0
USUAL_FOCAL_SD, KNOWN_FOCAL_SD = 0.25, 0.05  # relative; zoomed, cropped or another lens (common practice, no source)
# Of the picture's diagonal: how far the camera's axis may lie off the picture's middle, mostly by cropping (no source).
OFF_MIDDLE_SD = 0.03
USUAL_CAMERA_HEIGHT_MM = 250.0  # where a scale by two points does not tell it (common practice, no source)
UNKNOWN_TILT_DEG = 15.0  # one sd of how askew a phone is held without a label that tells (common practice, no source)
FILM_DIAGONAL_MM = 43.27


def apply_homography(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Points, shape (n, 2), through a 3 × 3 homography."""
    points = np.asarray(points, dtype=float)
    mapped = points @ matrix[:, :2].T + matrix[:, 2]
    return mapped[:, :2] / mapped[:, 2:]


def focal_in_pixels(size_px: tuple[int, int], focal_35mm: float | None = None) -> float:
    """The focal length in pixels of a picture of (width, height), from its equivalent on 35 mm film."""
    return float(np.hypot(*size_px)) * (focal_35mm or USUAL_FOCAL_35MM) / FILM_DIAGONAL_MM


@dataclass(frozen=True)
class Plane:
    """A plane in the picture with a scale.

    Attributes
    ----------
    mm_from_pixel : ndarray, shape (3, 3)
        Homography; mm from the symbol's top left corner.
    side_mm : float
        Side of the symbol, or for a scale by two points their distance.
    covariance : ndarray, shape (8, 8)
        Of the entries d11 … d32 of D, row by row: the true place of a point is (I + D) times where it is taken to be,
        in units of half a side from the symbol's middle. Zero where a tilt was not measured but is in ``extra``.
    size_px : (width, height)
        Of the picture.
    wobble_modules, correlation : float
        How far parts of the symbol lie off a flat one, and how well it is matched.
    scale_sd : float
        Relative sd of every length besides: print, lens, tilt that was not measured.
    poor : str
        Why it should not be trusted, a clause; empty if it may.
    """

    mm_from_pixel: np.ndarray
    side_mm: float
    covariance: np.ndarray
    size_px: tuple[int, int]
    side_px: float
    wobble_modules: float = 0.0
    correlation: float = 1.0
    scale_sd: float = 0.0
    is_mirrored: bool = False
    knows_tilt: bool = True
    focal_35mm: float | None = None
    poor: str = ""
    notes: tuple[str, ...] = field(default_factory=tuple)

    @cached_property
    def pixel_from_mm(self) -> np.ndarray:
        inverse = np.linalg.inv(self.mm_from_pixel)
        return inverse / inverse[2, 2]

    def to_mm(self, points_px: np.ndarray) -> np.ndarray:
        """Points of the picture, shape (n, 2), on the plane."""
        return apply_homography(self.mm_from_pixel, points_px)

    def to_pixels(self, points_mm: np.ndarray) -> np.ndarray:
        """Points of the plane, shape (n, 2), in the picture."""
        return apply_homography(self.pixel_from_mm, points_mm)

    @property
    def corners_px(self) -> np.ndarray:
        """The symbol's corners: top left, top right, bottom right, bottom left."""
        return self.to_pixels(self.side_mm * np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=float))

    def px_per_mm(self, at_mm: np.ndarray | None = None) -> float:
        """Pixels a mm at a place of the plane, the mean over directions; by default in the middle of the symbol."""
        at = np.full(2, self.side_mm / 2) if at_mm is None else np.asarray(at_mm, dtype=float)
        step = 1e-3 * self.side_mm
        around = self.to_pixels(at + step * np.array([[0, 0], [1, 0], [0, 1]]))
        return float(np.sqrt(abs(np.linalg.det((around[1:] - around[0]) / step))))

    @cached_property
    def _focal(self) -> tuple[float, float]:
        """The focal length in pixels and its relative sd: what is known or usual, and what the plane itself tells.

        The two axes of the plane are at right angles and equally long, which a tilted one shows true for one focal
        length alone.
        """
        usual = focal_in_pixels(self.size_px, self.focal_35mm)
        before = KNOWN_FOCAL_SD if self.focal_35mm else USUAL_FOCAL_SD
        if not self.knows_tilt:
            return usual, before
        half = self.side_mm / 2
        normal = np.array([[1 / half, 0, -1], [0, 1 / half, -1], [0, 0, 1.0]])
        middle = (np.array(self.size_px) - 1) / 2
        spread = np.zeros((10, 10))
        spread[:8, :8] = self.covariance
        spread[8:, 8:] = np.eye(2) * (OFF_MIDDLE_SD * np.hypot(*self.size_px)) ** 2
        bare = self.pixel_from_mm @ np.linalg.inv(normal)
        # All ten small changes at once: of the plane's fit, and of where the camera's axis meets the picture.
        changes = np.diag([1e-6] * 8 + [1.0] * 2)
        turned = np.array(
            [bare @ (np.eye(3) + np.append(change[:8], 0).reshape(3, 3)) for change in [changes[0] * 0, *changes]]
        )
        shifts = np.array([middle + change[8:] for change in [changes[0] * 0, *changes]])

        def misfit(focal):
            axes = turned[:, :, :2].copy()
            axes[:, :2] = (axes[:, :2] - shifts[:, :, None] * axes[:, 2:]) / focal
            first, second = axes[..., 0], axes[..., 1]
            long, wide = np.linalg.norm(first, axis=1), np.linalg.norm(second, axis=1)
            off = np.stack([(first * second).sum(axis=1) / (long * wide), np.log(long / wide)], axis=1)
            slopes = (off[1:] - off[0]) / np.diag(changes)[:, None]
            return off[0] @ np.linalg.solve(slopes.T @ spread @ slopes + 1e-12 * np.eye(2), off[0])

        logs = np.linspace(-3, 3, 41) * before
        costs = np.array([misfit(usual * np.exp(log)) for log in logs]) + (logs / before) ** 2
        likely = np.exp(-(costs - costs.min()) / 2)
        likely /= likely.sum()
        mean = float(likely @ logs)
        return usual * float(np.exp(mean)), float(np.sqrt(likely @ (logs - mean) ** 2))

    @cached_property
    def _camera(self):
        """Rotation and camera's place (mm, plane's frame)."""
        focal, _ = self._focal
        width, height = self.size_px
        inner = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
        bare = np.linalg.solve(inner, self.pixel_from_mm)
        bare /= np.linalg.norm(bare[:, :2], axis=0).mean()
        if bare[2] @ [self.side_mm / 2, self.side_mm / 2, 1] < 0:
            bare = -bare
        left, _, right = np.linalg.svd(np.column_stack([bare[:, :2], np.cross(bare[:, 0], bare[:, 1])]))
        rotation = left @ right
        return rotation, -rotation.T @ bare[:, 2]

    @property
    def tilt_deg(self) -> float | None:
        """Angle between the camera's axis and the plane's normal; None if it cannot be known."""
        if not self.knows_tilt:
            return None
        return float(np.degrees(np.arccos(np.clip(abs(self._camera[0][2, 2]), 0, 1))))

    @property
    def camera_height_mm(self) -> float:
        """How far the camera is above the plane."""
        return float(abs(self._camera[1][2]))

    @property
    def camera_height_sd(self) -> float:
        """Relative sd of the camera's height, which is that of the focal length."""
        return self._focal[1]

    def scaled(self, side_mm: float, *, sd_mm: float = 0.0) -> "Plane":
        """The same plane when the symbol's side is another, and known to ``sd_mm``.

        Raises BadScale if the side is not positive.
        """
        if not np.isfinite(side_mm) or side_mm <= 0 or not np.isfinite(sd_mm) or sd_mm < 0:
            raise BadScale("the side of the printed code must be more than 0 mm.")
        by = side_mm / self.side_mm
        matrix = np.diag([by, by, 1.0]) @ self.mm_from_pixel
        return replace(self, mm_from_pixel=matrix, side_mm=float(side_mm), scale_sd=sd_mm / side_mm)

    def seen_through(self, focal_35mm: float) -> "Plane":
        """The same plane when the focal length, as on 35 mm film, is known."""
        return replace(self, focal_35mm=float(focal_35mm))

    def perturbed(self, points_mm: np.ndarray, change: np.ndarray) -> np.ndarray:
        """Where points, shape (n, 2), truly are if D has the entries ``change``, shape (8,)."""
        half = self.side_mm / 2
        matrix = np.append(change, 0.0).reshape(3, 3) + np.eye(3)
        return apply_homography(matrix, (np.asarray(points_mm, dtype=float) - half) / half) * half + half

    def place_sd_mm(self, points_mm: np.ndarray) -> np.ndarray:
        """One sd of where points, shape (n, 2), lie, as a length; from the fit alone."""
        x, y = ((np.asarray(points_mm, dtype=float) - self.side_mm / 2) / (self.side_mm / 2)).T
        zero, one = np.zeros_like(x), np.ones_like(x)
        across = np.stack([x, y, one, zero, zero, zero, -x * x, -x * y], axis=1)
        down = np.stack([zero, zero, zero, x, y, one, -x * y, -y * y], axis=1)
        variance = sum(np.einsum("ni,ij,nj->n", row, self.covariance, row) for row in (across, down))
        return np.sqrt(np.maximum(variance, 0)) * self.side_mm / 2


def plane_from_points(
    size_px: tuple[int, int], first_px, last_px, distance_mm: float, *, point_sd_px: float = 1.0
) -> Plane:
    """A scale from two points of a picture, (width, height), whose distance is known; tilt stays unknown.

    Every length is then as uncertain as a camera held askew by `UNKNOWN_TILT_DEG` makes it.

    Raises BadScale when the points are one, outside the picture, or the distance is not positive.
    """
    first, last = np.asarray(first_px, dtype=float), np.asarray(last_px, dtype=float)
    if not np.isfinite(distance_mm) or distance_mm <= 0:
        raise BadScale("the distance must be more than 0 mm.")
    if first.shape != (2,) or last.shape != (2,) or not np.isfinite([first, last]).all():
        raise BadScale("it takes two points in the picture.")
    if (np.stack([first, last]) < -1).any() or (np.stack([first, last]) > size_px).any():
        raise BadScale("both points must lie in the picture.")
    apart = float(np.hypot(*(last - first)))
    if apart < FEWEST_PX_BETWEEN:
        raise BadScale("the two points are too close to each other. Choose points far apart.")
    per_pixel = distance_mm / apart
    matrix = np.array([[per_pixel, 0, -per_pixel * first[0]], [0, per_pixel, -per_pixel * first[1]], [0, 0, 1.0]])
    # A length seen at a tilt t is short by up to 1 - cos t = t²/2 on a plane; its root mean square over a normal t.
    askew = np.sqrt(3) / 2 * np.radians(UNKNOWN_TILT_DEG) ** 2
    return Plane(
        mm_from_pixel=matrix,
        side_mm=float(distance_mm),
        covariance=np.zeros((8, 8)),
        size_px=tuple(size_px),
        side_px=apart,
        scale_sd=float(np.hypot(np.sqrt(2) * point_sd_px / apart, askew)),
        knows_tilt=False,
        notes=("The scale is from two points: how the camera was tilted is not known, so sizes are less sure.",),
    )


def _template_spectrum(modules):
    light = np.pad(~modules, MARGIN, constant_values=True).astype(float)
    light = np.kron(light, np.ones((CELLS, CELLS)))
    rows, columns = (np.fft.fftfreq(size)[:, None] for size in light.shape)
    return np.fft.fft2(light), columns.T * CELLS, rows * CELLS  # cycles a module


class _Template:
    """The symbol as blurred light, 1 where white, and its derivatives, for one blur."""

    def __init__(self, modules):
        self.spectrum, self.across, self.down = _template_spectrum(modules)
        self.side = len(modules)

    def blurred(self, spread, growth):
        """Layers: light, its slope across and down (a module), its change by blur, and the steepness of edges.

        ``spread`` is the blur's covariance in modules², ``growth`` how it grows by one px² more.
        """
        u, v = self.across, self.down

        def decay(matrix):
            return 2 * np.pi**2 * (matrix[0, 0] * u * u + 2 * matrix[0, 1] * u * v + matrix[1, 1] * v * v)

        soft = self.spectrum * np.exp(-decay(spread))
        layers = np.fft.ifft2(
            np.stack([soft, 2j * np.pi * u * soft, 2j * np.pi * v * soft, -decay(growth) * soft])
        ).real
        return [*layers.astype(np.float32), np.hypot(layers[1], layers[2]).astype(np.float32)]

    @staticmethod
    def sampled(layer, u, v):
        return _sampled(layer, (u + MARGIN) * CELLS - 0.5, (v + MARGIN) * CELLS - 0.5)


def _sampled(layer, columns, rows):
    # Folded into lines of a thousand: OpenCV takes none longer than 32767.
    places = np.zeros((2, -(-len(columns) // 1024) * 1024), np.float32)
    places[:, : len(columns)] = columns, rows
    across, down = places.reshape(2, -1, 1024)
    taken = cv2.remap(layer, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return taken.ravel()[: len(columns)]


@dataclass
class _Fit:
    module_from_pixel: np.ndarray
    blur: float  # px²
    covariance: np.ndarray
    correlation: float
    wobble: float
    pixels: int


def fit_plane(pixels: np.ndarray, symbol: FoundSymbol, side_mm: float, *, focal_35mm: float | None = None) -> Plane:
    """The plane of a symbol of known side in mm (without its quiet zone), matched to the picture.

    A plane that should not be trusted says so in ``poor``.

    Raises
    ------
    BadScale
        If the side is not positive.
    PlaneTooPoor
        If nothing of the symbol can be matched where the decoder saw it.
    """
    if not np.isfinite(side_mm) or side_mm <= 0:
        raise BadScale("the side of the printed code must be more than 0 mm.")
    height, width = pixels.shape[:2]
    side = len(symbol.modules)
    square = np.array([[0, 0], [side, 0], [side, side], [0, side]], dtype=float)
    module_from_pixel = cv2.getPerspectiveTransform(
        symbol.corners_px.astype(np.float32), square.astype(np.float32)
    ).astype(float)
    light, moved = _cut_out(pixels, module_from_pixel, side)
    template = _Template(symbol.modules)
    fit = _best_fit(light, template, module_from_pixel @ moved)
    matrix = fit.module_from_pixel @ np.linalg.inv(moved)
    mm = np.diag([side_mm / side, side_mm / side, 1.0]) @ matrix
    plane = Plane(
        mm_from_pixel=mm / mm[2, 2],
        side_mm=float(side_mm),
        covariance=fit.covariance,
        size_px=(width, height),
        side_px=symbol.side_px,
        wobble_modules=fit.wobble,
        correlation=fit.correlation,
        is_mirrored=symbol.is_mirrored,
        focal_35mm=focal_35mm,
    )
    poor = _why_poor(plane)
    notes = []
    if symbol.is_mirrored:
        notes.append("The picture is mirrored, as some cameras save it; sizes are right all the same.")
    if not symbol.is_regenerated:
        notes.append("The code was made by other rules than Ramet's; it was matched as it was read.")
    return replace(plane, poor=poor, notes=tuple(notes))


def _why_poor(plane):
    if plane.correlation < POOR_CORRELATION:
        return "it is smeared, dirty or partly hidden. Wipe it, hold still and take the picture again."
    if plane.wobble_modules > POOR_WOBBLE_MODULES:
        return "it is bent or wet paper that bulges. Lay it flat and take the picture again."
    if float(plane.place_sd_mm([[0, 0], [plane.side_mm] * 2]).max()) > POOR_SCALE_SD * plane.side_mm:
        return "it is too small in the picture. Take it from nearer by."
    return ""


def _cut_out(pixels, module_from_pixel, side):
    """The symbol's surroundings as light 0…1, reduced if fine; and the original pixel of each of its pixels."""
    reach = SEEN_MARGIN + 1
    around = np.array([[-reach, -reach], [side + reach, -reach], [side + reach, side + reach], [-reach, side + reach]])
    corners = apply_homography(np.linalg.inv(module_from_pixel), around)
    height, width = pixels.shape[:2]
    left, top = np.clip(np.floor(corners.min(axis=0)).astype(int) - 2, 0, [width, height])
    right, bottom = np.clip(np.ceil(corners.max(axis=0)).astype(int) + 3, 0, [width, height])
    if right - left < side or bottom - top < side:
        raise PlaneTooPoor("it is too small in the picture, or cut by its edge.")
    # JPEG keeps brightness finer than colour.
    grey = cv2.cvtColor(pixels[top:bottom, left:right], cv2.COLOR_RGB2GRAY)
    light = LINEAR_OF_LEVEL[grey]
    size = np.sqrt(cv2.contourArea(corners.astype(np.float32))) / (side + 2 * reach)
    by = max(1, int(size // MOST_PX_PER_MODULE) + (size > MOST_PX_PER_MODULE))
    if by > 1:
        light = light[: light.shape[0] // by * by, : light.shape[1] // by * by]
        light = light.reshape(light.shape[0] // by, by, light.shape[1] // by, by).mean(axis=(1, 3))
    shift = (by - 1) / 2
    return light, np.array([[by, 0, left + shift], [0, by, top + shift], [0, 0, 1.0]])


def _best_fit(light, template, start):
    """Fit from the decoder's corners; where that leads astray, from corners moved by a module."""
    best = None
    for dx, dy in ((0, 0), (1, 1), (-1, -1), (1, -1), (-1, 1)):
        side = template.side
        square = np.array([[0, 0], [side, 0], [side, side], [0, side]], dtype=np.float32)
        moved = square + np.array([[0, 0], [0, 0], [dx, dy], [0, 0]], dtype=np.float32)
        try:
            fit = _fit(light, template, cv2.getPerspectiveTransform(square, moved).astype(float) @ start)
        except np.linalg.LinAlgError:
            continue
        if best is None or fit.correlation > best.correlation:
            best = fit
        if best.correlation > 0.9:
            break
    if best is None or best.correlation < 0.3:
        raise PlaneTooPoor("it is too blurred or too much of it is hidden.")
    return best


def _normal(side):
    """Half-side units about the middle, from modules."""
    return np.array([[2 / side, 0, -1], [0, 2 / side, -1], [0, 0, 1.0]])


def _fit(light, template, module_from_pixel):
    side = template.side
    normal = _normal(side)
    back = np.linalg.inv(normal)
    w = normal @ module_from_pixel
    height, width = light.shape
    grid = np.stack(np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float)), axis=-1).reshape(-1, 2)
    size = 1 / np.sqrt(abs(np.linalg.det(_jacobian(back @ w, grid.mean(axis=0)))))
    blur = (0.35 * size) ** 2
    seen_all = light.ravel().astype(float)
    coarse = cv2.GaussianBlur(light, (0, 0), 0.5 * size).ravel().astype(float)
    for step in range(STEPS):
        is_coarse = step < 4
        seen_from = coarse if is_coarse else seen_all
        points = apply_homography(w, grid)
        near = (np.abs(points) < 1 + 2 * SEEN_MARGIN / side).all(axis=1)
        x, y = points[near].T
        seen = seen_from[near]
        middle = apply_homography(np.linalg.inv(w), np.zeros((1, 2)))[0]
        jacobian = _jacobian(back @ w, middle)
        growth = jacobian @ jacobian.T
        # A pixel is a square of light; so is a cell of the template.
        spread = growth * (blur + 1 / 12 + (0.25 * size**2 if is_coarse else 0)) - np.eye(2) / 12 / CELLS**2
        u, v = (x + 1) * side / 2, (y + 1) * side / 2
        value, gx, gy, softer, edge = (template.sampled(layer, u, v) for layer in template.blurred(spread, growth))
        one = np.ones_like(x)
        shades = np.stack([one, x, y, value, value * x, value * y, edge], axis=1)
        weight, brighter, stronger = one, 0.0, 0.0
        for _ in range(2):  # robust: dirt and glints count little
            weighed = shades * weight[:, None]
            level = np.linalg.solve(
                weighed.T @ weighed + 1e-9 * np.eye(7), weighed.T @ ((seen - brighter - stronger * value) * weight)
            )
            left = seen - shades @ level
            if not is_coarse:
                brighter, stronger = _light_near(left, value, weight, u, v, side)
                left = left - brighter - stronger * value
            weight = _trust(left, GLARING if not is_coarse else np.inf)
        contrast = level[3] + level[4] * x + level[5] * y + stronger
        if level[3] <= 0:
            raise np.linalg.LinAlgError("light and dark are the other way round")
        gx, gy = gx * contrast * side / 2, gy * contrast * side / 2
        radial = gx * x + gy * y
        moves = np.stack([gx * x, gx * y, gx, gy * x, gy * y, gy, -radial * x, -radial * y], axis=1)
        design = np.concatenate([moves, shades] + ([] if is_coarse else [(softer * contrast)[:, None]]), axis=1)
        weighed = design * weight[:, None]
        normal_matrix = weighed.T @ weighed
        damped = normal_matrix + np.diag(1e-9 * np.diag(normal_matrix) + 1e-12)
        change = np.linalg.solve(damped, weighed.T @ (left * weight))
        w = (np.eye(3) + np.append(change[:8], 0).reshape(3, 3)) @ w
        if not is_coarse:
            blur = float(np.clip(blur + np.clip(change[-1], -0.5 * blur - 0.1, 0.5 * blur + 0.1), 0.01, size**2))
        moved = np.abs(change[:8]).max() * side / 2
        if not np.isfinite(moved) or moved > side:
            raise np.linalg.LinAlgError("the fit ran away")
        if moved < STEADY and not is_coarse:
            break
    inverse = np.linalg.inv(damped)
    scores = weighed * (left * weight)[:, None]
    covariance = _covariance(inverse, scores, u, v)
    wobble = _wobble(left, weight, gx, gy, x, y, side)
    covariance = covariance[:8, :8] + _unmodelled(np.hypot(UNMODELLED_MODULES, BEND_SHARE * wobble) * 2 / side)
    correlation = float(np.corrcoef(seen - left, seen)[0, 1])
    return _Fit(back @ w, blur, covariance, correlation, wobble, len(seen))


def _light_near(left, value, weight, u, v, side):
    """What each neighbourhood is brighter, and how much stronger its contrast, than the light of the whole says."""
    size = side + 2 * MARGIN
    column, row = np.floor(u).astype(int) + MARGIN, np.floor(v).astype(int) + MARGIN
    cell = row.clip(0, size - 1) * size + column.clip(0, size - 1)
    # A whole neighbourhood may be far off the light of the rest: its pixels then count among themselves.
    counts = np.maximum(weight, 0.2) ** 2

    def near(*values):
        sums = [np.bincount(cell, counts * each, minlength=size * size).reshape(size, size) for each in values]
        return [cv2.GaussianBlur(each, (0, 0), LIGHT_MODULES, borderType=cv2.BORDER_CONSTANT) for each in sums]

    n, s, ss = near(np.ones_like(left), value, value * value)
    some = 1e-2 * n.mean()  # where little is seen, it is the light of the whole
    n, ss = n + some, ss + some
    spread = np.maximum(n * ss - s * s, 1e-9)
    brighter, stronger = 0.0, 0.0
    for _ in range(2):  # once more on what is left: a streak of light is narrower than a neighbourhood
        t, st = near(*(each * (left - brighter - stronger * value) for each in (1.0, value)))
        fields = (ss * t - s * st) / spread, (n * st - s * t) / spread
        more = [_sampled(field.astype(np.float32), u + MARGIN - 0.5, v + MARGIN - 0.5) for field in fields]
        brighter, stronger = brighter + more[0], stronger + more[1]
    return brighter, stronger


def _trust(left, glaring):
    """The weight of each pixel by its residual (Huber's, and less than that for what is far off)."""
    off = np.abs(left) / (1.4826 * np.median(np.abs(left)) + 1e-6)
    return np.sqrt(1 / np.maximum(1, off / 2.5)) * np.minimum(1, glaring / np.maximum(off, 1e-6))


def _jacobian(matrix, at):
    x, y, z = matrix @ np.append(at, 1.0)
    return (matrix[:2, :2] - np.outer([x / z, y / z], matrix[2, :2])) / z


def _covariance(inverse, scores, u, v):
    """Of the parameters, with neighbouring pixels' errors taken to belong together (a sandwich over squares).

    What is left of fitted errors is less than they are, by as many as there are parameters.
    """
    cluster = (np.floor(u / ALIKE_MODULES).astype(int) + 1) * 1000 + np.floor(v / ALIKE_MODULES).astype(int) + 1
    _, member = np.unique(cluster, return_inverse=True)
    sums = np.stack([np.bincount(member, column) for column in scores.T], axis=1)
    count, fitted = len(sums), len(inverse)
    return inverse @ (sums.T @ sums) @ inverse * count / max(count - fitted, 1)


def _wobble(left, weight, gx, gy, x, y, side):
    """How far parts of the symbol still lie off, in modules, beyond what noise makes of so few pixels."""
    parts = 4
    part = np.clip(((x + 1) * parts / 2).astype(int), 0, parts - 1) * parts
    part = part + np.clip(((y + 1) * parts / 2).astype(int), 0, parts - 1)
    w2 = weight**2

    def summed(values):
        return np.bincount(part, values * w2, minlength=parts * parts)

    a, b, c = summed(gx * gx), summed(gx * gy), summed(gy * gy)
    p, q = summed(gx * left), summed(gy * left)
    det = np.maximum(a * c - b * b, 1e-12)
    across, down = (c * p - b * q) / det, (a * q - b * p) / det
    noise = float(np.average(left**2, weights=w2)) * (a + c) / det
    # A part of which little is seen, because a lamp is mirrored there, tells as little.
    excess = np.average(across**2 + down**2 - 4 * noise, weights=1 / noise) / 2
    return float(np.sqrt(max(excess, 0.0)) * side / 2)


def _unmodelled(sd):
    """Covariance of D when nine places of the symbol are each wrong by ``sd`` (half-side units), one by itself."""
    places = [(x, y) for x in (-0.8, 0, 0.8) for y in (-0.8, 0, 0.8)]
    rows = []
    for x, y in places:
        rows.append([x, y, 1, 0, 0, 0, -x * x, -x * y])
        rows.append([0, 0, 0, x, y, 1, -x * y, -y * y])
    design = np.array(rows)
    return np.linalg.inv(design.T @ design) * sd**2
