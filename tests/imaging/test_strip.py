"""Strips: all pictures at one scale in rows, and cells of their own."""

import numpy as np
import pytest

from propagation.imaging.film import Subject, TooFewPictures
from propagation.imaging.strip import draw_cell, draw_strip, place_as_taken, scale_of_cells
from tests.imaging.test_film import disc, picture_of

CELL = 120


def months(number, size=40):
    return [picture_of(*disc(size, px_per_mm=2 + 0.1 * n, turn_deg=20 * n), day=30 * n) for n in range(number)]


def bright_columns(cell):
    return int((cell.max(axis=2) > 120).sum(axis=1).max())


def test_a_known_disc_is_as_wide_in_every_cell_and_in_its_middle():
    pictures = months(4)
    scale = scale_of_cells(pictures, CELL)
    for picture in pictures:
        cell = draw_cell(picture, place_as_taken(picture), px_per_mm=scale, cell_px=CELL)
        assert cell.shape == (CELL, CELL, 3)
        assert bright_columns(cell) == pytest.approx(40 * scale, abs=1.5)
        rows, columns = np.nonzero(cell.max(axis=2) > 120)
        assert (rows.mean(), columns.mean()) == pytest.approx((CELL / 2, CELL / 2), abs=1)


def test_cells_of_different_sizes_are_at_one_scale():
    pictures = [picture_of(*disc(20), day=0), picture_of(*disc(60), day=30)]
    scale = scale_of_cells(pictures, CELL)
    cells = [draw_cell(each, place_as_taken(each), px_per_mm=scale, cell_px=CELL) for each in pictures]
    assert bright_columns(cells[1]) / bright_columns(cells[0]) == pytest.approx(3, rel=0.05)


@pytest.mark.parametrize(("number", "columns", "rows"), [(3, 3, 1), (12, 12, 1), (13, 12, 2), (30, 12, 3)])
def test_a_year_stands_in_a_row(number, columns, rows):
    strip = draw_strip(Subject("M1", "Ash Lantern", months(number)), cell_px=80)
    height, width = strip.shape[:2]
    assert width == columns * (80 + 5) + 5
    assert height == 29 + rows * (80 + 19 + 5)


def test_a_strip_says_name_day_and_scale_in_any_script():
    names = ("M1", "珊瑚", "مرجان", "Желтая")
    heads = [draw_strip(Subject(name, "", months(2)), cell_px=160)[:58, :120] for name in names]
    for head in heads:
        assert (head.max(axis=2) > 150).sum() > 40
    assert len({head.tobytes() for head in heads}) == len(names)


def test_one_picture_is_no_strip():
    with pytest.raises(TooFewPictures):
        draw_strip(Subject("M1", "", months(1)))
