"""Codes in a picture are found, read and known module by module."""

import cv2
import numpy as np
import pytest
import qrcode

from propagation.imaging import find_symbols, read_labels
from propagation.imaging.drawn import draw_sample
from propagation.imaging.errors import NoSymbolFound, SymbolNotInPicture, WhichSymbol
from propagation.imaging.measuring import choose_label

from .photographs import SAMPLE, drawn, labels, opened


@pytest.mark.parametrize("seed", SAMPLE)
def test_every_code_of_four_pixels_a_module_is_read_and_known(seed):
    found = find_symbols(opened(seed).pixels)
    assert [symbol.text for symbol in found] == [drawn(seed).text]
    np.testing.assert_array_equal(found[0].modules, drawn(seed).modules)
    assert found[0].is_regenerated
    assert not found[0].is_mirrored


def test_corners_are_found_to_a_fiftieth_of_a_module():
    off = []
    for seed in SAMPLE:
        photo = drawn(seed)
        module = photo.px_per_mm * photo.label_mm / len(photo.modules)
        off.append(np.abs(labels(seed)[0].corners_px - photo.symbol_corners_px).max() / module)
    assert np.median(off) < 0.01
    assert max(off) < 0.05


def test_two_codes_in_one_picture_are_both_read_and_one_must_be_chosen():
    photo = draw_sample(5, px_per_module=4.5, two_codes=True)
    read = read_labels(photo.pixels)
    assert {label.text for label in read} == {photo.text, photo.other_text}
    chosen = choose_label(read, photo.text)
    assert chosen.text == photo.text
    np.testing.assert_allclose(chosen.corners_px, photo.symbol_corners_px, atol=0.3)
    other = choose_label(read, photo.other_text)
    np.testing.assert_allclose(other.corners_px, photo.other_corners_px, atol=0.3)
    with pytest.raises(WhichSymbol, match="2 codes"):
        choose_label(read)
    with pytest.raises(SymbolNotInPicture, match="shows HTTPS"):
        choose_label(read, "K7M4-2QXP")


def test_a_mirrored_picture_is_noticed_and_its_corners_are_the_symbols():
    photo = draw_sample(3, px_per_module=5.0, mirrored=True)
    [label] = read_labels(photo.pixels)
    assert label.is_mirrored
    assert "mirrored" in label.plane.notes[0]
    np.testing.assert_allclose(label.corners_px, photo.symbol_corners_px, atol=0.3)


def test_deep_blue_light_is_no_hindrance():
    photo = draw_sample(2, px_per_module=5.0, cast=(0.04, 0.15, 1.0))
    assert [label.text for label in read_labels(photo.pixels)] == [photo.text]


@pytest.mark.parametrize("text", ["https://ramet.example/p/K7M42QXP?from=label", "12345678901234", "K7M4-2QXP é 珊瑚"])
def test_symbols_in_any_mode_are_known_module_by_module(text):
    maker = qrcode.QRCode(border=4, box_size=6, error_correction=qrcode.constants.ERROR_CORRECT_H)
    maker.add_data(text)  # digits and letters in segments of their own
    maker.make()
    pixels = np.array(maker.make_image().convert("RGB"))
    [symbol] = find_symbols(pixels)
    assert symbol.text == text
    np.testing.assert_array_equal(symbol.modules, np.array(maker.modules))


@pytest.mark.parametrize(
    ("pixels", "reason"),
    [
        (np.full((600, 800, 3), 4, np.uint8), "almost black"),
        (np.full((600, 800, 3), 255, np.uint8), "overexposed"),
        (np.full((600, 800, 3), 120, np.uint8), "blurred"),
        (np.full((50, 60, 3), 120, np.uint8), "only 60 × 50 pixels"),
        (np.random.default_rng(1).integers(0, 255, (600, 800, 3), dtype=np.uint8), "no label is seen"),
    ],
)
def test_where_nothing_is_found_it_is_said_why(pixels, reason):
    with pytest.raises(NoSymbolFound, match=reason):
        find_symbols(pixels)


def test_a_part_of_a_symbol_is_no_symbol():
    photo = drawn(6)
    covered = photo.pixels.copy()
    cv2.fillConvexPoly(covered, photo.symbol_corners_px[[0, 1, 2]].round().astype(np.int32), (90, 90, 90))
    with pytest.raises(NoSymbolFound, match="no label is seen"):
        find_symbols(covered)
