"""How right the forecasts have been: every colony forecast from every reading on, next to plainer methods.

Rolling origin: from the first reading, from the second, and so on, each time one, three and five readings ahead. The
colonies are dealt into groups, and each group is forecast with what the others have taught, so that no hyperparameter
has seen what is forecast.

The plainer methods are what a keeper would do with the same readings. *No growth* stays at the last reading. *Last
rate* goes on reading by reading: what the colony gained up to its last reading it gains again up to every reading to
come. *Line* is the straight line of least squares through all readings so far. *Last rate by day* is a stricter last
rate that looks at the calendar: as much a day as between the last two readings, however long it is to the next; it is
told beside the others. Readings less than a day apart tell no rate, so the one before them counts. The model and no
growth are judged from a first reading on; a rate and a line need two readings, so they are judged, more kindly, where
there are two. No size is forecast below nothing.

Source: Tashman LJ 2000, Int. J. Forecasting 16:437–450; Gneiting T, Raftery AE 2007, J. Am. Stat. Assoc. 102:359–378
(both from memory).
"""

from dataclasses import dataclass, replace

import numpy as np

from .forecast import forecast_sizes, view_colonies
from .histories import READING, PaddedHistories, pad_arrays
from .pooling import GrowthModel, learn_growth
from .scales import scale_without_checks
from .tails import learn_tail_shape

HORIZONS = (1, 3, 5)
SHARES = (0.50, 0.80, 0.95)
METHODS = ("model", "no_growth", "last_rate", "line")
# Told beside the methods.
BY_DAY = "last_rate_by_day"
# Judged only where there are two readings to tell a rate from.
NEED_TWO = ("last_rate", "line", BY_DAY)
LARGEST_FOLDS = 10

# The error of a reading over a few hours would pass for a wild rate. Common practice, no source.
FEWEST_DAYS_FOR_A_RATE = 1.0


@dataclass(frozen=True)
class BacktestRows:
    """Forecasts and outcomes, one row each: arrays of shape (forecasts,), plus quantiles of shape (forecasts, grid)."""

    colony: np.ndarray
    origin: np.ndarray
    steps: np.ndarray
    outcome: np.ndarray
    points: dict
    crps: dict
    inside: dict
    rank: np.ndarray

    def __len__(self):
        return len(self.outcome)

    def shifted(self, offset):
        """The same with colonies numbered from an offset on."""
        return replace(self, colony=self.colony + offset)


def _reading_table(padded):
    """Days and sizes of the readings of each colony, in arrays (colonies, readings), zero-padded."""
    readings = padded.kind == READING
    count = readings.sum(axis=0)
    width = int(count.max(initial=1))
    days, sizes = np.zeros((len(padded), width)), np.zeros((len(padded), width))
    event, colony = np.nonzero(readings)
    place = (np.cumsum(readings, axis=0) - 1)[event, colony]
    days[colony, place] = padded.day[event, colony]
    sizes[colony, place] = padded.size[event, colony]
    return days, sizes, count


def _origins(days, sizes, count, lineages, identifiers):
    """One row for each colony and origin that has a later reading: histories cut off after the origin."""
    width = days.shape[1]
    colony, origin = np.nonzero(np.arange(1, width + 1)[None, :] < count[:, None])
    keep = np.arange(width)[None, :] <= origin[:, None]
    cut = pad_arrays(
        days[colony],
        np.where(keep, sizes[colony], 0.0),
        lineages=[lineages[i] for i in colony],
        identifiers=[identifiers[i] for i in colony],
    )
    return colony, origin, cut


def _plain_forecasts(days, sizes, colony, origin, target):
    """No growth, the last rate, and a straight line, as the module's docstring has them: arrays of shape (rows,)."""
    here, there = days[colony, origin], days[colony, target]
    last = sizes[colony, origin]
    places = np.arange(days.shape[1])[None, :]
    # The latest reading far enough back to tell a rate; origins without one stay at the last reading.
    earlier = (places < origin[:, None]) & (here[:, None] - days[colony] >= FEWEST_DAYS_FOR_A_RATE)
    before = np.where(earlier, places, 0).max(axis=1)
    known = earlier.any(axis=1)
    gap = np.where(known, here - days[colony, before], 1.0)
    gained = np.where(known, last - sizes[colony, before], 0.0)
    last_rate = np.maximum(last + gained * (target - origin), 0.0)
    by_day = np.maximum(last + gained / gap * (there - here), 0.0)
    seen = places <= origin[:, None]
    number = seen.sum(axis=1)
    mean_day = (days[colony] * seen).sum(axis=1) / number
    mean_size = (sizes[colony] * seen).sum(axis=1) / number
    apart = (days[colony] - mean_day[:, None]) * seen
    squares = (apart**2).sum(axis=1)
    slope = np.where(known, (apart * sizes[colony]).sum(axis=1) / np.where(known, squares, 1.0), 0.0)
    line = np.where(known, np.maximum(mean_size + slope * (there - mean_day), 0.0), last)
    return {"no_growth": last, "last_rate": last_rate, "line": line, BY_DAY: by_day}


def _forecast_rows(model, padded, horizons, *, as_strangers=False):
    """Standardised errors and forecasts of all colonies from all origins at all horizons."""
    days, sizes, count = _reading_table(padded)
    colony, origin, cut = _origins(days, sizes, count, padded.lineages, padded.identifiers)
    states = view_colonies(model, cut, as_strangers=as_strangers)
    pieces = []
    for steps in horizons:
        row = np.flatnonzero(origin + steps < count[colony])
        target = origin[row] + steps
        ahead = days[colony[row], target]
        forecast = forecast_sizes(model, states.take(row), ahead, as_reading=True)
        pieces.append((colony[row], origin[row], target, np.full(len(row), steps), forecast))
    return days, sizes, pieces


def learn_tails(model: GrowthModel, padded: PaddedHistories, *, horizons=HORIZONS) -> GrowthModel:
    """Give a model the tails that its own forecasts of a collection turned out to have.

    Parameters
    ----------
    model : GrowthModel
    padded : PaddedHistories
        The collection it was learned from.
    horizons : sequence of int
        Readings ahead.

    Returns
    -------
    GrowthModel
    """
    # Each colony is looked at through what the others say, as a colony to be forecast is.
    _, sizes, pieces = _forecast_rows(model, padded, horizons, as_strangers=True)
    errors, owners = [], []
    for colony, _, target, _, forecast in pieces:
        outcome = _on_scale(model, sizes[colony, target])
        errors.append((outcome - forecast.level) / forecast.deviation)
        owners.append(colony)
    errors = np.concatenate(errors) if errors else np.zeros(0)
    # The horizons look at the same readings, so together they count as one.
    weights = np.full(errors.size, 1 / len(horizons))
    shape = learn_tail_shape(errors, weights, tail_weight=min(model.parameters.tail_weight, 100.0))
    return replace(model, tails=shape)


def _on_scale(model, size):
    return scale_without_checks(size / model.reference, model.exponent)


def learn_model(padded: PaddedHistories, *, measure="", growth_form="", **options) -> GrowthModel:
    """Learn a growth model from a collection, and the tails of its forecasts. The usual way in.

    Parameters
    ----------
    padded : PaddedHistories
    measure, growth_form : str
    **options
        As `pooling.learn_growth`.

    Returns
    -------
    GrowthModel
    """
    model = learn_growth(padded, measure=measure, growth_form=growth_form, **options)
    if model.colonies == 0:
        return model
    largest = 150
    some = padded.take(np.linspace(0, len(padded) - 1, min(largest, len(padded))).astype(int))
    return learn_tails(model, some)


def _folds(lineages, count, together=None):
    """Fold of each colony: dealt round within lineages, so that each lineage is learned from others of its own.

    Series with the same label in `together` share a fold.
    """
    labels = range(len(lineages)) if together is None else together
    first = {}
    for index, label in enumerate(labels):
        first.setdefault(label, index)
    order = sorted(first.values(), key=lambda i: (lineages[i] is not None, str(lineages[i]), i))
    fold_of = {index: place % max(count, 1) for place, index in enumerate(order)}
    return np.array([fold_of[first[label]] for label in labels], dtype=int)


def backtest_collection(
    padded: PaddedHistories, *, measure="", growth_form="", horizons=HORIZONS, exponent=None, together=None
):
    """Forecast a collection in one measure from every reading on.

    Parameters
    ----------
    padded : PaddedHistories
        Readings only: cuts are not forecast across.
    measure, growth_form : str
    horizons : sequence of int
        Readings ahead.
    exponent : float, optional
        λ, when it is not to be chosen by each fold.
    together : sequence, optional
        A label for each series; those of one label, the stretches of one colony between its cuts say, are never
        forecast with what one of them has taught.

    Returns
    -------
    BacktestRows
    """
    folds = min(len(padded) if together is None else len(set(together)), LARGEST_FOLDS)
    fold = _folds(padded.lineages, folds, together)
    parts = []
    for held in range(folds):
        training = padded.take(fold != held)
        tested = np.flatnonzero(fold == held)
        # The reference size and rounding come from the others too; a colony all alone is measured by its first reading.
        alone = float(padded.size[0, tested[0]]) if not len(training) else None
        model = learn_model(training, measure=measure, growth_form=growth_form, exponent=exponent, reference=alone)
        parts.append(_score(model, padded.take(tested), tested, horizons))
    return join_rows(parts)


def _score(model, padded, positions, horizons):
    days, sizes, pieces = _forecast_rows(model, padded, horizons)
    parts = []
    for colony, origin, target, steps, forecast in pieces:
        outcome = sizes[colony, target]
        points = {"model": forecast.median} | _plain_forecasts(days, sizes, colony, origin, target)
        crps = {name: np.abs(points[name] - outcome) for name in (*METHODS[1:], BY_DAY)}
        crps["model"] = forecast.ranked_score(outcome)
        inside = {}
        for share in SHARES:
            low, high = forecast.interval(share)
            inside[share] = (low <= outcome) & (outcome <= high)
        z = (_on_scale(model, outcome) - forecast.level) / forecast.deviation
        parts.append(
            BacktestRows(positions[colony], origin + 1, steps, outcome, points, crps, inside, model.tails.cumulative(z))
        )
    return join_rows(parts)


def join_rows(parts):
    """Rows of several backtests in one."""
    parts = [part for part in parts if part is not None]
    if not parts:
        nothing = np.zeros(0)
        empty = dict.fromkeys((*METHODS, BY_DAY), nothing)
        return BacktestRows(nothing.astype(int), nothing.astype(int), nothing.astype(int), nothing, empty, dict(empty),
                            {share: nothing.astype(bool) for share in SHARES}, nothing)  # fmt: skip
    arrays = {
        name: np.concatenate([getattr(p, name) for p in parts])
        for name in ("colony", "origin", "steps", "outcome", "rank")
    }
    points = {name: np.concatenate([part.points[name] for part in parts]) for name in (*METHODS, BY_DAY)}
    crps = {name: np.concatenate([part.crps[name] for part in parts]) for name in (*METHODS, BY_DAY)}
    inside = {share: np.concatenate([part.inside[share] for part in parts]) for share in SHARES}
    return BacktestRows(points=points, crps=crps, inside=inside, **arrays)


def _median_error(points, outcome):
    return round(float(np.median(np.abs(points - outcome) / outcome) * 100), 4) if outcome.size else None


def _mean(values):
    return round(float(np.mean(values)), 6) if values.size else None


def _coverage(rows, chosen):
    return {
        f"{share * 100:.0f}": round(float(np.mean(rows.inside[share][chosen])), 4) if chosen.any() else None
        for share in SHARES
    }


def summarise(rows: BacktestRows, *, series, horizons=HORIZONS):
    """The figures of a backtest, in the shape the command answers with.

    Parameters
    ----------
    rows : BacktestRows
    series : int
        How many colonies (in one measure each) were read.
    horizons : sequence of int

    Returns
    -------
    dict
        `series`, `forecasts`, `coverage` (shares of 1), `median_abs_pct_error` (percent) and `crps` (in the unit of the
        sizes) per method, and `by_horizon`. Where there was nothing to judge the figures are None.
    """
    everything = np.ones(len(rows), dtype=bool)

    def figures(chosen):
        judged = {name: chosen & (rows.origin > 1) if name in NEED_TWO else chosen for name in METHODS}
        errors = {name: _median_error(rows.points[name][where], rows.outcome[where]) for name, where in judged.items()}
        crps = {name: _mean(rows.crps[name][where]) for name, where in judged.items()}
        return {
            "coverage": _coverage(rows, chosen),
            "median_abs_pct_error": {name: errors[name] for name in METHODS},
            "crps": {name: crps[name] for name in METHODS},
        }

    by_horizon = []
    for steps in horizons:
        chosen = rows.steps == steps
        by_horizon.append({"steps": int(steps), "forecasts": int(chosen.sum())} | figures(chosen))
    return {"series": int(series), "forecasts": len(rows)} | figures(everything) | {"by_horizon": by_horizon}


def stricter_last_rate(rows: BacktestRows, steps=None):
    """How the last rate by day did, which looks at the calendar.

    Parameters
    ----------
    rows : BacktestRows
    steps : int, optional
        Readings ahead; all when not given.

    Returns
    -------
    (float or None, float or None)
        Median error in percent, and CRPS in the unit of the sizes; None where no rate could be told.
    """
    chosen = (rows.origin > 1) & ((rows.steps == steps) if steps is not None else True)
    return _median_error(rows.points[BY_DAY][chosen], rows.outcome[chosen]), _mean(rows.crps[BY_DAY][chosen])
