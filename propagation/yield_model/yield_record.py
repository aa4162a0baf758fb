"""What each mother has given: frags a year with their uncertainty, rankings, and one system against another."""

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from scipy.optimize import minimize
from scipy.special import betainc, gammaln
from scipy.stats import gamma, t

from .forecast import view_colonies
from .histories import ColonyHistory, PaddedHistories
from .pooling import GrowthModel, LineageRate

# Frags a year of a mother before she was cut, and how many years that figure is worth. Common practice, no source.
USUAL_FRAGS_A_YEAR = 6.0
USUAL_WEIGHT_YEARS = 0.5

# Pairs of one lineage in both systems below which nothing is said. Common practice, no source.
FEWEST_PAIRS = 3


@dataclass(frozen=True)
class FragRate:
    """Frags a year: mean and an interval that holds the true rate with the stated probability."""

    mean: float
    low: float
    high: float


def learn_frag_prior(frags, years):
    """The Gamma that a collection's frag rates come from, by marginal likelihood with a weak prior.

    Parameters
    ----------
    frags, years : array_like, shape (mothers,)
        Frags of each mother and the years over which she gave them, > 0.

    Returns
    -------
    (float, float)
        a (frags) and b (years) of the Gamma; a / b is the usual rate.

    Raises
    ------
    ValueError
        If a count is negative or a time not greater than zero.

    Source: gamma–Poisson, Gelman A et al., Bayesian Data Analysis, 3rd ed., §2.6.
    """
    frags, years = _check_counts(frags, years)

    def cost(trial):
        a, mean = np.exp(trial)
        b = a / mean
        likelihood = gammaln(a + frags) - gammaln(a) + a * np.log(b / (b + years)) + frags * np.log(years / (b + years))
        prior = ((trial[0] - np.log(USUAL_FRAGS_A_YEAR * USUAL_WEIGHT_YEARS)) / 1.0) ** 2
        prior += ((trial[1] - np.log(USUAL_FRAGS_A_YEAR)) / 1.5) ** 2
        return -np.sum(likelihood) + 0.5 * prior

    start = np.log([USUAL_FRAGS_A_YEAR * USUAL_WEIGHT_YEARS, USUAL_FRAGS_A_YEAR])
    found = minimize(cost, start, method="Nelder-Mead")
    a, mean = np.exp(found.x)
    return float(a), float(a / mean)


def _check_counts(frags, years):
    frags, years = np.atleast_1d(np.asarray(frags, float)), np.atleast_1d(np.asarray(years, float))
    if frags.shape != years.shape or np.any(~np.isfinite(frags) | (frags < 0)):
        raise ValueError("Frags cannot be fewer than none.")
    if np.any(~np.isfinite(years) | (years <= 0)):
        raise ValueError("The time over which frags were counted must be longer than nothing.")
    return frags, years


def frag_rate(frags, years, *, prior, share=0.8):
    """A mother's frags a year, from her count and the collection's prior.

    Parameters
    ----------
    frags : float
    years : float
        > 0.
    prior : (float, float)
        As from `learn_frag_prior`.
    share : float
        Probability the interval holds.

    Returns
    -------
    FragRate
        Mean (a + frags) / (b + years).
    """
    return _frag_rates(frags, years, prior, share)[0]


def _frag_rates(frags, years, prior, share=0.8):
    frags, years = _check_counts(frags, years)
    a, b = prior
    if not (a > 0 and b > 0):
        raise ValueError("Both counts of the prior must be greater than zero.")
    posterior = gamma(a + frags, scale=1 / (b + years))
    figures = posterior.mean(), posterior.ppf((1 - share) / 2), posterior.ppf((1 + share) / 2)
    return [FragRate(*(float(value) for value in each)) for each in zip(*figures, strict=True)]


@dataclass(frozen=True)
class MotherRecord:
    """What one mother gave over how many years: frags, those that healed, and money in one currency."""

    identifier: str
    lineage: str | None
    frags: int
    years: float
    usable: int = 0
    money: float = 0.0


@dataclass(frozen=True)
class RankedMother:
    """A record with its place and its rate; `sure_of_place` is the probability that its rate beats the next one's."""

    place: int
    record: MotherRecord
    rate: FragRate
    sure_of_place: float | None


RANKINGS = ("count", "rate", "usable", "money")


def rank_mothers(records, *, by="rate"):
    """Rank mothers by frags, frags a year, usable frags or money.

    Parameters
    ----------
    records : sequence of MotherRecord
    by : str
        `count`, `rate`, `usable` or `money`.

    Returns
    -------
    list of RankedMother
        Equal ones keep the order they came in and share a place.

    Raises
    ------
    ValueError
        If `by` is something else, or a record cannot be.
    """
    records = list(records)
    if by not in RANKINGS:
        raise ValueError(f"Mothers can be ranked by {', '.join(RANKINGS)}, not by {by}.")
    if not records:
        return []
    frags, years = [r.frags for r in records], [r.years for r in records]
    prior = learn_frag_prior(frags, years)
    rates = _frag_rates(frags, years, prior)
    keys = {
        "count": [r.frags for r in records],
        "rate": [rate.mean for rate in rates],
        "usable": [r.usable for r in records],
        "money": [float(r.money) for r in records],
    }[by]
    order = sorted(range(len(records)), key=lambda index: -keys[index])
    ranked, place = [], 0
    for number, index in enumerate(order, start=1):
        if number == 1 or keys[index] != keys[order[number - 2]]:
            place = number
        following = order[number] if number < len(order) else None
        sure = None if following is None else _beats(records[index], records[following], prior)
        ranked.append(RankedMother(place, records[index], rates[index], sure))
    return ranked


def _beats(one, other, prior):
    """Probability that one mother's true rate is above the other's: P(X > Y) of two gammas.

    X and Y times their own years are gammas of one scale, so the share of the first in their sum is a Beta.
    """
    a, b = prior
    share = (b + other.years) / (2 * b + one.years + other.years)
    return float(betainc(a + other.frags, a + one.frags, share))


def restrict_to_ages(history: ColonyHistory, born, youngest, oldest):
    """The part of a colony's history between two ages, so that equal ages can be compared.

    Parameters
    ----------
    history : ColonyHistory
    born : float
        Day from which age counts.
    youngest, oldest : float
        Days of age.

    Returns
    -------
    ColonyHistory
    """
    if not youngest <= oldest:
        raise ValueError("The younger age must come first.")

    def within(day):
        return youngest <= day - born <= oldest

    return ColonyHistory(
        identifier=history.identifier,
        lineage=history.lineage,
        readings=tuple(r for r in history.readings if within(r.day)),
        cuts=tuple(c for c in history.cuts if within(c.day)),
        moves=tuple(day for day in history.moves if within(day)),
        declines=tuple(d for d in history.declines if within(d.since)),
        frag_unit=history.frag_unit,
        started_on=history.started_on,
    )


def lineage_rates(model: GrowthModel, padded: PaddedHistories):
    """Growth rate of each lineage from its own readings alone, as a share of size a day at the model's reference size.

    Parameters
    ----------
    model : GrowthModel
    padded : PaddedHistories
        Colonies of one system, over the ages to compare.

    Returns
    -------
    dict
        lineage → (rate, variance, colonies). The prior is left wide, so that both systems are not drawn to one figure.
    """
    wide = (2 * model.published.standard_deviation + 2 * model.lineage_spread) ** 2
    open_minded = replace(
        model, others={}, lineages={}, form_spread=0.0, form_rate=LineageRate(model.form_rate.mean, wide, 0)
    )
    states = view_colonies(open_minded, padded)
    measured = np.sum(padded.kind == 1, axis=0) > 1
    found = {}
    for name in sorted({name for name in padded.lineages if name is not None}, key=str):
        rows = [i for i, other in enumerate(padded.lineages) if other == name and measured[i]]
        if rows:
            precision = 1 / (states.rate_variance[rows] + model.lineage_spread**2)
            found[name] = (
                float(np.sum(precision * states.rate[rows]) / precision.sum()),
                float(1 / precision.sum()),
                len(rows),
            )
    return found


class Verdict(StrEnum):
    """What a comparison of two systems says."""

    FIRST = "first"
    SECOND = "second"
    ALIKE = "no difference seen"
    TOO_FEW = "too few to tell"


@dataclass(frozen=True)
class SystemPair:
    """One lineage in both systems: growth rates and their variances, and the light at its spots (µmol m⁻² s⁻¹)."""

    lineage: str
    first_rate: float
    first_variance: float
    second_rate: float
    second_variance: float
    first_light: float | None = None
    second_light: float | None = None


@dataclass(frozen=True)
class SystemComparison:
    """Second minus first, over the pairs: mean and 80 % interval (None when too few), and the verdict in words."""

    pairs: list
    difference: float | None
    low: float | None
    high: float | None
    verdict: Verdict
    because: str


def compare_systems(pairs, *, share=0.8):
    """Compare two systems by the growth of the lineages that lived in both.

    Parameters
    ----------
    pairs : sequence of SystemPair
        Rates over equal ages.
    share : float
        Probability the interval holds.

    Returns
    -------
    SystemComparison

    Raises
    ------
    ValueError
        If a variance is not greater than zero.

    Source: random-effects mean: DerSimonian R, Laird N 1986, Control. Clin. Trials 7:177–188; its t interval: Hartung
    J, Knapp G 2001, Stat. Med. 20:3875–3889 (both from memory).
    """
    pairs = list(pairs)
    apart = np.array([pair.second_rate - pair.first_rate for pair in pairs], dtype=float)
    variance = np.array([pair.first_variance + pair.second_variance for pair in pairs], dtype=float)
    if np.any(~np.isfinite(apart)) or np.any(~(variance > 0)):
        raise ValueError("A growth rate must be a number, with a variance greater than zero.")
    if len(pairs) < FEWEST_PAIRS:
        number = ("No lineage", "Only one lineage", "Only two lineages")[len(pairs)]
        because = f"{number} lived in both systems: too few to tell."
        return SystemComparison(pairs, None, None, None, Verdict.TOO_FEW, because)
    weight = 1 / variance
    fixed = np.sum(weight * apart) / weight.sum()
    spread = np.sum(weight * (apart - fixed) ** 2)
    scale = weight.sum() - np.sum(weight**2) / weight.sum()
    between = max(0.0, (spread - (len(pairs) - 1)) / scale)
    weight = 1 / (variance + between)
    mean = float(np.sum(weight * apart) / weight.sum())
    # Never narrower than the pairs' own errors make it.
    squared = max(float(np.sum(weight * (apart - mean) ** 2)) / (len(pairs) - 1), 1.0)
    error = float(np.sqrt(squared / weight.sum()))
    reach = float(t.ppf((1 + share) / 2, len(pairs) - 1)) * error
    low, high = mean - reach, mean + reach
    if low > 0:
        verdict, words = Verdict.SECOND, "grew faster in the second system"
    elif high < 0:
        verdict, words = Verdict.FIRST, "grew faster in the first system"
    else:
        verdict, words = Verdict.ALIKE, "grew no faster in one than in the other, as far as can be told"
    interval = f"{mean * 100:+.2g} % of size a day ({low * 100:+.2g} to {high * 100:+.2g})"
    because = f"{len(pairs)} lineages lived in both and {words}: {interval}."
    lights = [p for p in pairs if p.first_light is not None and p.second_light is not None]
    if lights:
        first, second = (np.mean([getattr(p, name) for p in lights]) for name in ("first_light", "second_light"))
        because += f" Their light was {first:.0f} µmol m⁻² s⁻¹ in the first and {second:.0f} in the second."
    return SystemComparison(pairs, mean, low, high, verdict, because)
