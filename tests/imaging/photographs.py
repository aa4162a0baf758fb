"""Drawn photographs that several tests look at, drawn once."""

from functools import cache

import numpy as np

from propagation.imaging import measure, open_picture, read_labels
from propagation.imaging.colour import linear_from_pixels, srgb_from_linear
from propagation.imaging.drawn import DrawnPhoto, draw_sample

SAMPLE = range(18)
WORST = {"px_per_module": 4.0, "tilt_deg": 40.0, "blur_px": 1.0, "noise": 0.02, "jpeg_quality": 70}


@cache
def drawn(seed: int) -> DrawnPhoto:
    """A photograph by chance, of 4 to 8.25 px a module: finer ones take long to draw and are easier to measure."""
    if seed == 0:
        return draw_sample(seed, **WORST)
    return draw_sample(seed, px_per_module=4 + seed / 4)


@cache
def opened(seed: int):
    return open_picture(drawn(seed).jpeg)


@cache
def labels(seed: int):
    return read_labels(opened(seed), side_mm=drawn(seed).label_mm)


@cache
def measured(seed: int):
    """Measured with the true outline."""
    photo = drawn(seed)
    return measure(opened(seed), outline_px=photo.outline_px, label_mm=photo.label_mm, symbol=labels(seed)[0])


def with_glint(photo: DrawnPhoto, seed: int) -> np.ndarray:
    """Its pixels with a lamp mirrored across the label: light added in a streak, blown out in its middle."""
    random = np.random.default_rng([seed, 1869])
    height, width = photo.pixels.shape[:2]
    side = np.hypot(*(photo.symbol_corners_px[1] - photo.symbol_corners_px[0]))
    x0, y0 = photo.symbol_corners_px.mean(axis=0) + random.normal(0, 0.2, 2) * side
    along, across = np.meshgrid(np.arange(width) - x0, np.arange(height) - y0)
    turn = random.uniform(0, np.pi)
    across, along = (
        along * np.sin(turn) - across * np.cos(turn),
        along * np.cos(turn) + across * np.sin(turn),
    )
    lamp = random.uniform(0.4, 0.8) * np.exp(-0.5 * (across / (0.09 * side)) ** 2 - 0.5 * (along / (0.5 * side)) ** 2)
    light = linear_from_pixels(photo.pixels) + lamp[..., None] * [0.8, 0.95, 1.0]
    return srgb_from_linear(light).round().astype(np.uint8)


def errors_and_sds(seeds):
    """Relative errors and stated sds of area and longest diameter, each of shape (n,)."""
    rows = []
    for seed in seeds:
        photo, found = drawn(seed), measured(seed)
        rows.append(
            (
                found.area_mm2 / photo.area_mm2 - 1,
                found.sd_area_mm2 / found.area_mm2,
                found.longest_mm / photo.longest_mm - 1,
                found.sd_longest_mm / found.longest_mm,
            )
        )
    return np.array(rows).T
