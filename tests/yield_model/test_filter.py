"""The filter with cuts, lags, moves, declines and absurd readings."""

import numpy as np
import pytest

from propagation.yield_model.filter import FilterParameters, run_filter
from propagation.yield_model.forecast import forecast_sizes, view_colonies
from propagation.yield_model.histories import ColonyHistory, Cut, Decline, Reading, pad_histories
from propagation.yield_model.pooling import learn_growth

PARAMETERS = FilterParameters(0.0, 0.03, 0.004, 2e-5, tail_weight=8.0)
RATE, SPREAD = 0.004, 0.001


def grown(days, start=20.0, rate=RATE):
    return tuple(Reading(float(day), float(start * np.exp(rate * day))) for day in days)


def run(history, **options):
    padded = pad_histories([history], measure="area_cm2", growth_form="plating", **options)
    return run_filter(padded, PARAMETERS, RATE, SPREAD**2)


def test_a_measured_cut_sets_the_level_and_keeps_the_rate():
    before = run(ColonyHistory("a", readings=grown(range(0, 121, 30))))
    after = run(ColonyHistory("a", readings=grown(range(0, 121, 30)), cuts=(Cut(120.0, 2, after=15.0),)))
    assert np.exp(after.level[0]) == pytest.approx(15.0)
    assert after.rate[0] == pytest.approx(before.rate[0])
    assert after.rate_variance[0] == pytest.approx(before.rate_variance[0])


def test_an_unmeasured_cut_takes_what_the_frags_take_and_is_less_sure():
    readings = grown(range(0, 121, 30), start=60.0)
    whole = run(ColonyHistory("a", readings=readings))
    cut = run(ColonyHistory("a", readings=readings, cuts=(Cut(120.0, 3),), frag_unit=(8.0, 2.0)))
    assert np.exp(cut.level[0]) == pytest.approx(np.exp(whole.level[0]) - 24.0, rel=1e-6)
    assert cut.level_variance[0] > whole.level_variance[0]


def test_more_frags_than_there_was_colony_leave_something():
    cut = run(ColonyHistory("a", readings=grown([0, 30]), cuts=(Cut(30.0, 50),), frag_unit=(8.0, 2.0)))
    assert np.exp(cut.level[0]) > 1.0


def test_the_size_before_a_cut_is_a_reading():
    plain = run(ColonyHistory("a", readings=grown([0, 30]), cuts=(Cut(60.0, 2, after=15.0),)))
    seen = run(ColonyHistory("a", readings=grown([0, 30]), cuts=(Cut(60.0, 2, before=30.0, after=15.0),)))
    assert seen.rate[0] > plain.rate[0]


def test_growth_stops_for_the_lag_after_a_cut():
    history = ColonyHistory("a", readings=grown([0, 30]), cuts=(Cut(30.0, 2, after=15.0),), moves=(40.0,))
    without, with_lag = run(history, lag_days=0.0), run(history, lag_days=7.0)
    assert (without.level - with_lag.level)[0] == pytest.approx(7 * without.rate[0])


def test_a_move_widens_what_is_known_of_the_rate():
    readings = grown(range(0, 181, 30))
    stayed = run(ColonyHistory("a", readings=readings))
    moved = run(ColonyHistory("a", readings=readings, moves=(180.0,)))
    assert moved.rate[0] == pytest.approx(stayed.rate[0])
    assert moved.rate_variance[0] > stayed.rate_variance[0]


def test_several_readings_on_one_day_count_as_several():
    one = run(ColonyHistory("a", readings=(*grown([0]), Reading(30.0, 22.6))))
    two = run(ColonyHistory("a", readings=(*grown([0]), Reading(30.0, 22.6), Reading(30.0, 22.6))))
    assert two.level_variance[0] < one.level_variance[0]


def test_a_reading_with_its_own_error_weighs_by_it():
    exact = run(ColonyHistory("a", readings=(*grown([0]), Reading(30.0, 25.0, 0.1))))
    rough = run(ColonyHistory("a", readings=(*grown([0]), Reading(30.0, 25.0, 5.0))))
    assert abs(np.exp(exact.level[0]) - 25.0) < abs(np.exp(rough.level[0]) - 25.0) / 5


def forecast(histories, ahead=60.0):
    padded = pad_histories(histories, measure="area_cm2", growth_form="plating")
    model = learn_growth(padded, measure="area_cm2", growth_form="plating", exponent=0.0)
    states = view_colonies(model, padded)
    return forecast_sizes(model, states, states.last_day + ahead), states


def collection(changed, noise=0.02):
    generator = np.random.default_rng(2)

    def noisy(readings):
        return tuple(Reading(r.day, r.size * float(np.exp(generator.normal(0, noise)))) for r in readings)

    kin = [ColonyHistory(f"kin {i}", "line", noisy(grown(range(0, 301, 30), start=15 + i))) for i in range(8)]
    return [ColonyHistory("a", "line", changed), *kin]


@pytest.mark.parametrize("place", [0, 5, 10])
@pytest.mark.parametrize(("factor", "words"), [(10.0, "ten times"), (0.1, "a tenth"), (25.4, "inches")])
def test_a_slip_is_flagged_explained_and_does_not_wreck_the_forecast(factor, words, place):
    good = list(grown(range(0, 301, 30)))
    slipped = list(good)
    slipped[place] = Reading(good[place].day, good[place].size * factor)
    right, _ = forecast(collection(tuple(good)))
    wrong, states = forecast(collection(tuple(slipped)))
    flagged = [item for item in states.absurd if item.identifier == "a"]
    assert [item.day for item in flagged] == [good[place].day]
    assert words in flagged[0].explanation
    assert flagged[0].expected == pytest.approx(good[place].size, rel=0.25)
    assert wrong.median[0] == pytest.approx(right.median[0], rel=0.1)


def test_a_real_loss_is_believed_once_it_stays():
    readings = grown(range(0, 181, 30))
    lost = tuple(Reading(r.day + 210, r.size * 0.35) for r in grown(range(0, 91, 30), start=readings[-1].size))
    after, _ = forecast(collection(readings + lost), ahead=0.0)
    assert after.median[0] == pytest.approx(lost[-1].size, rel=0.1)


def test_readings_of_one_day_that_disagree_do_not_wreck_the_forecast():
    readings = (*grown(range(0, 301, 30)), Reading(300.0, 20.0 * np.exp(RATE * 300) * 2.0))
    right, _ = forecast(collection(readings[:-1]))
    wrong, states = forecast(collection(readings))
    assert any(item.identifier == "a" and item.day == 300 for item in states.absurd)
    assert wrong.median[0] == pytest.approx(right.median[0], rel=0.1)


def test_a_colony_in_decline_is_not_forecast_to_grow():
    good = ColonyHistory("a", "line", grown(range(0, 301, 30)))
    ill = ColonyHistory("a", "line", good.readings, declines=(Decline(295.0),))
    others = collection(good.readings)[1:]
    padded = pad_histories([ill, *others], measure="area_cm2", growth_form="plating")
    model = learn_growth(padded, measure="area_cm2", growth_form="plating", exponent=0.0)
    states = view_colonies(model, padded)
    now, later = (forecast_sizes(model, states, states.last_day + ahead) for ahead in (0.0, 90.0))
    assert later.median[0] <= now.median[0] * 1.001
    assert later.median[1] > now.median[1] * 1.1
    low, high = later.interval(0.8)
    assert high[0] / low[0] > 1.5


def test_a_colony_without_any_reading_gets_the_published_rate_wide():
    unseen = ColonyHistory("new", "another line", started_on=0.0)
    padded = pad_histories([unseen], measure="area_cm2", growth_form="plating")
    model = learn_growth(padded, measure="area_cm2", growth_form="plating")
    states = view_colonies(model, padded)
    assert states.only_guessed[0]
    sizes = forecast_sizes(model, states, np.array([180.0]))
    low, high = sizes.interval(0.8)
    assert low[0] < sizes.median[0] < high[0]
    assert high[0] > 3 * low[0]


def test_a_size_that_cannot_be_names_the_colony():
    with pytest.raises(ValueError, match="Colony mother 7"):
        pad_histories([ColonyHistory("mother 7", readings=(Reading(0.0, -3.0),))], measure="tle_cm")
    with pytest.raises(ValueError, match="no reading"):
        pad_histories([ColonyHistory("mother 7")], measure="leaf count")
