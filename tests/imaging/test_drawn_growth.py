"""A colony drawn as it grows: of the size asked for, the same individual, and measured as what it is."""

import io
from datetime import datetime

import cv2
import numpy as np
import pytest
from PIL import Image

from propagation.imaging.drawn_growth import FORMS, DrawnIndividual, draw_growth
from propagation.imaging.measuring import measure
from propagation.imaging.opening import open_picture

TEXT = "HTTPS://RAMET.EXAMPLE/Q/7H2KQ9XM"


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("longest_mm", [20, 90])
def test_it_is_as_large_as_asked_for_and_measured_so(form, longest_mm):
    drawn = draw_growth(DrawnIndividual(form, 5), longest_mm=longest_mm, text=TEXT, seed=longest_mm)
    assert drawn.longest_mm == pytest.approx(longest_mm, rel=1e-6)
    measured = measure(open_picture(drawn.jpeg), outline_px=drawn.outline_px, label_mm=drawn.label_mm)
    assert measured.longest_mm == pytest.approx(longest_mm, rel=0.015)
    assert measured.area_mm2 == pytest.approx(drawn.area_mm2, rel=0.03)


@pytest.mark.parametrize("form", FORMS)
def test_it_has_the_area_asked_for(form):
    drawn = draw_growth(DrawnIndividual(form, 2), area_mm2=1500, text=TEXT, size_px=(640, 480))
    assert drawn.area_mm2 == pytest.approx(1500, rel=1e-6)


def test_it_is_the_same_picture_each_time_and_another_month_is_another():
    told = {"text": TEXT, "size_px": (640, 480)}
    one, again = (draw_growth(DrawnIndividual("plating", 1), longest_mm=50, **told) for _ in range(2))
    assert one.jpeg == again.jpeg
    assert draw_growth(DrawnIndividual("plating", 1), longest_mm=50, seed=1, **told).jpeg != one.jpeg


@pytest.mark.parametrize(("form", "seed"), [("branching", 3), ("encrusting", 4)])
def test_what_has_grown_stays_where_it_is(form, seed):
    """What lies inside the smaller one lies inside the larger one too, about the place where it is attached."""
    masks = []
    for size in (50, 60):
        drawn = draw_growth(DrawnIndividual(form, seed), longest_mm=size, text=TEXT, size_px=(640, 480))
        back = np.linalg.inv(drawn.pixel_from_base)
        places = np.column_stack([drawn.outline_px, np.ones(len(drawn.outline_px))]) @ back.T
        mask = np.zeros((300, 300), np.uint8)
        cv2.fillPoly(mask, [np.round((places[:, :2] / places[:, 2:]) * 3 + 150).astype(np.int32)], 1)
        masks.append(mask.astype(bool))
    small, large = masks
    assert (small & large).sum() > 0.93 * small.sum()
    assert large.sum() > 1.2 * small.sum()


def test_the_camera_tells_the_day_and_that_it_was_drawn():
    taken = datetime(2026, 3, 4, 19, 5)  # noqa: DTZ001 - a camera knows no zone
    drawn = draw_growth(DrawnIndividual("branching"), longest_mm=30, text=TEXT, size_px=(640, 480), taken_at=taken)
    assert open_picture(drawn.jpeg).taken_at == taken
    assert Image.open(io.BytesIO(drawn.jpeg)).getexif()[305] == "Drawn, not taken"


def test_what_cannot_be_drawn_is_refused():
    with pytest.raises(ValueError, match="one of branching"):
        DrawnIndividual("polyps")
    with pytest.raises(ValueError, match="diameter or the area"):
        draw_growth(DrawnIndividual("plating"), text=TEXT)
    with pytest.raises(ValueError, match="less than 8 mm"):
        draw_growth(DrawnIndividual("plating"), longest_mm=5, text=TEXT)
