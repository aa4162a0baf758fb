"""Scale cards on paper: read back by a decoder that did not draw them, and measured in the rendered page."""

import io

import numpy as np
import pypdfium2
import pytest
import zxingcpp

from labels.drawing.errors import NothingToDraw
from labels.drawing.papers.pages import A4, LETTER
from labels.drawing.scale_card import CHECK_MM, CardContent, cards_on_a_page, draw_scale_cards
from propagation.card_address import card_address, is_general_card, symbol_mm_of_card
from propagation.imaging.card import BLACK_SRGB, CARDS, GREY_SRGB, card_with_symbol

DPI = 300
MM = DPI / 25.4


def content(card, code="K7M42QXP"):
    return CardContent(card_address("https://ramet.example", card.symbol_mm, code), f"WM1 · Wharfinger Moss · {code}")


def drawn(card, size=A4, count=1):
    sheet = draw_scale_cards([content(card)] * count, card=card, size=size, title="Scale cards")
    pages = pypdfium2.PdfDocument(io.BytesIO(sheet.pdf))
    return sheet, pages, pages[0].render(scale=DPI / 72).to_numpy()[..., :3]


@pytest.mark.parametrize("name", CARDS)
@pytest.mark.parametrize("size", [A4, LETTER], ids=lambda size: size.name)
def test_the_code_is_read_back_and_has_the_size_it_tells(name, size):
    card = CARDS[name]
    _, _, page = drawn(card, size)
    (seen,) = zxingcpp.read_barcodes(page, formats=zxingcpp.BarcodeFormat.QRCode)
    assert seen.text == content(card).address
    assert float(symbol_mm_of_card(seen.text)) == card.symbol_mm
    corner = seen.position
    side = np.hypot(corner.top_right.x - corner.top_left.x, corner.top_right.y - corner.top_left.y)
    assert side / MM == pytest.approx(card.symbol_mm, abs=0.3)


@pytest.mark.parametrize(
    "card", [*CARDS.values(), card_with_symbol(14.0), card_with_symbol(74.0)], ids=lambda c: c.name
)
def test_patches_and_rulers_are_where_measuring_looks_for_them(card):
    _, _, page = drawn(card)
    dark = page.mean(axis=2) < 128
    (seen,) = zxingcpp.read_barcodes(page, formats=zxingcpp.BarcodeFormat.QRCode)
    x, y = seen.position.top_left.x, seen.position.top_left.y

    def mean(place):
        left, top = round(x + place.left * MM), round(y + place.top * MM)
        right, bottom = round(x + place.right * MM), round(y + place.bottom * MM)
        return page[top:bottom, left:right].reshape(-1, 3).mean(axis=0)

    assert mean(card.patch("white").place.shrunk(0.7)).min() > 250  # bare paper
    assert mean(card.patch("grey").place.shrunk(0.7)) == pytest.approx(GREY_SRGB, abs=1)
    assert mean(card.patch("black").place.shrunk(0.7)) == pytest.approx(BLACK_SRGB, abs=1)
    lower = card.rulers[0]
    row = round(y + (lower.start[1] - 1.0) * MM)
    begin = round(x + (lower.start[0] - 0.5) * MM)
    ink = dark[row, begin : round(begin + (lower.length_mm + 1) * MM)]
    ticks = np.flatnonzero(np.diff(ink.astype(int)) == 1)
    assert len(ticks) == lower.length_mm + 1
    assert np.diff(ticks).mean() / MM == pytest.approx(1.0, abs=0.002)


def test_the_line_to_check_the_printer_by_has_its_length():
    _, pages, page = drawn(CARDS["bank card"])
    dark = page.mean(axis=2) < 100
    longest = max(
        len(run) for row in dark[: round(40 * MM)] for run in "".join("x" if each else " " for each in row).split()
    )
    assert longest / MM == pytest.approx(CHECK_MM, abs=0.5)
    assert f"{CHECK_MM} mm" in pages[0].get_textpage().get_text_range()


def test_viewers_are_asked_not_to_scale_and_bytes_repeat():
    first, *_ = drawn(CARDS["small"])
    second, *_ = drawn(CARDS["small"])
    assert first.pdf == second.pdf
    assert b"/PrintScaling /None" in first.pdf


def test_more_cards_than_fit_go_on_and_none_stands_over_the_edge():
    card = CARDS["postcard"]
    fit = cards_on_a_page(card, A4)
    sheet, pages, _ = drawn(card, count=2 * fit + 1)
    assert sheet.pages == len(pages) == 3
    with pytest.raises(NothingToDraw):
        draw_scale_cards([], card=card, size=A4, title="")


def test_names_of_any_script_and_length_keep_clear_of_the_code():
    card = CARDS["small"]
    odd = CardContent(content(card).address, "M001 · " + "珊瑚 الشعاب Кораллы " * 6)
    sheet = draw_scale_cards([odd], card=card, size=A4, title="Scale card")
    page = pypdfium2.PdfDocument(io.BytesIO(sheet.pdf))[0].render(scale=DPI / 72).to_numpy()[..., :3]
    assert zxingcpp.read_barcodes(page)[0].text == odd.address


def test_what_a_card_says_is_told_from_what_a_label_says():
    assert symbol_mm_of_card("https://ramet.example/scale/32.5") == pytest.approx(32.5)
    assert is_general_card("HTTPS://RAMET.EXAMPLE/SCALE/32")
    assert not is_general_card("HTTPS://RAMET.EXAMPLE/SCALE/32/K7M42QXP")
    for other in ("HTTPS://RAMET.EXAMPLE/Q/K7M42QXP", "HTTPS://RAMET.EXAMPLE/SCALE/0", "32", "", "SCALE/32X"):
        assert symbol_mm_of_card(other) is None
