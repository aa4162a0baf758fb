"""The scale card: nothing on it overlaps, and what is drawn by it is measured by it."""

from itertools import combinations

import numpy as np
import pytest

from propagation.imaging.card import CARDS, TICK_WIDTH_MM, lay_out_card
from propagation.imaging.card import Rectangle as Place
from propagation.imaging.colour import lab_from_srgb


def overlap(one, other):
    wide = min(one.right, other.right) - max(one.left, other.left)
    high = min(one.bottom, other.bottom) - max(one.top, other.top)
    return wide > 1e-9 and high > 1e-9


@pytest.mark.parametrize("card", CARDS.values(), ids=str)
def test_nothing_on_a_card_overlaps_or_hangs_over(card):
    symbol = Place(
        -card.quiet_mm, -card.quiet_mm, card.symbol_mm + 2 * card.quiet_mm, card.symbol_mm + 2 * card.quiet_mm
    )
    ink = [symbol, *(patch.place for patch in card.patches)]
    for ruler in card.rulers:
        ink.extend(tick for _, tick in ruler.ticks())
    for place in ink:
        assert place.left >= card.paper.left - 1e-9
        assert place.top >= card.paper.top - 1e-9
        assert place.right <= card.paper.right + TICK_WIDTH_MM
        assert place.bottom <= card.paper.bottom + TICK_WIDTH_MM
    for one, other in combinations(ink, 2):
        assert not overlap(one, other), (one, other)


@pytest.mark.parametrize("card", CARDS.values(), ids=str)
def test_its_rulers_count_millimetres_on_two_sides(card):
    lower, right = card.rulers
    for ruler, axis in ((lower, 0), (right, 1)):
        middles = [
            (tick.left + tick.width / 2, tick.top + tick.height / 2)[axis] - ruler.start[axis]
            for _, tick in ruler.ticks()
        ]
        np.testing.assert_allclose(middles, [mm for mm, _ in ruler.ticks()], atol=1e-9)
        assert len(ruler.numbers()) == ruler.length_mm // 10


@pytest.mark.parametrize("card", CARDS.values(), ids=str)
def test_its_patches_are_neutral_from_light_to_dark(card):
    labs = lab_from_srgb(np.array([patch.srgb for patch in card.patches]))
    np.testing.assert_allclose(labs[:, 1:], 0, atol=1e-6)
    assert (np.diff(labs[:, 0]) < -20).all()
    assert card.patch("grey").srgb == (119, 119, 119)


def test_a_symbol_that_leaves_no_room_is_refused():
    with pytest.raises(ValueError, match="no room for patches"):
        lay_out_card("too full", width_mm=54, height_mm=36, symbol_mm=30)
