"""How far to cut a mother back, and whom to cut for an order."""

import numpy as np
import pytest

from propagation.yield_model import cutting_plan
from propagation.yield_model.backtest import learn_model
from propagation.yield_model.cutting_plan import (
    Growth,
    _after_cut,
    fill_order,
    frags_a_year,
    plan_cutting,
    regrowth_time_on_scale,
)
from propagation.yield_model.forecast import view_colonies
from propagation.yield_model.frag_units import FragUnit
from propagation.yield_model.histories import ColonyHistory, Cut, Decline, Reading, pad_histories
from propagation.yield_model.next_cut import CutRules

RULES = CutRules(FragUnit(8.0, 0.5, 4), keep_at_least=25.0, fewest_frags=4, rest_days=42)
RADIAL = Growth(rate=0.01, exponent=0.5, reference=50.0, rate_deviation=0.002)


def line(*sizes, declining=()):
    histories = []
    for number, size in enumerate(sizes):
        days = np.arange(0, 301, 30)
        readings = tuple(Reading(float(d), float(size * np.exp(0.004 * (d - 300)))) for d in days)
        histories.append(
            ColonyHistory(f"m{number}", "line", readings, declines=(Decline(290.0),) if number in declining else ())
        )
    padded = pad_histories(histories, measure="area_cm2", growth_form="plating")
    model = learn_model(padded, measure="area_cm2", growth_form="plating", exponent=0.0)
    return model, view_colonies(model, padded)


def test_the_best_point_is_the_top_of_the_curve_and_keeps_the_rules():
    plan = plan_cutting(RADIAL, RULES, largest_size=200.0, habit=(150.0, 110.0))
    assert plan.best in plan.curve
    assert plan.best.frags_a_year == max(point.frags_a_year for point in plan.curve)
    for point in plan.curve:
        assert point.cut_to >= 25.0
        assert point.cut_at <= 200.0 + 1e-9
        assert point.frags >= 4
        assert point.share_removed <= 0.5 + 1e-9
        assert point.days >= 42
        assert point.low <= point.frags_a_year <= point.high
    assert plan.habit.frags == 5
    assert plan.habit.frags_a_year <= plan.best.frags_a_year
    assert "Today's habit" in plan.because


def test_frags_a_year_are_those_of_the_cycle():
    days = float(regrowth_time_on_scale(60.0, 100.0, rate=0.01, exponent=0.5, reference=50.0)) + 7
    assert frags_a_year(100.0, 60.0, RADIAL, 8.0) == pytest.approx(5 / days * 365.25)


def test_no_plan_where_there_is_no_room_for_a_cut():
    plan = plan_cutting(RADIAL, RULES, largest_size=40.0)
    assert plan.best is None
    assert "57" in plan.because or "64" in plan.because


def test_no_plan_for_a_colony_that_does_not_grow():
    assert plan_cutting(Growth(-0.001, 0.5, 50.0), RULES, largest_size=200.0).best is None


def test_an_order_asks_the_largest_mother_first_and_no_more_than_needed():
    model, states = line(90.0, 220.0, 60.0)
    answer = fill_order(model, states, [RULES] * 3, wanted=8, by_day=360.0, today=300.0)
    assert [part.identifier for part in answer.lines] == ["m1"]
    assert answer.probability > 0.8
    assert answer.lines[0].frags == 8
    assert 300.0 <= answer.lines[0].day <= 360.0


def test_a_larger_order_is_spread_over_mothers():
    model, states = line(90.0, 220.0, 100.0)
    answer = fill_order(model, states, [RULES] * 3, wanted=24, by_day=390.0, today=300.0)
    assert len(answer.lines) >= 2
    assert sum(part.frags for part in answer.lines) >= 24


def test_more_time_makes_an_order_likelier():
    model, states = line(80.0, 75.0)
    soon, late = (
        fill_order(model, states, [RULES] * 2, wanted=10, by_day=day, today=300.0).probability for day in (310.0, 500.0)
    )
    assert soon < 0.5 < late


def test_a_mother_that_grows_back_in_time_is_cut_more_than_once():
    model, states = line(110.0)
    rest = RULES.rest_days
    once = fill_order(model, states, [RULES], wanted=45, by_day=300.0 + rest - 1, today=300.0)
    assert len(once.lines) == 1
    answer = fill_order(model, states, [RULES], wanted=45, by_day=720.0, today=300.0)
    assert len(answer.lines) >= 2
    assert {part.identifier for part in answer.lines} == {"m0"}
    days = [part.day for part in answer.lines]
    assert np.all(np.diff(days) >= rest)
    assert min(days) >= 300.0
    assert max(days) <= 720.0
    assert all(part.frags >= 1 and 0 <= part.probability <= 1 for part in answer.lines)
    patient = CutRules(FragUnit(8.0, 0.5, 4), keep_at_least=25.0, fewest_frags=4, rest_days=1000)
    assert answer.expected > fill_order(model, states, [patient], wanted=45, by_day=720.0, today=300.0).expected


def test_one_cut_is_enough_where_it_fills_the_order():
    model, states = line(220.0)
    answer = fill_order(model, states, [RULES], wanted=8, by_day=720.0, today=300.0)
    assert len(answer.lines) == 1


def test_a_mother_cut_later_on_is_known_as_if_the_cut_had_been_read():
    """What is foreseen after a cut today equals what the filter makes of that cut."""
    readings = tuple(Reading(float(d), float(100 * np.exp(0.004 * (d - 300)))) for d in np.arange(0, 301, 30))
    unit = (8.0, 0.5)
    stories = [ColonyHistory("m", "line", readings, frag_unit=unit)]
    stories.append(ColonyHistory("m", "line", readings, cuts=(Cut(300.0, 5),), frag_unit=unit))
    padded = [pad_histories([story], measure="area_cm2", growth_form="plating") for story in stories]
    model = learn_model(padded[0], measure="area_cm2", growth_form="plating", exponent=0.0)
    uncut, cut = (view_colonies(model, each) for each in padded)
    foreseen = _after_cut(model, uncut, RULES, 300.0, 5, 7.0)
    for name in ("level", "rate", "level_variance", "covariance", "rate_variance", "growth_stops_until"):
        np.testing.assert_allclose(getattr(foreseen, name), getattr(cut, name), rtol=1e-6, err_msg=name)


def test_an_order_leaves_time_to_heal():
    model, states = line(220.0)
    answer = fill_order(model, states, [RULES], wanted=4, by_day=340.0, today=300.0, healing_days=30.0)
    assert answer.lines[0].day <= 310.0
    none = fill_order(model, states, [RULES], wanted=4, by_day=320.0, today=300.0, healing_days=30.0)
    assert none.lines == []
    assert "heal" in none.because


def test_losses_are_reckoned_with():
    model, states = line(110.0)
    rules = [CutRules(FragUnit(8.0, 0.5, 4), keep_at_least=25.0, healed_share=share) for share in (1.0, 0.5)]
    sure, doubtful = (
        fill_order(model, states, [rule], wanted=5, by_day=310.0, today=300.0).probability for rule in rules
    )
    assert doubtful < sure / 2


def test_mothers_that_rest_or_lose_tissue_are_left_out():
    model, states = line(220.0, 220.0, 90.0, declining=(0,))
    answer = fill_order(model, states, [RULES] * 3, wanted=4, by_day=330.0, today=300.0, free_from=[300, 340, 300])
    assert [part.identifier for part in answer.lines] == ["m2"]


def test_an_order_for_nothing_or_for_yesterday_is_refused():
    model, states = line(220.0)
    with pytest.raises(ValueError, match="at least one frag"):
        fill_order(model, states, [RULES], wanted=0, by_day=310.0, today=300.0)
    with pytest.raises(ValueError, match="passed"):
        fill_order(model, states, [RULES], wanted=1, by_day=299.0, today=300.0)


def test_an_order_tells_the_chances_of_every_number():
    model, states = line(90.0, 100.0)
    answer = fill_order(model, states, [RULES] * 2, wanted=12, by_day=330.0, today=300.0)
    assert len(answer.chances) == 13
    assert sum(answer.chances) == pytest.approx(1.0)
    assert answer.chances[-1] == answer.probability
    assert np.arange(13) @ answer.chances <= answer.expected + 1e-9
    none = fill_order(model, states, [RULES] * 2, wanted=2, by_day=310.0, today=300.0, healing_days=20.0)
    assert none.chances == (1.0, 0.0, 0.0)


def test_losses_thin_a_number_binomially():
    counts = np.zeros(11)
    counts[10] = 1.0
    chances = cutting_plan._thin(counts, 0.9, 9)
    assert chances[9] == pytest.approx(0.9**10 + 10 * 0.9**9 * 0.1)
    assert chances[8] == pytest.approx(45 * 0.9**8 * 0.1**2)
    assert cutting_plan._thin(counts, 1.0, 4)[4] == 1.0
