"""Growth scales: the Box–Cox family on which growth is steady.

`u = (S^λ − 1)/λ`, and `u = ln S` for λ = 0. A colony that grows exponentially is straight at λ = 0, one whose mass
follows the cube of a steady length at 1/3, a plate whose radius grows steadily at 1/2, a branch at 1.

Source: Box GEP, Cox DR 1964, J. R. Stat. Soc. B 26:211–252; radial growth: Madin JS et al. 2020, Biology Letters
16:20190727; total branch length: Maneval P et al. 2021, Frontiers in Marine Science 8:670474.
"""

from dataclasses import dataclass

import numpy as np

EXPONENTS = (0.0, 1 / 3, 1 / 2, 1.0)

EXPONENT_NAMES = {
    0.0: "a steady share of its size (exponential growth)",
    1 / 3: "a steady step of the cube root of its size",
    1 / 2: "a steady step of the square root of its size (radial growth)",
    1.0: "a steady amount (straight-line growth)",
}

# Smallest size, as a share of the reference size, that a forecast may fall to before it counts as nothing.
SMALLEST_SHARE = 1e-4

# How many natural-log units of evidence the data must bring before the default scale is left ("positive evidence",
# Kass RE, Raftery AE 1995, J. Am. Stat. Assoc. 90:773–795, from memory).
EVIDENCE_TO_LEAVE_DEFAULT = 1.0


@dataclass(frozen=True)
class ScaleChoice:
    """Which exponent was taken, why in words, and the evidence for each that was tried."""

    exponent: float
    reason: str
    log_evidence: dict


def _check_exponent(exponent):
    exponent = float(exponent)
    if not np.isfinite(exponent) or not 0 <= exponent <= 1:
        raise ValueError("The growth scale's exponent must lie between 0 and 1.")
    return exponent


def _check_sizes(size):
    size = np.asarray(size, dtype=float)
    if not np.all(np.isfinite(size)) or np.any(size <= 0):
        raise ValueError("A size must be a number greater than zero.")
    return size


def to_scale(size, exponent):
    """Move sizes to the growth scale.

    Parameters
    ----------
    size : array_like
        Sizes in any one measure, > 0.
    exponent : float
        λ in [0, 1].

    Returns
    -------
    ndarray, same shape

    Raises
    ------
    ValueError
        If a size is not greater than zero.
    """
    size = _check_sizes(size)
    exponent = _check_exponent(exponent)
    return scale_without_checks(size, exponent)


def scale_without_checks(size, exponent):
    """`to_scale` for arrays already known to be good: the filter's inner loop."""
    if exponent == 0:
        return np.log(size)
    if exponent == 1:
        return size - 1.0
    return (np.power(size, exponent) - 1.0) / exponent


def from_scale(value, exponent):
    """Move values on the growth scale back to sizes.

    Parameters
    ----------
    value : array_like
        Values on the scale, finite. What would be below nothing comes back as `SMALLEST_SHARE`.
    exponent : float
        λ in [0, 1].

    Returns
    -------
    ndarray, same shape, > 0
    """
    value = np.asarray(value, dtype=float)
    exponent = _check_exponent(exponent)
    if not np.all(np.isfinite(value)):
        raise ValueError("A value on the growth scale must be finite.")
    return unscale_without_checks(value, exponent)


def unscale_without_checks(value, exponent):
    """`from_scale` for arrays already known to be good."""
    if exponent == 0:
        return np.exp(np.clip(value, np.log(SMALLEST_SHARE), 50.0))
    base = np.maximum(1.0 + exponent * value, SMALLEST_SHARE**exponent)
    return base if exponent == 1 else np.power(base, 1.0 / exponent)


def scale_slope(size, exponent):
    """du/dS = S^(λ−1): what an error of one unit of size is on the growth scale (delta method).

    Parameters
    ----------
    size : array_like
        Sizes, > 0.
    exponent : float
        λ in [0, 1].

    Returns
    -------
    ndarray, same shape
    """
    return np.power(_check_sizes(size), _check_exponent(exponent) - 1.0)


def reading_variance(size, exponent, *, relative_error=0.0, absolute_error=0.0):
    """Variance of a reading on the growth scale, by the delta method.

    Parameters
    ----------
    size : array_like
        Sizes, > 0.
    exponent : float
        λ in [0, 1].
    relative_error : array_like
        Standard deviation as a share of the size.
    absolute_error : array_like
        Standard deviation in the unit of the size; added in quadrature.

    Returns
    -------
    ndarray, same shape
    """
    size = _check_sizes(size)
    return scale_slope(size, exponent) ** 2 * ((relative_error * size) ** 2 + np.square(absolute_error))


def log_jacobian(size, exponent):
    """ln |du/dS|, which makes likelihoods at different exponents comparable.

    Parameters
    ----------
    size : array_like
        Sizes, > 0.
    exponent : float
        λ in [0, 1].

    Returns
    -------
    ndarray, same shape
    """
    return (_check_exponent(exponent) - 1.0) * np.log(_check_sizes(size))


def rate_on_scale(specific_rate, size, exponent):
    """Rate on the growth scale of a colony that adds a share of its size a day.

    Parameters
    ----------
    specific_rate : array_like
        (dS/dt)/S, 1/day.
    size : array_like
        Size at which that holds, > 0.
    exponent : float
        λ in [0, 1].

    Returns
    -------
    ndarray
        du/dt per day: specific rate × S^λ.
    """
    return np.asarray(specific_rate, dtype=float) * np.power(_check_sizes(size), _check_exponent(exponent))


def default_exponent(measure, growth_form):
    """The exponent to start from.

    Parameters
    ----------
    measure : str
        `tle_cm`, `diameter_mm`, `height_mm`, `area_cm2`, `polyps` or `weight_g`; anything else is taken as unknown.
    growth_form : str
        `branching`, `tabling`, `plating`, `encrusting`, `massive`, `polyps`; anything else is taken as unknown.

    Returns
    -------
    (float, str)
        λ and the reason in words.
    """
    if measure == "polyps":
        return 0.0, "polyps and heads divide, so their number grows by a share of itself"
    if measure == "area_cm2":
        return 1 / 2, "an outline that grows at its rim gains radius steadily (Madin et al. 2020)"
    if measure == "tle_cm":
        return 1.0, "total branch length of frags was seen to grow in a straight line (Maneval et al. 2021)"
    if measure in ("diameter_mm", "height_mm"):
        return 1.0, "a length at the growing edge gains steadily"
    if measure == "weight_g":
        if growth_form in ("branching", "polyps"):
            return 0.0, "young branching frags were seen to gain a steady share of their weight"
        return 1 / 3, "a solid that gains thickness steadily grows with the cube root of its weight"
    return 0.0, "nothing is known of this measure, so a steady share of the size is assumed"


def choose_exponent(log_evidence, *, measure, growth_form, enough):
    """Choose λ by marginal likelihood, keeping the default unless the readings speak against it.

    Parameters
    ----------
    log_evidence : dict
        λ → maximised log marginal likelihood of the same sizes, Jacobian included.
    measure, growth_form : str
        As in `default_exponent`.
    enough : bool
        Whether the collection has enough readings to choose at all.

    Returns
    -------
    ScaleChoice
    """
    default, why = default_exponent(measure, growth_form)
    if not enough or not log_evidence:
        return ScaleChoice(
            default, f"Taken by default: {why}. Too few readings to choose otherwise.", dict(log_evidence)
        )
    best = max(log_evidence, key=lambda exponent: log_evidence[exponent])
    if default not in log_evidence:
        default = best
    gain = log_evidence[best] - log_evidence[default]
    if best == default or gain < EVIDENCE_TO_LEAVE_DEFAULT:
        return ScaleChoice(default, f"The usual scale, and the readings agree with it: {why}.", dict(log_evidence))
    odds = np.exp(min(gain, 20.0))
    odds_in_words = f"{odds:.0f} times" if odds < 1000 else "more than a thousand times"
    reason = (
        f"The readings fit {EXPONENT_NAMES.get(best, f'exponent {best:g}')} {odds_in_words} better than the usual "
        f"{EXPONENT_NAMES.get(default, f'exponent {default:g}')}."
    )
    return ScaleChoice(best, reason, dict(log_evidence))
