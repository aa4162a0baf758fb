"""The filter against a closed form and against a reference library.

Sources: Bayesian linear regression, Bishop CM 2006, Pattern Recognition and Machine Learning, §3.3 (analytic); local
linear trend: statsmodels `UnobservedComponents` as reference library.
"""

import numpy as np
import pytest

from propagation.yield_model.filter import FilterParameters, rate_steps, run_filter
from propagation.yield_model.histories import pad_arrays


def exact(**changes):
    values = {"exponent": 0.0, "reading_error": 0.05, "size_noise": 0.0, "rate_drift": 0.0} | changes
    return FilterParameters(**values)


def test_without_process_noise_the_rate_is_that_of_bayesian_regression():
    generator = np.random.default_rng(1)
    days = np.array([0.0, 11, 30, 64, 65, 120])
    logs = 1.0 + 0.004 * days + generator.normal(0, 0.05, days.size)
    mean, variance, error = 0.003, 0.002**2, 0.05**2
    filtered = run_filter(pad_arrays(days, np.exp(logs)), exact(), mean, variance, robust=False)
    # Level with a flat prior, rate with a normal one: posterior of the regression of ln size on day.
    design = np.column_stack([np.ones_like(days), days])
    precision = design.T @ design / error + np.diag([0.0, 1 / variance])
    posterior = np.linalg.solve(precision, design.T @ logs / error + np.array([0.0, mean / variance]))
    covariance = np.linalg.inv(precision)
    at_end = np.array([1.0, days[-1]])
    assert filtered.rate[0] == pytest.approx(posterior[1], abs=1e-9)
    assert filtered.level[0] == pytest.approx(at_end @ posterior, abs=1e-9)
    assert filtered.rate_variance[0] == pytest.approx(covariance[1, 1], rel=1e-9)
    assert filtered.level_variance[0] == pytest.approx(at_end @ covariance @ at_end, rel=1e-9)
    assert filtered.covariance[0] == pytest.approx(at_end @ covariance @ [0, 1], rel=1e-8)


@pytest.mark.parametrize("drift", [0.0, 0.002])
def test_likelihood_and_states_equal_statsmodels_on_evenly_spaced_readings(drift):
    pytest.importorskip("statsmodels")
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    generator = np.random.default_rng(2)
    logs = np.cumsum(0.01 + generator.normal(0, 0.02, 30)) + generator.normal(0, 0.05, 30)
    noise, error, mean, variance = 0.02, 0.05, 0.008, 0.01**2
    parameters = exact(reading_error=error, size_noise=noise, rate_drift=drift)
    padded = pad_arrays(np.arange(30.0), np.exp(logs))
    filtered = run_filter(padded, parameters, mean, variance, robust=False, keep_surprises=True, keep_states=True)
    # A surprise a day of a local linear trend; our noise is that of continuous time gathered over the day.
    reference = UnobservedComponents(logs[1:], "local linear trend")
    reference.update([error**2, noise**2, drift**2])
    gathered = np.array([[noise**2 + drift**2 / 3, drift**2 / 2], [drift**2 / 2, drift**2]])
    reference.ssm["state_cov"] = gathered
    first = np.array([logs[0] + mean, mean])
    spread = np.array([[error**2 + variance, variance], [variance, variance]]) + gathered
    reference.ssm.initialize_known(first, spread)
    reference.ssm.loglikelihood_burn = 0
    theirs = reference.ssm.filter()
    surprise, scale = filtered.surprise[1:, 0], filtered.surprise_variance[1:, 0]
    ours = -0.5 * np.sum(np.log(2 * np.pi * scale) + surprise**2 / scale)
    assert ours == pytest.approx(theirs.llf_obs.sum(), abs=1e-8)
    np.testing.assert_allclose(filtered.states[0][1:, 0], theirs.filtered_state[0], atol=1e-10)
    np.testing.assert_allclose(filtered.states[1][1:, 0], theirs.filtered_state[1], atol=1e-10)


def test_uneven_steps_equal_many_small_steps_without_readings():
    days = np.array([[0.0, 10.0, 50.0]])
    sizes = np.exp(np.array([[1.0, 1.1, 1.3]]))
    parameters = exact(size_noise=0.01, rate_drift=1e-4, rate_return=0.02)
    coarse = run_filter(pad_arrays(days, sizes), parameters, 0.004, 1e-6, robust=False)
    fine_days = np.arange(51.0)[None, :]
    fine = pad_arrays(fine_days, np.exp(1 + 0.006 * fine_days))
    unseen = np.ones((51, 1), dtype=bool)
    unseen[[0, 10, 50]] = False
    fine.size[[0, 10, 50], 0] = sizes[0]
    stepped = run_filter(fine.without_readings(unseen), parameters, 0.004, 1e-6, robust=False)
    for name in ("level", "rate", "level_variance", "covariance", "rate_variance", "level_sensitivity"):
        assert getattr(stepped, name)[0] == pytest.approx(getattr(coarse, name)[0], rel=1e-9), name


def test_a_rate_that_hardly_returns_is_an_integrated_drift():
    growing = np.array([0.5, 30.0, 400.0])
    for steady, returning in zip(rate_steps(growing, 0.0), rate_steps(growing, 1e-7), strict=True):
        np.testing.assert_allclose(returning, steady, rtol=1e-4)


def test_a_fleeting_rate_settles_at_its_stationary_variance():
    _, _, _, _, variance = rate_steps(np.array([1e5]), 0.01)
    assert variance[0] == pytest.approx(1 / (2 * 0.01))


def test_sensitivity_is_the_derivative_by_the_prior_mean():
    generator = np.random.default_rng(3)
    days = np.cumsum(generator.integers(5, 60, (4, 7)), axis=1).astype(float)
    padded = pad_arrays(days, np.exp(1 + 0.004 * days + generator.normal(0, 0.1, days.shape)))
    parameters = exact(size_noise=0.01, rate_drift=1e-4, rate_return=0.005)
    low, high = (run_filter(padded, parameters, mean, 1e-6, robust=False) for mean in (0.003, 0.004))
    np.testing.assert_allclose((high.level - low.level) / 0.001, low.level_sensitivity, rtol=1e-8)
    np.testing.assert_allclose((high.rate - low.rate) / 0.001, low.rate_sensitivity, rtol=1e-8)
