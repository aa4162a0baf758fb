"""What a collection has taught: rates pooled from colony to lineage to growth form, and how noisy it all is.

A colony's rate is `r ~ N(m_lineage, s²_lineage)`, a lineage's mean `m_lineage ~ N(m_form, s²_form)`, and `m_form` starts
from the published rates. The standard deviations, the errors and the tail weight are those of greatest marginal
likelihood under weak priors, so a collection of one colony with two readings still gets sane, wide answers.

The filter is linear in the prior mean of the rate, so lineage means are integrated out from one pass over the readings:
surprise = a − b·m. Surprises are Student-t, which keeps a few wild ones from setting the noise of the rest.

Source: Gelman A et al., Bayesian Data Analysis, 3rd ed., §5.4 and §17.2; Laplace's method §13.3.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import minimize
from scipy.special import gammaln

from .filter import FilterParameters, find_spikes, run_filter
from .histories import CUT, NOTHING, READING, PaddedHistories
from .published_rates import RatePrior, published_rate_prior
from .scales import EXPONENTS, ScaleChoice, choose_exponent, default_exponent, scale_without_checks
from .tails import TailShape

# Reading error as a share of the size, before the readings tell. Common practice, no source.
READING_ERRORS = {"weight_g": 0.01, "tle_cm": 0.04, "area_cm2": 0.04, "diameter_mm": 0.03, "height_mm": 0.04, "polyps": 0.02}
READING_ERROR_OTHER = 0.03

# Weak priors of the other hyperparameters, for sizes over the reference: middle, and spread of the logarithm.
# Common practice, no source; wide enough that a dozen readings outweigh them.
SIZE_NOISE = (0.003, 1.5)  # per day^½: 3 % of the size in a day would be wild, 1 % in ten days is calm
DRIFT_SHARE = (0.02, 1.2)  # of the published rate per day^½: a fifth of the rate within 100 days
LINEAGE_SHARE = (0.25, 0.8)  # of the published rate, between colonies of a lineage
FORM_SHARE = (0.35, 0.8)  # of the published rate, between lineages
TAIL_WEIGHT = (8.0, 0.9)  # degrees of freedom over 1.5
LOWEST_TAIL_WEIGHT = 1.5
READING_ERROR_SPREAD = 1.0

# Besides one step, forecasts this many readings ahead are judged while learning: a model that is only roughly right is
# then fitted to what it is used for. Composite likelihood: Varin C, Reid N, Firth D 2011, Stat. Sinica 21:5–42 (from memory).
LONGER_HORIZONS = (3, 5)

# Learning takes at most this many colonies; more would not move the answer, only the clock.
LARGEST_LEARNING_SET = 400

# Fewer steps between readings than this cannot choose a growth scale.
ENOUGH_STEPS = 12

_NAMES = ("reading_error", "size_noise", "rate_drift", "lineage_spread", "form_spread", "tail_weight")


@dataclass(frozen=True)
class LineageRate:
    """Mean rate of a lineage on the growth scale (per day) and its variance, and from how many colonies it was learned."""

    mean: float
    variance: float
    colonies: int


@dataclass(frozen=True)
class GrowthModel:
    """All that forecasts of one measure and growth form rest on.

    Sizes are divided by `reference` before they are moved to the scale, so rates read as specific growth at that size.
    """

    measure: str
    growth_form: str
    scale: ScaleChoice
    reference: float
    parameters: FilterParameters
    lineage_spread: float
    form_spread: float
    form_rate: LineageRate
    lineages: dict
    published: RatePrior
    members: frozenset = frozenset()
    tails: TailShape = field(default_factory=TailShape)
    colonies: int = 0
    steps: int = 0
    lag_days: float = 7.0

    @property
    def exponent(self):
        """λ of the growth scale."""
        return self.scale.exponent

    def rate_of(self, lineage):
        """Mean and variance of a lineage's rate; one never seen takes the growth form's, wider."""
        known = self.lineages.get(lineage)
        if known is not None:
            return known
        return LineageRate(self.form_rate.mean, self.form_rate.variance + self.form_spread**2, 0)


def find_rounding(sizes):
    """The step sizes were rounded to (0.001, 1, 5 …), or 0 when they were not.

    Parameters
    ----------
    sizes : array_like
        Sizes > 0.

    Returns
    -------
    float
    """
    sizes = np.asarray(sizes, dtype=float).ravel()
    if sizes.size == 0:
        return 0.0
    largest = sizes.max()
    for power in range(int(np.floor(np.log10(largest))) + 1, -7, -1):
        step = 10.0**power
        # Rounding finer than a ten-thousandth of the size cannot be told from none, nor does it matter.
        if step < 1e-5 * largest:
            return 0.0
        multiples = sizes / step
        if np.all(np.abs(multiples - np.round(multiples)) < 1e-6 * np.maximum(multiples, 1)):
            return step
    return 0.0


def _lineage_index(lineages):
    names = sorted({name for name in lineages if name is not None}, key=str)
    # Colonies of no named lineage are taken for one: what they share is the growth form.
    position = {name: index for index, name in enumerate(names)}
    if any(name is None for name in lineages):
        position[None] = len(position)
    return position, np.array([position[name] for name in lineages], dtype=int)


class _Evidence:
    """Log posterior of the hyperparameters of one collection at one exponent, for many trials at once."""

    def __init__(self, padded, exponent, reference, measure, published, rounding):
        self.padded, self.exponent, self.reference, self.rounding = padded, exponent, reference, rounding
        self.published = published
        self.position, self.lineage = _lineage_index(padded.lineages)
        self.indicator = np.zeros((len(padded), max(len(self.position), 1)))
        self.indicator[np.arange(len(padded)), self.lineage] = 1.0
        # A form with one lineage, and colonies that name none, have nothing to tell one lineage from another by.
        readings = padded.kind == READING
        later = readings & (np.cumsum(readings, axis=0) > 1)
        self.later = later
        self.logs = (exponent - 1.0) * np.log(padded.size / reference)
        self.ahead = self._pairs_ahead(readings)
        pairs = sum(int(seen.sum()) for *_, seen in self.ahead)
        steps_count = int(later.sum())
        # The horizons look at the same readings: together they count as much as one step ahead alone.
        self.share = steps_count / max(steps_count + pairs, 1)
        self.value = scale_without_checks(padded.size / reference, exponent)
        self.jacobian = np.sum(self.logs[later])
        self.jacobian += sum(np.sum(self.logs[steps:][seen]) for steps, _, _, seen in self.ahead)
        self.jacobian *= self.share
        rate = published.mean
        middles = [
            READING_ERRORS.get(measure, READING_ERROR_OTHER),
            SIZE_NOISE[0],
            DRIFT_SHARE[0] * rate,
            LINEAGE_SHARE[0] * rate,
            FORM_SHARE[0] * rate,
            TAIL_WEIGHT[0] - LOWEST_TAIL_WEIGHT,
        ]
        self.middle = np.log(middles)
        self.spread = np.array(
            [READING_ERROR_SPREAD, SIZE_NOISE[1], DRIFT_SHARE[1], LINEAGE_SHARE[1], FORM_SHARE[1], TAIL_WEIGHT[1]]
        )

    def _pairs_ahead(self, readings):
        """For each longer horizon: events ahead, days, days of growth, and which pairs count (no cut between them)."""
        padded, found = self.padded, []
        cuts = np.cumsum(padded.kind == CUT, axis=0)
        days, growing = np.cumsum(padded.elapsed, axis=0), np.cumsum(padded.growing, axis=0)
        begun = np.cumsum(readings, axis=0) > 0
        for steps in LONGER_HORIZONS:
            if padded.kind.shape[0] <= steps:
                continue
            seen = readings[steps:] & begun[:-steps] & (readings | (padded.kind == CUT))[:-steps]
            seen &= cuts[steps:] == cuts[:-steps]
            if seen.any():
                found.append((steps, days[steps:] - days[:-steps], growing[steps:] - growing[:-steps], seen))
        return found

    def _longer(self, filtered, parameters, means, tails):
        """Log density of readings several steps ahead, as a Student-t around the filter's forecast."""
        level, rate, uu, ur, rr, level_slope, rate_slope = filtered.states
        error = np.square(parameters.reading_error)
        total = 0.0
        departure = means @ self.indicator.T
        for steps, days, growing, seen in self.ahead:
            event, colony = np.nonzero(seen)
            target = event + steps
            d, g = days[event, colony], growing[event, colony]
            pick = (event, slice(None), colony)  # -> (pairs, trials)
            relative = self.padded.size[target, colony] / self.reference
            own = self.padded.error[target, colony]
            weight = relative ** (2 * self.exponent)
            fixed = weight / relative**2 * ((own / self.reference) ** 2 + (self.rounding / self.reference) ** 2 / 12)
            g1, d1 = g[:, None], d[:, None]
            drift, noise = np.square(parameters.rate_drift)[:, 0], np.square(parameters.size_noise)[:, 0]
            variance = uu[pick] + g1 * (2 * ur[pick] + g1 * rr[pick]) + drift * g1**3 / 3 + noise * d1
            variance += error[:, 0] * np.where(own > 0, 0.0, weight)[:, None] + fixed[:, None]
            slope = level_slope[pick] + g1 * rate_slope[pick]
            miss = self.value[target, colony][:, None] - level[pick] - g1 * rate[pick] - slope * departure[:, colony].T
            t = tails[:, 0]
            half = (t + 1) / 2
            constant = gammaln(half) - gammaln(t / 2) - 0.5 * np.log(t * np.pi)
            total = total + np.sum(
                constant - 0.5 * np.log(variance) - half * np.log1p(miss**2 / (variance * t)), axis=0
            )
        return total

    def unpack(self, trial):
        values = np.exp(np.clip(trial, self.middle - 8 * self.spread, self.middle + 8 * self.spread))
        values = dict(zip(_NAMES, np.moveaxis(values, -1, 0), strict=True))
        values["tail_weight"] = values["tail_weight"] + LOWEST_TAIL_WEIGHT
        return values

    def __call__(self, trials):
        """Log posterior of trials of shape (trials, hyperparameters)."""
        return self.evaluate(np.atleast_2d(trials))[0]

    def evaluate(self, trials):
        values = self.unpack(trials)
        column = {name: value[:, None] for name, value in values.items()}
        parameters = FilterParameters(
            self.exponent, column["reading_error"], column["size_noise"], column["rate_drift"], 1e6, self.rounding
        )
        start = self.published.mean
        filtered = run_filter(
            self.padded, parameters, start, column["lineage_spread"] ** 2,
            reference=self.reference, robust=False, keep_surprises=True,
            keep_states=bool(self.ahead),
        )  # fmt: skip
        a, variance, b = filtered.surprise, filtered.surprise_variance, filtered.surprise_sensitivity
        seen = self.later[:, None, :]
        tails = column["tail_weight"]
        form_variance = values["form_spread"][:, None] ** 2
        published_variance = self.published.standard_deviation**2
        means = np.zeros((len(trials), self.indicator.shape[1]))  # as departures from the published mean
        for _ in range(6):
            shifted = a - b * (means @ self.indicator.T)
            weight = np.where(seen, (tails + 1) / (tails + shifted**2 / variance), 0.0)
            information = (np.sum(weight * b * b / variance, axis=0)) @ self.indicator
            moment = (np.sum(weight * a * b / variance, axis=0)) @ self.indicator
            # Precision-weighted mean of the lineages' own estimates gives the form's mean.
            own = information / (1 + form_variance * information)
            form_precision = 1 / published_variance + own.sum(axis=1)
            form_mean = np.sum(moment / (1 + form_variance * information), axis=1) / form_precision
            updated = (moment + form_mean[:, None] / form_variance) / (information + 1 / form_variance)
            done = np.max(np.abs(updated - means)) < 1e-3 * abs(self.published.standard_deviation)
            means = updated
            if done:
                break
        shifted = a - b * (means @ self.indicator.T)
        half = (tails + 1) / 2
        constant = gammaln(half) - gammaln(tails / 2) - 0.5 * np.log(tails * np.pi)
        density = constant - 0.5 * np.log(variance) - half * np.log1p(shifted**2 / (variance * tails))
        log_likelihood = np.sum(np.where(seen, density, 0.0), axis=(0, 2))
        if self.ahead:
            log_likelihood = self.share * (log_likelihood + self._longer(filtered, parameters, means, tails))
        # Laplace's method over lineage means and the form's mean.
        departure = means - form_mean[:, None]
        log_prior_means = -0.5 * np.sum(departure**2 / form_variance + np.log(form_variance), axis=1)
        log_prior_means -= 0.5 * (form_mean**2 / published_variance + np.log(published_variance))
        log_determinant = np.sum(np.log(information + 1 / form_variance), axis=1) + np.log(form_precision)
        log_prior = -0.5 * np.sum(((trials - self.middle) / self.spread) ** 2, axis=1)
        total = log_likelihood + log_prior_means - 0.5 * log_determinant + log_prior + self.jacobian
        details = {
            "means": means,
            "information": information,
            "form_mean": form_mean,
            "form_precision": form_precision,
            "form_variance": form_variance,
        }
        return np.where(np.isfinite(total), total, -1e12), details

    def maximise(self, start=None):
        start = self.middle if start is None else start
        step = 1e-3

        def value_and_slope(trial):
            trials = np.repeat(trial[None, :], 2 * len(trial) + 1, axis=0)
            for index in range(len(trial)):
                trials[1 + 2 * index, index] += step
                trials[2 + 2 * index, index] -= step
            values = self(trials)
            return -values[0], -(values[1::2] - values[2::2]) / (2 * step)

        # The scale of the objective grows with the collection; stop where a trial moves by less than it matters.
        found = minimize(value_and_slope, start, jac=True, method="L-BFGS-B",
                         bounds=list(zip(self.middle - 5 * self.spread, self.middle + 5 * self.spread, strict=True)),
                         options={"maxiter": 60, "ftol": 1e-7, "gtol": 5e-2})  # fmt: skip
        return found.x, -found.fun


def _subset(padded, largest):
    if len(padded) <= largest:
        return padded
    # Evenly through the collection, so that lineages keep their share.
    order = np.argsort([str(name) for name in padded.lineages], kind="stable")
    return padded.take(np.sort(order[np.linspace(0, len(padded) - 1, largest).astype(int)]))


def learn_growth(
    padded: PaddedHistories,
    *,
    measure="",
    growth_form="",
    exponent=None,
    largest=LARGEST_LEARNING_SET,
    reference=None,
) -> GrowthModel:
    """Learn a growth model from a collection in one measure and growth form.

    Parameters
    ----------
    padded : PaddedHistories
        May be empty, or hold colonies without a second reading; then the published rates stand.
    measure, growth_form : str
        For the defaults and the published rates.
    exponent : float, optional
        λ, when it is not to be chosen.
    largest : int
        Most colonies to learn the hyperparameters from.
    reference : float, optional
        Size to divide by; the geometric mean of the readings when not given.

    Returns
    -------
    GrowthModel
        Its `tails` are those of a Student-t until `backtest.learn_tails` has looked at forecasts of the same collection.
    """
    informative = padded.kind == READING
    counted = informative & ~padded.only_guessed
    sizes = padded.size[counted]
    if reference is None:
        reference = float(np.exp(np.mean(np.log(sizes)))) if sizes.size else _usual_size(measure)
    rounding = 1.0 if measure == "polyps" else find_rounding(sizes) if sizes.size >= 6 else 0.0
    published = published_rate_prior(measure, growth_form, reference)
    several = np.sum(counted, axis=0) > 1
    learning = _subset(padded.take(several), largest)
    spikes = find_spikes(learning)
    if spikes.sum() <= 0.05 * (learning.kind == READING).sum() + 1:
        learning = learning.without_readings(spikes)
    learning = _start_at_first_reading(learning)
    steps = int(np.maximum(np.sum(learning.kind == READING, axis=0) - 1, 0).sum())
    default, _ = default_exponent(measure, growth_form)
    enough = steps >= ENOUGH_STEPS and len(learning) >= 2
    if exponent is not None:
        candidates = (float(exponent),)
    elif enough:
        candidates = EXPONENTS
    else:
        candidates = (default,)
    evidence, trials, machines = {}, {}, {}
    start = None
    for candidate in sorted(candidates, key=lambda value: abs(value - default)):
        machine = _Evidence(learning, candidate, reference, measure, published, rounding)
        if steps:
            trial, value = machine.maximise(start)
        else:
            trial, value = machine.middle, 0.0
        evidence[candidate], trials[candidate], machines[candidate] = value, trial, machine
        start = trial
    if exponent is not None:
        choice = ScaleChoice(float(exponent), "Set by the keeper.", evidence)
    else:
        choice = choose_exponent(evidence, measure=measure, growth_form=growth_form, enough=enough)
    machine, trial = machines[choice.exponent], trials[choice.exponent]
    values = {name: float(value[0]) for name, value in machine.unpack(trial[None, :]).items()}
    parameters = FilterParameters(
        choice.exponent, values["reading_error"], values["size_noise"], values["rate_drift"], values["tail_weight"], rounding
    )
    model = GrowthModel(
        measure=measure,
        growth_form=growth_form,
        scale=choice,
        reference=reference,
        parameters=parameters,
        lineage_spread=values["lineage_spread"],
        form_spread=values["form_spread"],
        form_rate=LineageRate(published.mean, published.standard_deviation**2, 0),
        lineages={},
        published=published,
        colonies=len(learning),
        steps=steps,
    )
    return replace(model, **_pool_lineages(model, learning, machine, trial)) if len(learning) else model


def _pool_lineages(model, learning, machine, trial):
    _, details = machine.evaluate(trial[None, :])
    form_variance = float(details["form_variance"][0, 0])
    information = details["information"][0]
    form_mean = float(details["form_mean"][0])
    form_precision = float(details["form_precision"][0])
    lineages = {}
    for name, index in machine.position.items():
        precision = information[index] + 1 / form_variance
        # The form's mean is itself uncertain; what of it reaches the lineage is added.
        share = (1 / form_variance) / precision
        variance = 1 / precision + share**2 / form_precision
        colonies = int(np.sum(machine.lineage == index))
        lineages[name] = LineageRate(
            model.published.mean + float(details["means"][0, index]), float(variance), colonies
        )
    return {
        "form_rate": LineageRate(model.published.mean + form_mean, 1 / form_precision, len(learning)),
        "lineages": lineages,
        "members": frozenset(learning.identifiers),
    }


def _start_at_first_reading(padded):
    """Colonies whose first reading was set aside start at the next one; their earlier events are dropped."""
    starts_late = padded.kind[0] == NOTHING if padded.kind.shape[0] else np.zeros(0, dtype=bool)
    return padded.take(~starts_late) if starts_late.any() else padded


def _usual_size(measure):
    from .histories import FRAG_SIZES

    return FRAG_SIZES.get(measure, 1.0)
