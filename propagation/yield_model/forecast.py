"""Where the filter's view of each colony leads: the size on a later day, as a distribution."""

from dataclasses import dataclass

import numpy as np

from .filter import (
    DECLINE_NOISE,
    FACTOR_SLIPS,
    SPIKE_SLIP,
    AbsurdReading,
    FilteredColonies,
    find_spikes,
    rate_steps,
    run_filter,
)
from .histories import PaddedHistories
from .pooling import GrowthModel
from .scales import scale_without_checks, unscale_without_checks

# Colonies filtered at a time, so that memory does not grow with the collection.
CHUNK = 5000

# Quantiles that a forecast's ranked probability score is summed over.
_GRID = (np.arange(100) + 0.5) / 100


@dataclass(frozen=True)
class ColonyStates:
    """What is known of each colony after its last event; arrays of shape (colonies,), on the model's growth scale.

    `usual_rate` is the lineage's, `usual_variance` what is unknown of it; level and rate move with it by their
    sensitivities. `growth_stops_until` is the day the healing lag ends; `declining` marks open tissue loss; `absurd`
    lists the
    readings that were set aside, with the reason of each.
    """

    identifiers: list
    level: np.ndarray
    rate: np.ndarray
    level_variance: np.ndarray
    covariance: np.ndarray
    rate_variance: np.ndarray
    usual_rate: np.ndarray
    usual_variance: np.ndarray
    level_sensitivity: np.ndarray
    rate_sensitivity: np.ndarray
    last_day: np.ndarray
    growth_stops_until: np.ndarray
    declining: np.ndarray
    only_guessed: np.ndarray
    absurd: list

    def __len__(self):
        return len(self.identifiers)

    def take(self, index):
        """The same for some of the colonies, by position."""
        index = np.atleast_1d(np.asarray(index))
        names = [self.identifiers[i] for i in index]
        arrays = {
            name: getattr(self, name)[index]
            for name in self.__dataclass_fields__
            if name not in ("identifiers", "absurd")
        }
        return ColonyStates(identifiers=names, absurd=[a for a in self.absurd if a.identifier in set(names)], **arrays)


@dataclass(frozen=True)
class SizeForecast:
    """Sizes on a later day as a distribution: arrays of shape (colonies,) or (colonies, days).

    The error is a two-piece Student-t on the growth scale around `level`.
    """

    model: GrowthModel
    level: np.ndarray
    deviation: np.ndarray

    def quantile(self, probability):
        """Size below which a colony is with a probability in (0, 1); in the unit of the measure."""
        z = self.model.tails.quantile(probability)
        return self.model.reference * unscale_without_checks(self.level + self.deviation * z, self.model.exponent)

    @property
    def median(self):
        """Size at even odds."""
        return self.quantile(0.5)

    def interval(self, share):
        """Lower and upper size that hold the outcome with a probability `share`, equal tails."""
        return self.quantile((1 - share) / 2), self.quantile((1 + share) / 2)

    def ranked_score(self, outcome):
        """Continuous ranked probability score of outcomes, in the unit of the measure; smaller is better.

        Source: Gneiting T, Raftery AE 2007, J. Am. Stat. Assoc. 102:359–378 (from memory), summed over quantiles.
        """
        outcome = np.asarray(outcome, dtype=float)
        total = np.zeros(outcome.shape)
        for probability in _GRID:
            miss = outcome - self.quantile(probability)
            total += 2 * np.maximum(probability * miss, (probability - 1) * miss) / len(_GRID)
        return total

    def probability_at_least(self, size):
        """Probability that a colony has at least a size > 0."""
        value = scale_without_checks(np.asarray(size, dtype=float) / self.model.reference, self.model.exponent)
        return 1.0 - self.model.tails.cumulative((value - self.level) / self.deviation)


def view_colonies(model: GrowthModel, padded: PaddedHistories, *, as_strangers=False) -> ColonyStates:
    """Filter colonies with what a collection has taught.

    Parameters
    ----------
    model : GrowthModel
    padded : PaddedHistories
        Colonies in the model's measure. Those the model was learned from count in their lineage's mean exactly once.
    as_strangers : bool
        Take from the model only what the other colonies say, as for a colony it was not learned from.

    Returns
    -------
    ColonyStates
    """
    parts = [_view_chunk(model, padded, start, as_strangers) for start in range(0, len(padded), CHUNK)]
    if not parts:
        nothing = np.zeros(0)
        return ColonyStates([], *([nothing] * 11), nothing.astype(bool), nothing.astype(bool), [])
    arrays = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in ColonyStates.__dataclass_fields__
        if name not in ("identifiers", "absurd")
    }
    return ColonyStates(
        identifiers=list(padded.identifiers), absurd=[item for part in parts for item in part.absurd], **arrays
    )


def _view_chunk(model, padded, start, as_strangers):
    if len(padded) > CHUNK:
        padded = padded.take(slice(start, start + CHUNK))
    rates = {name: model.rate_of(name) for name in set(padded.lineages)}
    if as_strangers:
        known = [
            model.others.get(identifier, rates[lineage])
            for identifier, lineage in zip(padded.identifiers, padded.lineages, strict=True)
        ]
    else:
        known = [rates[lineage] for lineage in padded.lineages]
    mean = np.array([rate.mean for rate in known])
    shared = np.array([rate.variance for rate in known])
    # A colony that helped to learn its lineage's mean has had its say; the readings of any other move that mean now.
    silent = np.array([not as_strangers and name in model.others for name in padded.identifiers], dtype=bool)
    spikes = find_spikes(padded)
    hidden = padded.without_readings(spikes) if spikes.any() else padded
    filtered: FilteredColonies = run_filter(
        hidden, model.parameters, mean, model.lineage_spread**2, reference=model.reference
    )
    learned = np.where(silent, shared, shared / (1 + shared * filtered.usual_information))
    moved = np.where(silent, 0.0, learned * filtered.usual_moment)
    absurd = filtered.absurd
    if spikes.any():
        absurd = absurd + _explain_spikes(padded, spikes)
    return ColonyStates(
        identifiers=padded.identifiers,
        level=filtered.level + moved * filtered.level_sensitivity,
        rate=filtered.rate + moved * filtered.rate_sensitivity,
        level_variance=filtered.level_variance,
        covariance=filtered.covariance,
        rate_variance=filtered.rate_variance,
        usual_rate=mean + moved,
        usual_variance=learned,
        level_sensitivity=filtered.level_sensitivity,
        rate_sensitivity=filtered.rate_sensitivity,
        last_day=padded.last_day,
        growth_stops_until=padded.growth_stops_until,
        declining=padded.declining,
        only_guessed=padded.only_guessed,
        absurd=absurd,
    )


def _explain_spikes(padded, spikes):
    found = []
    for event, colony in zip(*np.nonzero(spikes), strict=True):
        neighbours = padded.size[[event - 1, event + 1], colony] if event else padded.size[[1, 1], colony]
        expected = float(np.exp(np.mean(np.log(neighbours))))
        size = float(padded.size[event, colony])
        near = [text for factor, text in FACTOR_SLIPS if abs(np.log(size / expected / factor)) < 0.15]
        found.append(
            AbsurdReading(
                padded.identifiers[colony],
                float(padded.day[event, colony]),
                size,
                expected,
                near[0] if near else SPIKE_SLIP,
            )
        )
    return found


def forecast_sizes(model: GrowthModel, states: ColonyStates, day, *, as_reading=False) -> SizeForecast:
    """Sizes of colonies on a later day.

    Parameters
    ----------
    model : GrowthModel
    states : ColonyStates
    day : array_like
        Shape () or (colonies,) or (colonies, days) or (1, days); days before a colony's last event count as that
        event's.
    as_reading : bool
        Include the error of the reading that will see it.

    Returns
    -------
    SizeForecast
        Of shape (colonies,), or (colonies, days) when `day` has two axes.
    """
    day = np.asarray(day, dtype=float)
    if not np.all(np.isfinite(day)):
        raise ValueError("A day to forecast for must be a number.")
    column = (lambda array: array[:, None]) if day.ndim == 2 else (lambda array: array)
    last = column(states.last_day)
    elapsed = np.maximum(day - last, 0.0)
    growing = np.maximum(day - np.maximum(column(states.growth_stops_until), last), 0.0)
    declining = column(states.declining)
    growing = np.where(declining, 0.0, growing)
    parameters = model.parameters
    _, counts, drift_variance, _, _ = rate_steps(growing, parameters.rate_return)
    rest = growing - counts
    level = column(states.level) + counts * column(states.rate) + rest * column(states.usual_rate)
    sensitivity = column(states.level_sensitivity) + counts * column(states.rate_sensitivity) + rest
    variance = (
        column(states.level_variance)
        + counts * (2 * column(states.covariance) + counts * column(states.rate_variance))
        + column(states.usual_variance) * sensitivity**2
        + parameters.rate_drift**2 * drift_variance
        + parameters.size_noise**2 * elapsed
    )
    local = np.power(unscale_without_checks(level, parameters.exponent), parameters.exponent)
    variance = variance + np.where(declining, (DECLINE_NOISE * local) ** 2 * elapsed, 0.0)
    if as_reading:
        relative = local ** (1 / parameters.exponent) if parameters.exponent else np.exp(level)
        rounded = (parameters.rounding / model.reference / np.maximum(relative, 1e-3)) ** 2 / 12
        variance = variance + local**2 * (parameters.reading_error**2 + rounded)
    return SizeForecast(model, level, np.sqrt(np.maximum(variance, 1e-18)))
