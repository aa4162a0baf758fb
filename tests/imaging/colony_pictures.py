"""Pictures of colonies with known outlines, drawn otherwise than `propagation.imaging.drawn` draws them.

They are small and plain, in CIELAB, each with one difficulty, so that outlines are not tested on one painter alone.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from propagation.imaging.polygons import outline_mask

HEIGHT, WIDTH = 480, 640
SHAPES = ("round", "lobed", "branching")
DIFFICULTIES = (
    "none",
    "dim",
    "same hue",
    "blue light",
    "noise",
    "blur",
    "vignetting",
    "shadow",
    "glare",
    "label beside",
    "blotches",
)


@dataclass(frozen=True)
class ColonyPicture:
    """``box_px`` is 10 % larger than the colony. ``label_px`` are the corners of a symbol, or None."""

    pixels: np.ndarray
    outline_px: np.ndarray
    label_px: np.ndarray | None = None

    @property
    def truth(self):
        return outline_mask(self.outline_px, self.pixels.shape[1::-1])

    @property
    def box_px(self):
        return box_around(self.outline_px, 1.10)

    @property
    def labels_px(self):
        return [] if self.label_px is None else [self.label_px]


def box_around(outline_px, larger):
    low, high = outline_px.min(axis=0), outline_px.max(axis=0)
    middle, half = (low + high) / 2, (high - low) / 2 * larger
    return tuple(np.concatenate([middle - half, middle + half]).tolist())


def overlap(points, truth):
    """Intersection over union of an outline with the true pixels."""
    found = outline_mask(points, truth.shape[::-1])
    return (found & truth).sum() / (found | truth).sum()


def cloud(random, cell, octaves=3):
    """Noise of several sizes, sd 1, the largest about ``cell`` pixels."""
    total = np.zeros((HEIGHT, WIDTH), np.float32)
    for octave in range(octaves):
        step = max(2, cell / 2**octave)
        coarse = random.standard_normal((int(HEIGHT / step) + 3, int(WIDTH / step) + 3)).astype(np.float32)
        fine = cv2.resize(coarse, None, fx=step, fy=step, interpolation=cv2.INTER_CUBIC)
        total += 0.6**octave * fine[:HEIGHT, :WIDTH]
    return total / total.std()


def draw_shape(shape, random, middle, radius):
    """An outline (n, 2) in pixels."""
    if shape == "branching":
        return _draw_branches(random, middle, radius)
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    reach = np.ones_like(angle)
    for order in range(2, 6 if shape == "round" else 14):
        swing = (0.12 if shape == "round" else 0.3) / order
        reach += swing * random.uniform(-1, 1) * np.cos(order * angle + random.uniform(0, 7))
    return middle + radius * reach[:, None] * np.column_stack([np.cos(angle), 0.85 * np.sin(angle)])


def _draw_branches(random, middle, radius):
    fine = 4
    drawn = np.zeros((HEIGHT * fine, WIDTH * fine), np.uint8)
    start = (np.asarray(middle) * fine).astype(int)
    cv2.circle(drawn, tuple(start.tolist()), int(0.3 * radius * fine), 1, -1)
    arms = 7
    for arm in range(arms):
        angle = 2 * np.pi * (arm + random.uniform(-0.2, 0.2)) / arms
        fork = start + 0.65 * radius * fine * np.array([np.cos(angle), np.sin(angle)])
        thick = int(0.17 * radius * fine)
        cv2.line(drawn, tuple(start.tolist()), tuple(fork.astype(int).tolist()), 1, thick)
        for turn in (-0.5, 0.4):
            tip = fork + 0.4 * radius * fine * np.array([np.cos(angle + turn), np.sin(angle + turn)])
            cv2.line(drawn, tuple(fork.astype(int).tolist()), tuple(tip.astype(int).tolist()), 1, int(0.8 * thick))
    edges = cv2.findContours(drawn, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    return (max(edges, key=cv2.contourArea)[::3, 0].astype(float) + 0.5) / fine - 0.5


def cover_of(outline):
    """How far each pixel is covered, 0…1."""
    fine = 4
    places = (outline + 0.5) * fine - 0.5
    return cv2.resize(
        outline_mask(places, (WIDTH * fine, HEIGHT * fine)).astype(np.float32),
        (WIDTH, HEIGHT),
        interpolation=cv2.INTER_AREA,
    )[..., None]


def draw_colony(shape="round", difficulty="none", seed=0, *, colour=None, ground=None):
    """Draw one. ``colour`` and ``ground`` are CIELAB."""
    random = np.random.default_rng([seed, SHAPES.index(shape), DIFFICULTIES.index(difficulty)])
    middle = np.array([WIDTH, HEIGHT]) * random.uniform(0.42, 0.58, 2)
    outline = draw_shape(shape, random, middle, random.uniform(115, 160))
    cover = cover_of(outline)
    if ground is None:
        ground = (random.uniform(35, 65), random.uniform(-8, 8), random.uniform(-8, 12))
    if colour is None:
        hue, chroma = random.uniform(0, 2 * np.pi), random.uniform(28, 45)
        colour = (ground[0] + random.uniform(-14, 14), chroma * np.cos(hue), chroma * np.sin(hue))
        if difficulty == "dim":
            colour = np.asarray(ground) + np.array([5.0, 12 * np.cos(hue), 12 * np.sin(hue)])
        if difficulty == "same hue":
            colour = (ground[0] - 20, ground[1], ground[2])
    back = np.asarray(ground, np.float32) + np.dstack([4 * cloud(random, 60), cloud(random, 40), cloud(random, 40)])
    if difficulty == "blotches":
        spots = (cloud(random, 70, 2) > 0.5).astype(np.float32)[..., None]
        back += cv2.GaussianBlur(spots, (0, 0), 1.5)[..., None] * np.float32([10, -9, 9])
    if difficulty == "shadow":
        shade = cv2.GaussianBlur(np.roll(cover[..., 0], (6, 9), (0, 1)), (0, 0), 5)
        back *= 1 - 0.35 * shade[..., None]
    flesh = np.asarray(colour, np.float32) + np.dstack([3 * cloud(random, 14), cloud(random, 30), cloud(random, 30)])
    lab = (back * (1 - cover) + flesh * cover).astype(np.float32)
    label_px = None
    if difficulty == "label beside":
        label_px = _lay_label(lab, outline, random)
    light = np.clip(cv2.cvtColor(lab, cv2.COLOR_Lab2LRGB), 0, 1)
    across, down = np.linspace(-1, 1, WIDTH)[None, :, None], np.linspace(-1, 1, HEIGHT)[:, None, None]
    light = light * (1 + 0.15 * across)
    if difficulty == "vignetting":
        light = light * (1 - 0.35 * (across**2 + down**2) / 2)
    if difficulty == "blue light":
        light = light * [0.35, 0.6, 1.0]
    if difficulty == "glare":
        for x, y in middle + random.uniform(-60, 60, (4, 2)):
            spot = cv2.circle(np.zeros((HEIGHT, WIDTH), np.float32), (int(x), int(y)), 5, 1.0, -1)
            light = light + 1.5 * cv2.GaussianBlur(spot, (0, 0), 3)[..., None]
    light = cv2.GaussianBlur(np.asarray(light, np.float32), (0, 0), 2.2 if difficulty == "blur" else 0.7)
    grain = random.standard_normal(light.shape) * (0.05 if difficulty == "noise" else 0.008)
    pixels = np.clip(255 * (np.clip(light, 0, 1) ** (1 / 2.2) + grain), 0, 255).astype(np.uint8)
    return ColonyPicture(pixels, outline, label_px)


def _lay_label(lab, outline, random):
    """A white square with a code at the colony's lower right, within its box."""
    side = 34
    truth = outline_mask(outline, (WIDTH, HEIGHT))
    high = outline.max(axis=0).astype(int)
    left, top = high - side - 2
    while truth[top - 3 : top + side + 3, left - 3 : left + side + 3].any():
        left, top = left + 2, top + 2
    modules = np.kron(random.integers(0, 2, (10, 10)), np.ones((2, 2)))
    lab[top : top + side, left : left + side] = (90, 0, 0)
    lab[top + 7 : top + 27, left + 7 : left + 27, 0] = 90 - 70 * modules
    start = np.array([left, top]) - 0.5
    return start + np.array([[7, 7], [27, 7], [27, 27], [7, 27]])
