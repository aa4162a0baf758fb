"""A code printed at another size than recorded is found out by the ruler of its card."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from propagation.imaging import CARDS, look_at_rulers, measure, read_labels
from propagation.imaging.drawn import Circumstances, DrawnColony, draw_photo

TEXT = "HTTPS://RAMET.EXAMPLE/P/K7M42QXP"


@cache
def taken(name):
    return draw_photo(
        text=TEXT,
        card=CARDS[name],
        colony=DrawnColony(form="massive", longest_mm=20, at_mm=(-20, 10)),
        circumstances=Circumstances(px_per_module=6.0, tilt_deg=20, noise=0.015),
    )


@cache
def label_in(name):
    return read_labels(taken(name).pixels)[0]


@pytest.mark.parametrize("recorded", [0.85, 0.97, 1.0, 1.04, 1.15])
@pytest.mark.parametrize("name", ["small", "bank card"])
def test_the_ruler_tells_the_true_side_of_the_code(name, recorded):
    card = CARDS[name]
    as_recorded = replace(card, symbol_mm=recorded * card.symbol_mm)
    seen = look_at_rulers(taken(name).pixels, label_in(name).plane.scaled(as_recorded.symbol_mm), as_recorded)
    assert seen.symbol_mm == pytest.approx(card.symbol_mm, rel=0.003)
    assert abs(seen.symbol_mm - card.symbol_mm) < 4 * seen.symbol_sd_mm
    assert seen.disagrees() == (recorded != 1.0)


def test_measuring_says_so():
    card, photo = CARDS["small"], taken("small")
    arguments = {"outline_px": photo.outline_px, "symbol": label_in("small"), "card": card}
    wrong = measure(photo.pixels, label_mm=22.0, **arguments)
    assert "its code is 20.0 mm wide, not 22.0 mm" in wrong.poor
    assert not measure(photo.pixels, label_mm=20.0, **arguments).poor


def test_where_there_is_no_ruler_nothing_is_said_about_it():
    photo = draw_photo(
        text=TEXT,
        label_mm=20.0,
        colony=DrawnColony(form="massive", longest_mm=60, at_mm=(60, 50)),
        circumstances=Circumstances(px_per_module=6.0, tilt_deg=20, noise=0.015),
    )
    [label] = read_labels(photo.pixels, side_mm=20.0)
    assert look_at_rulers(photo.pixels, label.plane, CARDS["small"]) is None


def test_in_a_picture_too_coarse_for_ticks_nothing_is_said_either():
    photo = taken("small")
    coarse = np.ascontiguousarray(photo.pixels[::3, ::3])
    plane = label_in("small").plane.scaled(20.0)
    shrunk = replace(plane, mm_from_pixel=plane.mm_from_pixel @ np.diag([3.0, 3.0, 1.0]))
    assert look_at_rulers(coarse, shrunk, CARDS["small"]) is None
