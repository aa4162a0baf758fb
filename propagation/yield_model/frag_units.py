"""What one frag takes from its mother, and what must remain of her."""

from dataclasses import dataclass

import numpy as np

# A frag of about one inch is the usual unit of trade. Common practice, no source.
FRAG_LENGTH_CM = 2.5

# Length lost at the cuts and in waste ends, as a share of the frag. Common practice, no source.
LENGTH_WASTE = 1.15

# Area of a frag as a square of the frag's length, and what is lost around it. Common practice, no source.
FRAG_AREA_CM2 = FRAG_LENGTH_CM**2
AREA_WASTE = 1.3

# How far a default frag unit may be off, as a share of it. Common practice, no source.
DEFAULT_SPREAD = 0.25

# How much one cut's frag unit differs from another's of the same lineage, as a share. Common practice, no source.
BETWEEN_CUTS_SPREAD = 0.3

_DEFAULTS = {
    "tle_cm": FRAG_LENGTH_CM * LENGTH_WASTE,
    "area_cm2": FRAG_AREA_CM2 * AREA_WASTE,
    "polyps": 1.0,
    "weight_g": 1.5,
    "diameter_mm": 12.0,
    "height_mm": 12.0,
}


@dataclass(frozen=True)
class FragUnit:
    """What one frag takes from the measure: middle, standard deviation, and how many cuts it rests on."""

    mean: float
    standard_deviation: float
    cuts: int


def default_frag_unit(measure, growth_form=""):
    """The growth form's frag unit before any cut was recorded.

    Parameters
    ----------
    measure, growth_form : str
        As in `scales.default_exponent`. Polyps colonies are counted one head to a frag unless the keeper says more.

    Returns
    -------
    (float, float)
        Middle and standard deviation in the unit of the measure; (1, 0.25) where nothing is known.
    """
    unit = _DEFAULTS.get(measure, 1.0)
    return unit, unit * DEFAULT_SPREAD


def learn_frag_unit(before, after, frags, *, default, default_spread=None):
    """A lineage's frag unit from its cuts, shrunk towards the growth form's.

    Normal–normal pooling on the log scale, so that a unit stays greater than zero.

    Parameters
    ----------
    before, after : array_like, shape (cuts,)
        Sizes before and after each cut, > 0, same measure.
    frags : array_like, shape (cuts,)
        Frags each cut gave. Cuts of no frags, or after which nothing was missing, teach nothing and are left out.
    default : float
        The growth form's frag unit, > 0.
    default_spread : float, optional
        Its standard deviation; a quarter of it when not given.

    Returns
    -------
    FragUnit

    Raises
    ------
    ValueError
        If a size or the default is not greater than zero.

    Source: Gelman A et al., Bayesian Data Analysis, 3rd ed., §2.5.
    """
    before, after, frags = (np.atleast_1d(np.asarray(v, dtype=float)) for v in (before, after, frags))
    if not default > 0:
        raise ValueError("A frag unit must be greater than zero.")
    if before.size and (np.any(~np.isfinite(before) | (before <= 0)) or np.any(~np.isfinite(after) | (after < 0))):
        raise ValueError("The sizes before and after a cut must be numbers greater than zero.")
    spread = (default_spread if default_spread is not None else default * DEFAULT_SPREAD) / default
    useful = (frags > 0) & (before > after)
    units = np.log((before[useful] - after[useful]) / frags[useful])
    prior_precision = 1 / max(spread, 1e-6) ** 2
    # A cut of many frags tells more than a cut of one, but never more than the cuts differ between sessions.
    variance = BETWEEN_CUTS_SPREAD**2 * (0.5 + 0.5 / np.maximum(frags[useful], 1))
    precision = prior_precision + np.sum(1 / variance)
    middle = (np.log(default) * prior_precision + np.sum(units / variance)) / precision
    mean = float(np.exp(middle))
    # A next cut differs from the lineage's middle as one session differs from another of six frags or so.
    deviation = mean * float(np.sqrt(1 / precision + (BETWEEN_CUTS_SPREAD / 3) ** 2))
    return FragUnit(mean, deviation, int(useful.sum()))
