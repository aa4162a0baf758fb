"""CIEDE2000 and CIELAB.

Sources: Sharma G, Wu W, Dalal EN 2005, The CIEDE2000 color-difference formula: implementation notes, supplementary test
data, and mathematical observations, Color Res. Appl. 30:21–30, table 1: all 34 pairs (from memory; the authors publish
them as ciede2000testdata.txt). The colour-science package for CIELAB and for colours by chance.
"""

import numpy as np
import pytest

from propagation.imaging.colour import colour_difference, lab_from_srgb, linear_from_srgb, srgb_from_linear

# L*, a*, b* of both colours, and their difference.
TABLE_1 = """
50.0000 2.6772 -79.7751 50.0000 0.0000 -82.7485 2.0425
50.0000 3.1571 -77.2803 50.0000 0.0000 -82.7485 2.8615
50.0000 2.8361 -74.0200 50.0000 0.0000 -82.7485 3.4412
50.0000 -1.3802 -84.2814 50.0000 0.0000 -82.7485 1.0000
50.0000 -1.1848 -84.8006 50.0000 0.0000 -82.7485 1.0000
50.0000 -0.9009 -85.5211 50.0000 0.0000 -82.7485 1.0000
50.0000 0.0000 0.0000 50.0000 -1.0000 2.0000 2.3669
50.0000 -1.0000 2.0000 50.0000 0.0000 0.0000 2.3669
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0009 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0010 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0011 7.2195
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0012 7.2195
50.0000 -0.0010 2.4900 50.0000 0.0009 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0010 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0011 -2.4900 4.7461
50.0000 2.5000 0.0000 50.0000 0.0000 -2.5000 4.3065
50.0000 2.5000 0.0000 73.0000 25.0000 -18.0000 27.1492
50.0000 2.5000 0.0000 61.0000 -5.0000 29.0000 22.8977
50.0000 2.5000 0.0000 56.0000 -27.0000 -3.0000 31.9030
50.0000 2.5000 0.0000 58.0000 24.0000 15.0000 19.4535
50.0000 2.5000 0.0000 50.0000 3.1736 0.5854 1.0000
50.0000 2.5000 0.0000 50.0000 3.2972 0.0000 1.0000
50.0000 2.5000 0.0000 50.0000 1.8634 0.5757 1.0000
50.0000 2.5000 0.0000 50.0000 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""
PAIRS = np.array([line.split() for line in TABLE_1.strip().splitlines()], dtype=float)


def test_all_34_pairs_of_the_implementation_notes():
    assert PAIRS.shape == (34, 7)
    found = colour_difference(PAIRS[:, :3], PAIRS[:, 3:6])
    np.testing.assert_allclose(found, PAIRS[:, 6], atol=5e-5)  # published to four places


def test_it_is_the_same_either_way_round():
    np.testing.assert_allclose(
        colour_difference(PAIRS[:, 3:6], PAIRS[:, :3]), colour_difference(PAIRS[:, :3], PAIRS[:, 3:6]), atol=1e-12
    )


def test_it_broadcasts_over_any_shape():
    grid = PAIRS[:12, :3].reshape(3, 4, 3)
    found = colour_difference(grid, PAIRS[0, :3])
    assert found.shape == (3, 4)
    assert found[0, 0] == 0


def test_colours_by_chance_agree_with_colour_science():
    colour = pytest.importorskip("colour")
    random = np.random.default_rng(4)
    first = random.uniform([0, -90, -90], [100, 90, 90], size=(4000, 3))
    second = first + random.normal(0, 12, size=first.shape)
    theirs = colour.delta_E(first, second, method="CIE 2000")
    np.testing.assert_allclose(colour_difference(first, second), theirs, atol=1e-8)


def test_cielab_of_srgb_agrees_with_colour_science():
    colour = pytest.importorskip("colour")
    levels = np.random.default_rng(5).uniform(0, 255, size=(2000, 3))
    illuminant = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    theirs = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(levels / 255), illuminant)
    # Matrices of sRGB are rounded differently in print.
    assert colour_difference(lab_from_srgb(levels), theirs).max() < 0.05


def test_neutral_srgb_has_no_colour_and_mid_grey_is_lightness_fifty():
    grey = lab_from_srgb(np.array([[level] * 3 for level in (0, 1, 5, 40, 119, 200, 255)]))
    np.testing.assert_allclose(grey[:, 1:], 0, atol=1e-9)
    np.testing.assert_allclose(grey[[0, -1], 0], [0, 100], atol=1e-9)
    assert grey[4, 0] == pytest.approx(50.03, abs=0.01)


def test_srgb_there_and_back():
    levels = np.arange(256)
    np.testing.assert_allclose(srgb_from_linear(linear_from_srgb(levels)), levels, atol=1e-9)
