"""Outlines proposed from boxes, strokes and nothing, against drawn pictures whose outlines are known."""

import numpy as np
import pytest
from shapely.geometry import Polygon

from propagation.imaging.drawn import draw_sample
from propagation.imaging.drawn_growth import FORMS, DrawnIndividual, draw_growth
from propagation.imaging.errors import BadBox, NothingStandsOut, StrokesDisagree
from propagation.imaging.outline import propose, propose_box, propose_outline
from propagation.imaging.polygons import first_crossing, outline_mask, signed_area
from tests.imaging.colony_pictures import DIFFICULTIES, SHAPES, ColonyPicture, box_around, draw_colony, overlap

pytestmark = pytest.mark.no_database


@pytest.fixture(scope="module")
def drawn_photographs():
    """Some photographs of both painters: pixels, true outline, corners of the label's symbol."""
    photographs = []
    for seed in range(101, 106):
        photo = draw_sample(seed, px_per_module=5.0)
        photographs.append(ColonyPicture(photo.pixels, photo.outline_px, photo.symbol_corners_px))
    for seed in range(101, 107):
        photo = draw_growth(
            DrawnIndividual(FORMS[seed % 3], seed=seed), longest_mm=40.0 + seed % 7 * 5, text="A-1", seed=seed
        )
        square = np.array([[0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]]) * [photo.label_mm, photo.label_mm, 1]
        corners = square @ photo.pixel_from_mm.T
        photographs.append(ColonyPicture(photo.pixels, photo.outline_px, corners[:, :2] / corners[:, 2:]))
    return photographs


def test_outline_from_a_box_fits_drawn_photographs(drawn_photographs):
    overlaps, off = [], []
    for photo in drawn_photographs:
        points = propose_outline(photo.pixels, box=photo.box_px, labels_px=photo.labels_px)
        overlaps.append(overlap(points, photo.truth))
        off.append(abs(signed_area(points) / abs(signed_area(photo.outline_px)) - 1))
    assert np.median(overlaps) >= 0.97
    assert min(overlaps) >= 0.85
    assert np.median(off) <= 0.02


@pytest.mark.parametrize("difficulty", DIFFICULTIES)
def test_outline_from_a_box_fits_whatever_makes_it_hard(difficulty):
    for shape in SHAPES:
        picture = draw_colony(shape, difficulty)
        proposal = propose(picture.pixels, box=picture.box_px, labels_px=picture.labels_px)
        assert overlap(proposal.points, picture.truth) >= (0.9 if shape == "branching" else 0.95), shape
        assert proposal.is_sure, shape


def test_outline_is_simple_clockwise_and_can_be_mended_by_a_thumb():
    for shape in SHAPES:
        picture = draw_colony(shape, seed=3)
        points = propose_outline(picture.pixels, box=picture.box_px)
        assert 30 <= len(points) <= 150
        assert signed_area(points) > 0
        assert first_crossing(points) is None
        assert (points >= 0).all()
        assert (points <= [picture.pixels.shape[1] - 1, picture.pixels.shape[0] - 1]).all()


def test_the_same_picture_gives_the_same_outline():
    picture = draw_colony("lobed", "noise")
    one, again = (propose_outline(picture.pixels, box=picture.box_px) for _ in range(2))
    assert np.array_equal(one, again)


@pytest.mark.parametrize("larger", [1.03, 1.25, 1.5])
def test_the_box_need_not_be_drawn_exactly(larger):
    picture = draw_colony("lobed", seed=5)
    points = propose_outline(picture.pixels, box=box_around(picture.outline_px, larger))
    assert overlap(points, picture.truth) >= 0.96


def test_a_box_drawn_from_any_corner_is_the_same_box():
    picture = draw_colony()
    x0, y0, x1, y1 = picture.box_px
    assert np.array_equal(
        propose_outline(picture.pixels, box=(x0, y0, x1, y1)), propose_outline(picture.pixels, box=(x1, y1, x0, y0))
    )


def test_a_colony_that_leaves_the_picture_is_outlined_to_the_edge():
    picture = draw_colony("round", seed=2)
    middle = int(picture.outline_px[:, 0].mean())
    x0, y0, x1, y1 = picture.box_px
    points = propose_outline(picture.pixels[:, middle:].copy(), box=(x0 - middle, y0, x1 - middle, y1))
    assert overlap(points, picture.truth[:, middle:]) >= 0.95


def test_a_hole_between_branches_counts_as_colony():
    picture = draw_colony("round", seed=4)
    middle = picture.outline_px.mean(axis=0)
    pixels = picture.pixels.copy()
    hole = outline_mask(middle + 0.25 * (picture.outline_px - middle), pixels.shape[1::-1])
    rows, columns = np.nonzero(hole)
    pixels[rows, columns] = pixels[rows % 40, columns]  # what lies around the colony shows through
    assert overlap(propose_outline(pixels, box=picture.box_px), picture.truth) >= 0.97


def test_paper_in_the_box_is_not_colony():
    picture = draw_colony("lobed", "label beside", seed=8)
    points = propose_outline(picture.pixels, box=picture.box_px, labels_px=picture.labels_px)
    paper = outline_mask(picture.label_px, picture.pixels.shape[1::-1])
    assert not (outline_mask(points, picture.pixels.shape[1::-1]) & paper).any()


# ---- strokes


def test_nothing_under_a_stroke_outside_is_colony_and_all_under_one_inside_is():
    picture = draw_colony("round", seed=6)
    low, high = picture.outline_px.min(axis=0), picture.outline_px.max(axis=0)
    x, y = (low + high) / 2
    beside = [(x - 12, low[1] - 4), (x - 12, low[1] + 14), (x + 12, low[1] + 14), (x + 12, low[1] - 4)]
    over = [(x - 40, y), (x + 40, y)]
    points = propose_outline(picture.pixels, box=picture.box_px, inside=[over], outside=[beside])
    mask = outline_mask(points, picture.pixels.shape[1::-1])
    assert not mask[round(low[1] + 14), round(x - 12) : round(x + 12)].any()
    assert mask[round(y), round(x - 40) : round(x + 40)].all()


def test_strokes_alone_find_the_colony():
    picture = draw_colony("lobed", seed=7)
    middle = picture.outline_px.mean(axis=0)
    points = propose_outline(picture.pixels, inside=[np.add(middle, [[-50, 0], [50, 20]])])
    assert overlap(points, picture.truth) >= 0.95


def test_strokes_that_contradict_are_named():
    picture = draw_colony()
    x, y = picture.outline_px.mean(axis=0)
    with pytest.raises(StrokesDisagree, match="cross"):
        propose_outline(
            picture.pixels,
            box=picture.box_px,
            inside=[[(x - 20, y), (x + 20, y)]],
            outside=[[(x, y - 20), (x, y + 20)]],
        )
    with pytest.raises(StrokesDisagree, match="leaves the box"):
        propose_outline(picture.pixels, box=picture.box_px, inside=[[(x, y), (2, 2)]])


# ---- what cannot be done


@pytest.mark.parametrize(
    ("box", "why"),
    [
        ((700, 10, 900, 100), "outside the picture of 640 × 480"),
        ((-90, -90, -10, -10), "outside the picture"),
        ((100, 100, 108, 300), "too few"),
        ((100, float("nan"), 300, 300), "no numbers"),
        (None, "no stroke"),
    ],
)
def test_a_box_that_cannot_be_used_is_named(box, why):
    with pytest.raises(BadBox, match=why):
        propose_outline(draw_colony().pixels, box=box)


def test_nothing_is_outlined_where_nothing_is():
    bare = np.random.default_rng(1).normal(120, 6, (300, 400, 3)).astype(np.uint8)
    for pixels in (bare, np.full_like(bare, 90)):
        with pytest.raises(NothingStandsOut):
            propose_outline(pixels, box=(100, 80, 300, 220))


def test_what_does_not_fill_its_box_is_unsure_and_says_so():
    picture = draw_colony("round", seed=9)
    x0, y0, x1, y1 = picture.box_px
    proposal = propose(picture.pixels, box=(x0, y0, x1, y1 - 0.6 * (y1 - y0)))  # cuts through the colony
    assert not proposal.is_sure
    assert proposal.doubts


def test_what_shows_between_branches_is_not_colony_whatever_light_it_lies_in():
    for seed in range(3):
        picture = draw_colony("branching", "shadow", seed=seed)
        proposal = propose(picture.pixels, box=picture.box_px)
        assert overlap(proposal.points, picture.truth) >= 0.95


def test_a_colony_of_the_colour_of_what_shows_between_its_branches_is_unsure():
    """The blotches of the ground are of nearly the colony's colour."""
    confident, scores = [], []
    for seed in range(5):
        picture = draw_colony("branching", "blotches", seed=seed, ground=(45, 4, 2), colour=(57, -6, 12))
        proposal = propose(picture.pixels, box=picture.box_px)
        off = signed_area(proposal.points) / abs(signed_area(picture.outline_px)) - 1
        if abs(off) > 0.05:  # otherwise it may well be sure
            confident.append(proposal.confidence)
            scores.append(abs(off) / proposal.area_sd)
            assert proposal.doubts
    assert len(confident) >= 3
    assert max(confident) < 0.7
    assert np.median(confident) < 0.5
    assert np.mean(np.array(scores) < 2) >= 0.5
    assert max(scores) < 3


def test_a_bright_colony_on_black_is_not_outlined_in_its_glow():
    """Seen by the light of the ground alone it would be white far into the blurred edge."""
    for shape in ("round", "lobed"):
        picture = draw_colony(shape, "blur", ground=(12, 0, 0), colour=(70, 12, 25))
        proposal = propose(picture.pixels, box=picture.box_px)
        truth = Polygon(picture.outline_px)
        outwards_px = (Polygon(proposal.points).area - truth.area) / truth.length
        assert abs(outwards_px) < 1, shape


def test_an_easy_colony_is_sure_and_its_area_known_well():
    sds = []
    for seed in range(20, 23):
        for shape in ("round", "lobed"):
            picture = draw_colony(shape, seed=seed)
            proposal = propose(picture.pixels, box=picture.box_px)
            assert proposal.confidence > 0.9
            assert not proposal.doubts
            assert proposal.longest_sd < 0.01
            off = signed_area(proposal.points) / abs(signed_area(picture.outline_px)) - 1
            assert abs(off) < 3 * proposal.area_sd + 0.002
            sds.append(proposal.area_sd)
    assert np.median(sds) < 0.02


# ---- without a box


def agreement(box, true):
    """Intersection over union of two boxes; 0 where there is none."""
    if box is None:
        return 0.0
    (a0, b0, a1, b1), (c0, d0, c1, d1) = box, true
    both = max(0, min(a1, c1) - max(a0, c0)) * max(0, min(b1, d1) - max(b0, d0))
    return both / ((a1 - a0) * (b1 - b0) + (c1 - c0) * (d1 - d0) - both)


def test_a_colony_is_found_without_a_box(drawn_photographs):
    found = [
        agreement(propose_box(photo.pixels, photo.labels_px), photo.box_px)
        for photo in [*drawn_photographs, *(draw_colony(shape, seed=1) for shape in SHAPES)]
    ]
    assert np.mean(np.array(found) > 0.8) >= 0.85
    assert np.median(found) >= 0.9


def test_no_box_is_guessed_where_nothing_or_more_than_one_thing_stands_out():
    bare = np.random.default_rng(1).normal(120, 6, (300, 400, 3)).astype(np.uint8)
    assert propose_box(bare) is None
    two = bare.copy()
    two[60:140, 60:140] = two[160:240, 250:330] = (200, 60, 90)
    assert propose_box(two) is None
    assert propose_box(bare[:20, :20]) is None


def test_last_months_outline_says_which_of_two_it_is():
    bare = np.random.default_rng(1).normal(120, 6, (300, 400, 3)).astype(np.uint8)
    bare[60:140, 60:140] = bare[160:240, 250:330] = (200, 60, 90)
    last = np.array([[254, 164], [322, 164], [322, 234], [254, 234]])
    assert agreement(propose_box(bare, last_outline_px=last), (246, 156, 334, 244)) > 0.85


def test_a_colony_that_was_put_elsewhere_is_looked_for_anew():
    picture = draw_colony("round", seed=1)
    elsewhere = np.array([[5, 5], [60, 5], [60, 60], [5, 60]])
    assert agreement(propose_box(picture.pixels, last_outline_px=elsewhere), picture.box_px) > 0.85
