"""Every shipped stock is printed at every common resolution and read with a decoder that did not draw it.

The PDF is rendered by pypdfium2 at the printer's dots and cut to black and white, as a label printer would burn it;
zxing-cpp reads it. Both are other programs than the ones that drew it.
"""

from dataclasses import replace
from itertools import islice

import numpy as np
import pytest
import zxingcpp

from labels.drawing.layout import Box
from labels.drawing.sheet import LabelPainter, draw_labels
from labels.drawing.stock import positions
from labels.drawing.symbol import QUIET_MODULES, dot_mm, make_symbols

from .samples import NAMES, STOCKS, content, raster

SAMPLE = [
    content("K7M42QXP", NAMES["short"]),
    content("9ZZW3HJ4", NAMES["long"], mother="A mother with a tag far too long for its place"),
    content("BCD23EFG", NAMES["Devanagari"]),
]


def in_dots(box: Box, dpi):
    """Rows and columns of a raster that a box in mm covers, without the dots its edge only grazes."""
    dot = dot_mm(dpi)
    rows = slice(int(np.ceil(box.y / dot - 0.01)), int(np.floor(box.bottom / dot + 0.01)))
    columns = slice(int(np.ceil(box.x / dot - 0.01)), int(np.floor(box.right / dot + 0.01)))
    return rows, columns


def read(dark, dots):
    """What zxing-cpp reads in a raster; where a module is few dots, a camera still sees each as several pixels."""
    enlarge = max(1, 6 // dots)
    seen = np.where(dark, 0, 255).astype(np.uint8).repeat(enlarge, axis=0).repeat(enlarge, axis=1)
    return [found.text for found in zxingcpp.read_barcodes(seen)]


@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_labels_of_every_stock_scan_at_this_resolution(stock, dpi):
    start = max(1, stock.per_page - len(SAMPLE) + 1)  # the far corner, where rounding would have added up most
    drawn = draw_labels(SAMPLE, stock=stock, dpi=dpi, start=start)
    assert not any("a phone may not read it" in warning for warning in drawn.warnings)
    painter = LabelPainter(SAMPLE, stock=stock, dpi=dpi)
    symbols = list(make_symbols(label.address for label in SAMPLE))
    pages = {}
    for label, modules, place in zip(SAMPLE, symbols, positions(stock, start), strict=False):
        if place.page not in pages:
            pages[place.page] = raster(drawn.pdf, place.page, dpi)
        page = pages[place.page]
        rows, columns = in_dots(Box(place.x_mm, place.y_mm, stock.label_width_mm, stock.label_height_mm), dpi)
        assert read(page[rows, columns], painter.layout(label.address).dots) == [label.address]

        # Each module is the same whole number of dots on paper, and the quiet zone of four modules is clear.
        layout = painter.layout(label.address)
        corner_x, corner_y = painter.symbol_corner(layout, place.x_mm, place.y_mm)
        left, top = round(corner_x / dot_mm(dpi)), round(corner_y / dot_mm(dpi))
        quiet = QUIET_MODULES * layout.dots
        with_quiet_zone = np.pad(np.kron(modules, np.ones((layout.dots, layout.dots), dtype=bool)), quiet)
        side = len(with_quiet_zone)
        printed = page[top - quiet : top - quiet + side, left - quiet : left - quiet + side]
        assert (printed == with_quiet_zone).all()


def test_nothing_is_printed_outside_of_a_label(stock):
    labels = [content("K7M42QXP", name) for name in NAMES.values()]
    count = min(len(labels), stock.per_page)
    drawn = draw_labels(labels[:count], stock=stock, dpi=203, start=stock.per_page - count + 1)
    page = raster(drawn.pdf, 0, 203)
    for place in islice(positions(stock), stock.per_page):
        rows, columns = in_dots(Box(place.x_mm, place.y_mm, stock.label_width_mm, stock.label_height_mm), 203)
        page[rows, columns] = False
    assert not page.any()


def test_a_round_label_is_printed_inside_its_circle():
    stock = next(each for each in STOCKS if each.corner_radius_mm == each.label_width_mm / 2)
    labels = [content("K7M42QXP", name) for name in NAMES.values()]
    page = raster(draw_labels(labels, stock=stock, dpi=300).pdf, 0, 300)
    down, across = np.nonzero(page)
    x, y = (across + 0.5) * dot_mm(300), (down + 0.5) * dot_mm(300)
    radius = stock.corner_radius_mm
    centres = [(place.x_mm + radius, place.y_mm + radius) for place in islice(positions(stock), len(labels))]
    nearest = np.min([np.hypot(x - centre_x, y - centre_y) for centre_x, centre_y in centres], axis=0)
    assert nearest.max() < radius


def test_a_longer_base_address_still_scans_or_is_warned_of(stock):
    longer = [
        replace(content(), address=f"HTTPS://CORALS.OF-A-KEEPER.EXAMPLE/SHELF-{'X' * extra}/Q/K7M42QXP")
        for extra in (0, 40)
    ]
    for label in longer:
        drawn = draw_labels([label], stock=stock, dpi=300)
        page = raster(drawn.pdf, 0, 300)
        place = next(positions(stock))
        rows, columns = in_dots(Box(place.x_mm, place.y_mm, stock.label_width_mm, stock.label_height_mm), 300)
        layout = LabelPainter([label], stock=stock, dpi=300).layout(label.address)
        assert read(page[rows, columns], layout.dots) == [label.address]
        assert any("a phone may not read it" in warning for warning in drawn.warnings) == (layout.module_mm < 0.25)
