"""All pictures of a colony in rows at one scale: to be seen at a glance and to be shared as one picture.

strip = draw_strip(subject, cell_px=240)      # uint8 RGB
cell = draw_cell(picture, placement, px_per_mm=scale_of_cells(pictures, 240), cell_px=240)
"""

from collections.abc import Sequence

import numpy as np

from .alignment import Placement, as_taken, mapped, middle_of, move
from .film import (
    COVER,
    COVER_INK,
    COVER_SOFT,
    MARKER,
    ROOM,
    FilmPicture,
    Subject,
    choose_scale_bar,
    laid,
    lay_ink,
    shrink,
    white_of,
)
from .lettering import BOLD, PLAIN, written

IN_A_ROW = 12  # a year of monthly pictures


def scale_of_cells(pictures: Sequence[FilmPicture], cell_px: int) -> float:
    """Px per mm at which the largest colony fits into a cell, whichever way it is turned."""
    return cell_px / 2 / (ROOM * max(picture.reach_mm() for picture in pictures))


def place_as_taken(picture: FilmPicture) -> Placement:
    """A picture in the orientation it was taken in, with the colony's middle at the film's."""
    if picture.outline_px is None:
        width, height = picture.size_px
        return Placement(as_taken(picture.mm_from_px, np.array([width / 2, height / 2])), 0.0, False)
    centre_px, _ = middle_of(np.asarray(picture.outline_px, dtype=float))
    return Placement(as_taken(picture.mm_from_px, centre_px), 0.0, False)


def draw_cell(
    picture: FilmPicture, placement: Placement, *, px_per_mm: float, cell_px: int, pixels: np.ndarray | None = None
) -> np.ndarray:
    """One square cell, uint8 RGB: the colony's middle in its middle, turned as it was placed, in even light."""
    if pixels is None:
        pixels = picture.open()
    here = shrink(picture, pixels.shape)
    middle = np.zeros(2)
    if picture.outline_px is not None:
        middle, _ = middle_of(mapped(placement.film_from_px, picture.outline_px))
    to_cell = move((cell_px - 1) / 2, (cell_px - 1) / 2) @ np.diag([px_per_mm, px_per_mm, 1.0]) @ move(*-middle)
    frame_from_px = to_cell @ placement.film_from_px @ here
    return laid(pixels, frame_from_px, (cell_px, cell_px), white_of(picture, pixels, here))


def draw_strip(subject: Subject, *, cell_px: int = 240, inches: bool = False) -> np.ndarray:
    """All pictures of a subject, a year to a row, with day and size below each; a scale bar and the name above.

    Raises TooFewPictures for fewer than two.
    """
    pictures = subject.checked().pictures
    scale = scale_of_cells(pictures, cell_px)
    gap, words, head = cell_px // 16, round(cell_px * 0.24), round(cell_px * 0.36)
    columns = min(IN_A_ROW, len(pictures))
    rows = -(-len(pictures) // IN_A_ROW)
    width = columns * (cell_px + gap) + gap
    strip = np.empty((head + rows * (cell_px + words + gap), width, 3), np.uint8)
    strip[:] = COVER
    _write_head(strip[:head], subject, scale, gap, cell_px, inches=inches)
    for number, picture in enumerate(pictures):
        row, column = divmod(number, IN_A_ROW)
        top, left = head + row * (cell_px + words + gap), gap + column * (cell_px + gap)
        placement = subject.placements.get(number) or place_as_taken(picture)
        strip[top : top + cell_px, left : left + cell_px] = draw_cell(
            picture, placement, px_per_mm=scale, cell_px=cell_px
        )
        below = strip[top + cell_px : top + cell_px + words, left : left + cell_px]
        day = written(picture.words, words * 0.34, BOLD)
        lay_ink(below, day, 0, round(words * 0.06), COVER_INK)
        lay_ink(below, written(picture.more_words, words * 0.3), 0, round(words * 0.48), COVER_SOFT)
    return strip


def _write_head(head, subject, scale, gap, cell_px, *, inches):
    height = head.shape[0]
    name = written(subject.name, height * 0.36, BOLD)
    lay_ink(head, name, gap, round(height * 0.2), COVER_INK)
    bar = choose_scale_bar(0.7 * cell_px / scale, inches=inches)
    length, thick = round(bar.length_mm * scale), max(2, height // 32)
    right = head.shape[1] - gap
    letters = written(bar.words, height * 0.24, PLAIN)
    base = round(height * 0.36)
    left = right - max(length, letters.shape[1])
    head[base : base + thick, left : left + length] = MARKER
    for end in (left, left + length - thick):
        head[base - 2 * thick : base + 3 * thick, end : end + thick] = MARKER
    lay_ink(head, letters, left + max(0, (length - letters.shape[1]) // 2), round(height * 0.5), COVER_INK)
    detail = written(subject.detail, height * 0.24, PLAIN)
    start = gap + name.shape[1] + gap
    if start + detail.shape[1] + gap < left:
        lay_ink(
            head, detail, start, round(height * 0.2) + round(name.shape[0] * 0.78 - detail.shape[0] * 0.78), COVER_SOFT
        )
