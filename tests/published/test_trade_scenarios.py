"""Stories the trade knows, as scenarios. Common practice, no source."""

import numpy as np

from propagation.yield_model.backtest import learn_model
from propagation.yield_model.forecast import forecast_sizes, view_colonies
from propagation.yield_model.histories import ColonyHistory, Decline, Reading, pad_histories
from propagation.yield_model.next_cut import Binds, Circumstances, default_rules, next_cuts
from propagation.yield_model.yield_record import MotherRecord, rank_mothers

MONTH = 30.0


def measured(sizes, seed, noise=0.03):
    generator = np.random.default_rng(seed)
    return tuple(
        Reading(MONTH * month, float(size * np.exp(generator.normal(0, noise)))) for month, size in enumerate(sizes)
    )


def kin(rate=0.05, number=6):
    """Colonies of another line, each at its own pace."""
    paces = np.random.default_rng(49).normal(rate, 0.01, number)
    return [
        ColonyHistory(f"kin {i}", "common", measured(20 * np.exp(pace * np.arange(18)), seed=50 + i))
        for i, pace in enumerate(paces)
    ]


def forecast(histories, until):
    padded = pad_histories(histories, measure="area_cm2", growth_form="branching")
    model = learn_model(padded, measure="area_cm2", growth_form="branching", exponent=0.0)
    return model, view_colonies(model, padded), until


def test_an_encruster_that_branches_after_eighteen_months_is_caught_up_with():
    """Base first: slow for 18 months, then quick. The forecast follows within four readings of the turn."""
    slow, quick = np.exp(0.01 * np.arange(19)), np.exp(0.09 * np.arange(1, 13))
    sizes = 10 * np.concatenate([slow, slow[-1] * quick])
    errors = {}
    for seen in (19, 23):
        story = ColonyHistory("encruster", "late", measured(sizes, seed=1)[:seen])
        model, states, _ = forecast([story, *kin()], seen)
        then = forecast_sizes(model, states, np.full(len(states), MONTH * (seen + 3)))
        errors[seen] = abs(np.log(then.median[0] / sizes[seen + 3]))
    assert errors[23] < 0.5 * errors[19]
    assert errors[23] < 0.12


def test_an_encruster_is_not_promised_before_its_third_year():
    story = ColonyHistory("encruster", "late", measured(10 * np.exp(0.01 * np.arange(13)), seed=2))
    model, states, _ = forecast([story, *kin()], 13)
    rules = [default_rules("area_cm2", "branching")] * len(states)
    cut = next_cuts(model, states, rules, [Circumstances()] * len(states), MONTH * 12)[0]
    assert cut.binds == Binds.SIZE
    assert cut.day is None or cut.day > 2 * 365
    assert cut.earliest is None or cut.latest is None or cut.latest - cut.earliest > 90


def test_equal_counts_in_half_the_time_are_not_equal():
    records = [MotherRecord("four years", "a", 16, 4.0), MotherRecord("two years", "b", 16, 2.0)]
    assert [row.record.identifier for row in rank_mothers(records, by="rate")] == ["two years", "four years"]


def test_a_colony_moved_four_times_is_less_sure_than_one_left_in_peace():
    readings = measured(20 * np.exp(0.05 * np.arange(13)), seed=3)
    moves = tuple(MONTH * month + 15 for month in (2, 5, 8, 11))
    stories = [ColonyHistory("moved", "common", readings, moves=moves), ColonyHistory("left", "common", readings)]
    model, states, _ = forecast([*stories, *kin()], 13)
    low, high = forecast_sizes(model, states, np.full(len(states), MONTH * 24)).interval(0.8)
    assert np.log(high[0] / low[0]) > 1.05 * np.log(high[1] / low[1])


def test_a_moved_colony_that_slows_down_is_believed_sooner():
    sizes = 20 * np.exp(np.concatenate([0.05 * np.arange(10), 0.45 + 0.01 * np.arange(1, 4)]))
    readings = measured(sizes, seed=4, noise=0.01)
    moved = ColonyHistory("moved", "common", readings, moves=(MONTH * 9 + 1,))
    left = ColonyHistory("left", "common", readings)
    _, states, _ = forecast([moved, left, *kin()], 13)
    assert states.rate[0] < states.rate[1]


def test_one_that_browned_and_recovered_is_forecast_to_grow_again():
    growing, browning, recovered = np.exp(0.05 * np.arange(9)), 0.8 ** np.arange(1, 4), np.exp(0.05 * np.arange(1, 7))
    sizes = 20 * np.concatenate([growing, growing[-1] * browning, growing[-1] * browning[-1] * recovered])
    story = ColonyHistory("wild", "common", measured(sizes, seed=5), declines=(Decline(MONTH * 8 + 1, MONTH * 11),))
    model, states, _ = forecast([story, *kin()], 18)
    now, later = (forecast_sizes(model, states, np.full(len(states), MONTH * month)) for month in (17, 23))
    assert 1.15 < later.median[0] / now.median[0] < 1.6
