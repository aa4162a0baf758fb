"""What mothers gave, who gives most, and one system against another."""

import numpy as np
import pytest

from propagation.yield_model.backtest import learn_model
from propagation.yield_model.histories import ColonyHistory, Cut, Reading, pad_histories
from propagation.yield_model.yield_record import (
    MotherRecord,
    SystemPair,
    Verdict,
    compare_systems,
    frag_rate,
    learn_frag_prior,
    lineage_rates,
    rank_mothers,
    restrict_to_ages,
)

RECORDS = [
    MotherRecord("old", "a", frags=24, years=4.0, usable=20, money=300.0),
    MotherRecord("young", "b", frags=24, years=2.0, usable=18, money=500.0),
    MotherRecord("new", "c", frags=4, years=0.1, usable=4, money=0.0),
]


def test_the_same_count_over_half_the_time_ranks_higher_by_rate_and_equal_by_count():
    by_count = rank_mothers(RECORDS[:2], by="count")
    by_rate = rank_mothers(RECORDS[:2], by="rate")
    assert [row.place for row in by_count] == [1, 1]
    assert [row.record.identifier for row in by_rate] == ["young", "old"]
    assert by_rate[0].rate.mean > 1.5 * by_rate[1].rate.mean
    assert by_rate[0].sure_of_place > 0.95
    assert by_rate[1].sure_of_place is None


@pytest.mark.parametrize(("by", "first"), [("usable", "old"), ("money", "young")])
def test_other_rankings(by, first):
    assert rank_mothers(RECORDS, by=by)[0].record.identifier == first


def test_a_few_frags_within_weeks_do_not_make_a_champion_for_sure():
    rates = {row.record.identifier: row.rate for row in rank_mothers(RECORDS)}
    assert rates["new"].mean < 40 / 2  # her bare rate would be 40 a year
    assert rates["new"].high / rates["new"].low > 1.5 * rates["young"].high / rates["young"].low


def test_the_interval_covers_at_its_stated_rate():
    generator = np.random.default_rng(1)
    true = generator.gamma(4.0, 1 / 0.6, 600)
    years = generator.uniform(0.3, 4, 600)
    frags = generator.poisson(true * years)
    prior = learn_frag_prior(frags, years)
    rates = [frag_rate(n, t, prior=prior) for n, t in zip(frags, years, strict=True)]
    covered = np.mean([rate.low <= value <= rate.high for rate, value in zip(rates, true, strict=True)])
    assert 0.76 < covered < 0.84


def test_an_unknown_ranking_or_no_time_is_refused():
    with pytest.raises(ValueError, match="count, rate, usable, money"):
        rank_mothers(RECORDS, by="beauty")
    with pytest.raises(ValueError, match="longer than nothing"):
        rank_mothers([MotherRecord("a", None, 3, 0.0)])


def pairs(differences, error=0.0004):
    return [
        SystemPair(f"line {i}", 0.004, error**2, 0.004 + apart, error**2, 150.0, 300.0)
        for i, apart in enumerate(differences)
    ]


def test_two_lineages_are_too_few_to_tell():
    answer = compare_systems(pairs([0.002, 0.003]))
    assert answer.verdict == Verdict.TOO_FEW
    assert answer.low is None
    assert "too few to tell" in answer.because
    assert "No lineage" in compare_systems([]).because


def test_a_clear_difference_is_said_with_the_light_beside_it():
    answer = compare_systems(pairs([0.002, 0.0025, 0.0018, 0.0022, 0.0021]))
    assert answer.verdict == Verdict.SECOND
    assert 0 < answer.low < answer.difference < answer.high
    assert "150" in answer.because
    assert "300" in answer.because


def test_no_difference_is_not_claimed():
    answer = compare_systems(pairs([0.001, -0.0012, 0.0004, -0.0003]))
    assert answer.verdict == Verdict.ALIKE
    assert answer.low < 0 < answer.high


def test_the_comparison_covers_at_its_stated_rate():
    generator = np.random.default_rng(3)
    inside = []
    for _ in range(400):
        apart = 0.001 + generator.normal(0, 0.0006, 6) + generator.normal(0, 0.0004 * np.sqrt(2), 6)
        answer = compare_systems(pairs(apart))
        inside.append(answer.low <= 0.001 <= answer.high)
    assert 0.74 < np.mean(inside) < 0.9


def test_equal_ages_are_compared():
    history = ColonyHistory(
        "a", "line", tuple(Reading(float(d), 10.0 + d) for d in range(100, 900, 100)), cuts=(Cut(450.0, 2, after=50.0),)
    )
    first_year = restrict_to_ages(history, born=100.0, youngest=0.0, oldest=365.0)
    assert [reading.day for reading in first_year.readings] == [100.0, 200.0, 300.0, 400.0]
    assert len(first_year.cuts) == 1


def test_rates_of_lineages_come_from_their_own_readings():
    generator = np.random.default_rng(4)
    histories = []
    for name, rate in (("slow", 0.002), ("fast", 0.006)):
        for number in range(4):
            sizes = 30 * np.exp(rate * np.arange(0, 301, 30) + generator.normal(0, 0.02, 11))
            readings = tuple(Reading(float(d), float(s)) for d, s in zip(range(0, 301, 30), sizes, strict=True))
            histories.append(ColonyHistory(f"{name} {number}", name, readings))
    padded = pad_histories(histories)
    rates = lineage_rates(learn_model(padded, measure="area_cm2", growth_form="plating", exponent=0.0), padded)
    assert rates["slow"][0] == pytest.approx(0.002, abs=5e-4)
    assert rates["fast"][0] == pytest.approx(0.006, abs=5e-4)
    assert rates["fast"][1] > 0
    assert rates["fast"][2] == 4


def test_how_sure_a_place_is_agrees_with_drawing_both_rates():
    """The Beta in closed form against draws from both gammas."""
    rng = np.random.default_rng(7)
    records = [MotherRecord("first", None, 12, 3.0), MotherRecord("second", None, 5, 1.5)]
    prior = learn_frag_prior([12, 5], [3.0, 1.5])
    first, second = rank_mothers(records)
    draws = [
        rng.gamma(prior[0] + each.record.frags, 1 / (prior[1] + each.record.years), 200_000) for each in (first, second)
    ]
    assert first.sure_of_place == pytest.approx(np.mean(draws[0] > draws[1]), abs=0.005)
    assert second.sure_of_place is None
