"""Healing and survival: when a plug will be ready, and whether it will make it.

A plug is only seen on check days, so the day it healed lies between two of them (interval-censored), and a plug still
healing has not healed yet (right-censored). A plug either heals, at a lognormal or Weibull time, or dies before; the
share that heals and the median time are pooled per lineage.

Source: Turnbull BW 1976, J. R. Stat. Soc. B 38:290–295 (interval censoring); Larson MG, Dinse GE 1985, Appl. Statist.
34:201–211 (mixture of competing ends); Kaplan EL, Meier P 1958, J. Am. Stat. Assoc. 53:457–481 (all from memory).
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, logit, ndtr, ndtri

FAMILIES = ("lognormal", "weibull")

# Where learning starts. Common practice, no source: cut, closed and encrusting in two to four weeks; gross healing in
# aquaria took about 30 days (Rodriguez-Villalobos et al. 2016); nine in ten captive frags make it.
MEDIAN_DAYS = (25.0, 0.5)  # middle, spread of its logarithm
SPREAD = (0.45, 0.5)  # of ln time within a lineage
BETWEEN_LINEAGES = 0.3  # of ln median time
HEALED_SHARE = (0.9, 1.0)  # middle, spread of its logit
SHARE_BETWEEN_LINEAGES = 0.6  # of the logit
DEATH_DAYS = (20.0, 0.7)  # mean time to death of those that die

# How many lineages' worth of evidence the spreads between lineages start with.
_SPREAD_WEIGHT = 4.0


def _cumulative(family, z):
    return ndtr(z) if family == "lognormal" else -np.expm1(-np.exp(np.minimum(z, 700.0)))


def _inverse(family, probability):
    return ndtri(probability) if family == "lognormal" else np.log(-np.log1p(-probability))


def _probability_by(family, days, middle, spread):
    """Probability of an end by a day: 0 at day 0, 1 at infinity."""
    days = np.asarray(days, dtype=float)
    safe = np.where((days > 0) & np.isfinite(days), days, 1.0)
    inside = _cumulative(family, (np.log(safe) - middle) / spread)
    return np.where(days <= 0, 0.0, np.where(np.isinf(days), 1.0, inside))


def _check_family(family):
    if family not in FAMILIES:
        raise ValueError(f"The time to healed is lognormal or weibull, not {family}.")


def _check_intervals(lower, upper):
    lower, upper = np.atleast_1d(np.asarray(lower, float)), np.atleast_1d(np.asarray(upper, float))
    if lower.shape != upper.shape:
        raise ValueError("There must be two days for each plug.")
    if np.any(np.isnan(lower) | np.isnan(upper) | np.isinf(lower) | (lower < 0) | (upper < lower)):
        raise ValueError(
            "A plug's days run from 0 on, and the day it was seen healed is not before the day it was not."
        )
    return lower, upper


def fit_time_to_event(lower, upper, *, family="lognormal"):
    """Time to an end that was seen between two days, by plain maximum likelihood.

    Parameters
    ----------
    lower, upper : array_like, shape (n,)
        Days between which it happened; `upper` infinite when it has not yet; equal when the day is known.
    family : str
        `lognormal` or `weibull`.

    Returns
    -------
    (float, float, float)
        Location and scale of ln time, and the log-likelihood. For the Weibull, shape = 1/scale and its own scale
        parameter = exp(location).

    Raises
    ------
    ValueError
        If no end was seen at all, or a pair of days cannot be.
    """
    _check_family(family)
    lower, upper = _check_intervals(lower, upper)
    if not np.any(np.isfinite(upper)):
        raise ValueError("Nothing has ended yet, so there is no time to learn.")
    exact = lower == upper

    def cost(trial):
        middle, spread = trial[0], np.exp(trial[1])
        return -np.sum(_log_interval(family, lower, upper, exact, middle, spread))

    ends = np.where(np.isfinite(upper), (lower + upper) / 2, lower)
    start = np.array([np.log(np.median(ends[ends > 0])) if np.any(ends > 0) else 0.0, np.log(0.5)])
    found = minimize(cost, start, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 4000})
    return float(found.x[0]), float(np.exp(found.x[1])), float(-found.fun)


def _log_interval(family, lower, upper, exact, middle, spread):
    probability = _probability_by(family, upper, middle, spread) - _probability_by(family, lower, middle, spread)
    result = np.log(np.maximum(probability, 1e-300))
    if np.any(exact):
        days = np.maximum(upper, 1e-6)
        days = np.where(np.isfinite(days), days, 1.0)
        z = (np.log(days) - middle) / spread
        log_density = -0.5 * z**2 - 0.5 * np.log(2 * np.pi) if family == "lognormal" else z - np.exp(np.minimum(z, 700))
        result = np.where(exact, log_density - np.log(spread) - np.log(days), result)
    return result


def kaplan_meier(days, ended):
    """Share that has not ended by each day, product-limit.

    Parameters
    ----------
    days : array_like, shape (n,)
        Days to the end, or to the last sight of it not having come.
    ended : array_like of bool, shape (n,)

    Returns
    -------
    (ndarray, ndarray, ndarray)
        Days on which ends were seen; the share left after each; its standard error (Greenwood).

    Raises
    ------
    ValueError
        If a day is negative or not a number.
    """
    days, ended = np.atleast_1d(np.asarray(days, float)), np.atleast_1d(np.asarray(ended, bool))
    if days.shape != ended.shape or np.any(~np.isfinite(days) | (days < 0)):
        raise ValueError("Days must be numbers of at least 0, one for each plug.")
    moments = np.unique(days[ended])
    at_risk = np.array([(days >= moment).sum() for moment in moments], dtype=float)
    ends = np.array([(ended & (days == moment)).sum() for moment in moments], dtype=float)
    share = np.cumprod(1 - ends / at_risk) if moments.size else np.zeros(0)
    left = at_risk - ends
    variance = np.cumsum(np.where(left > 0, ends / (at_risk * np.where(left > 0, left, 1.0)), 0.0))
    return moments, share, share * np.sqrt(variance)


@dataclass(frozen=True)
class PlugHealing:
    """What was seen of one plug, in days since it was cut.

    `seen_fresh` is the last check at which it had not healed (0 when there was none). `seen_healed` or `seen_dead` is
    the first check at which it had. With neither, it is still healing, or left before it healed.
    """

    lineage: str | None
    seen_fresh: float = 0.0
    seen_healed: float | None = None
    seen_dead: float | None = None


@dataclass(frozen=True)
class LineageHealing:
    """Median days to healed and share that make it, each with its 80 % interval, and from how many plugs."""

    median_days: float
    median_days_low: float
    median_days_high: float
    healed_share: float
    healed_share_low: float
    healed_share_high: float
    plugs: int


@dataclass(frozen=True)
class HealingModel:
    """Time to healed and survival of a collection: spread of ln time, time to death, and each lineage's own figures."""

    family: str
    spread: float
    death_days: float
    usual: LineageHealing
    lineages: dict = field(default_factory=dict)

    def of(self, lineage):
        """A lineage's figures; one never seen takes the usual."""
        return self.lineages.get(lineage, self.usual)

    def _location(self, lineage):
        return np.log(self.of(lineage).median_days) - self.spread * float(_inverse(self.family, 0.5))

    def ready_days(self, lineage, seen_fresh, probabilities=(0.1, 0.5, 0.9)):
        """Days since the cut by which a plug is healed with given probabilities, given that it was not when last seen.

        Parameters
        ----------
        lineage : str or None
        seen_fresh : float
            Days since the cut at which it was last seen not healed.
        probabilities : sequence of float

        Returns
        -------
        tuple of float
            Given that it heals at all; never before `seen_fresh`.

        Raises
        ------
        ValueError
            If the day is negative.
        """
        if not (np.isfinite(seen_fresh) and seen_fresh >= 0):
            raise ValueError("A plug's days since the cut must be a number of at least 0.")
        location = self._location(lineage)
        gone = float(_probability_by(self.family, seen_fresh, location, self.spread))
        answers = []
        for probability in probabilities:
            if not 0 < probability < 1:
                raise ValueError("A probability must lie between 0 and 1.")
            # A plug far slower than its kin: what is left of the distribution is too thin to tell, so it is taken to
            # need
            # as long again as its kin's spread says.
            reached = min(gone + probability * (1 - gone), 1 - 1e-9)
            day = float(np.exp(location + self.spread * _inverse(self.family, reached)))
            answers.append(max(day, seen_fresh * (1 + 0.02 * probability)))
        return tuple(answers)

    def healed_probability(self, lineage, seen_fresh=0.0):
        """Probability that a plug alive and not healed after so many days will heal."""
        if not (np.isfinite(seen_fresh) and seen_fresh >= 0):
            raise ValueError("A plug's days since the cut must be a number of at least 0.")
        share = self.of(lineage).healed_share
        still = share * (1 - float(_probability_by(self.family, seen_fresh, self._location(lineage), self.spread)))
        dying = (1 - share) * float(np.exp(-seen_fresh / self.death_days))
        return still / (still + dying) if still + dying > 0 else share

    def healed_by(self, lineage, seen_fresh, day):
        """Probability that a plug that was not healed when last seen is healed by a later day.

        Parameters
        ----------
        lineage : str or None
        seen_fresh, day : float
            Days since the cut: when it was last seen not healed, and the day asked for.

        Returns
        -------
        float
            0 up to the day it was last seen; towards `healed_probability` later on.

        Raises
        ------
        ValueError
            If a day is negative.
        """
        if not (np.isfinite(day) and day >= 0):
            raise ValueError("A plug's days since the cut must be a number of at least 0.")
        will = self.healed_probability(lineage, seen_fresh)
        location = self._location(lineage)
        gone, by = (float(_probability_by(self.family, when, location, self.spread)) for when in (seen_fresh, day))
        if day <= seen_fresh or gone >= 1:
            return 0.0
        return will * (by - gone) / (1 - gone)


class _HealingEvidence:
    """Log posterior of the healing model, with the lineages' own shares of it kept apart."""

    def __init__(self, plugs, family):
        self.family = family
        self.names = sorted({plug.lineage for plug in plugs if plug.lineage is not None}, key=str)
        position = {name: index for index, name in enumerate(self.names)}
        if any(plug.lineage is None for plug in plugs):
            position[None] = len(position)
            self.names = [*self.names, None]
        self.lineage = np.array([position[plug.lineage] for plug in plugs], dtype=int)
        self.count = max(len(self.names), 1)
        ends = [plug.seen_healed if plug.seen_healed is not None else plug.seen_dead for plug in plugs]
        self.lower = np.array([plug.seen_fresh for plug in plugs], dtype=float)
        self.upper = np.array([np.inf if end is None else end for end in ends], dtype=float)
        self.healed = np.array([plug.seen_healed is not None for plug in plugs], dtype=bool)
        self.dead = np.array([plug.seen_dead is not None and plug.seen_healed is None for plug in plugs], dtype=bool)
        self.exact = self.healed & (self.lower == self.upper)
        self.between = np.array([BETWEEN_LINEAGES, SHARE_BETWEEN_LINEAGES])

    def start(self):
        common = [np.log(MEDIAN_DAYS[0]), np.log(SPREAD[0]), logit(HEALED_SHARE[0]), np.log(DEATH_DAYS[0])]
        return np.concatenate([common, np.full(self.count, common[0]), np.full(self.count, common[2])])

    def per_lineage(self, trial):
        """Log posterior of each lineage given what is common."""
        spread, death = np.exp(np.clip(trial[1], -4, 3)), np.exp(np.clip(trial[3], -3, 10))
        medians, logits = trial[4 : 4 + self.count], trial[4 + self.count :]
        location = medians[self.lineage] - spread * float(_inverse(self.family, 0.5))
        share = np.clip(expit(logits[self.lineage]), 1e-9, 1 - 1e-9)
        heal = np.log(share) + _log_interval(self.family, self.lower, self.upper, self.exact, location, spread)
        gone = np.exp(-self.lower / death) - np.exp(-self.upper / death)
        same_day = np.exp(-self.lower / death) / death
        die = np.log1p(-share) + np.log(np.maximum(np.where(self.upper > self.lower, gone, same_day), 1e-300))
        healing = np.logaddexp(
            np.log(share) + np.log(np.maximum(1 - _probability_by(self.family, self.lower, location, spread), 1e-300)),
            np.log1p(-share) - self.lower / death,
        )
        each = np.where(self.healed, heal, np.where(self.dead, die, healing))
        total = np.bincount(self.lineage, weights=each, minlength=self.count).astype(float)
        total -= 0.5 * ((medians - trial[0]) / self.between[0]) ** 2
        return total - 0.5 * ((logits - trial[2]) / self.between[1]) ** 2

    def common_prior(self, trial):
        middles = [np.log(MEDIAN_DAYS[0]), np.log(SPREAD[0]), logit(HEALED_SHARE[0]), np.log(DEATH_DAYS[0])]
        spreads = [MEDIAN_DAYS[1], SPREAD[1], HEALED_SHARE[1], DEATH_DAYS[1]]
        return -0.5 * np.sum(((trial[:4] - middles) / spreads) ** 2)

    def value_and_slope(self, trial):
        step = 1e-5
        slope = np.zeros_like(trial)
        for index in range(4):
            ahead, behind = trial.copy(), trial.copy()
            ahead[index] += step
            behind[index] -= step
            slope[index] = self.per_lineage(ahead).sum() + self.common_prior(ahead)
            slope[index] -= self.per_lineage(behind).sum() + self.common_prior(behind)
        # A lineage's figures touch only its own plugs, so all lineages are nudged at once.
        for block in (slice(4, 4 + self.count), slice(4 + self.count, None)):
            ahead, behind = trial.copy(), trial.copy()
            ahead[block] += step
            behind[block] -= step
            slope[block] = self.per_lineage(ahead) - self.per_lineage(behind)
        return -(self.per_lineage(trial).sum() + self.common_prior(trial)), -slope / (2 * step)

    def variances(self, trial):
        """Variance of each lineage's ln median and logit share, from the curvature."""
        found, step = [], 1e-2
        here = self.per_lineage(trial)
        for block in (slice(4, 4 + self.count), slice(4 + self.count, None)):
            ahead, behind = trial.copy(), trial.copy()
            ahead[block] += step
            behind[block] -= step
            curvature = -(self.per_lineage(ahead) - 2 * here + self.per_lineage(behind)) / step**2
            found.append(1 / np.maximum(curvature, 1e-3))
        return np.array(found)


def learn_healing(plugs, *, family=None):
    """Learn time to healed and survival from the plugs of a collection, pooled per lineage.

    Parameters
    ----------
    plugs : sequence of PlugHealing
        May be empty: then common practice stands.
    family : str, optional
        `lognormal` or `weibull`; the likelier of the two when not given.

    Returns
    -------
    HealingModel

    Raises
    ------
    ValueError
        If a plug's days cannot be; the sentence says which.
    """
    plugs = list(plugs)
    for number, plug in enumerate(plugs, start=1):
        for day in (plug.seen_fresh, plug.seen_healed, plug.seen_dead):
            if day is not None and not (np.isfinite(day) and day >= 0):
                raise ValueError(f"Plug {number}: days since the cut must be numbers of at least 0, not {day:g}.")
        end = plug.seen_healed if plug.seen_healed is not None else plug.seen_dead
        if end is not None and end < plug.seen_fresh:
            raise ValueError(f"Plug {number}: it was still healing on a day after it had healed or died.")
    if family is not None:
        _check_family(family)
    families = (family,) if family else FAMILIES if sum(p.seen_healed is not None for p in plugs) >= 8 else FAMILIES[:1]
    best = None
    for name in families:
        machine = _HealingEvidence(plugs, name)
        trial = machine.start()
        for _ in range(3 if plugs else 1):
            found = minimize(machine.value_and_slope, trial, jac=True, method="L-BFGS-B", options={"maxiter": 200})
            trial = found.x
            variances = machine.variances(trial)
            departures = np.array([trial[4 : 4 + machine.count] - trial[0], trial[4 + machine.count :] - trial[2]])
            first = np.array([BETWEEN_LINEAGES, SHARE_BETWEEN_LINEAGES]) ** 2
            if machine.count > 1:
                spread = np.sum(departures**2 + variances, axis=1)
                machine.between = np.sqrt((_SPREAD_WEIGHT * first + spread) / (_SPREAD_WEIGHT + machine.count))
        if best is None or found.fun < best[1].fun:
            best = (machine, found)
    return _healing_model(*best)


def _healing_model(machine, found):
    trial = found.x
    variances = machine.variances(trial)
    width = 1.2816  # 80 % interval

    def figures(median, median_variance, share, share_variance, plugs):
        m, s = width * np.sqrt(median_variance), width * np.sqrt(share_variance)
        return LineageHealing(
            float(np.exp(median)), float(np.exp(median - m)), float(np.exp(median + m)),
            float(expit(share)), float(expit(share - s)), float(expit(share + s)), int(plugs),
        )  # fmt: skip

    between = machine.between**2
    usual = figures(
        trial[0], between[0] + MEDIAN_DAYS[1] ** 2 / (1 + machine.count),
        trial[2], between[1] + HEALED_SHARE[1] ** 2 / (1 + machine.count), len(machine.lineage),
    )  # fmt: skip
    lineages = {}
    for index, name in enumerate(machine.names):
        lineages[name] = figures(
            trial[4 + index],
            variances[0, index],
            trial[4 + machine.count + index],
            variances[1, index],
            np.sum(machine.lineage == index),
        )
    return HealingModel(machine.family, float(np.exp(trial[1])), float(np.exp(trial[3])), usual, lineages)


def share_of_healed(model, healed, lost, healing=()):
    """The share that heals of any group of plugs: what became of them, and how long the others have been healing.

    The group leans on the usual share of the collection, from which its own logit departs by about one. A plug that
    heals still has outlived some of the deaths and has missed some of the healing, both as the model has them.

    Parameters
    ----------
    model : HealingModel
    healed, lost : int
        Plugs that reached healed, and that died before.
    healing : iterable of (str or None, float, int)
        Of those whose end is not known: lineage, days since the cut at which they were last seen, how many.

    Returns
    -------
    (float, float, float)
        Median and 80 % interval.

    Raises
    ------
    ValueError
        If a count is negative.
    """
    healing = list(healing)
    if healed < 0 or lost < 0 or any(plugs < 0 for _, _, plugs in healing):
        raise ValueError("Plugs cannot be fewer than none.")
    usual = logit(np.clip(model.usual.healed_share, 0.001, 0.999))
    logits = usual + HEALED_SHARE[1] * np.linspace(-12.0, 12.0, 4001)
    log_share, log_rest = -np.logaddexp(0.0, -logits), -np.logaddexp(0.0, logits)
    log_density = healed * log_share + lost * log_rest - 0.5 * ((logits - usual) / HEALED_SHARE[1]) ** 2
    for lineage, seen_fresh, plugs in healing:
        yet_to_heal = 1 - float(_probability_by(model.family, seen_fresh, model._location(lineage), model.spread))
        heals = log_share + np.log(max(yet_to_heal, 1e-300))
        log_density += plugs * np.logaddexp(heals, log_rest - seen_fresh / model.death_days)
    density = np.exp(log_density - log_density.max())
    below = np.cumsum(density) - density / 2
    low, median, high = expit(np.interp([0.1, 0.5, 0.9], below / density.sum(), logits))
    return float(median), float(low), float(high)


def healed_counts(healed, lost, *, middle=HEALED_SHARE[0], weight=4.0):
    """The two counts of a lineage's Beta for the share that heals, with a weak prior.

    Parameters
    ----------
    healed, lost : int
        Plugs that reached healed, and that died before.
    middle, weight : float
        Prior share and how many plugs it is worth.

    Returns
    -------
    (float, float)
        For `next_cut.usable_frags`; the mean share is a / (a + b).

    Raises
    ------
    ValueError
        If a count is negative.
    """
    if healed < 0 or lost < 0:
        raise ValueError("Plugs cannot be fewer than none.")
    return healed + weight * middle, lost + weight * (1 - middle)
