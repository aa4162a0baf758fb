"""What happened to a colony, and many colonies laid side by side in arrays for the filter.

Days are plain numbers (a date's ordinal, or days since anything), so that nothing here needs a calendar or a clock.
"""

import itertools
from dataclasses import dataclass, field

import numpy as np

from .frag_units import default_frag_unit

NOTHING, READING, CUT = 0, 1, 2

# Growth stops for about a week after a cut. Common practice, no source; learned where the cuts say otherwise.
DEFAULT_LAG_DAYS = 7.0

# After a move, or once an incident has closed, the spread of the rate is widened by this share of the spread between
# colonies of one lineage. Common practice, no source.
WIDENING_SHARE = 0.7

# A plug grown on without a reading is taken for a frag of the usual trade size, give or take half.
# Common practice, no source.
UNSEEN_SIZE_RELATIVE_ERROR = 0.5

# Typical size of a frag that has just become a colony, in the unit of the measure: a frag of about 25 mm.
# Common practice, no source.
FRAG_SIZES = {"tle_cm": 3.0, "diameter_mm": 25.0, "height_mm": 25.0, "area_cm2": 5.0, "polyps": 2.0, "weight_g": 2.0}


@dataclass(frozen=True)
class Reading:
    """A measured size on a day. `error` is its standard deviation in the unit of the size, where it is known."""

    day: float
    size: float
    error: float | None = None


@dataclass(frozen=True)
class Cut:
    """A colony cut for frags on a day; sizes before and after where they were measured."""

    day: float
    frags: int = 0
    before: float | None = None
    after: float | None = None


@dataclass(frozen=True)
class Decline:
    """Open tissue loss or browning from a day to a day; `until` is None while it is open."""

    since: float
    until: float | None = None


@dataclass(frozen=True)
class ColonyHistory:
    """All that is known of one colony in one measure.

    `moves` are the days it was moved or an incident closed: what was learned before counts less.
    `frag_unit` is what one frag takes and its standard deviation, in the unit of the size; None takes the growth
    form's. `started_on` is the day a colony without any reading began to be kept.
    """

    identifier: str
    lineage: str | None = None
    readings: tuple = ()
    cuts: tuple = ()
    moves: tuple = ()
    declines: tuple = ()
    frag_unit: tuple | None = None
    started_on: float | None = None


@dataclass
class PaddedHistories:
    """Events of n colonies in arrays of shape (events, colonies), padded at the end with nothing.

    `elapsed` are the days since the event before, `growing` those of them on which the colony could grow, `ailing`
    those on which it was in decline.
    """

    identifiers: list
    lineages: list
    day: np.ndarray
    elapsed: np.ndarray
    growing: np.ndarray
    ailing: np.ndarray
    kind: np.ndarray
    size: np.ndarray
    error: np.ndarray
    removed: np.ndarray
    removed_error: np.ndarray
    widening: np.ndarray
    last_day: np.ndarray
    growth_stops_until: np.ndarray
    declining: np.ndarray
    only_guessed: np.ndarray
    events_present: dict = field(default_factory=dict)

    def __post_init__(self):
        self.events_present = {
            "cuts": np.any(self.kind == CUT, axis=1),
            "widening": np.any(self.widening > 0, axis=1),
            "ailing": np.any(self.ailing > 0, axis=1),
            "all_readings": np.all(self.kind == READING, axis=1),
        }

    def __len__(self):
        return len(self.identifiers)

    def take(self, index):
        """The same for some of the colonies, by position, mask or slice (a slice copies nothing)."""
        if not isinstance(index, slice):
            index = np.asarray(index)
            index = np.flatnonzero(index) if index.dtype == bool else index.astype(int)
        columns = {
            name: getattr(self, name)[:, index]
            for name in (
                "day",
                "elapsed",
                "growing",
                "ailing",
                "kind",
                "size",
                "error",
                "removed",
                "removed_error",
                "widening",
            )
        }
        rows = {
            name: getattr(self, name)[index] for name in ("last_day", "growth_stops_until", "declining", "only_guessed")
        }
        return PaddedHistories(
            identifiers=_pick(self.identifiers, index),
            lineages=_pick(self.lineages, index),
            **columns,
            **rows,
        )

    def without_readings(self, mask):
        """The same with some readings unseen (mask of shape (events, colonies)); time still passes at them."""
        kind = np.where(mask & (self.kind == READING), NOTHING, self.kind).astype(np.int8)
        return _replace(self, kind=kind)


def _pick(names, index):
    return names[index] if isinstance(index, slice) else [names[position] for position in index]


def _replace(padded, **changes):
    values = {name: getattr(padded, name) for name in padded.__dataclass_fields__ if name != "events_present"}
    return PaddedHistories(**(values | changes))


def pad_arrays(days, sizes, *, lineages=None, identifiers=None, errors=None):
    """Lay colonies that have readings only side by side: the quick way in for large collections.

    Parameters
    ----------
    days, sizes : array_like, shape (n, readings)
        Days ascending along a row; a row shorter than the others is padded with sizes of 0.
    lineages, identifiers : sequence of str, optional
        One per colony.
    errors : array_like, shape (n, readings), optional
        Standard deviations in the unit of the size; 0 leaves the error to the model.

    Returns
    -------
    PaddedHistories

    Raises
    ------
    ValueError
        If days run backwards or a size is negative or not a number.
    """
    days = np.atleast_2d(np.asarray(days, dtype=float))
    sizes = np.atleast_2d(np.asarray(sizes, dtype=float))
    if days.shape != sizes.shape:
        raise ValueError("There must be one day for each size.")
    if not (np.isfinite(sizes).all() and np.isfinite(days).all()) or sizes.min(initial=1.0) < 0:
        raise ValueError("A size must be a number greater than zero (0 only where a row is padded).")
    days, sizes = np.ascontiguousarray(days.T), np.ascontiguousarray(sizes.T)
    present = sizes > 0
    if present.all():
        last_day = days[-1].copy()
    else:
        if np.any(~present[:-1] & present[1:]):
            raise ValueError("Padding must stand at the end of a row.")
        if not present[:1].all():
            raise ValueError("Every colony needs at least one reading here.")
        last = present.sum(axis=0) - 1
        last_day = np.take_along_axis(days, last[None, :], axis=0)[0]
        days, sizes = np.where(present, days, last_day), np.where(present, sizes, 1.0)
    elapsed = np.zeros_like(days)
    np.subtract(days[1:], days[:-1], out=elapsed[1:])
    if elapsed.min(initial=0.0) < 0:
        raise ValueError("The days of a colony must run forward.")
    events, count = days.shape
    zeros = np.zeros((events, count))
    return PaddedHistories(
        identifiers=list(identifiers) if identifiers is not None else [str(i) for i in range(count)],
        lineages=list(lineages) if lineages is not None else [None] * count,
        day=days,
        elapsed=elapsed,
        growing=elapsed,
        ailing=zeros,
        kind=present.astype(np.int8) * READING,
        size=sizes,
        error=np.ascontiguousarray(np.asarray(errors, dtype=float).T) if errors is not None else zeros,
        removed=zeros,
        removed_error=zeros,
        widening=zeros,
        last_day=last_day,
        growth_stops_until=last_day.copy(),
        declining=np.zeros(count, dtype=bool),
        only_guessed=np.zeros(count, dtype=bool),
    )


def _check_history(history):
    def check(size, what):
        if size is not None and not (np.isfinite(size) and size > 0):
            raise ValueError(f"Colony {history.identifier}: {what} must be a number greater than zero, not {size:g}.")

    for reading in history.readings:
        check(reading.size, "a size")
        if reading.error is not None and not (np.isfinite(reading.error) and reading.error >= 0):
            raise ValueError(f"Colony {history.identifier}: the error of a size cannot be {reading.error:g}.")
        if not np.isfinite(reading.day):
            raise ValueError(f"Colony {history.identifier}: a reading has no day.")
    for cut in history.cuts:
        check(cut.before, "a size before a cut")
        check(cut.after, "a size after a cut")
        if cut.frags < 0:
            raise ValueError(f"Colony {history.identifier}: a cut cannot give fewer than no frags.")


def _events_of(history, measure, growth_form):
    """Rows (day, order, kind, size, error, removed, removed_error, widening), in the order they happened."""
    unit, unit_error = history.frag_unit or default_frag_unit(measure, growth_form)
    rows = [(r.day, 0, READING, r.size, r.error or 0.0, 0.0, 0.0, 0.0) for r in history.readings]
    for cut in history.cuts:
        if cut.before is not None:
            rows.append((cut.day, 1, READING, cut.before, 0.0, 0.0, 0.0, 0.0))
        known = cut.after is not None
        removed = 0.0 if known else cut.frags * unit
        # Frags of one session differ together more than apart, so their error adds up rather than averages out.
        rows.append((cut.day, 2, CUT, cut.after if known else 1.0, 0.0, removed, cut.frags * unit_error, 0.0))
    rows.extend((day, 3, NOTHING, 1.0, 0.0, 0.0, 0.0, WIDENING_SHARE) for day in history.moves)
    rows.extend(
        (decline.until, 3, NOTHING, 1.0, 0.0, 0.0, 0.0, WIDENING_SHARE)
        for decline in history.declines
        if decline.until is not None
    )
    rows.sort(key=lambda row: row[:2])
    first = next(
        (index for index, row in enumerate(rows) if row[2] == READING or (row[2] == CUT and row[5] == 0)), None
    )
    guessed = first is None
    if guessed:
        size = FRAG_SIZES.get(measure)
        if size is None:
            raise ValueError(f"Colony {history.identifier} has no reading, and the usual size of a frag is not known.")
        day = history.started_on if history.started_on is not None else (rows[0][0] if rows else 0.0)
        rows = [(day, -1, READING, size, size * UNSEEN_SIZE_RELATIVE_ERROR, 0.0, 0.0, 0.0)] + [
            r for r in rows if r[0] >= day
        ]
    else:
        rows = rows[first:]
        if rows[0][2] == CUT:
            rows[0] = (*rows[0][:2], READING, *rows[0][3:])
    return rows, guessed


def _growing_days(start, end, pauses):
    """Days of [start, end] outside the pauses (which are disjoint and ascending)."""
    growing = end - start
    for since, until in pauses:
        growing -= max(0.0, min(end, until) - max(start, since))
    return max(growing, 0.0)


def _merge(pauses):
    merged = []
    for since, until in sorted(pauses):
        if merged and since <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(until, merged[-1][1]))
        else:
            merged.append((since, until))
    return merged


def pad_histories(histories, *, measure="", growth_form="", lag_days=DEFAULT_LAG_DAYS):
    """Lay the histories of many colonies side by side.

    Parameters
    ----------
    histories : sequence of ColonyHistory
        All in the same measure.
    measure, growth_form : str
        For the frag unit of cuts without a size after, and the size of a colony without any reading.
    lag_days : float
        Days without growth after a cut.

    Returns
    -------
    PaddedHistories

    Raises
    ------
    ValueError
        If a size or a day cannot be; the sentence names the colony.
    """
    if not lag_days >= 0:
        raise ValueError("The healing lag cannot be less than no days.")
    histories = list(histories)
    for history in histories:
        _check_history(history)
    laid = [_events_of(history, measure, growth_form) for history in histories]
    count, events = len(histories), max((len(rows) for rows, _ in laid), default=1)
    table = np.zeros((6, events, count))
    table[1] = 1.0
    kind = np.zeros((events, count), dtype=np.int8)
    elapsed, growing, ailing = (np.zeros((events, count)) for _ in range(3))
    last_day, stops = np.zeros(count), np.zeros(count)
    declining = np.zeros(count, dtype=bool)
    for index, (history, (rows, _)) in enumerate(zip(histories, laid, strict=True)):
        numbers = np.array([(row[0], *row[3:]) for row in rows])
        table[:, : len(rows), index] = numbers.T
        kind[: len(rows), index] = [row[2] for row in rows]
        days = numbers[:, 0]
        last_day[index] = days[-1]
        table[0, len(rows) :, index] = days[-1]
        elapsed[1 : len(rows), index] = np.diff(days)
        pauses = [(cut.day, cut.day + lag_days) for cut in history.cuts]
        stops[index] = max([days[-1], *(until for _, until in pauses)])
        ill = _merge([(d.since, np.inf if d.until is None else d.until) for d in history.declines])
        pauses += ill
        declining[index] = any(decline.until is None for decline in history.declines)
        steps = list(itertools.pairwise(days))
        ailing[1 : len(rows), index] = (
            [end - start - _growing_days(start, end, ill) for start, end in steps] if ill else 0.0
        )
        if pauses:
            pauses = _merge(pauses)
            growing[1 : len(rows), index] = [_growing_days(start, end, pauses) for start, end in steps]
        else:
            growing[1 : len(rows), index] = np.diff(days)
    return PaddedHistories(
        identifiers=[history.identifier for history in histories],
        lineages=[history.lineage for history in histories],
        day=table[0],
        elapsed=elapsed,
        growing=growing,
        ailing=ailing,
        kind=kind,
        size=table[1],
        error=table[2],
        removed=table[3],
        removed_error=table[4],
        widening=table[5],
        last_day=last_day,
        growth_stops_until=stops,
        declining=declining,
        only_guessed=np.array([guessed for _, guessed in laid], dtype=bool),
    )
