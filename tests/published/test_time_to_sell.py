"""The day by which half of the frags had gone, against a textbook case and lifelines.

Sources: Collett D, Modelling Survival Data in Medical Research, 2nd ed. 2003, section 2.4: the median is the smallest
time at which the product-limit estimate is 0.5 or less (from memory). The 6-MP group of Freireich et al. 1963 and its
median of 23 weeks: Kalbfleisch & Prentice, The Statistical Analysis of Failure Time Data (from memory). lifelines'
`KaplanMeierFitter.median_survival_time_` (https://lifelines.readthedocs.io) is the reference on random times.
"""

import math

import numpy as np
import pytest

from inventory.readings.price_history import median_days

# Weeks in remission under 6-MP; False where the patient had not relapsed when last seen.
WEEKS = [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
RELAPSED = [True] * 9 + [False] * 12


def test_the_median_of_a_textbook_case():
    assert median_days(WEEKS, RELAPSED) == 23


@pytest.mark.parametrize("seed", range(12))
def test_the_median_equals_lifelines_on_random_times(seed):
    lifelines = pytest.importorskip("lifelines")
    chance = np.random.default_rng(seed)
    days = chance.integers(0, 120, size=40 + 10 * seed)
    went = chance.random(days.size) < chance.uniform(0.2, 0.9)
    expected = lifelines.KaplanMeierFitter().fit(days, went).median_survival_time_
    assert median_days(days, went) == (None if math.isinf(expected) else expected)
