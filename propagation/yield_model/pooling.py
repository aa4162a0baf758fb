"""What a collection has taught: rates pooled from colony to lineage to growth form, and how noisy it all is.

A colony's rate is `r ~ N(m_lineage, s²_lineage)`, a lineage's mean `m_lineage ~ N(m_form, s²_form)`, and `m_form`
starts from the published rates. The standard deviations, the errors and the tail weight are those of greatest
marginal
likelihood under weak priors, so a collection of one colony with two readings still gets sane, wide answers.

The filter is linear in the prior mean of the rate, so lineage means are integrated out from one pass over the readings:
surprise = a − b·m. Surprises are Student-t, which keeps a few wild ones from setting the noise of the rest.

Source: Gelman A et al., Bayesian Data Analysis, 3rd ed., §5.4 and §17.2; Laplace's method §13.3.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import minimize
from scipy.special import gammaln

from .filter import FilterParameters, find_spikes, rate_steps, run_filter
from .histories import CUT, DEFAULT_LAG_DAYS, FRAG_SIZES, NOTHING, READING, PaddedHistories, pad_histories
from .published_rates import RatePrior, published_rate_prior
from .scales import EXPONENTS, ScaleChoice, choose_exponent, default_exponent, scale_without_checks
from .tails import TailShape, normal_spread

# Reading error as a share of the size, before the readings tell. Common practice, no source.
READING_ERRORS = {
    "weight_g": 0.01,
    "tle_cm": 0.04,
    "area_cm2": 0.04,
    "diameter_mm": 0.03,
    "height_mm": 0.04,
    "polyps": 0.02,
}
READING_ERROR_OTHER = 0.03

# Weak priors of the other hyperparameters, for sizes over the reference: middle, and spread of the logarithm.
# Common practice, no source; wide enough that a dozen readings outweigh them.
SIZE_NOISE = (0.003, 1.5)  # per day^½: 3 % of the size in a day would be wild, 1 % in ten days is calm
DRIFT_SHARE = (0.02, 1.2)  # of the published rate per day^½: a fifth of the rate within 100 days
LINEAGE_SHARE = (0.25, 0.8)  # of the published rate, between colonies of a lineage
RATE_RETURN = (1 / 730, 1.3)  # per day: a colony's own pace is forgotten over two years or so
FORM_SHARE = (0.35, 0.8)  # of the published rate, between lineages
TAIL_WEIGHT = (8.0, 0.9)  # degrees of freedom over 1.5
LOWEST_TAIL_WEIGHT = 1.5
READING_ERROR_SPREAD = 1.0

# Besides one step, forecasts this many readings ahead are judged while learning: a model that is only roughly right is
# then fitted to what it is used for. Composite likelihood: Varin C, Reid N, Firth D 2011, Stat. Sinica 21:5–42 (from
# memory).
LONGER_HORIZONS = (3, 5)

# Hyperparameters are learned from at most about this many readings, the growth scale from fewer, lineage means from
# more;
# beyond that the answer does not move, only the clock.
READINGS_FOR_HYPERPARAMETERS = 2400
READINGS_FOR_SCALE = 800
COLONIES_FOR_MEANS = 2000
ROUGH_STEPS = 10

# Fewer steps between readings than this cannot choose a growth scale.
ENOUGH_STEPS = 12

_NAMES = ("reading_error", "size_noise", "rate_drift", "lineage_spread", "form_spread", "tail_weight", "rate_return")


@dataclass(frozen=True)
class LineageRate:
    """Mean rate of a lineage on the growth scale (per day), its variance, and the colonies it was learned from."""

    mean: float
    variance: float
    colonies: int


@dataclass(frozen=True)
class GrowthModel:
    """All that forecasts of one measure and growth form rest on.

    Sizes are divided by `reference` before they are moved to the scale, so rates read as specific growth at that size.
    `others` holds, for each colony it was learned from, what the other colonies alone say of its lineage's rate.
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
    others: dict = field(default_factory=dict, repr=False)
    tails: TailShape = field(default_factory=TailShape)
    colonies: int = 0
    steps: int = 0

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
        self.latest_means = np.zeros(self.indicator.shape[1])
        self.logs = (exponent - 1.0) * np.log(padded.size / reference)
        self.ahead = self._pairs_ahead(readings)
        pairs = sum(int(horizon[3].sum()) for horizon in self.ahead)
        steps_count = int(later.sum())
        # The horizons look at the same readings: together they count as much as one step ahead alone.
        self.share = steps_count / max(steps_count + pairs, 1)
        self.jacobian = np.sum(self.logs[later])
        self.jacobian += sum(np.sum(self.logs[horizon[0] :] * horizon[3]) for horizon in self.ahead)
        self.jacobian *= self.share
        rate = published.mean
        middles = [
            READING_ERRORS.get(measure, READING_ERROR_OTHER),
            SIZE_NOISE[0],
            DRIFT_SHARE[0] * rate,
            LINEAGE_SHARE[0] * rate,
            FORM_SHARE[0] * rate,
            TAIL_WEIGHT[0] - LOWEST_TAIL_WEIGHT,
            RATE_RETURN[0],
        ]
        self.middle = np.log(middles)
        priors = (SIZE_NOISE, DRIFT_SHARE, LINEAGE_SHARE, FORM_SHARE, TAIL_WEIGHT, RATE_RETURN)
        self.spread = np.array([READING_ERROR_SPREAD, *(spread for _, spread in priors)])

    def _pairs_ahead(self, readings):
        """For each longer horizon: events ahead, days, days of growth, and which pairs count (no cut between them)."""
        padded, found = self.padded, []
        cuts, ailing = np.cumsum(padded.kind == CUT, axis=0), np.cumsum(padded.ailing > 0, axis=0)
        days, growing = np.cumsum(padded.elapsed, axis=0), np.cumsum(padded.growing, axis=0)
        begun = np.cumsum(readings, axis=0) > 0
        for steps in LONGER_HORIZONS:
            if padded.kind.shape[0] <= steps:
                continue
            seen = readings[steps:] & begun[:-steps] & (readings | (padded.kind == CUT))[:-steps]
            seen &= (cuts[steps:] == cuts[:-steps]) & (ailing[steps:] == ailing[:-steps])
            if seen.any():
                relative, own = padded.size[steps:] / self.reference, padded.error[steps:] / self.reference
                weight = relative ** (2 * self.exponent)
                fixed = weight / relative**2 * (own**2 + (self.rounding / self.reference) ** 2 / 12)
                parts = (
                    days[steps:] - days[:-steps],
                    growing[steps:] - growing[:-steps],
                    seen.astype(float),
                    np.where(own > 0, 0.0, weight),
                    fixed,
                    scale_without_checks(relative, self.exponent),
                )
                # An axis for the trials; `seen` alone has none.
                found.append((steps, *(part if i == 2 else part[:, None, :] for i, part in enumerate(parts))))
        return found

    def _longer(self, filtered, parameters, means, tails):
        """Log density of readings several steps ahead, as a Student-t around the filter's forecast."""
        level, rate, uu, ur, rr, level_slope, rate_slope = filtered.states
        error, noise = np.square(parameters.reading_error), np.square(parameters.size_noise)
        drift = np.square(parameters.rate_drift)
        departure = means @ self.indicator.T
        half = (tails[:, 0] + 1) / 2
        constant = gammaln(half) - gammaln(tails[:, 0] / 2) - 0.5 * np.log(tails[:, 0] * np.pi)
        total = 0.0
        for steps, days, growing, seen, share_part, fixed_part, value in self.ahead:
            from_here = slice(None, -steps)
            _, counts, drift_variance, _, _ = rate_steps(growing, parameters.rate_return)
            variance = counts * rr[from_here]
            variance += 2 * ur[from_here]
            variance *= counts
            variance += drift * drift_variance
            variance += uu[from_here]
            variance += noise * days
            variance += error * share_part
            variance += fixed_part
            rest = growing - counts
            miss = level_slope[from_here] + counts * rate_slope[from_here]
            miss += rest
            miss *= -departure
            miss += value
            miss -= level[from_here]
            miss -= counts * rate[from_here]
            miss -= rest * self.published.mean
            np.square(miss, out=miss)
            miss /= variance * tails
            np.log1p(miss, out=miss)
            np.log(variance, out=variance)
            # Pairs that do not count are zeros in `seen`.
            total = total + seen.sum() * constant
            total = total - 0.5 * np.einsum("epn,en->p", variance, seen) - half * np.einsum("epn,en->p", miss, seen)
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
            self.exponent, column["reading_error"], column["size_noise"], column["rate_drift"], 1e6, self.rounding,
            column["rate_return"],
        )  # fmt: skip
        start = self.published.mean
        filtered = run_filter(
            self.padded, parameters, start, column["lineage_spread"] ** 2,
            reference=self.reference, robust=False, keep_surprises=True,
            keep_states=bool(self.ahead),
        )  # fmt: skip
        # Unseen events carry a surprise of 0 with variance 1 and so add nothing below.
        root = np.sqrt(filtered.surprise_variance)
        a, b = filtered.surprise / root, filtered.surprise_sensitivity / root
        tails = column["tail_weight"]
        form_variance = values["form_spread"][:, None] ** 2
        published_variance = self.published.standard_deviation**2
        means = np.broadcast_to(self.latest_means, (len(trials), self.indicator.shape[1]))  # less the published mean
        both, squares = a * b, b * b
        for _ in range(8):
            shifted = a - b * (means @ self.indicator.T)
            weight = (tails + 1) / (tails + shifted * shifted)
            own_information = np.einsum("epn,epn->pn", weight, squares)
            own_moment = np.einsum("epn,epn->pn", weight, both)
            information, moment = own_information @ self.indicator, own_moment @ self.indicator
            # Precision-weighted mean of the lineages' own estimates gives the form's mean.
            own = information / (1 + form_variance * information)
            form_precision = 1 / published_variance + own.sum(axis=1)
            form_mean = np.sum(moment / (1 + form_variance * information), axis=1) / form_precision
            updated = (moment + form_mean[:, None] / form_variance) / (information + 1 / form_variance)
            # Close enough once the means move by little beside what is left unknown of them.
            moved = np.max(np.abs(updated - means) * np.sqrt(information + 1 / form_variance))
            means = updated
            if moved < 0.01:
                break
        self.latest_means = means[0]
        shifted = a - b * (means @ self.indicator.T)
        half = (tails + 1) / 2
        constant = gammaln(half) - gammaln(tails / 2) - 0.5 * np.log(tails * np.pi)
        log_likelihood = self.later.sum() * constant[:, 0] - np.sum(np.log(root), axis=(0, 2))
        log_likelihood = log_likelihood - half[:, 0] * np.sum(np.log1p(shifted * shifted / tails), axis=(0, 2))
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
            "moment": moment,
            "own_information": own_information,
            "own_moment": own_moment,
            "form_mean": form_mean,
            "form_precision": form_precision,
            "form_variance": form_variance,
        }
        return np.where(np.isfinite(total), total, -1e12), details

    def maximise(self, start=None, *, most_steps=40):
        start = self.middle if start is None else start
        step = 1e-3

        def value_and_slope(trial):
            trials = np.repeat(trial[None, :], len(trial) + 1, axis=0)
            trials[1:] += step * np.eye(len(trial))
            values = self(trials)
            return -values[0], -(values[1:] - values[0]) / step

        # The scale of the objective grows with the collection; stop where a trial moves by less than it matters.
        found = minimize(value_and_slope, start, jac=True, method="L-BFGS-B",
                         bounds=list(zip(self.middle - 5 * self.spread, self.middle + 5 * self.spread, strict=True)),
                         options={"maxiter": most_steps, "ftol": 1e-6, "gtol": 5e-2})  # fmt: skip
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
    reference : float, optional
        Size to divide by; the geometric mean of the readings when not given.

    Returns
    -------
    GrowthModel
        Its `tails` are those of a Student-t until `backtest.learn_tails` has looked at forecasts of the same
        collection.
    """
    informative = padded.kind == READING
    counted = informative & ~padded.only_guessed
    sizes = padded.size[counted]
    if reference is None:
        reference = float(np.exp(np.mean(np.log(sizes)))) if sizes.size else _usual_size(measure)
    rounding = 1.0 if measure == "polyps" else find_rounding(sizes) if sizes.size >= 6 else 0.0
    published = published_rate_prior(measure, growth_form, reference)
    several = np.sum(counted, axis=0) > 1
    learning = _subset(padded.take(several), COLONIES_FOR_MEANS)
    spikes = find_spikes(learning)
    if spikes.sum() <= 0.05 * (learning.kind == READING).sum() + 1:
        learning = learning.without_readings(spikes)
    learning = _start_at_first_reading(learning)
    readings = int(np.sum(learning.kind == READING))
    steps = readings - len(learning)
    default, _ = default_exponent(measure, growth_form)
    enough = steps >= ENOUGH_STEPS and len(learning) >= 2
    if exponent is not None:
        candidates = (float(exponent),)
    elif enough:
        candidates = EXPONENTS
    else:
        candidates = (default,)

    def machine_for(candidate, most):
        some = _subset(learning, max(int(most * len(learning) / max(readings, 1)), 10))
        return _Evidence(some, candidate, reference, measure, published, rounding)

    evidence, trials = {}, {}
    start = None
    for candidate in sorted(candidates, key=lambda value: abs(value - default)):
        machine = machine_for(candidate, READINGS_FOR_SCALE)
        # A rough climb is enough to compare the scales; the one that is taken is climbed to the top below.
        trial, value = machine.maximise(start, most_steps=ROUGH_STEPS) if steps else (machine.middle, 0.0)
        evidence[candidate], trials[candidate] = float(value), trial
        start = trial
    if exponent is not None:
        choice = ScaleChoice(float(exponent), "Set by the keeper.", evidence)
    else:
        choice = choose_exponent(evidence, measure=measure, growth_form=growth_form, enough=enough)
    machine, trial = machine_for(choice.exponent, READINGS_FOR_HYPERPARAMETERS), trials[choice.exponent]
    if steps:
        trial, _ = machine.maximise(trial)
    values = {name: float(value[0]) for name, value in machine.unpack(trial[None, :]).items()}
    parameters = FilterParameters(
        exponent=choice.exponent,
        reading_error=values["reading_error"],
        size_noise=values["size_noise"],
        rate_drift=values["rate_drift"],
        tail_weight=values["tail_weight"],
        rounding=rounding,
        rate_return=values["rate_return"],
    )
    model = GrowthModel(
        measure=measure,
        growth_form=growth_form,
        scale=choice,
        reference=reference,
        parameters=parameters,
        # Surprises have heavy tails, but the paces of colonies are normal: their spread is more than the scale found.
        lineage_spread=values["lineage_spread"] * (normal_spread(min(values["tail_weight"], 200.0)) if steps else 1.0),
        form_spread=values["form_spread"],
        form_rate=LineageRate(published.mean, published.standard_deviation**2, 0),
        lineages={},
        published=published,
        colonies=len(learning),
        steps=steps,
    )
    if not len(learning):
        return model
    if len(machine.padded) < len(learning):
        machine = _Evidence(learning, choice.exponent, reference, measure, published, rounding)
    return replace(model, **_pool_lineages(model, learning, machine, trial))


# Days without growth after a cut that are tried, and how far from the usual week the lag may be thought to lie
# (spread of its logarithm). Common practice, no source.
LAGS = (2.0, 4.0, 7.0, 12.0, 21.0)
LAG_SPREAD = 0.6
FEWEST_CUTS_FOR_LAG = 8


def learn_lag(histories, *, measure="", growth_form=""):
    """Days without growth after a cut: the usual week, unless the cuts of a collection say otherwise.

    Parameters
    ----------
    histories : sequence of ColonyHistory
    measure, growth_form : str

    Returns
    -------
    (float, str)
        One of `LAGS`, and the reason in words.
    """
    histories = list(histories)
    # Only a cut after which growth was measured says anything.
    telling = [h for h in histories if any(r.day > cut.day for cut in h.cuts for r in h.readings)]
    cuts = sum(any(r.day > cut.day for r in h.readings) for h in telling for cut in h.cuts)
    if cuts < FEWEST_CUTS_FOR_LAG:
        return DEFAULT_LAG_DAYS, f"The usual {DEFAULT_LAG_DAYS:.0f} days: only {cuts} cuts were followed by a reading."
    exponent, _ = default_exponent(measure, growth_form)
    evidence, start, reference = {}, None, None
    for lag in sorted(LAGS, key=lambda days: abs(days - DEFAULT_LAG_DAYS)):
        padded = pad_histories(telling[:100], measure=measure, growth_form=growth_form, lag_days=lag)
        reference = reference or float(np.exp(np.mean(np.log(padded.size[padded.kind == READING]))))
        published = published_rate_prior(measure, growth_form, reference)
        start, value = _Evidence(padded, exponent, reference, measure, published, 0.0).maximise(start)
        evidence[lag] = value - 0.5 * (np.log(lag / DEFAULT_LAG_DAYS) / LAG_SPREAD) ** 2
    best = max(evidence, key=lambda lag: evidence[lag])
    if best == DEFAULT_LAG_DAYS or evidence[best] - evidence[DEFAULT_LAG_DAYS] < 1.0:
        return DEFAULT_LAG_DAYS, f"The usual {DEFAULT_LAG_DAYS:.0f} days, and {cuts} cuts agree with it."
    return best, f"{cuts} cuts fit about {best:.0f} days without growth better than the usual {DEFAULT_LAG_DAYS:.0f}."


def _pool_lineages(model, learning, machine, trial):
    _, details = machine.evaluate(trial[None, :])
    form_variance = float(details["form_variance"][0, 0])
    information = details["information"][0]
    form_mean = float(details["form_mean"][0])
    form_precision = float(details["form_precision"][0])

    def lineage_rate(own_information, own_moment, mean_of_form, precision_of_form, colonies):
        precision = own_information + 1 / form_variance
        # The form's mean is itself uncertain; what of it reaches the lineage is added.
        share = (1 / form_variance) / precision
        mean = (own_moment + mean_of_form / form_variance) / precision
        return LineageRate(
            float(model.published.mean + mean), float(1 / precision + share**2 / precision_of_form), int(colonies)
        )

    moment, colonies = details["moment"][0], machine.indicator.sum(axis=0)
    lineages = {
        name: lineage_rate(information[index], moment[index], form_mean, form_precision, colonies[index])
        for name, index in machine.position.items()
    }
    # The same with one colony left out, for each colony.
    form_moment = form_mean * form_precision
    index = machine.lineage
    weights = 1 / (1 + form_variance * information)
    less_information = np.maximum(information[index] - details["own_information"][0], 0.0)
    less_moment = moment[index] - details["own_moment"][0]
    less_weight = 1 / (1 + form_variance * less_information)
    less_precision = form_precision - (information * weights)[index] + less_information * less_weight
    less_form = (form_moment - (moment * weights)[index] + less_moment * less_weight) / less_precision
    others = {
        name: lineage_rate(*row)
        for name, *row in zip(
            learning.identifiers,
            less_information,
            less_moment,
            less_form,
            less_precision,
            colonies[index] - 1,
            strict=True,
        )
    }
    return {
        "form_rate": LineageRate(model.published.mean + form_mean, 1 / form_precision, len(learning)),
        "lineages": lineages,
        "others": others,
    }


def _start_at_first_reading(padded):
    """Colonies whose first reading was set aside start at the next one; their earlier events are dropped."""
    starts_late = padded.kind[0] == NOTHING if padded.kind.shape[0] else np.zeros(0, dtype=bool)
    return padded.take(~starts_late) if starts_late.any() else padded


def _usual_size(measure):
    return FRAG_SIZES.get(measure, 1.0)
