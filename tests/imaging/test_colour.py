"""Colour inside an outline, by the white of the label or the patches of a card."""

import numpy as np
import pytest

from propagation.imaging import CARDS, colour_difference, colour_inside, measure, read_labels, white_reference
from propagation.imaging.colour import (
    lab_from_srgb,
    linear_from_srgb,
    pixels_inside,
    srgb_from_linear,
    white_from_paper,
    white_from_patches,
)
from propagation.imaging.drawn import BLUE_LIGHT, Circumstances, DrawnColony, draw_photo
from propagation.imaging.errors import NoWhite

SQUARE = np.array([[10, 10], [50, 10], [50, 50], [10, 50]], dtype=float)


def taken(cast, *, srgb, card=None, seed=0, haze=0.01):
    return draw_photo(
        text="HTTPS://RAMET.EXAMPLE/P/K7M42QXP",
        card=card,
        colony=DrawnColony(form="massive", longest_mm=14, at_mm=(-14, 6), srgb=srgb, seed=seed),
        circumstances=Circumstances(px_per_module=4.0, tilt_deg=10, cast=cast, haze=haze, jpeg_quality=90),
        seed=seed,
    )


def colour_of(photo):
    found = measure(photo.pixels, outline_px=photo.outline_px, label_mm=photo.label_mm, card=photo.card)
    assert found.colour_source == ("patches" if photo.card else "paper")
    return np.array(found.colour_lab)


CORALS = [(150, 105, 70), (70, 140, 90), (160, 80, 120), (90, 90, 150), (190, 170, 120)]


def test_one_colony_under_two_lights_has_one_colour():
    apart, uncorrected = [], []
    for seed, srgb in enumerate(CORALS):
        white, blue = (taken(cast, srgb=srgb, seed=seed) for cast in ((0.9, 0.9, 0.9), BLUE_LIGHT))
        apart.append(colour_difference(colour_of(white), colour_of(blue)))
        uncorrected.append(
            colour_difference(
                colour_inside(white.pixels, white.outline_px).lab, colour_inside(blue.pixels, blue.outline_px).lab
            )
        )
    assert np.median(apart) < 1.5
    assert max(apart) < 3
    assert min(uncorrected) > 8  # the light makes all the difference


def test_a_cards_patches_take_haze_away_too():
    photo = taken(BLUE_LIGHT, srgb=(90, 60, 40), card=CARDS["small"], haze=0.06)
    [label] = read_labels(photo.pixels)
    by_patches = colour_inside(photo.pixels, photo.outline_px, white_reference(photo.pixels, label, card=photo.card))
    by_paper = colour_inside(photo.pixels, photo.outline_px, white_reference(photo.pixels, label))
    assert colour_difference(by_patches.lab, photo.colour_lab) < 5
    assert colour_difference(by_patches.lab, photo.colour_lab) < 0.7 * colour_difference(by_paper.lab, photo.colour_lab)


def flat(srgb, size=60):
    return np.full((size, size, 3), srgb, np.uint8)


def test_an_even_field_has_its_own_colour_and_no_spread():
    seen = colour_inside(flat((150, 105, 70)), SQUARE)
    np.testing.assert_allclose(seen.lab, lab_from_srgb(np.array([150, 105, 70])), atol=1e-4)
    np.testing.assert_allclose(seen.spread, 0, atol=1e-4)
    assert seen.source == "none"
    assert "as the camera saw it" in seen.notes[0]


def test_spread_is_told():
    pixels = flat((100, 100, 100))
    pixels[::2] = (140, 140, 140)
    seen = colour_inside(pixels, SQUARE)
    apart = lab_from_srgb(np.array([140] * 3))[0] - lab_from_srgb(np.array([100] * 3))[0]
    assert seen.spread[0] == pytest.approx(apart / 2, rel=0.01)


def test_clipped_pixels_are_left_out_and_counted():
    pixels = flat((150, 105, 70))
    pixels[10:20, :] = 255
    seen = colour_inside(pixels, SQUARE)
    assert seen.clipped / seen.pixels == pytest.approx(0.25, abs=0.02)
    np.testing.assert_allclose(seen.lab, lab_from_srgb(np.array([150, 105, 70])), atol=1e-4)
    assert any("overexposed" in note for note in seen.notes)
    with pytest.raises(NoWhite, match="overexposed or black"):
        colour_inside(flat((255, 255, 255)), SQUARE)


def test_white_makes_the_paper_the_papers_colour():
    paper = np.tile(np.array([[120, 160, 230]], np.uint8), (200, 1))
    white = white_from_paper(paper, srgb=(243, 243, 243))
    balanced = srgb_from_linear(white.balanced(linear_from_srgb(paper[0])))
    np.testing.assert_allclose(balanced, 243, atol=1e-3)


def test_patches_give_gain_and_black():
    light = np.array([0.4, 0.6, 0.9])
    haze = np.array([0.01, 0.02, 0.05])
    known = [(243,) * 3, (119,) * 3, (52,) * 3]
    patches = [
        (np.tile(srgb_from_linear(linear_from_srgb(srgb) * light + haze).round().astype(np.uint8), (100, 1)), srgb)
        for srgb in known
    ]
    white = white_from_patches(patches)
    np.testing.assert_allclose(white.gain, 1 / light, rtol=0.02)
    np.testing.assert_allclose(white.black, haze, atol=0.004)


@pytest.mark.parametrize(
    ("paper", "why"),
    [
        (np.full((10, 3), 200, np.uint8), "too little white"),
        (np.full((100, 3), 255, np.uint8), "overexposed"),
        (np.tile(np.array([[3, 90, 220]], np.uint8), (100, 1)), "almost none of one colour"),
    ],
)
def test_what_gives_no_white_is_said(paper, why):
    with pytest.raises(NoWhite, match=why):
        white_from_paper(paper)


def test_patches_out_of_order_are_refused():
    patches = [(np.full((100, 3), level, np.uint8), (srgb,) * 3) for level, srgb in ((40, 243), (200, 52))]
    with pytest.raises(NoWhite, match="order of brightness"):
        white_from_patches(patches)
    with pytest.raises(NoWhite, match="fewer than two"):
        white_from_patches(patches[:1])


def test_only_pixels_inside_the_outline_count():
    pixels = flat((10, 10, 10))
    pixels[20:40, 20:40] = 200
    assert (pixels_inside(pixels, np.array([[21, 21], [38, 21], [38, 38], [21, 38]])) == 200).all()
    assert len(pixels_inside(pixels, np.array([[-50, -50], [-40, -50], [-40, -40]]))) == 0
