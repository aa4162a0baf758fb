"""Radial growth of an area, and what the published doubling says of the scale.

Sources: A = π(r0 + g·t)², constancy of radial growth: Madin JS et al. 2020, Biology Letters 16:20190727; growth of
microfragments: Frontiers in Marine Science 8:623963 (2021).
"""

import numpy as np
import pytest

from propagation.yield_model.backtest import learn_model
from propagation.yield_model.cutting_plan import regrowth_time_on_scale
from propagation.yield_model.histories import pad_arrays
from propagation.yield_model.scales import from_scale, rate_on_scale, to_scale


def area(months, start=2.0, gain=0.5):
    return np.pi * (start + gain * months) ** 2


def test_area_after_six_months():
    assert area(0) == pytest.approx(12.566, abs=1e-3)
    assert area(6) == pytest.approx(78.540, abs=1e-3)


def test_the_square_root_scale_is_straight_for_radial_growth():
    steps = np.diff(to_scale(area(np.arange(13.0)), 0.5))
    assert np.ptp(steps) < 1e-9
    rate = 2 * np.sqrt(np.pi) * 0.5
    assert steps[0] == pytest.approx(rate)
    assert from_scale(to_scale(area(0), 0.5) + 6 * rate, 0.5) == pytest.approx(area(6))


def test_regrowth_on_the_square_root_scale_takes_the_radius_over_its_gain():
    specific = 2 * 0.5 / 2.0  # (dA/dt)/A at radius 2 cm, per month
    rate = rate_on_scale(specific, area(0), 0.5)
    assert regrowth_time_on_scale(area(0), area(6), rate=rate, exponent=0.5) == pytest.approx(6.0)


def test_the_readings_choose_the_radial_scale():
    generator = np.random.default_rng(4)
    months = np.tile(np.arange(12.0), (20, 1))
    gain = generator.normal(0.5, 0.05, (20, 1))
    sizes = area(months, start=generator.uniform(1, 4, (20, 1)), gain=gain) * np.exp(
        generator.normal(0, 0.01, months.shape)
    )
    model = learn_model(pad_arrays(months * 30.4, sizes), measure="area_cm2", growth_form="encrusting")
    assert model.exponent == 0.5
    assert "Madin" in model.scale.reason


def test_doubling_in_45_days_was_not_exponential():
    rate = np.log(2) / 45
    assert rate == pytest.approx(0.015403, abs=1e-6)
    exponential = np.exp(rate * 193)
    straight = 1 + 193 / 45
    assert exponential == pytest.approx(19.5, abs=0.1)
    # ×6.45 was seen: far nearer to a straight line than to exponential growth.
    assert abs(straight - 6.45) < abs(exponential - 6.45) / 5
