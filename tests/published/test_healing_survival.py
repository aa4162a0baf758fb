"""Survival against lifelines and a textbook case.

Sources: remission times of 21 patients on 6-MP, Freireich EJ et al. 1963, Blood 21:699–716, in Kalbfleisch JD,
Prentice RL, The Statistical Analysis of Failure Time Data (from memory; the same as lifelines' `load_leukemia`, Rx =
0); lifelines'
interval-censored fitters as reference library.
"""

import warnings

import numpy as np
import pytest

from propagation.yield_model.healing import fit_time_to_event, kaplan_meier

WEEKS = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
ENDED = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]


def test_kaplan_meier_of_the_textbook_case():
    weeks, share, error = kaplan_meier(WEEKS, np.array(ENDED, bool))
    assert weeks.tolist() == [6, 7, 10, 13, 16, 22, 23]
    np.testing.assert_allclose(share, [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448], atol=5e-4)
    assert error[0] == pytest.approx(np.sqrt(0.857142857**2 * 3 / (21 * 18)), rel=1e-6)


def test_kaplan_meier_equals_lifelines_on_random_ends():
    lifelines = pytest.importorskip("lifelines")
    generator = np.random.default_rng(5)
    days, ended = np.ceil(generator.exponential(30, 200)), generator.random(200) < 0.7
    moments, share, _ = kaplan_meier(days, ended)
    fitted = lifelines.KaplanMeierFitter().fit(days, ended)
    np.testing.assert_allclose(share, fitted.predict(moments).to_numpy(), atol=1e-12)


@pytest.mark.parametrize(("family", "fitter"), [("lognormal", "LogNormalFitter"), ("weibull", "WeibullFitter")])
def test_interval_censored_fit_equals_lifelines(family, fitter):
    lifelines = pytest.importorskip("lifelines")
    generator = np.random.default_rng(6)
    healed = np.exp(generator.normal(3.1, 0.4, 150)) if family == "lognormal" else 25 * generator.weibull(2.5, 150)
    lower = np.floor(healed / 7) * 7
    upper = lower + 7.0
    censored = lower >= 28
    upper[censored], lower[censored] = np.inf, 28.0
    location, scale, likelihood = fit_time_to_event(lower, upper, family=family)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        reference = getattr(lifelines, fitter)().fit_interval_censoring(lower, upper)
    if family == "lognormal":
        theirs = reference.mu_, reference.sigma_
    else:
        theirs = np.log(reference.lambda_), 1 / reference.rho_
    assert location == pytest.approx(theirs[0], abs=2e-3)
    assert scale == pytest.approx(theirs[1], rel=5e-3)
    assert likelihood >= reference.log_likelihood_ - 1e-4
