"""Healing learned from checks, pooled per lineage, and when a plug will be ready."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from propagation.yield_model.healing import (
    HealingModel,
    LineageHealing,
    PlugHealing,
    learn_healing,
    share_of_healed,
)


def checked(lineage, healed_day, dies=None, every=7.0, until=70.0):
    """A plug as seen on weekly checks."""
    end = healed_day if dies is None else dies
    if end > until:
        return PlugHealing(lineage, until)
    seen = np.ceil(end / every) * every
    return PlugHealing(lineage, seen - every, **{"seen_healed" if dies is None else "seen_dead": seen})


def plugs(lineage, median, share, number, seed):
    generator = np.random.default_rng(seed)
    days = median * np.exp(generator.normal(0, 0.35, number))
    lost = generator.random(number) > share
    return [
        checked(lineage, day, generator.exponential(15) + 1 if gone else None)
        for day, gone in zip(days, lost, strict=True)
    ]


def test_lineages_are_told_apart():
    model = learn_healing(plugs("quick", 15, 0.95, 60, 1) + plugs("slow", 40, 0.7, 60, 2))
    quick, slow = model.of("quick"), model.of("slow")
    assert quick.median_days == pytest.approx(15, rel=0.15)
    assert slow.median_days == pytest.approx(40, rel=0.15)
    assert slow.median_days_low < slow.median_days < slow.median_days_high
    assert quick.healed_share > 0.85 > slow.healed_share
    assert slow.healed_share == pytest.approx(0.7, abs=0.12)
    assert quick.plugs == 60


def test_a_lineage_with_one_plug_borrows_and_is_wider():
    model = learn_healing([*plugs("quick", 15, 0.95, 60, 1), PlugHealing("new", 10.0)])
    new, quick = model.of("new"), model.of("quick")
    assert new.median_days_high / new.median_days_low > quick.median_days_high / quick.median_days_low
    assert model.of("never seen").plugs == 61


def test_without_any_plug_common_practice_stands():
    model = learn_healing([])
    assert 15 < model.of("any").median_days < 35
    assert 0.8 < model.of("any").healed_share < 0.95


def test_a_plug_still_healing_long_after_its_kin_is_doubtful():
    model = learn_healing(plugs("line", 20, 0.8, 80, 3))
    assert model.healed_probability("line", 0.0) == pytest.approx(model.of("line").healed_share)
    early, late = model.healed_probability("line", 5.0), model.healed_probability("line", 45.0)
    assert early > late


def test_the_ready_window_moves_on_while_a_plug_is_not_ready():
    model = learn_healing(plugs("line", 20, 0.9, 80, 4))
    fresh, waiting = model.ready_days("line", 0.0), model.ready_days("line", 25.0)
    assert fresh[0] < fresh[1] < fresh[2]
    assert fresh[1] == pytest.approx(model.of("line").median_days)
    assert all(day > 25.0 for day in waiting)
    assert all(later > sooner for later, sooner in zip(waiting, fresh, strict=True))


def test_the_ready_window_is_the_conditional_distribution():
    model = HealingModel("lognormal", 0.4, 20.0, LineageHealing(20.0, 18, 22, 0.9, 0.8, 0.95, 10))
    days = 20 * np.exp(0.4 * np.random.default_rng(1).standard_normal(400_000))
    left = days[days > 24]
    np.testing.assert_allclose(model.ready_days(None, 24.0), np.quantile(left, [0.1, 0.5, 0.9]), rtol=0.01)


@pytest.mark.parametrize("family", ["lognormal", "weibull"])
def test_both_families_can_be_asked_for(family):
    assert learn_healing(plugs("line", 20, 0.9, 40, 5), family=family).family == family


def test_what_cannot_be_is_named():
    with pytest.raises(ValueError, match="Plug 2"):
        learn_healing([PlugHealing("a", 3.0), PlugHealing("a", 10.0, seen_healed=7.0)])
    with pytest.raises(ValueError, match="lognormal or weibull"):
        learn_healing([], family="gamma")
    with pytest.raises(ValueError, match="at least 0"):
        learn_healing([]).ready_days("a", -1.0)


@given(st.floats(0, 2000), st.floats(0.05, 3.0), st.floats(1, 300), st.sampled_from(["lognormal", "weibull"]))
def test_a_window_is_always_finite_and_ahead(seen, spread, median, family):
    model = HealingModel(family, spread, 20.0, LineageHealing(median, median, median, 0.9, 0.8, 0.95, 1))
    low, middle, high = model.ready_days(None, seen)
    assert np.isfinite([low, middle, high]).all()
    assert seen <= low <= middle <= high
    assert 0 <= model.healed_probability(None, seen) <= 1


def test_how_likely_a_plug_is_healed_by_a_day_agrees_with_when_it_is_ready():
    model = learn_healing(plugs("line", 21, 0.9, 60, 4))
    will = model.healed_probability("line", 10.0)
    for share, day in zip((0.1, 0.5, 0.9), model.ready_days("line", 10.0), strict=True):
        assert model.healed_by("line", 10.0, day) == pytest.approx(share * will, abs=1e-6)
    assert model.healed_by("line", 10.0, 10.0) == model.healed_by("line", 10.0, 3.0) == 0.0
    assert model.healed_by("line", 10.0, 1000.0) == pytest.approx(will, abs=1e-3)
    with pytest.raises(ValueError, match="at least 0"):
        model.healed_by("line", 0.0, -1.0)


def usual_share(share, *, death_days=20.0):
    return HealingModel("lognormal", 0.4, death_days, LineageHealing(25.0, 22.0, 28.0, share, share, share, 100))


def quantile_of(density, share):
    """Which part of a density of the share lies below one, integrated on its own."""
    return quad(density, 0, share)[0] / quad(density, 0, 1)[0]


def leaning(usual):
    """A share whose logit is normal about that of the usual, with a spread of one."""
    return lambda share: norm.pdf(np.log(share / (1 - share)), np.log(usual / (1 - usual)), 1) / share / (1 - share)


def test_a_group_of_known_ends_leans_on_the_usual_share():
    # 15 healed and 5 died, where 9 in 10 are usual: between the two, nearer to its own as it has twenty plugs.
    found = share_of_healed(usual_share(0.9), 15, 5)
    assert 0.75 < found[0] < 0.83
    for probability, share in zip((0.5, 0.1, 0.9), found, strict=True):
        part = quantile_of(lambda s: leaning(0.9)(s) * s**15 * (1 - s) ** 5, share)
        assert part == pytest.approx(probability, abs=2e-3)


def test_a_group_without_plugs_has_the_usual_share_and_no_certainty():
    # The logit of 0.8 is ln 4; 80 % of a normal lie within 1.2816 of its middle.
    expected = [1 / (1 + np.exp(-np.log(4) - step)) for step in (0, -1.2816, 1.2816)]
    np.testing.assert_allclose(share_of_healed(usual_share(0.8), 0, 0), expected, atol=1e-4)


def test_none_lost_of_a_few_is_no_certainty_and_many_plugs_speak_for_themselves():
    median, low, _ = share_of_healed(usual_share(0.94), 19, 0)
    assert median < 0.98
    assert low < 0.93
    np.testing.assert_allclose(share_of_healed(usual_share(0.94), 3000, 1000)[0], 0.75, atol=0.005)


def test_counts_below_none_are_refused():
    for counts in ((-1, 0), (0, -1), (0, 0, [(None, 3.0, -1)])):
        with pytest.raises(ValueError, match="fewer than none"):
            share_of_healed(usual_share(0.9), *counts)


def test_plugs_that_were_not_looked_at_yet_say_nothing():
    known = share_of_healed(usual_share(0.9), 15, 5)
    np.testing.assert_allclose(share_of_healed(usual_share(0.9), 15, 5, [(None, 0.0, 300)]), known, atol=1e-9)


def test_a_plug_at_its_median_day_counts_half_for_healing_and_by_the_deaths_it_outlived():
    # At day 25 half of those that heal are healed; of those that die exp(-25/20) are left. Integrated on its own.
    left = np.exp(-25 / 20)

    def density(share):
        return leaning(0.9)(share) * share**9 * (1 - share) ** 3 * (0.5 * share + left * (1 - share)) ** 8

    found = share_of_healed(usual_share(0.9), 9, 3, [(None, 25.0, 8)])
    for probability, share in zip((0.5, 0.1, 0.9), found, strict=True):
        assert quantile_of(density, share) == pytest.approx(probability, abs=2e-3)


def test_early_deaths_of_a_new_tool_are_not_all_there_is_to_say():
    # Two of twenty died in ten days while nothing can have healed yet: far from none making it.
    alone, _, _ = share_of_healed(usual_share(0.9), 0, 2)
    with_the_others, _, _ = share_of_healed(usual_share(0.9), 0, 2, [(None, 10.0, 18)])
    assert with_the_others > alone + 0.1
    overdue, _, _ = share_of_healed(usual_share(0.9), 0, 2, [(None, 90.0, 18)])
    assert overdue < alone
