"""Logistic regrowth and the surplus it yields.

Sources: Verhulst 1838 (logistic growth, analytic); Schaefer MB 1954, Inter-Am. Trop. Tuna Comm. Bull. 1:25–56 (surplus
production, from memory; analytic).
"""

import numpy as np
import pytest

from propagation.yield_model.cutting_plan import Growth, frags_a_year, plan_cutting, regrowth_time
from propagation.yield_model.frag_units import FragUnit
from propagation.yield_model.next_cut import CutRules
from propagation.yield_model.published_rates import DAYS_A_YEAR

ROOM, RATE = 100.0, 1 / DAYS_A_YEAR


def logistic(lag_days=0.0):
    return Growth(rate=RATE, exponent=0.0, reference=1.0, room_limits=ROOM, lag_days=lag_days)


def test_regrowth_from_a_quarter_to_three_quarters_takes_ln_nine_years():
    days = regrowth_time(25.0, 75.0, rate=RATE, room=ROOM)
    assert days / DAYS_A_YEAR == pytest.approx(np.log(9), abs=1e-12)
    assert days / DAYS_A_YEAR == pytest.approx(2.197225, abs=1e-6)


def test_pulsed_harvest_of_that_case():
    assert frags_a_year(75.0, 25.0, logistic(), 1.0, whole_frags=False) == pytest.approx(22.7560, abs=1e-4)


def test_small_cuts_at_half_the_room_approach_the_surplus_production_maximum():
    half = np.array([10.0, 1.0, 0.1])
    yields = frags_a_year(50 + half, 50 - half, logistic(), 1.0, whole_frags=False)
    assert np.all(np.diff(yields) > 0)
    assert yields[-1] == pytest.approx(25.0, abs=1e-3)
    assert np.all(yields < 25.0)


def test_no_pair_of_sizes_yields_more_than_the_surplus_production_maximum():
    low, high = np.meshgrid(np.linspace(1, 98, 60), np.linspace(2, 99, 60))
    allowed = low < high
    yields = frags_a_year(high[allowed], low[allowed], logistic(), 1.0, whole_frags=False)
    assert yields.max() < 25.0


def test_the_best_plan_with_tiny_frags_straddles_half_the_room():
    rules = CutRules(FragUnit(0.25, 0.0, 0), keep_at_least=0.1, fewest_frags=1, largest_share=0.9, rest_days=0)
    plan = plan_cutting(logistic(), rules, largest_size=99.0)
    assert plan.best.cut_to < 50 < plan.best.cut_at
    assert plan.best.frags_a_year * 0.25 == pytest.approx(25.0, rel=0.02)


def test_a_size_outside_the_room_is_refused():
    with pytest.raises(ValueError, match="room"):
        regrowth_time(25.0, 100.0, rate=RATE, room=ROOM)
