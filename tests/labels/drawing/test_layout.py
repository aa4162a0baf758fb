"""Texts, symbol and edge of a label keep apart, whatever a keeper calls a lineage."""

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labels.drawing.errors import SymbolTooLarge
from labels.drawing.layout import Box, choose_layout
from labels.drawing.sheet import LabelPainter
from labels.drawing.symbol import symbol_size
from labels.drawing.typesetting import tidy

from .samples import NAMES, STOCKS, content

MODULES = symbol_size(content().address).modules_with_quiet_zone
SMALL_AND_LARGE = [
    stock for stock in STOCKS if stock.name in ("A4, 7 × 27, 25.4 × 10 mm", "A4, 3 × 8, 70 × 37 mm", "Roll, 25 × 25 mm")
]


def arrangement(width, height, dpi=300):
    return choose_layout(width, height, MODULES, dpi, "a label").arrangement


def assert_apart(painter, label):
    layout = painter.layout(label.address)
    whole = Box(0, 0, painter.stock.label_width_mm, painter.stock.label_height_mm)
    lines = painter.lines(label)
    for line in lines:
        assert whole.holds(line.ink), (line.part, line.ink)
        assert not layout.symbol.touches(line.ink), line.part
    for one, other in combinations(lines, 2):
        assert not one.ink.touches(other.ink, tolerance=0.01), (one.part, one.ink, other.part, other.ink)
    assert whole.holds(layout.symbol)


@pytest.mark.parametrize("dpi", [203, 600])
def test_names_in_every_script_keep_off_the_symbol_each_other_and_the_edge(stock, dpi):
    labels = [content(lineage=name) for name in NAMES.values()]
    labels += [content(lineage=NAMES["long"], mother=mother) for mother in (NAMES["long"], NAMES["Thai"], None)]
    labels.append(content(cut_on=None, mother=None, kind="colony"))
    labels.append(content(lineage=""))
    painter = LabelPainter(labels, stock=stock, dpi=dpi)
    for label in labels:
        assert_apart(painter, label)


@given(st.text(min_size=1, max_size=60))
@settings(max_examples=30, deadline=None)
def test_any_text_a_keeper_may_paste_keeps_its_place(text):
    for stock in SMALL_AND_LARGE:
        label = content(lineage=tidy(text), mother=tidy(text[:8]))
        assert_apart(LabelPainter([label], stock=stock, dpi=300), label)


def test_a_colony_tag_longer_than_a_code_stays_in_its_place(stock):
    for tag in ("AC-07", "A colony with a very long tag", "珊瑚-07", "gypsy-07"):
        tagged = replace(content(), code=tag, kind="colony", cut_on=None, mother=None)
        assert_apart(LabelPainter([tagged], stock=stock, dpi=300), tagged)


def test_wide_labels_have_text_beside_the_symbol_and_square_ones_below():
    assert arrangement(70, 37) == "beside"
    assert arrangement(38, 19) == "beside"
    assert arrangement(20, 10) == "beside"
    assert arrangement(25, 25) == "below"
    assert arrangement(20, 40) == "below"


def test_tiny_labels_have_the_code_alone():
    assert arrangement(12, 12) == "code below"
    assert arrangement(14, 9) == "code beside"
    assert arrangement(9, 9) == "symbol"


def test_a_larger_label_has_a_larger_symbol_and_larger_text():
    sizes = [choose_layout(width, width / 2, MODULES, 300, "a label") for width in (20, 30, 50, 70)]
    assert [layout.dots for layout in sizes] == sorted(layout.dots for layout in sizes)
    assert [layout.code_pt for layout in sizes] == sorted(layout.code_pt for layout in sizes)
    assert sizes[-1].dots > sizes[0].dots


def test_a_symbol_that_scans_matters_more_than_text():
    layout = choose_layout(12.2, 12.2, 45, 300, "a label")  # 45 modules need 11.43 mm at 3 dots
    assert (layout.arrangement, layout.dots) == ("symbol", 3)


def test_a_symbol_that_cannot_be_printed_at_all_is_refused_with_a_way_out():
    with pytest.raises(SymbolTooLarge, match=r"does not fit on “a label” at 203 dpi\. Take a larger label"):
        choose_layout(8, 8, 77, 203, "a label")
