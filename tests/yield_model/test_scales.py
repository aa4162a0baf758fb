"""Growth scales: there and back, the delta method, and which one is taken."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propagation.yield_model.scales import (
    EXPONENTS,
    choose_exponent,
    default_exponent,
    from_scale,
    log_jacobian,
    reading_variance,
    scale_slope,
    to_scale,
)


@given(st.floats(1e-2, 1e4), st.sampled_from(EXPONENTS))
def test_a_size_comes_back_from_every_scale(size, exponent):
    assert from_scale(to_scale(size, exponent), exponent) == pytest.approx(size, rel=1e-9)


@given(st.floats(1e-2, 1e3), st.sampled_from(EXPONENTS))
def test_slope_and_jacobian_are_the_derivative(size, exponent):
    step = 1e-6 * size
    slope = (to_scale(size + step, exponent) - to_scale(size - step, exponent)) / (2 * step)
    assert scale_slope(size, exponent) == pytest.approx(slope, rel=1e-5)
    assert np.exp(log_jacobian(size, exponent)) == pytest.approx(slope, rel=1e-5)


def test_a_relative_error_is_itself_on_the_log_scale():
    assert reading_variance(50.0, 0.0, relative_error=0.04) == pytest.approx(0.04**2)
    assert reading_variance(50.0, 1.0, absolute_error=2.0) == pytest.approx(4.0)


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_a_size_that_cannot_be_is_refused(bad):
    with pytest.raises(ValueError, match="greater than zero"):
        to_scale(bad, 0.5)


def test_below_nothing_comes_back_as_almost_nothing():
    assert 0 < from_scale(-50.0, 0.5) < 1e-3


@pytest.mark.parametrize(
    ("measure", "form", "exponent"),
    [("polyps", "polyps", 0), ("area_cm2", "plating", 0.5), ("tle_cm", "branching", 1), ("weight_g", "massive", 1 / 3)],
)
def test_defaults(measure, form, exponent):
    assert default_exponent(measure, form)[0] == exponent


def test_the_default_is_kept_unless_the_readings_speak_against_it():
    keep = choose_exponent({0.5: -10.0, 0.0: -9.5}, measure="area_cm2", growth_form="plating", enough=True)
    leave = choose_exponent({0.5: -10.0, 0.0: -6.0}, measure="area_cm2", growth_form="plating", enough=True)
    few = choose_exponent({0.5: -10.0, 0.0: -6.0}, measure="area_cm2", growth_form="plating", enough=False)
    assert (keep.exponent, leave.exponent, few.exponent) == (0.5, 0.0, 0.5)
    assert "55 times" in leave.reason
    assert "Too few readings" in few.reason
