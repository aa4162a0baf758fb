"""When a mother can be cut next, for how many frags, and what binds."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propagation.yield_model.backtest import learn_model
from propagation.yield_model.forecast import view_colonies
from propagation.yield_model.frag_units import FragUnit, learn_frag_unit
from propagation.yield_model.histories import ColonyHistory, Decline, Reading, pad_histories
from propagation.yield_model.next_cut import (
    Binds,
    Circumstances,
    CutRules,
    count_frags,
    default_rules,
    enough_probability,
    frag_distribution,
    next_cuts,
    size_days,
    size_needed,
)
from propagation.yield_model.tails import TailShape

TODAY = 300.0
RULES = CutRules(FragUnit(8.0, 1.0, 4), keep_at_least=25.0, fewest_frags=4, healed_share=0.9, price=20.0)


def mothers(*sizes_now, rate=0.004, declines=()):
    """Mothers measured monthly up to today, one for each size they have now."""
    generator = np.random.default_rng(1)
    histories = []
    for number, size in enumerate(sizes_now):
        days = np.arange(0, TODAY + 1, 30)
        sizes = size * np.exp(rate * (days - TODAY) + generator.normal(0, 0.02, days.size))
        readings = tuple(Reading(float(day), float(s)) for day, s in zip(days, sizes, strict=True))
        histories.append(ColonyHistory(f"m{number}", "line", readings, declines=declines))
    padded = pad_histories(histories, measure="area_cm2", growth_form="plating")
    model = learn_model(padded, measure="area_cm2", growth_form="plating", exponent=0.0)
    return model, view_colonies(model, padded)


def settle(size, circumstances=None, rules=RULES, **options):
    model, states = mothers(size, *([] if options else [size]), **options)
    others = [Circumstances()] * (len(states) - 1)
    return next_cuts(model, states, [rules] * len(states), [circumstances or Circumstances(), *others], TODAY)[0]


def test_a_large_mother_can_be_cut_today():
    cut = settle(200.0)
    assert cut.day == cut.earliest == TODAY
    assert cut.binds == Binds.NOTHING
    assert cut.probability_today > 0.9
    assert cut.frags.low <= cut.frags.median <= cut.frags.high
    assert cut.frags.median == pytest.approx(12, abs=1)
    assert cut.usable == pytest.approx(cut.frags.mean * 0.9, abs=0.01)
    assert cut.value == pytest.approx(cut.usable * 20, abs=0.2)


def test_a_small_mother_waits_for_her_size_with_a_window():
    cut = settle(40.0)
    need = float(size_needed(4, 8.0, 25.0, 0.5))
    expected = TODAY + np.log(need / 40.0) / 0.004
    assert cut.day == pytest.approx(expected, abs=15)
    assert cut.earliest < cut.day < cut.latest
    assert cut.binds == Binds.SIZE
    assert cut.frags.median == 4
    assert "likely to have the size" in cut.because[0]


def test_not_within_three_years_is_an_answer():
    cut = settle(15.0, rate=0.0001)
    assert (cut.day, cut.earliest, cut.latest) == (None, None, None)
    assert cut.binds == Binds.SIZE
    assert "within three years" in cut.because[0]


def test_a_shrinking_mother_is_said_to_shrink():
    cut = settle(40.0, rate=-0.003)
    assert cut.day is None
    assert "shrinking" in cut.because[0]


def test_rest_binds_after_a_cut():
    cut = settle(200.0, Circumstances(last_cut_day=TODAY - 10))
    assert cut.day == TODAY + 32
    assert cut.binds == Binds.REST
    assert any("10 days ago" in sentence for sentence in cut.because)


def test_rest_that_is_over_before_the_size_is_there_does_not_bind():
    assert settle(40.0, Circumstances(last_cut_day=TODAY - 10)).binds == Binds.SIZE


def test_an_incident_leaves_her_alone():
    cut = settle(200.0, Circumstances(incidents=("It is browning.",)))
    assert cut.day is None
    assert cut.binds == Binds.HEALTH
    assert "It is browning." in cut.because
    assert cut.size_day == TODAY


def test_tissue_loss_leaves_her_alone_without_being_told_twice():
    cut = settle(200.0, declines=(Decline(TODAY - 5),))
    assert cut.binds == Binds.HEALTH
    assert cut.day is None


def test_water_binds_now_but_not_a_cut_months_ahead():
    now = settle(200.0, Circumstances(water=("Alkalinity swings.",)))
    later = settle(40.0, Circumstances(water=("Alkalinity swings.",)))
    assert (now.day, now.binds) == (None, Binds.WATER)
    assert later.day is not None
    assert later.binds == Binds.SIZE
    assert "Alkalinity swings." in later.because


def test_a_cut_waits_until_somebody_is_there_to_watch_it_heal():
    away = Circumstances(absences=((TODAY + 5, TODAY + 20),))
    cut = settle(200.0, away)
    assert cut.day == TODAY + 21
    assert cut.binds == Binds.ABSENCE


def test_two_absences_in_a_row_are_both_waited_for():
    away = Circumstances(absences=((TODAY + 25, TODAY + 30), (TODAY + 5, TODAY + 20)))
    assert settle(200.0, away).day == TODAY + 31


def test_an_absence_far_off_does_not_bind():
    assert settle(200.0, Circumstances(absences=((TODAY + 60, TODAY + 70),))).binds == Binds.NOTHING


def test_first_frags_are_for_insurance():
    cut = settle(200.0, Circumstances(missing_copies=2))
    assert cut.for_insurance == 2
    assert cut.value == pytest.approx((cut.usable - 2) * 20, abs=0.2)
    few = settle(70.0, Circumstances(missing_copies=9))
    assert few.binds == Binds.INSURANCE
    assert few.value == 0


def test_no_room_for_enough_frags_binds():
    cut = settle(40.0, rules=CutRules(FragUnit(8.0, 1.0, 4), keep_at_least=25.0, room=50.0))
    assert cut.day is None
    assert cut.binds == Binds.ROOM
    assert "room" in cut.because[0]


def test_frags_are_a_distribution_that_adds_up():
    model, states = mothers(40.0, 90.0, 10.0)
    table = frag_distribution(model, states, [RULES] * 3, TODAY)
    np.testing.assert_allclose(table.sum(axis=1), 1)
    counts = count_frags(model, states, [RULES] * 3, TODAY)
    np.testing.assert_allclose(table @ np.arange(table.shape[1]), [count.mean for count in counts])
    assert counts[2].high == 0
    # At least four frags, counted and by the size needed, are the same event.
    reached = enough_probability(model, states, [RULES] * 3, [TODAY])[:, 0]
    np.testing.assert_allclose(table[:, 4:].sum(axis=1), reached, atol=0.03)


def test_a_larger_share_kept_means_fewer_frags():
    model, states = mothers(120.0)
    generous = default_rules("area_cm2", "plating", largest_share=0.5)
    careful = default_rules("area_cm2", "plating", largest_share=0.1)
    many, few = (count_frags(model, states, [rules], TODAY)[0].mean for rules in (generous, careful))
    assert few < many / 3


def test_the_window_covers_at_its_stated_rate():
    """The first day with enough, of colonies simulated from the model, falls into the window four times in five."""
    model, _ = mothers(40.0, 45.0)
    # Noisy enough that the window is weeks wide, with the normal tails that are simulated below.
    noisy = replace(model.parameters, size_noise=0.008, rate_drift=1e-4, rate_return=0.002, reading_error=0.04)
    model = replace(model, parameters=noisy, tails=TailShape(tail_weight=500.0), lineage_spread=0.001)
    readings = tuple(Reading(float(day), 40.0 * float(np.exp(0.004 * (day - TODAY)))) for day in range(0, 301, 30))
    histories = [ColonyHistory(f"new {number}", "line", readings) for number in range(2)]
    states = view_colonies(model, pad_histories(histories))
    days, _ = size_days(model, states, [CutRules(FragUnit(8.0, 0.0, 4), keep_at_least=25.0)] * 2, TODAY)
    generator = np.random.default_rng(11)
    draws, step = 3000, 1.0
    parameters, index = model.parameters, 0
    usual = states.usual_rate[index] + np.sqrt(states.usual_variance[index]) * generator.standard_normal(draws)
    shift = usual - states.usual_rate[index]
    covariance = [
        [states.level_variance[index], states.covariance[index]],
        [states.covariance[index], states.rate_variance[index]],
    ]
    level, rate = generator.multivariate_normal([states.level[index], states.rate[index]], covariance, draws).T
    level, rate = level + shift * states.level_sensitivity[index], rate + shift * states.rate_sensitivity[index]
    need = np.log(size_needed(4, 8.0, 25.0, 0.5) / model.reference)
    first = np.full(draws, np.inf)
    for day in range(1, 1100):
        level = level + rate * step + parameters.size_noise * np.sqrt(step) * generator.standard_normal(draws)
        rate = usual + (rate - usual) * np.exp(-parameters.rate_return * step)
        rate = rate + parameters.rate_drift * np.sqrt(step) * generator.standard_normal(draws)
        first[np.isinf(first) & (level >= need)] = TODAY + day
    # A path that wavers reaches its size a little before its odds do, so slightly fewer than four in five fall inside.
    share = np.mean((days[index, 0] <= first) & (first <= days[index, 2]))
    assert 0.72 < share < 0.85
    assert days[index, 1] == pytest.approx(np.median(first), abs=12)


def test_a_frag_unit_is_learned_from_cuts_and_ignores_empty_ones():
    unit = learn_frag_unit([60, 80, 50], [44, 52, 50], [2, 3, 0], default=6.0)
    assert unit.cuts == 2
    assert 6.0 < unit.mean < 9.0


@given(st.floats(0.1, 100), st.integers(1, 50), st.floats(0, 100), st.floats(0.05, 1))
def test_the_size_needed_leaves_enough(unit, frags, keep, share):
    need = float(size_needed(frags, unit, keep, share))
    assert need - frags * unit >= keep - 1e-9 * need
    assert frags * unit <= share * need * (1 + 1e-12)


@pytest.mark.parametrize(
    "change",
    [{"keep_at_least": -1.0}, {"fewest_frags": 0}, {"largest_share": 0.0}, {"healed_share": 1.5}, {"room": -2.0}],
)
def test_rules_that_cannot_be_are_refused(change):
    with pytest.raises(ValueError, match=r"\.$"):
        default_rules("area_cm2", "plating", **change)
