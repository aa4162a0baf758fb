"""The published rates bound the priors, and the table shipped agrees with the reference table.

Sources: the citations in `published_rates.PUBLISHED_RATES`; reference table `growth_rates.csv` (outside the project).
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from propagation.yield_model.backtest import learn_model
from propagation.yield_model.histories import pad_arrays
from propagation.yield_model.published_rates import PUBLISHED_RATES, extension_mm_a_year, published_rate_prior

REFERENCE = Path(__file__).resolve().parents[2].parent / "shared" / "reference" / "growth_rates.csv"


def test_shipped_rates_are_those_of_the_reference_table():
    if not REFERENCE.exists():
        pytest.skip("the reference table is not here")
    with REFERENCE.open(newline="") as lines:
        theirs = sorted(
            (float(r["value"]), float(r["value_low"]), float(r["value_high"])) for r in csv.DictReader(lines)
        )
    assert sorted((rate.value, rate.low, rate.high) for rate in PUBLISHED_RATES) == theirs
    assert all(rate.citation and rate.how_known for rate in PUBLISHED_RATES)


@pytest.mark.parametrize("form", ["tabling", "branching", "massive", "plating", "encrusting"])
def test_the_prior_of_an_area_lies_within_the_published_extension(form):
    middle, low, high = extension_mm_a_year(form)
    assert low <= middle <= high
    radius_cm = 10.0
    prior = published_rate_prior("area_cm2", form, np.pi * radius_cm**2)
    extension = prior.mean * radius_cm / 2 * 10 * 365.25  # mm a year
    assert low <= extension <= high
    # Two standard deviations reach well up the published range, but not far beyond its fastest (a branch's tip, not a
    # rim).
    fastest = (prior.mean + 2 * prior.standard_deviation) * radius_cm / 2 * 10 * 365.25
    assert 0.4 * high <= fastest <= 3 * high


def test_a_massive_form_is_expected_to_grow_slower_than_a_table():
    slow, fast = (published_rate_prior("diameter_mm", form, 80.0).mean for form in ("massive", "tabling"))
    assert slow < fast / 3


def test_the_weight_prior_holds_the_published_range():
    prior = published_rate_prior("weight_g", "branching", 0.7)
    assert 0.006 <= prior.mean <= 0.012


def test_one_colony_with_two_readings_stays_near_the_published_rate():
    padded = pad_arrays([[0.0, 30.0]], [[40.0, 80.0]])
    model = learn_model(padded, measure="area_cm2", growth_form="massive")
    highest = model.published.mean + 3 * model.published.standard_deviation
    assert model.rate_of(None).mean < highest
    assert np.log(2) / 30 > 2 * highest  # what the two readings alone would say
