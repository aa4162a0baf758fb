"""Area and longest diameter by the label in the picture, and how sure they are."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from propagation.imaging import measure, measure_outline, plane_from_points, read_labels, side_seen_mm
from propagation.imaging.drawn import Circumstances, DrawnColony, draw_photo, draw_sample
from propagation.imaging.errors import BadOutline, BadScale, NoSymbolFound
from propagation.imaging.measuring import longest_between, polygon_area
from propagation.imaging.plane import focal_in_pixels

from .photographs import SAMPLE, drawn, errors_and_sds, labels, measured, opened, with_glint

CIRCLE = np.array([(np.cos(angle), np.sin(angle)) for angle in np.linspace(0, 2 * np.pi, 400, endpoint=False)])


def test_area_and_longest_diameter_far_from_the_label():
    area, _, longest, _ = np.abs(errors_and_sds(SAMPLE))
    assert np.median(area) < 0.003
    assert np.percentile(area, 95) < 0.015
    assert np.median(longest) < 0.0015
    assert np.percentile(longest, 95) < 0.0075


def test_errors_are_as_large_as_they_are_said_to_be():
    area, area_sd, longest, longest_sd = errors_and_sds(SAMPLE)
    for error, sd in ((area, area_sd), (longest, longest_sd)):
        scores = error / sd
        assert 0.35 <= np.mean(np.abs(scores) < 1) <= 1
        assert np.mean(np.abs(scores) < 2) >= 0.75
        assert np.abs(scores).max() < 4.5
        assert 0.3 < np.sqrt(np.mean(scores**2)) < 1.7


def test_a_lamp_mirrored_in_the_label_moves_nothing_that_is_not_said():
    off, scores = [], []
    for seed in SAMPLE:
        photo = drawn(seed)
        try:
            found = measure(with_glint(photo, seed), outline_px=photo.outline_px, label_mm=photo.label_mm)
        except NoSymbolFound:
            continue  # too much of the code is blown out to be read
        off.append(found.area_mm2 / photo.area_mm2 - 1)
        scores.append(off[-1] * found.area_mm2 / found.sd_area_mm2)
    assert len(off) > len(SAMPLE) / 2
    assert np.median(np.abs(off)) < 0.004
    assert np.max(np.abs(off)) < 0.03
    assert np.mean(np.abs(scores) < 2) >= 0.8
    assert np.max(np.abs(scores)) < 4


def test_tilt_and_camera_are_seen():
    tilts = np.array([(measured(seed).tilt_deg, drawn(seed).tilt_deg) for seed in SAMPLE])
    assert np.abs(tilts[:, 0] - tilts[:, 1]).max() < 6
    photo = drawn(4)
    width, height = opened(4).size_px
    known = photo.focal_px / focal_in_pixels((width, height), 1.0)
    found = measure(
        opened(4), outline_px=photo.outline_px, label_mm=photo.label_mm, symbol=labels(4)[0], focal_35mm=known
    )
    assert found.tilt_deg == pytest.approx(photo.tilt_deg, abs=1.5)
    assert found.camera_height_mm == pytest.approx(photo.camera_height_mm, rel=0.05)
    assert found.px_per_mm == pytest.approx(photo.px_per_mm, rel=0.002)


def test_it_is_less_sure_the_smaller_the_label_the_larger_the_tilt_and_the_taller_the_colony():
    def sd(px_per_module=10.0, tilt_deg=5.0, height_sd_mm=0.0):
        photo = draw_photo(
            text="HTTPS://RAMET.EXAMPLE/P/K7M42QXP",
            colony=DrawnColony(longest_mm=20, at_mm=(45, 6)),
            circumstances=Circumstances(px_per_module=px_per_module, tilt_deg=tilt_deg, noise=0.06),
        )
        found = measure(photo.pixels, outline_px=photo.outline_px, label_mm=photo.label_mm, height_sd_mm=height_sd_mm)
        return np.array([found.sd_area_mm2 / found.area_mm2, found.sd_longest_mm / found.longest_mm])

    plain = sd()
    assert (sd(px_per_module=4.0) > 1.1 * plain).all()
    tall = sd(height_sd_mm=5.0)
    assert (tall > 2 * plain).all()
    assert (sd(height_sd_mm=5.0, tilt_deg=40.0) > 1.2 * tall).all()


def test_a_colony_that_stands_out_of_the_plane_looks_larger_and_is_put_right_by_its_height():
    photo = draw_photo(
        text="HTTPS://RAMET.EXAMPLE/P/K7M42QXP",
        colony=DrawnColony(form="massive", longest_mm=25, at_mm=(40, 10), height_mm=12.0),
        circumstances=Circumstances(px_per_module=5.0, tilt_deg=12),
    )
    known = photo.focal_px / focal_in_pixels(photo.pixels.shape[1::-1], 1.0)
    flat = measure(photo.pixels, outline_px=photo.outline_px, label_mm=photo.label_mm, focal_35mm=known)
    high = measure(
        photo.pixels,
        outline_px=photo.outline_px,
        label_mm=photo.label_mm,
        focal_35mm=known,
        height_mm=12.0,
    )
    assert flat.area_mm2 > 1.1 * photo.area_mm2
    assert high.area_mm2 == pytest.approx(photo.area_mm2, rel=0.02)
    assert high.longest_mm == pytest.approx(photo.longest_mm, rel=0.01)
    unsure = measure(
        photo.pixels, outline_px=photo.outline_px, label_mm=photo.label_mm, focal_35mm=known, height_sd_mm=12.0
    )
    assert abs(unsure.area_mm2 - photo.area_mm2) < 2 * unsure.sd_area_mm2


def test_a_bent_label_is_flagged():
    photo = draw_sample(4, px_per_module=6.0, bend_mm=0.6)
    found = measure(photo.pixels, outline_px=photo.outline_px, label_mm=photo.label_mm)
    assert "bent" in found.poor
    assert all(not measured(seed).poor for seed in SAMPLE)


def test_a_label_recorded_at_another_size_is_found_out_by_a_second_one():
    photo = draw_sample(5, px_per_module=4.5, two_codes=True)
    one, other = read_labels(photo.pixels, side_mm=photo.label_mm)
    assert side_seen_mm(one, other.plane) == pytest.approx(photo.label_mm, rel=0.01)
    assert side_seen_mm(one, other.plane.scaled(1.08 * photo.label_mm)) == pytest.approx(
        1.08 * photo.label_mm, rel=0.01
    )


def test_how_sure_the_labels_size_is_counts_once_for_lengths_and_twice_for_area():
    photo = drawn(4)
    sure, unsure = (
        measure(opened(4), outline_px=photo.outline_px, label_mm=photo.label_mm, symbol=labels(4)[0], label_sd_mm=sd)
        for sd in (0.0, 0.02 * photo.label_mm)
    )
    assert unsure.area_mm2 == sure.area_mm2
    assert np.sqrt(unsure.sd_area_mm2**2 - sure.sd_area_mm2**2) == pytest.approx(0.04 * sure.area_mm2)
    assert np.sqrt(unsure.sd_longest_mm**2 - sure.sd_longest_mm**2) == pytest.approx(0.02 * sure.longest_mm)


def test_two_points_of_known_distance_set_a_scale():
    photo = draw_photo(
        text="HTTPS://RAMET.EXAMPLE/P/K7M42QXP",
        colony=DrawnColony(longest_mm=30, at_mm=(35, 10)),
        circumstances=Circumstances(px_per_module=5.0, tilt_deg=4),
    )
    ends = photo.outline_px[list(longest_between(photo.outline_mm))]
    plane = plane_from_points(photo.pixels.shape[1::-1], *ends, 30.0)
    found = measure_outline(plane, photo.outline_px)
    assert found.longest_mm == pytest.approx(30.0, rel=0.005)
    assert abs(found.area_mm2 - photo.area_mm2) < 2 * found.sd_area_mm2
    assert plane.tilt_deg is None
    assert "tilted is not known" in found.notes[0]
    by_label = measure(photo.pixels, outline_px=photo.outline_px, label_mm=photo.label_mm)
    assert found.sd_area_mm2 > 10 * by_label.sd_area_mm2


@pytest.mark.parametrize(
    ("points", "distance", "why"),
    [
        (((5, 5), (6, 6)), 10.0, "too close"),
        (((5, 5), (500, 5)), 0.0, "more than 0 mm"),
        (((5, 5), (500, np.nan)), 10.0, "two points"),
        (((5, 5), (900, 5)), 10.0, "lie in the picture"),
        (((5, 5), (500, 5)), float("inf"), "more than 0 mm"),
    ],
)
def test_points_that_give_no_scale_are_refused(points, distance, why):
    with pytest.raises(BadScale, match=why):
        plane_from_points((800, 600), *points, distance)


@pytest.mark.parametrize(
    ("outline", "why"),
    [
        ([[1, 1], [2, 2]], "at least three"),
        ([[10, 10], [20, 20], [30, 30]], "encloses nothing"),
        ([[10, 10], [110, 110], [110, 10], [10, 100]], "crosses itself"),
        ([[10, 10], [9000, 10], [10, 300]], "out of the picture"),
        ([[10, 10], [np.nan, 10], [10, 300]], "at least three"),
    ],
)
def test_outlines_that_enclose_nothing_are_refused(outline, why):
    plane = plane_from_points((800, 600), (0, 0), (100, 0), 10.0)
    with pytest.raises(BadOutline, match=why):
        measure_outline(plane, np.array(outline, dtype=float))


def test_a_side_of_nothing_is_refused():
    for side in (0.0, -12.0, float("nan")):
        with pytest.raises(BadScale, match="more than 0 mm"):
            measure(opened(4), outline_px=drawn(4).outline_px, label_mm=side, symbol=labels(4)[0])


def test_without_a_code_it_says_that_two_points_would_do():
    with pytest.raises(NoSymbolFound, match="two points"):
        measure(np.full((600, 800, 3), 120, np.uint8), outline_px=CIRCLE * 100 + 200, label_mm=12.0)


def test_a_circle_in_a_plane_without_tilt():
    plane = plane_from_points((800, 600), (0, 0), (100, 0), 10.0)
    found = measure_outline(plane, CIRCLE * 200 + 300)
    assert found.area_mm2 == pytest.approx(np.pi * 20**2, rel=1e-3)
    assert found.longest_mm == pytest.approx(40.0, rel=1e-4)


@given(
    st.lists(
        st.tuples(st.floats(-1e3, 1e3, allow_nan=False), st.floats(-1e3, 1e3, allow_nan=False)), min_size=3, max_size=60
    )
)
def test_the_longest_diameter_is_that_of_all_pairs(points):
    points = np.array(points)
    first, last = longest_between(points)
    apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)).max()
    assert np.hypot(*(points[first] - points[last])) == pytest.approx(apart, rel=1e-4, abs=1e-6)


@pytest.mark.parametrize("seed", SAMPLE)
def test_area_and_longest_diameter_agree_with_shapely(seed):
    outline = labels(seed)[0].plane.to_mm(drawn(seed).outline_px)
    polygon = shapely.Polygon(outline)
    assert polygon.is_valid
    assert polygon_area(outline) == pytest.approx(polygon.area, rel=1e-9)
    first, last = longest_between(outline)
    hull = shapely.get_coordinates(polygon.convex_hull)
    apart = shapely.distance(shapely.points(hull)[:, None], shapely.points(hull)[None]).max()
    assert np.hypot(*(outline[first] - outline[last])) == pytest.approx(apart, rel=1e-6)
