"""The shape of a forecast's error: how heavy its tails are, whether it leans, whether it is too wide or too narrow.

A two-piece Student-t of the standardised error: what the filter takes for one standard deviation may in truth be more
on the side of losses than on that of gains. Learned from forecasts of readings that were then seen, under a prior
that
leaves the filter's own figure standing until there is evidence.

Source: two-piece distributions: Fernández C, Steel MFJ 1998, J. Am. Stat. Assoc. 93:359–371 (from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from scipy.optimize import brentq, minimize
from scipy.special import gammaln, stdtr, stdtrit

# Spread of the priors: of the lean, of the logarithms of the two scales, and of ln(degrees of freedom).
# Common practice, no source.
_PRIOR_SPREAD = np.array([0.3, 0.35, 0.35, 0.7])
_LOWEST_TAIL_WEIGHT = 1.5


def normal_spread(tail_weight):
    """Standard deviation of normal departures to which a Student-t of scale 1 fits best.

    A heavy-tailed likelihood takes the larger of normal departures for rare ones, and so finds their spread too small.

    Parameters
    ----------
    tail_weight : float
        Degrees of freedom, > 1.

    Returns
    -------
    float
        Above 1, and 1 as the tails become normal. 1/s, where s solves E[(ν + 1) z² / (ν s² + z²)] = 1 for z ~ N(0, 1):
        the likelihood equation of the scale.
    """
    nodes, weights = hermegauss(60)
    squares, weights = nodes**2, weights / weights.sum()

    def slope(scale):
        return np.sum(weights * (tail_weight + 1) * squares / (tail_weight * scale**2 + squares)) - 1

    return 1 / brentq(slope, 0.2, 1.5)


@dataclass(frozen=True)
class TailShape:
    """Standardised error `z`: centre, scales below and above it, and degrees of freedom."""

    centre: float = 0.0
    below: float = 1.0
    above: float = 1.0
    tail_weight: float = 8.0

    def quantile(self, probability):
        """z below which the error falls with a probability in (0, 1)."""
        probability = np.asarray(probability, dtype=float)
        if np.any(~((probability > 0) & (probability < 1))):
            raise ValueError("A probability must lie between 0 and 1.")
        share_below = self.below / (self.below + self.above)
        low = probability < share_below
        scaled = np.where(
            low, probability / (2 * share_below), 0.5 + (probability - share_below) / (2 * (1 - share_below))
        )
        return self.centre + np.where(low, self.below, self.above) * stdtrit(self.tail_weight, scaled)

    def cumulative(self, z):
        """Probability of an error up to z."""
        z = np.asarray(z, dtype=float) - self.centre
        share_below = self.below / (self.below + self.above)
        low = z < 0
        tail = stdtr(self.tail_weight, z / np.where(low, self.below, self.above))
        return np.where(low, 2 * share_below * tail, share_below + 2 * (1 - share_below) * (tail - 0.5))


def learn_tail_shape(errors, weights, *, tail_weight):
    """The tail shape of greatest posterior density for standardised errors.

    Parameters
    ----------
    errors : array_like, shape (n,)
        (outcome − forecast) / forecast's standard deviation, on the growth scale.
    weights : array_like, shape (n,)
        How much each counts; errors of one colony overlap and so count less than one each.
    tail_weight : float
        Degrees of freedom to start from: those of one-step surprises.

    Returns
    -------
    TailShape
    """
    errors, weights = np.asarray(errors, dtype=float), np.asarray(weights, dtype=float)
    start = np.array([0.0, 0.0, 0.0, np.log(max(tail_weight, 2.0))])
    if errors.size == 0:
        return TailShape(tail_weight=float(np.exp(start[3])))

    def shape_of(trial):
        centre, below, above = trial[0], np.exp(trial[1]), np.exp(trial[2])
        return centre, below, above, np.exp(np.clip(trial[3], np.log(_LOWEST_TAIL_WEIGHT), np.log(200.0)))

    def cost(trial):
        centre, below, above, tails = shape_of(trial)
        z = errors - centre
        squared = (z / np.where(z < 0, below, above)) ** 2
        half = (tails + 1) / 2
        density = (
            np.log(2 / (below + above))
            + gammaln(half) - gammaln(tails / 2) - 0.5 * np.log(tails * np.pi)
            - half * np.log1p(squared / tails)
        )  # fmt: skip
        return -np.sum(weights * density) + 0.5 * np.sum(((trial - start) / _PRIOR_SPREAD) ** 2)

    found = minimize(cost, start, method="Nelder-Mead", options={"maxiter": 800, "xatol": 1e-3, "fatol": 1e-3})
    return TailShape(*(float(value) for value in shape_of(found.x)))
