"""A PDF of labels: pages, title, fonts, warnings and the same bytes every time."""

from dataclasses import replace

import numpy as np
import pypdfium2
import pytest

from labels.drawing.errors import BadResolution, BadStock, LabelDrawingError, NothingToDraw, StartOutsideSheet
from labels.drawing.sheet import draw_labels, draw_test_outline
from labels.drawing.stock import StockGeometry
from labels.drawing.symbol import dot_mm

from .samples import NAMES, STOCKS, content, raster

SHEET = StockGeometry("A4, 3 × 8, 70 × 37 mm", "sheet", 210, 297, 70, 37, 3, 8, 0, 0.5, 70, 37)
ROLL = StockGeometry("Roll, 38 × 19 mm", "roll", 38, 19, 38, 19, 1, 1, 0, 0, 38, 19)
TINY = StockGeometry("Roll, 12 × 12 mm", "roll", 12, 12, 12, 12, 1, 1, 0, 0, 12, 12)


def page_texts(pdf):
    with pypdfium2.PdfDocument(pdf) as document:
        return [page.get_textpage().get_text_bounded() for page in document]


def test_a_label_says_its_code_lineage_date_and_mother():
    (text,) = page_texts(draw_labels([content("K7M42QXP", "Ember Table", "AC-07")], stock=SHEET).pdf)
    for words in ("K7M4-2QXP", "Ember Table", "2026-11-25", "AC-07"):
        assert words in text


def test_a_colony_shows_its_own_tag_and_no_date():
    (text,) = page_texts(draw_labels([content(mother="AC-07", cut_on=None, kind="colony")], stock=SHEET).pdf)
    assert "AC-07" in text
    assert "from" not in text


def test_names_in_many_scripts_can_be_searched_for_in_the_pdf():
    (text,) = page_texts(
        draw_labels([content(lineage=NAMES[script]) for script in ("Chinese", "Cyrillic")], stock=SHEET).pdf
    )
    assert "珊瑚礁之光" in text
    assert NAMES["Cyrillic"] in text


def test_labels_fill_as_many_pages_as_they_need():
    drawn = draw_labels([content()] * 50, stock=SHEET)
    assert drawn.pages == len(page_texts(drawn.pdf)) == 3
    assert draw_labels([content()] * 50, stock=ROLL).pages == 50


def test_a_part_used_sheet_is_started_where_the_keeper_says():
    page = raster(draw_labels([content()], stock=SHEET, start=5, dpi=300).pdf, 0, 300)
    down, across = np.nonzero(page)
    dot = dot_mm(300)
    assert 70 < across.min() * dot < across.max() * dot < 140
    assert 37.5 < down.min() * dot < down.max() * dot < 74.5


def test_a_start_outside_of_the_sheet_is_refused():
    with pytest.raises(StartOutsideSheet):
        draw_labels([content()], stock=SHEET, start=25)


def test_a_stock_with_wrong_measures_is_refused_with_what_is_wrong():
    bad = StockGeometry("Home-made", "sheet", 210, 297, 70, 37, 3, 9, 0, 0.5, 65, 37)
    for draw in (lambda: draw_labels([content()], stock=bad), lambda: draw_test_outline(bad)):
        with pytest.raises(BadStock, match=r"“Home-made” cannot be printed\. The labels overlap across") as caught:
            draw()
        assert len(caught.value.problems) == 2
        assert isinstance(caught.value, LabelDrawingError)


def test_no_labels_are_refused():
    with pytest.raises(NothingToDraw, match="Choose at least one plug or colony"):
        draw_labels([], stock=SHEET)


@pytest.mark.parametrize("dpi", [0, -203, 10, 100_000])
def test_an_absurd_resolution_is_refused(dpi):
    with pytest.raises(BadResolution, match="203, 300 or 600"):
        draw_labels([content()], stock=SHEET, dpi=dpi)


def test_the_same_labels_give_the_same_bytes():
    labels = [content(lineage=name) for name in NAMES.values()]
    assert draw_labels(labels, stock=SHEET).pdf == draw_labels(iter(labels), stock=SHEET).pdf


def test_the_pdf_has_its_title_and_asks_not_to_be_scaled():
    pdf = draw_labels([content()], stock=SHEET, title="Labels of 25 November").pdf
    with pypdfium2.PdfDocument(pdf) as document:
        assert document.get_metadata_dict()["Title"] == "Labels of 25 November"
    assert b"/PrintScaling /None" in pdf


def test_every_font_is_embedded():
    pdf = draw_labels([content(lineage=name) for name in NAMES.values()], stock=SHEET).pdf
    raw = pypdfium2.raw
    with pypdfium2.PdfDocument(pdf) as document:
        texts = [each for each in document[0].get_objects() if each.type == raw.FPDF_PAGEOBJ_TEXT]
        assert len(texts) > 3 * len(NAMES)
        assert all(raw.FPDFFont_GetIsEmbedded(raw.FPDFTextObj_GetFont(text)) == 1 for text in texts)


def test_a_label_weighs_little():
    chance = np.random.default_rng(3)
    labels = [content("".join(chance.choice(list("23456789ABCDEFGHJKMNPQRSTWXYZ"), 8))) for _ in range(240)]
    assert len(draw_labels(labels, stock=SHEET).pdf) / len(labels) < 1200
    assert len(draw_labels(labels, stock=ROLL).pdf) / len(labels) < 1200


def test_each_symbol_is_one_path():
    pdf = draw_labels([content(), content("9ZZW3HJ4")], stock=SHEET).pdf
    with pypdfium2.PdfDocument(pdf) as document:
        kinds = [each.type for each in document[0].get_objects()]
    assert kinds.count(pypdfium2.raw.FPDF_PAGEOBJ_PATH) == 2
    assert kinds.count(pypdfium2.raw.FPDF_PAGEOBJ_IMAGE) == 0


def test_a_module_too_small_to_scan_is_warned_of():
    address = "HTTPS://CORALS.EXAMPLE/" + "X" * 120  # 45 modules: 11.43 mm at 0.254 mm a module
    (warning,) = [each for each in draw_labels([_at(address)], stock=TINY, dpi=300).warnings if "phone" in each]
    assert "0.17 mm" in warning
    assert draw_labels([_at(address)], stock=ROLL, dpi=300).warnings == []


def _at(address):
    return replace(content(), address=address)


def test_what_a_tiny_label_leaves_out_is_said():
    assert draw_labels([content()], stock=TINY).warnings == [
        "“Roll, 12 × 12 mm” has room for the QR and the code; lineage, date and mother are not printed."
    ]


def test_a_name_cut_short_is_said_once():
    warnings = draw_labels([content(lineage=NAMES["long"] * 3)] * 5, stock=ROLL).warnings
    assert len(warnings) == 1
    assert "is too long for “Roll, 38 × 19 mm” and is cut short with an ellipsis" in warnings[0]


def test_a_character_without_a_glyph_is_said_by_name():
    (warning,) = draw_labels([content(lineage="Odd \U00012000")], stock=SHEET).warnings
    assert "(U+12000 CUNEIFORM SIGN A); a box stands in its place" in warning


def test_ordinary_labels_have_no_warnings():
    ordinary = [stock for stock in STOCKS if stock.label_width_mm >= 20 and stock.label_height_mm >= 10]
    for stock in ordinary:
        assert draw_labels([content()], stock=stock).warnings == []


def test_an_outline_is_drawn_when_asked_for():
    plain = draw_labels([content()], stock=SHEET)
    outlined = draw_labels([content()], stock=SHEET, outline=True)
    assert raster(outlined.pdf, 0, 300).sum() > raster(plain.pdf, 0, 300).sum()


def test_the_test_outline_has_a_true_100_mm_ruler_each_way_and_every_position():
    pdf = draw_test_outline(SHEET)
    (text,) = page_texts(pdf)
    assert text.count("100 mm") == 2
    assert SHEET.name in text
    assert {str(number) for number in range(1, 25)} <= set(text.split())
    page = raster(pdf, 0, 600)
    dot = dot_mm(600)
    longest = max(_longest_run(row) for row in page[int(0.6 * len(page)) : int(0.64 * len(page))])
    assert longest * dot == pytest.approx(100, abs=0.3)


def _longest_run(row):
    edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(np.int8), [0]))))
    return int((edges[1::2] - edges[::2]).max()) if len(edges) else 0


def test_every_shipped_stock_has_a_test_outline(stock):
    (text,) = page_texts(draw_test_outline(stock))
    assert "mm" in text
