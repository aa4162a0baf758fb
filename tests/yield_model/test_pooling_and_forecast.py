"""What a collection teaches, and what is forecast from it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from propagation.yield_model.backtest import learn_model
from propagation.yield_model.forecast import forecast_sizes, view_colonies
from propagation.yield_model.histories import ColonyHistory, Cut, Reading, pad_arrays, pad_histories
from propagation.yield_model.pooling import find_rounding, learn_growth, learn_lag


def simulate(colonies, readings, seed, lines=5, rate=0.004, between=0.0015, within=0.0007, noise=0.004, error=0.03):
    """Colonies from the model itself: lineage, colony and process, on the log scale."""
    generator = np.random.default_rng(seed)
    days = np.cumsum(generator.integers(15, 46, (colonies, readings)), axis=1).astype(float)
    line = np.arange(colonies) % lines
    # Lines keep their rates whatever the number of colonies.
    rates = np.random.default_rng(99).normal(rate, between, lines)[line] + generator.normal(0, within, colonies)
    steps = np.diff(days, axis=1, prepend=days[:, :1])
    level = np.log(30) + np.cumsum(
        rates[:, None] * steps + generator.normal(0, noise, days.shape) * np.sqrt(steps), axis=1
    )
    return days, np.exp(level + generator.normal(0, error, days.shape)), [f"line {i}" for i in line]


def test_lineages_are_told_apart_and_drawn_to_the_form():
    days, sizes, lines = simulate(60, 10, seed=3)
    model = learn_growth(
        pad_arrays(days, sizes, lineages=lines), measure="area_cm2", growth_form="plating", exponent=0.0
    )
    slopes = np.log(sizes[:, -1] / sizes[:, 0]) / (days[:, -1] - days[:, 0])
    for name in set(lines):
        own = np.mean([slope for slope, line in zip(slopes, lines, strict=True) if line == name])
        assert model.lineages[name].mean == pytest.approx(own, abs=4e-4)
    stranger = model.rate_of("never seen")
    assert stranger.variance > max(rate.variance for rate in model.lineages.values())


def test_what_is_learned_does_not_depend_on_the_unit():
    days, sizes, lines = simulate(15, 6, seed=4)
    forecasts = []
    for unit in (1.0, 100.0):
        padded = pad_arrays(days, sizes * unit, lineages=lines)
        model = learn_model(padded, measure="anything", exponent=0.5)
        forecasts.append(forecast_sizes(model, view_colonies(model, padded), 900.0).median / unit)
    np.testing.assert_allclose(forecasts[0], forecasts[1], rtol=1e-3)


def test_kin_make_a_colony_with_one_reading_surer():
    days, sizes, lines = simulate(30, 10, seed=5)
    single = ColonyHistory("new", lines[0], (Reading(0.0, 30.0),))
    alone = pad_histories([single])
    kin = [
        ColonyHistory(str(i), lines[i], tuple(Reading(d, s) for d, s in zip(days[i], sizes[i], strict=True)))
        for i in range(30)
    ]
    widths = []
    for histories in ([single], [single, *kin]):
        model = learn_model(pad_histories(histories), measure="area_cm2", growth_form="plating", exponent=0.0)
        low, high = forecast_sizes(model, view_colonies(model, alone), np.array([120.0])).interval(0.8)
        widths.append(float(np.log(high / low)[0]))
    assert widths[1] < widths[0] / 1.5


def test_one_colony_with_two_readings_is_sane_and_wide():
    padded = pad_arrays([[0.0, 30.0]], [[30.0, 34.0]])
    model = learn_model(padded, measure="area_cm2", growth_form="plating")
    sizes = forecast_sizes(model, view_colonies(model, padded), np.array([120.0]))
    low, high = sizes.interval(0.8)
    assert 34 < sizes.median[0] < 80
    assert high[0] - low[0] > 5
    assert "default" in model.scale.reason


def test_an_empty_collection_still_has_a_model():
    model = learn_growth(pad_histories([]), measure="tle_cm", growth_form="branching")
    assert model.rate_of("x").mean == model.published.mean
    assert len(view_colonies(model, pad_histories([]))) == 0


def test_chunks_make_no_difference(monkeypatch):
    days, sizes, lines = simulate(23, 6, seed=6)
    padded = pad_arrays(days, sizes, lineages=lines)
    model = learn_growth(padded, measure="area_cm2", growth_form="plating", exponent=0.5)
    whole = view_colonies(model, padded)
    monkeypatch.setattr("propagation.yield_model.forecast.CHUNK", 5)
    parts = view_colonies(model, padded)
    assert parts.identifiers == whole.identifiers
    np.testing.assert_array_equal(parts.level, whole.level)
    np.testing.assert_array_equal(parts.rate_variance, whole.rate_variance)


def test_simulated_colonies_fall_uniformly_into_their_forecasts():
    """Rank uniformity: outcomes of colonies drawn from the model itself, forecast by what other colonies taught."""
    days, sizes, lines = simulate(40, 8, seed=7)
    model = learn_model(
        pad_arrays(days, sizes, lineages=lines), measure="area_cm2", growth_form="plating", exponent=0.0
    )
    # Colonies of the same lineages that the model has never seen.
    days, sizes, lines = simulate(400, 9, seed=70)
    padded = pad_arrays(days[:, :6], sizes[:, :6], lineages=lines, identifiers=[f"new {i}" for i in range(400)])
    sizes_then = forecast_sizes(model, view_colonies(model, padded), days[:, 8], as_reading=True)
    ranks = 1 - sizes_then.probability_at_least(sizes[:, 8])
    counts = np.histogram(ranks, bins=5, range=(0, 1))[0]
    # Chi-squared with 4 degrees of freedom: 18.5 would come up once in a thousand.
    assert np.sum((counts - 80.0) ** 2 / 80.0) < 18.5
    low, high = sizes_then.interval(0.8)
    assert 0.74 < np.mean((low <= sizes[:, 8]) & (sizes[:, 8] <= high)) < 0.86


def test_probability_and_quantile_are_each_others_inverse():
    days, sizes, lines = simulate(12, 6, seed=8)
    padded = pad_arrays(days, sizes, lineages=lines)
    model = learn_model(padded, measure="area_cm2", growth_form="plating")
    forecast = forecast_sizes(model, view_colonies(model, padded), 400.0)
    for probability in (0.05, 0.3, 0.5, 0.9):
        np.testing.assert_allclose(
            forecast.probability_at_least(forecast.quantile(probability)), 1 - probability, atol=1e-6
        )


def test_years_ahead_a_forecast_stays_within_reason():
    days, sizes, lines = simulate(20, 8, seed=9)
    padded = pad_arrays(days, sizes, lineages=lines)
    model = learn_model(padded, measure="area_cm2", growth_form="plating")
    near, far = (forecast_sizes(model, view_colonies(model, padded), padded.last_day + d) for d in (90.0, 3 * 365.0))
    assert np.all(np.diff([near.median, far.median], axis=0) > 0)
    assert np.all(np.isfinite(far.quantile(0.975)))


@pytest.mark.parametrize(("sizes", "step"), [([1, 2, 5, 9], 1.0), ([0.123, 0.5, 1.25], 0.001), ([10, 20, 50], 10.0)])
def test_rounding_is_found(sizes, step):
    assert find_rounding(sizes) == pytest.approx(step)


def test_no_rounding_is_found_where_there_is_none():
    assert find_rounding(np.random.default_rng(1).uniform(1, 9, 30)) == 0.0


def test_the_lag_is_learned_only_from_enough_cuts():
    def history(number, lag, cuts=6):
        generator = np.random.default_rng(number)
        readings, events, size, day = [Reading(0.0, 60.0)], [], 60.0, 0.0
        for _ in range(cuts):
            size *= np.exp(0.01 * 40)
            day += 40.0
            readings.append(Reading(day, size * np.exp(generator.normal(0, 0.01))))
            events.append(Cut(day, 3, after=60.0))
            size = 60.0 * np.exp(0.01 * max(25.0 - lag, 0))
            day += 25.0
            readings.append(Reading(day, size * np.exp(generator.normal(0, 0.01))))
        return ColonyHistory(str(number), "line", tuple(readings), tuple(events))

    few, reason = learn_lag([history(1, 20.0, cuts=2)], measure="area_cm2", growth_form="plating")
    assert few == 7.0
    assert "only 2 cuts" in reason
    many, reason = learn_lag([history(i, 20.0) for i in range(12)], measure="area_cm2", growth_form="plating")
    assert many == 21.0
    assert "better than the usual" in reason


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.lists(st.tuples(st.integers(0, 90), st.floats(1e-3, 1e4)), min_size=1, max_size=6), min_size=1, max_size=4
    ),
    st.sampled_from(["tle_cm", "area_cm2", "polyps", "weight_g", "diameter_mm", "made up"]),
)
def test_whatever_the_readings_no_answer_is_nan_or_negative(colonies, measure):
    histories = []
    for number, steps in enumerate(colonies):
        days = np.cumsum([gap for gap, _ in steps])
        readings = tuple(Reading(float(day), size) for day, (_, size) in zip(days, steps, strict=True))
        histories.append(ColonyHistory(str(number), None, readings))
    padded = pad_histories(histories, measure=measure)
    model = learn_growth(padded, measure=measure, exponent=0.5)
    states = view_colonies(model, padded)
    for ahead in (0.0, 30.0, 2000.0):
        sizes = forecast_sizes(model, states, states.last_day + ahead, as_reading=True)
        for probability in (0.025, 0.5, 0.975):
            assert np.all(np.isfinite(sizes.quantile(probability)))
            assert np.all(sizes.quantile(probability) > 0)
        assert np.all((sizes.probability_at_least(10.0) >= 0) & (sizes.probability_at_least(10.0) <= 1))
