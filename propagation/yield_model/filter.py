"""The filter: what the readings of each colony say of its size and growth rate now.

A Kalman filter with uneven time steps over all colonies at once. The state of a colony is `[u, r]`: its size on the
growth scale and its rate on that scale per day. Arrays run (events, colonies), and every formula is elementwise, so a
leading axis of trial parameters can ride along when hyperparameters are learned.

Source: Harvey AC 1989, Forecasting, Structural Time Series Models and the Kalman Filter, §3.2, §9.2 (continuous time);
the mean's sensitivity to the rate's prior: de Jong P 1991, Ann. Statist. 19:1073–1083 (both from memory).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, ndtri, stdtrit

from .histories import CUT, READING
from .scales import scale_without_checks, unscale_without_checks

# A reading whose standardised surprise would come up less than once in this many is weighed against a slip or a loss.
GATE_ODDS = 10_000.0

# A colony whose surprises lean one way over a few readings has changed its pace: an encruster that begins to branch, a
# mother after a move nobody noted. Its surprises are summed with this memory; once the sum would come up less than
# once in
# so many readings by chance, its rate is opened up again by as much as the usual rate. Automatic monitoring: West M,
# Harrison J 1989, Bayesian Forecasting and Dynamic Models, §11.5 (from memory); the figures are common practice, no
# source.
TURN_MEMORY = 0.8
TURN_ODDS = 1000.0

# Share of readings that are slips of the pen, by kind; and of sudden losses and gains. Common practice, no source.
SLIP_PROBABILITY = 0.01
FACTOR_SLIP_PROBABILITY = 0.003
LOSS_PROBABILITY = 0.02
GAIN_PROBABILITY = 0.001

# Spread of a slip, and of a sudden loss or gain, in natural-log units of size. Common practice, no source.
SLIP_SPREAD = 1.5
LOSS_SPREAD = 0.8

# Factors by which sizes are mistyped, with the sentence that explains each.
FACTOR_SLIPS = (
    (10.0, "about ten times what was expected: a slipped decimal point, or millimetres for centimetres"),
    (0.1, "about a tenth of what was expected: a slipped decimal point, or centimetres for millimetres"),
    (100.0, "about a hundred times what was expected: square millimetres for square centimetres"),
    (0.01, "about a hundredth of what was expected: a decimal point two places off"),
    (25.4, "about 25.4 times what was expected: millimetres for inches"),
    (1 / 25.4, "about 1/25.4 of what was expected: inches for millimetres"),
    (2.54, "about 2.54 times what was expected: centimetres for inches"),
    (1 / 2.54, "about 1/2.54 of what was expected: inches for centimetres"),
)
UNEXPLAINED_SLIP = "far from what was expected, with no simple slip that explains it"
SAME_DAY_SLIP = "at odds with another reading of the same day"
SPIKE_SLIP = "far off the readings before and after it, which agree with each other"

# How far a spike stands off both neighbours, natural-log units: three times. Common practice, no source.
SPIKE_SIZE = np.log(3.0)

# Noise on the size of a colony that is losing tissue, natural-log units a day^½. Common practice, no source.
DECLINE_NOISE = 0.05


@dataclass(frozen=True)
class FilterParameters:
    """What the filter takes as given, all for sizes divided by a reference size.

    `reading_error` is the standard deviation of a reading as a share of the size; `size_noise` that of the process on
    u per day^½; `rate_drift` that of the rate per day^½; `tail_weight` the degrees of freedom of a surprise; `rounding`
    the step sizes were rounded to. `rate_return` (per day) is how fast a rate that drifted comes back to its lineage's:
    at 0 it never does. Each is a number, or an array that broadcasts over the colonies.
    """

    exponent: float
    reading_error: float
    size_noise: float
    rate_drift: float
    tail_weight: float = 1e6
    rounding: float = 0.0
    rate_return: float = 0.0


@dataclass(frozen=True)
class AbsurdReading:
    """A reading that was set aside: whose, which event, and why, in words."""

    identifier: str
    day: float
    size: float
    expected: float
    explanation: str


@dataclass
class FilteredColonies:
    """Level and rate of each colony after its last event, on the growth scale of sizes over the reference.

    Arrays of shape (..., colonies). `level_sensitivity` and `rate_sensitivity` say how the means move with the prior
    mean of the rate; `usual_information` and `usual_moment` are what the colony's own readings say of that mean:
    precision, and precision times departure from it. Surprises, and the states after every event (level, rate, level
    variance,
    covariance, rate variance, level sensitivity, rate sensitivity), have shape (events, ..., colonies) and are kept
    only on request.
    """

    level: np.ndarray
    rate: np.ndarray
    level_variance: np.ndarray
    covariance: np.ndarray
    rate_variance: np.ndarray
    level_sensitivity: np.ndarray
    rate_sensitivity: np.ndarray
    surprise: np.ndarray | None
    surprise_variance: np.ndarray | None
    surprise_sensitivity: np.ndarray | None
    usual_information: np.ndarray
    usual_moment: np.ndarray
    absurd: list
    states: tuple | None = None


def find_spikes(padded):
    """Readings that stand far off both neighbours while these agree: seen only with hindsight.

    Parameters
    ----------
    padded : PaddedHistories

    Returns
    -------
    ndarray of bool, shape (events, colonies)
    """
    spikes = np.zeros(padded.kind.shape, dtype=bool)
    if padded.kind.shape[0] < 3:
        return spikes
    # Few colonies hold a jump at all; only they are looked at closely.
    ratio = padded.size[1:] / padded.size[:-1]
    wide = np.exp(SPIKE_SIZE)
    suspects = np.flatnonzero((ratio.max(axis=0) > wide) | (ratio.min(axis=0) * wide < 1))
    if suspects.size:
        spikes[:, suspects] = _spikes_of(padded.kind[:, suspects] == READING, np.log(padded.size[:, suspects]))
    return spikes


def _spikes_of(readings, logs):
    spikes = np.zeros(readings.shape, dtype=bool)
    before, here, after = logs[:-2], logs[1:-1], logs[2:]
    usable = readings[:-2] & readings[1:-1] & readings[2:]
    off_before, off_after, apart = here - before, here - after, np.abs(after - before)
    nearest = np.minimum(np.abs(off_before), np.abs(off_after))
    spikes[1:-1] = usable & (off_before * off_after > 0) & (nearest > SPIKE_SIZE) & (apart < 0.5 * nearest)
    # The first reading, when the two after it agree with each other.
    jump, calm = np.abs(logs[1] - logs[0]), np.abs(logs[2] - logs[1])
    spikes[0] = readings[:3].all(axis=0) & (jump > np.log(5.0)) & (calm < 0.25 * jump) & ~spikes[1]
    return spikes


def rate_steps(growing, rate_return):
    """How a rate carries over days of growth: what is left of it, what it adds, and the noise its drift of 1 brings.

    Parameters
    ----------
    growing : ndarray
        Days of growth.
    rate_return : array_like
        1/day, ≥ 0; broadcasts with `growing`.

    Returns
    -------
    tuple of ndarray
        Share left of a departure from the usual rate; days for which it counts; variance of u, covariance, and
        variance of r.

    Source: Ornstein–Uhlenbeck process, Uhlenbeck GE, Ornstein LS 1930, Phys. Rev. 36:823–841 (from memory).
    """
    if np.ndim(rate_return) == 0 and rate_return == 0:
        return 1.0, growing, growing**3 / 3, growing**2 / 2, growing
    k = np.maximum(rate_return, 1e-9)
    fading = k * growing
    gone = np.expm1(-fading)
    left = 1.0 + gone
    days = gone / -k
    rate_variance = days * (1.0 + left)
    rate_variance *= 0.5
    level_variance = (growing - 2 * days + rate_variance) / (k * k)
    # The difference loses all its digits when almost nothing fades; the limit is as good there.
    faint = fading < 1e-3
    if faint.any():
        level_variance = np.where(faint, growing * growing * growing / 3, level_variance)
    return left, days, level_variance, days**2 / 2, rate_variance


def _log_student(surprise_squared, variance, tail_weight):
    """Log density of a Student-t surprise with the given scale²."""
    half = (tail_weight + 1) / 2
    constant = gammaln(half) - gammaln(tail_weight / 2) - 0.5 * np.log(tail_weight * np.pi)
    return constant - 0.5 * np.log(variance) - half * np.log1p(surprise_squared / (variance * tail_weight))


def _log_normal(deviation, variance):
    return -0.5 * (np.log(2 * np.pi * variance) + deviation**2 / variance)


def run_filter(
    padded, parameters, rate_mean, rate_variance, *, reference=1.0, robust=True, keep_surprises=False, keep_states=False
):
    """Filter all colonies through all their events.

    Parameters
    ----------
    padded : PaddedHistories
    parameters : FilterParameters
        Numbers, or arrays of shape (trials, 1) when `robust` is False.
    rate_mean, rate_variance : array_like
        Prior of the rate on the scale, per day; broadcasts to (colonies,).
    reference : float
        Size all sizes are divided by.
    robust : bool
        Weigh absurd readings against slips and losses. Without it this is the plain linear filter.
    keep_surprises : bool
        Keep the one-step surprises, for likelihoods.
    keep_states : bool
        Keep the state after every event, for forecasts several readings ahead.

    Returns
    -------
    FilteredColonies

    Raises
    ------
    ValueError
        If a variance is not greater than zero.

    Notes
    -----
    The first reading sets the level, so likelihoods are conditional on it.
    """
    exponent = parameters.exponent
    events, count = padded.kind.shape
    relative = padded.size / reference
    value = scale_without_checks(relative, exponent)
    share_part, fixed_part = _reading_variance_parts(padded, relative, value, exponent, reference, parameters.rounding)
    error_squared = np.square(parameters.reading_error)
    noise, drift = np.square(parameters.size_noise), np.square(parameters.rate_drift)

    shape = np.broadcast_shapes(np.shape(error_squared), np.shape(noise), np.shape(drift), np.shape(rate_mean),
                                np.shape(rate_variance), (count,))  # fmt: skip
    prior_variance = np.broadcast_to(np.asarray(rate_variance, dtype=float), shape)
    if np.any(~(prior_variance >= 0)) or np.any(~(np.asarray(error_squared) >= 0)):
        raise ValueError("A variance cannot be less than zero.")
    level = np.broadcast_to(value[0], shape).copy()
    rate = np.broadcast_to(np.asarray(rate_mean, dtype=float), shape).copy()
    uu = np.broadcast_to(error_squared * share_part[0] + fixed_part[0], shape).copy()
    ur = np.zeros(shape)
    rr = prior_variance.copy()
    level_slope, rate_slope = np.zeros(shape), np.ones(shape)
    information, moment = np.zeros(shape), np.zeros(shape)
    if keep_surprises:
        kept = [np.zeros((events, *shape)), np.ones((events, *shape)), np.zeros((events, *shape))]
    returning = np.asarray(parameters.rate_return, dtype=float)
    steady = returning.ndim == 0 and returning == 0
    usual = np.asarray(rate_mean, dtype=float)
    tails = np.asarray(parameters.tail_weight, dtype=float)
    gate = float(stdtrit(float(tails), 1 - 0.5 / GATE_ODDS)) ** 2 if robust else np.inf
    states = tuple(np.zeros((events, *shape)) for _ in range(7)) if keep_states else None
    leaning = np.zeros(shape)
    turn_limit = _turn_limit(float(tails)) if robust else np.inf
    absurd = []
    first_seen = padded.kind[0] == READING

    for event in range(events):
        if event:
            elapsed, growing = padded.elapsed[event], padded.growing[event]
            if steady:
                drifted = drift * growing
                level += growing * rate
                level_slope += growing * rate_slope
                uu += growing * (2 * ur + growing * (rr + drifted / 3)) + noise * elapsed
                ur += growing * (rr + 0.5 * drifted)
                rr += drifted
            else:
                left, days, drift_uu, drift_ur, drift_rr = rate_steps(growing, returning)
                rest = growing - days
                level += days * rate + rest * usual
                level_slope += days * rate_slope + rest
                rate *= left
                rate += (1 - left) * usual
                rate_slope *= left
                rate_slope += 1 - left
                uu += days * (2 * ur + days * rr) + drift * drift_uu + noise * elapsed
                ur += days * rr
                ur *= left
                ur += drift * drift_ur
                rr *= left**2
                rr += drift * drift_rr
            if padded.events_present["ailing"][event]:
                local = np.power(unscale_without_checks(level, exponent), exponent)
                uu += (DECLINE_NOISE * local) ** 2 * padded.ailing[event]
            seen = padded.kind[event] == READING
            whole = padded.events_present["all_readings"][event] and first_seen.all()
            if whole or seen.any():
                variance = uu + (error_squared * share_part[event] + fixed_part[event])
                surprise = value[event] - level
                if not whole:
                    fresh = seen & ~first_seen
                    if fresh.any():
                        _start(fresh, value[event], error_squared * share_part[event] + fixed_part[event],
                               level, uu, ur, level_slope)  # fmt: skip
                        first_seen = first_seen | fresh
                        seen = seen & ~fresh
                if keep_surprises:
                    kept[0][event] = np.where(seen, surprise, 0.0)
                    kept[1][event] = np.where(seen, variance, 1.0)
                    kept[2][event] = np.where(seen, level_slope, 0.0)
                doubtful = None
                if robust:
                    beyond = surprise * surprise > gate * variance
                    if not whole:
                        beyond &= seen
                    if beyond.any():
                        doubtful = np.flatnonzero(beyond)
                        saved, belief = _weigh_doubtful(
                            doubtful, event, padded, parameters, relative, reference, surprise, variance,
                            (level, rate, uu, ur, rr, level_slope, rate_slope), absurd,
                        )  # fmt: skip
                if robust:
                    leaning *= TURN_MEMORY if whole else np.where(seen, TURN_MEMORY, 1.0)
                    pull = surprise / np.sqrt(variance)
                    if not whole:
                        pull *= seen
                    if doubtful is not None:
                        pull[doubtful] *= belief
                    # A colony in decline loses size, which says nothing of its pace.
                    if padded.events_present["ailing"][event]:
                        pull *= padded.ailing[event] == 0
                    leaning += pull
                    turned = np.abs(leaning) > turn_limit
                    if turned.any():
                        # The new pace has been there for this step at least, so the level shares in the doubt.
                        opened = np.where(turned, usual**2 + prior_variance, 0.0)
                        rr += opened
                        opened = opened * padded.growing[event]
                        ur += opened
                        opened = opened * padded.growing[event]
                        uu += opened
                        variance = variance + opened
                        leaning[turned] = 0.0
                gain_level, gain_rate = uu / variance, ur / variance
                if not whole:
                    gain_level, gain_rate = gain_level * seen, gain_rate * seen
                if not keep_surprises:
                    telling = level_slope / variance
                    if not whole:
                        telling *= seen
                    if doubtful is not None:
                        telling[doubtful] *= belief
                    information += telling * level_slope
                    moment += telling * surprise
                level += gain_level * surprise
                rate += gain_rate * surprise
                rate_slope -= gain_rate * level_slope
                level_slope -= gain_level * level_slope
                rr -= gain_rate * ur
                ur -= gain_level * ur
                uu -= gain_level * uu
                if doubtful is not None:
                    for target, replacement in zip(
                        (level, rate, uu, ur, rr, level_slope, rate_slope), saved, strict=True
                    ):
                        target[doubtful] = replacement
        if padded.events_present["cuts"][event]:
            _apply_cut(event, padded, exponent, reference, value, error_squared * share_part[event] + fixed_part[event],
                       level, uu, ur, level_slope)  # fmt: skip
        if padded.events_present["widening"][event]:
            rr += padded.widening[event] ** 2 * prior_variance
        if keep_states:
            for store, now in zip(states, (level, rate, uu, ur, rr, level_slope, rate_slope), strict=True):
                store[event] = now
    if not keep_surprises:
        kept = [None, None, None]
    return FilteredColonies(
        level=level,
        rate=rate,
        level_variance=np.maximum(uu, 0.0),
        covariance=ur,
        rate_variance=np.maximum(rr, 0.0),
        level_sensitivity=level_slope,
        rate_sensitivity=rate_slope,
        surprise=kept[0],
        surprise_variance=kept[1],
        surprise_sensitivity=kept[2],
        usual_information=information,
        usual_moment=moment,
        absurd=absurd,
        states=states,
    )


def _reading_variance_parts(padded, relative, value, exponent, reference, rounding):
    """Variance of readings by the delta method: what is multiplied by the reading error squared, and what is added to
    it.

    The first is S^2λ where the error is a share of the size, the second the keeper's own figure and the rounding.
    """
    power = 1.0 + exponent * value
    share_part = power * power
    own = padded.error > 0
    if not (own.any() or rounding):
        return share_part, np.zeros((len(relative), 1))
    fixed_part = share_part / relative**2 * ((padded.error / reference) ** 2 + (rounding / reference) ** 2 / 12)
    return np.where(own, 0.0, share_part), fixed_part


def _turn_limit(tail_weight):
    """Sum of remembered surprises beyond which a colony has changed its pace."""
    spread = np.sqrt(max(tail_weight, 3.0) / (max(tail_weight, 3.0) - 2))
    return float(ndtri(1 - 0.5 / TURN_ODDS)) * spread / np.sqrt(1 - TURN_MEMORY**2)


def _start(fresh, value, variance, level, uu, ur, level_slope):
    """Set the level by a colony's first reading that counts."""
    level[..., fresh] = value[fresh]
    uu[..., fresh] = np.broadcast_to(variance, uu.shape)[..., fresh]
    ur[..., fresh] = 0.0
    level_slope[..., fresh] = 0.0


def _apply_cut(event, padded, exponent, reference, value, after_variance, level, uu, ur, level_slope):
    """Set the level after a cut: by the size after where it was measured, else by what the frags took."""
    cut = padded.kind[event] == CUT
    known = cut & (padded.removed[event] == 0)
    if known.any():
        level[..., known] = value[event][known]
        uu[..., known] = np.broadcast_to(after_variance, uu.shape)[..., known]
        ur[..., known] = 0.0
        level_slope[..., known] = 0.0
    guessed = cut & ~known
    if guessed.any():
        before = unscale_without_checks(level[..., guessed], exponent)
        # However many frags are noted, something was left: a fifth at the least. Common practice, no source.
        after = np.maximum(before - padded.removed[event][guessed] / reference, 0.2 * before)
        ratio = np.power(after / before, exponent - 1.0)
        spread = np.power(after, exponent - 1.0) * padded.removed_error[event][guessed] / reference
        level[..., guessed] = scale_without_checks(after, exponent)
        uu[..., guessed] = uu[..., guessed] * ratio**2 + spread**2
        ur[..., guessed] *= ratio
        level_slope[..., guessed] *= ratio


def _weigh_doubtful(
    rows, event, padded, parameters, relative, reference, surprise, variance, state, absurd
):  # fmt: skip
    """Weigh the stories behind a reading far from its forecast, and blend them into one state.

    The stories: it is true and rare; it is a slip (the state stays); the colony lost or gained that much at once (the
    level follows, the rate keeps what it knew). Moment matching as in Harrison PJ, Stevens CF 1976, J. R. Stat. Soc.
    B
    38:205–247.
    """
    exponent = parameters.exponent
    level, rate, uu, ur, rr, level_slope, rate_slope = state
    v, f = surprise[rows], variance[rows]
    expected = unscale_without_checks(level[rows], exponent)
    local = np.power(expected, exponent)  # du per natural-log unit of size
    p, c, r = uu[rows], ur[rows], rr[rows]
    tails = float(np.asarray(parameters.tail_weight))
    down = v < 0
    jump_variance = (LOSS_SPREAD * local) ** 2
    stories = [np.log(0.96) + _log_student(v**2, f, tails)]
    stories.append(np.log(np.where(down, LOSS_PROBABILITY, GAIN_PROBABILITY)) + _log_normal(v, f + jump_variance))
    stories.append(np.log(SLIP_PROBABILITY) + _log_normal(v, f + (SLIP_SPREAD * local) ** 2))
    factors = np.array([factor for factor, _ in FACTOR_SLIPS])[:, None]
    mended = scale_without_checks(relative[event][rows] / factors, exponent)
    # The mended reading carries the Jacobian of the mending, factor^-λ.
    density = _log_student((mended - level[rows]) ** 2, f, max(tails, 4.0)) - exponent * np.log(factors)
    stories = np.vstack([stories, np.log(FACTOR_SLIP_PROBABILITY) + density])
    stories -= stories.max(axis=0)
    weights = np.exp(stories)
    weights /= weights.sum(axis=0)
    true, jump = weights[0], weights[1]
    slip = 1.0 - true - jump

    follow = f + jump_variance
    options = (
        (true, p / f, c / f, p - p * p / f, c - p * c / f, r - c * c / f),
        (
            jump,
            (p + jump_variance) / follow,
            c / follow,
            (p + jump_variance) * (1 - (p + jump_variance) / follow),
            c * (1 - (p + jump_variance) / follow),
            r - c * c / follow,
        ),
        (slip, 0.0, 0.0, p, c, r),
    )
    gain_level = sum(w * k for w, k, *_ in options)
    gain_rate = sum(w * k for w, _, k, *_ in options)
    new_uu = sum(w * (a + ((k - gain_level) * v) ** 2) for w, k, _, a, _, _ in options)
    new_ur = sum(w * (b + (k - gain_level) * (g - gain_rate) * v**2) for w, k, g, _, b, _ in options)
    new_rr = sum(w * (d + ((g - gain_rate) * v) ** 2) for w, _, g, _, _, d in options)

    for position in np.flatnonzero(slip > 0.5):
        row = rows[position]
        likeliest = int(np.argmax(weights[2:, position]))
        explanation = UNEXPLAINED_SLIP if likeliest == 0 else FACTOR_SLIPS[likeliest - 1][1]
        if likeliest == 0 and padded.elapsed[event][row] == 0:
            explanation = SAME_DAY_SLIP
        absurd.append(
            AbsurdReading(
                padded.identifiers[row],
                float(padded.day[event][row]),
                float(padded.size[event][row]),
                float(expected[position] * reference),
                explanation,
            )
        )
    blended = (
        level[rows] + gain_level * v,
        rate[rows] + gain_rate * v,
        new_uu,
        new_ur,
        new_rr,
        level_slope[rows] * (1 - gain_level),
        rate_slope[rows] - gain_rate * level_slope[rows],
    )
    return blended, true
