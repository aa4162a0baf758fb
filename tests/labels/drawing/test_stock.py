"""A stock's measures are checked before anything is printed, and labels follow one another on it."""

from dataclasses import replace
from itertools import islice

import pytest

from labels.drawing.errors import StartOutsideSheet
from labels.drawing.stock import A4_MM, LETTER_MM, StockGeometry, positions, problems

from .samples import STOCKS

GOOD = StockGeometry("A4, 3 × 8, 70 × 37 mm", "sheet", *A4_MM, 70, 37, 3, 8, 0, 0.5, 70, 37)
ROLL = StockGeometry("Roll, 38 × 19 mm", "roll", 38, 19, 38, 19, 1, 1, 0, 0, 38, 19)


def test_shipped_stocks_have_no_problems(stock):
    assert problems(stock) == []


def test_shipped_stocks_are_sheets_of_both_papers_and_rolls_under_their_own_names():
    papers = {(stock.page_width_mm, stock.page_height_mm) for stock in STOCKS if stock.kind == "sheet"}
    assert papers == {A4_MM, LETTER_MM}
    assert sum(stock.kind == "roll" for stock in STOCKS) >= 5
    assert len({stock.name for stock in STOCKS}) == len(STOCKS)


@pytest.mark.parametrize("stock", [GOOD, ROLL], ids=["sheet", "roll"])
def test_good_measures_are_accepted(stock):
    assert problems(stock) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            {"pitch_x_mm": 65},
            "The labels overlap across: each is 70 mm wide, but the next one begins after 65 mm, so 5 mm",
        ),
        ({"pitch_y_mm": 30.5}, "overlap down: each is 37 mm high, but the next one begins after 30.5 mm, so 6.5 mm"),
        (
            {"left_mm": 4},
            "leave the page at the right: the last label ends at 214 mm and the page is 210 mm wide, 4 mm",
        ),
        ({"rows": 9}, "The 9 rows leave the page at the bottom: the last label ends at 333.5 mm"),
        ({"label_width_mm": 0}, "The label width is 0 mm"),
        ({"label_height_mm": 4}, "The label height is 4 mm; a QR that a phone can read needs 8 mm"),
        ({"top_mm": -1}, "The top margin is -1 mm; it cannot be less than nothing"),
        ({"page_width_mm": 21000}, "The page width is 21000 mm; it must lie between"),
        ({"page_height_mm": float("nan")}, "The page height is not a number"),
        ({"columns": 0}, "The number of columns is 0; it must be a whole number from 1 to 100"),
        ({"rows": 1000}, "The number of rows is 1000"),
        ({"corner_radius_mm": 25}, "The corner radius of 25 mm is more than half of the label's shorter side; 18.5 mm"),
        ({"kind": "ream"}, "A stock is a sheet or a roll, not “ream”"),
    ],
)
def test_a_wrong_measure_is_named_with_how_much_it_is_off(change, words):
    found = problems(replace(GOOD, **change))
    assert any(words in sentence for sentence in found), found


def test_each_mistake_has_its_own_sentence():
    assert len(problems(replace(GOOD, pitch_x_mm=60, pitch_y_mm=30))) == 2


def test_a_roll_has_one_label_on_a_page():
    found = problems(replace(ROLL, columns=2, pitch_x_mm=0, page_width_mm=80))
    assert any("A roll has one label on each page, not 2 × 1" in sentence for sentence in found)


def test_rounding_of_a_tenth_of_a_millimetre_is_no_mistake():
    assert problems(replace(GOOD, top_mm=1.05)) == []


def test_labels_fill_rows_then_pages():
    placed = list(islice(positions(GOOD), 26))
    assert placed[0] == (0, 0, 0.5)
    assert placed[3] == (0, 0, 37.5)
    assert placed[23] == (0, 140, 0.5 + 7 * 37)
    assert placed[24:] == [(1, 0, 0.5), (1, 70, 0.5)]


def test_a_part_used_sheet_starts_where_the_keeper_says_and_the_next_one_at_its_first_label():
    placed = list(islice(positions(GOOD, start=24), 2))
    assert placed == [(0, 140, 0.5 + 7 * 37), (1, 0, 0.5)]


@pytest.mark.parametrize("start", [0, -1, 25])
def test_a_start_outside_of_the_sheet_is_refused(start):
    with pytest.raises(StartOutsideSheet, match=f"Position {start} is not on the sheet: it holds 24 labels"):
        positions(GOOD, start=start)


def test_every_label_of_a_roll_is_a_page():
    assert [place.page for place in islice(positions(ROLL), 3)] == [0, 1, 2]
