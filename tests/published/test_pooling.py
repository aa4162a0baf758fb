"""Pooling against normal–normal shrinkage and against a dense normal distribution.

Sources: Gelman A et al., Bayesian Data Analysis, 3rd ed., §2.5 (shrinkage), §2.4 (beta–binomial), §2.6 (gamma–Poisson).
"""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from propagation.yield_model.filter import FilterParameters, run_filter
from propagation.yield_model.frag_units import learn_frag_unit
from propagation.yield_model.healing import healed_counts
from propagation.yield_model.histories import pad_arrays
from propagation.yield_model.next_cut import usable_frags
from propagation.yield_model.yield_record import frag_rate


def test_normal_normal_shrinkage_halfway():
    # One very long, very exact pair of readings is a reading of the rate: 2 ± 1 against a prior of 0 ± 1 gives 1.
    days, error = np.array([0.0, 1.0]), 1 / np.sqrt(2)
    padded = pad_arrays(days, np.exp(np.array([0.0, 2.0])))
    filtered = run_filter(padded, FilterParameters(0.0, error, 0.0, 0.0), 0.0, 1.0, robust=False)
    assert filtered.rate[0] == pytest.approx(1.0)
    assert filtered.rate_variance[0] == pytest.approx(0.5)


def test_what_a_colony_says_of_its_lineage_equals_the_dense_normal():
    generator = np.random.default_rng(7)
    days = np.array([0.0, 20, 45, 90])
    logs = 2 + 0.005 * days + generator.normal(0, 0.05, 4)
    error, noise, within, between, mean = 0.05, 0.01, 0.001, 0.002, 0.004
    parameters = FilterParameters(0.0, error, noise, 0.0)
    filtered = run_filter(pad_arrays(days, np.exp(logs)), parameters, mean, within**2, robust=False)
    variance = 1 / (1 / between**2 + filtered.usual_information[0])
    ours = mean + variance * filtered.usual_moment[0]
    # ln S_k − ln S_0 given the lineage mean m: mean m·days, covariance of rate, noise and reading errors.
    later = days[1:]
    covariance = within**2 * np.outer(later, later) + noise**2 * np.minimum.outer(later, later)
    covariance += error**2 * (np.eye(3) + 1)
    solved = np.linalg.solve(covariance, later)
    theirs_variance = 1 / (1 / between**2 + later @ solved)
    theirs = mean + theirs_variance * (solved @ (logs[1:] - logs[0] - mean * later))
    assert variance == pytest.approx(theirs_variance, rel=1e-9)
    assert ours == pytest.approx(theirs, rel=1e-9)


def test_likelihood_of_one_colony_equals_the_dense_normal():
    days = np.array([0.0, 13, 40, 41, 100])
    logs = np.array([1.0, 1.1, 1.12, 1.2, 1.5])
    error, noise, mean, spread = 0.04, 0.008, 0.004, 0.002
    parameters = FilterParameters(0.0, error, noise, 0.0)
    filtered = run_filter(
        pad_arrays(days, np.exp(logs)), parameters, mean, spread**2, robust=False, keep_surprises=True
    )
    surprise, variance = filtered.surprise[1:, 0], filtered.surprise_variance[1:, 0]
    ours = -0.5 * np.sum(np.log(2 * np.pi * variance) + surprise**2 / variance)
    later = days[1:]
    covariance = spread**2 * np.outer(later, later) + noise**2 * np.minimum.outer(later, later)
    covariance += error**2 * (np.eye(4) + 1)
    assert ours == pytest.approx(multivariate_normal(mean * later, covariance).logpdf(logs[1:] - logs[0]), abs=1e-9)


def test_beta_binomial_survival():
    a, b = healed_counts(17, 3, middle=0.9, weight=4.0)
    assert a / (a + b) == pytest.approx((3.6 + 17) / (4 + 20))
    chances = usable_frags(6, a, b)
    assert chances.sum() == pytest.approx(1)
    assert chances @ np.arange(7) == pytest.approx(6 * a / (a + b))


def test_gamma_poisson_yield():
    rate = frag_rate(18, 3.0, prior=(4.0, 1.0))
    assert rate.mean == pytest.approx((4 + 18) / (1 + 3))
    assert rate.low < rate.mean < rate.high


def test_a_frag_unit_without_cuts_is_the_default_and_with_many_is_the_lineages():
    assert learn_frag_unit([], [], [], default=3.0).mean == pytest.approx(3.0)
    many = learn_frag_unit([100.0] * 400, [80.0] * 400, [5] * 400, default=3.0)
    assert many.mean == pytest.approx(4.0, rel=0.01)
    some = learn_frag_unit([100.0], [80.0], [5], default=3.0)
    assert 3.0 < some.mean < 4.0
