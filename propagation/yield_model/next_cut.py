"""When each mother can be cut next, for how many frags, how surely, and what binds."""

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from scipy.stats import betabinom

from .forecast import ColonyStates, SizeForecast, forecast_sizes
from .frag_units import FragUnit, default_frag_unit
from .pooling import GrowthModel
from .scales import unscale_without_checks

# Common practice, no source, all of them; the keeper sets them per lineage and colony.
FEWEST_FRAGS = 4
LARGEST_SHARE = 0.5
REST_DAYS = 42
WATCH_DAYS = 10  # days after a cut on which somebody should be there
WATER_DAYS = 14  # water that is off today says nothing of a cut further ahead than this

# "Not within three years" is an answer.
HORIZON_DAYS = 3 * 365
STEP_DAYS = 7

# No session gives more frags than this, however far a forecast may run. Common practice, no source.
LARGEST_SESSION = 200

# What must remain of a mother, in the unit of the measure. Common practice, no source.
KEEP_AT_LEAST = {
    "tle_cm": 12.0,
    "area_cm2": 25.0,
    "polyps": 2.0,
    "weight_g": 8.0,
    "diameter_mm": 40.0,
    "height_mm": 40.0,
}

# Nodes and weights of the frag unit's distribution: Gauss–Hermite, probabilists'.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_GRID = (np.arange(60) + 0.5) / 60


class Binds(StrEnum):
    """What stands between a mother and her next cut."""

    SIZE = "size"
    REST = "rest"
    HEALTH = "health"
    WATER = "water"
    ABSENCE = "absence"
    INSURANCE = "insurance"
    ROOM = "room"
    NOTHING = "nothing"


@dataclass(frozen=True)
class CutRules:
    """How a mother is cut: set by the keeper, or the growth form's defaults (`default_rules`).

    Sizes are in the unit of the measure. `room` is the size its place allows. `healed_share` is the probability that
    a frag reaches healed; `price` what one fetches.
    """

    frag_unit: FragUnit
    keep_at_least: float
    fewest_frags: int = FEWEST_FRAGS
    largest_share: float = LARGEST_SHARE
    rest_days: float = REST_DAYS
    room: float | None = None
    healed_share: float = 1.0
    price: float | None = None

    def __post_init__(self):
        if not (self.frag_unit.mean > 0 and self.frag_unit.standard_deviation >= 0):
            raise ValueError("A frag unit must be greater than zero.")
        if not self.keep_at_least >= 0:
            raise ValueError("What must remain of a mother cannot be less than nothing.")
        if self.fewest_frags < 1:
            raise ValueError("A cut gives at least one frag.")
        if not 0 < self.largest_share <= 1:
            raise ValueError("The largest share that may be removed lies above 0 and at most at 1.")
        if not 0 <= self.healed_share <= 1:
            raise ValueError("The share that heals lies between 0 and 1.")
        if self.room is not None and not self.room > 0:
            raise ValueError("The room for a colony must be greater than zero.")


@dataclass(frozen=True)
class Circumstances:
    """What may forbid a cut. Sentences are the caller's, shown as they are.

    `absences` are pairs of days (first, last). `missing_copies` is how many living copies the line is short of.
    """

    last_cut_day: float | None = None
    incidents: tuple = ()
    water: tuple = ()
    absences: tuple = ()
    missing_copies: int = 0


@dataclass(frozen=True)
class FragCount:
    """Frags at probabilities 0.1, 0.5 and 0.9, and their mean."""

    low: int
    median: int
    high: int
    mean: float


@dataclass(frozen=True)
class NextCut:
    """The next cut of one mother. Days are None when not within three years, or while something without a date
    forbids it.

    `size_day` is the day at even odds by size alone. `frags`, `usable` and `value` hold on `day`; without one, today
    while health or water forbids a cut, else on `size_day` or in three years. `probability_today` is that of enough
    frags today, by size alone.
    """

    identifier: str
    day: float | None
    earliest: float | None
    latest: float | None
    size_day: float | None
    frags: FragCount
    usable: float
    for_insurance: int
    value: float | None
    binds: Binds
    because: list = field(default_factory=list)
    probability_today: float = 0.0


def default_rules(measure, growth_form, *, frag_unit=None, **changes):
    """A growth form's rules of cutting, with changes by the keeper.

    Parameters
    ----------
    measure, growth_form : str
    frag_unit : FragUnit, optional
        As learned; the growth form's when not given.
    **changes
        Any field of `CutRules`.

    Returns
    -------
    CutRules
    """
    unit = frag_unit or FragUnit(*default_frag_unit(measure, growth_form), 0)
    # What must remain of an unknown measure: as much as four frags.
    values = {"keep_at_least": KEEP_AT_LEAST.get(measure, 4 * unit.mean)} | changes
    return CutRules(frag_unit=unit, **values)


def _unit_nodes(rules):
    """Possible frag units of each mother, lognormal: array (mothers, nodes)."""
    mean = np.array([rule.frag_unit.mean for rule in rules])
    spread = np.sqrt(np.log1p((np.array([rule.frag_unit.standard_deviation for rule in rules]) / mean) ** 2))
    return mean[:, None] * np.exp(spread[:, None] * _NODES - 0.5 * spread[:, None] ** 2)


def size_needed(frags, unit, keep_at_least, largest_share):
    """Size from which a mother gives a number of frags while enough of her remains.

    Parameters
    ----------
    frags, unit, keep_at_least, largest_share : array_like
        Broadcast together.

    Returns
    -------
    ndarray
        max(keep + frags × unit, frags × unit / largest share).
    """
    taken = np.asarray(frags) * np.asarray(unit)
    return np.maximum(keep_at_least + taken, taken / largest_share)


def enough_probability(model: GrowthModel, states: ColonyStates, rules, day):
    """Probability that each mother has enough for a cut, by size alone.

    Parameters
    ----------
    model : GrowthModel
    states : ColonyStates
    rules : sequence of CutRules
    day : array_like, shape (days,) or (mothers, days)

    Returns
    -------
    ndarray, shape (mothers, days)
    """
    forecast = forecast_sizes(model, states, np.atleast_2d(np.asarray(day, dtype=float)))
    units = _unit_nodes(rules)
    fewest = np.array([rule.fewest_frags for rule in rules])
    keep = np.array([rule.keep_at_least for rule in rules])
    share = np.array([rule.largest_share for rule in rules])
    room = np.array([np.inf if rule.room is None else rule.room for rule in rules])
    total = np.zeros(forecast.level.shape)
    for node, weight in enumerate(_WEIGHTS):
        need = size_needed(fewest, units[:, node], keep, share)
        possible = forecast.probability_at_least(np.minimum(need, 1e12)[:, None])
        total += weight * np.where((need <= room)[:, None], possible, 0.0)
    return np.clip(total, 0.0, 1.0)


def _frag_samples(forecast: SizeForecast, rules):
    """Equally likely sizes × possible units → whole frags, and the weight of each: (mothers, samples), (samples,)."""
    wide = SizeForecast(forecast.model, forecast.level[..., None], forecast.deviation[..., None])
    sizes = wide.quantile(_GRID)
    room = np.array([np.inf if rule.room is None else rule.room for rule in rules])
    sizes = np.minimum(sizes, room[:, None])
    keep = np.array([rule.keep_at_least for rule in rules])[:, None]
    share = np.array([rule.largest_share for rule in rules])[:, None]
    spare = np.maximum(np.minimum(sizes - keep, share * sizes), 0.0)
    units = _unit_nodes(rules)
    # A hair of tolerance, so that exactly four units give four frags.
    frags = np.minimum(np.floor(spare[:, :, None] / units[:, None, :] + 1e-9), LARGEST_SESSION)
    weights = np.broadcast_to(_WEIGHTS / len(_GRID), frags.shape[1:]).ravel()
    return frags.reshape(len(sizes), -1), weights


def count_frags(model: GrowthModel, states: ColonyStates, rules, day):
    """Frags each mother would give on a day.

    Parameters
    ----------
    model : GrowthModel
    states : ColonyStates
    rules : sequence of CutRules
    day : array_like, shape () or (mothers,)

    Returns
    -------
    list of FragCount
    """
    if not len(states):
        return []
    forecast = forecast_sizes(model, states, np.broadcast_to(np.asarray(day, dtype=float), (len(states),)))
    frags, weights = _frag_samples(forecast, rules)
    order = np.argsort(frags, axis=1)
    ranked = np.take_along_axis(frags, order, axis=1)
    reached = np.cumsum(weights[order], axis=1)
    quantiles = []
    for probability in (0.1, 0.5, 0.9):
        # The sizes are a grid: on the day at even odds of four frags the middle is four, not three by a hair.
        place = np.argmax(reached >= probability + 0.02, axis=1)
        quantiles.append(np.take_along_axis(ranked, place[:, None], axis=1)[:, 0])
    means = frags @ weights
    return [
        FragCount(int(low), int(middle), int(high), float(mean))
        for low, middle, high, mean in zip(*quantiles, means, strict=True)
    ]


def frag_distribution(model: GrowthModel, states: ColonyStates, rules, day):
    """Probability of each number of frags on a day.

    Parameters
    ----------
    model : GrowthModel
    states : ColonyStates
    rules : sequence of CutRules
    day : array_like, shape () or (mothers,)

    Returns
    -------
    ndarray, shape (mothers, LARGEST_SESSION + 1)
        Rows sum to 1.
    """
    forecast = forecast_sizes(model, states, np.broadcast_to(np.asarray(day, dtype=float), (len(states),)))
    frags, weights = _frag_samples(forecast, rules)
    frags = frags.astype(int)
    table = np.zeros((len(states), LARGEST_SESSION + 1))
    for row in range(len(states)):
        table[row] = np.bincount(frags[row], weights=weights, minlength=LARGEST_SESSION + 1)
    return table


def usable_frags(frags, healed, cut):
    """Distribution of the frags that reach healed, beta–binomial.

    Parameters
    ----------
    frags : int
        Frags cut, ≥ 0.
    healed, cut : float
        The two counts of the lineage's Beta: a = healed + prior, b = lost + prior, both > 0.

    Returns
    -------
    ndarray, shape (frags + 1,)
        Probability of 0, 1, … frags.

    Raises
    ------
    ValueError
        If a count cannot be.

    Source: Gelman A et al., Bayesian Data Analysis, 3rd ed., §2.4.
    """
    if frags < 0 or not (healed > 0 and cut > 0):
        raise ValueError("Frags cannot be fewer than none, and both counts of the Beta must be greater than zero.")
    return betabinom.pmf(np.arange(frags + 1), frags, healed, cut)


def size_days(model: GrowthModel, states: ColonyStates, rules, today, probabilities=(0.1, 0.5, 0.9)):
    """First days, from today on, on which a mother has enough for a cut with given probabilities, by size alone.

    Parameters
    ----------
    model : GrowthModel
    states : ColonyStates
    rules : sequence of CutRules
    today : float
    probabilities : sequence of float

    Returns
    -------
    (ndarray, ndarray)
        Days of shape (mothers, probabilities), infinite when not within three years; and the probability today.
    """
    days = today + np.arange(0, HORIZON_DAYS + STEP_DAYS, STEP_DAYS, dtype=float)
    # The odds may fall again later as the future blurs; what counts is the first day they are reached.
    odds = np.maximum.accumulate(enough_probability(model, states, rules, days), axis=1)
    found = np.full((len(states), len(probabilities)), np.inf)
    for column, probability in enumerate(probabilities):
        reached = odds >= probability
        place = np.argmax(reached, axis=1)
        some = reached.any(axis=1)
        before = np.maximum(place - 1, 0)
        rows = np.arange(len(states))
        high, low = odds[rows, place], odds[rows, before]
        part = np.where(high > low, (probability - low) / np.where(high > low, high - low, 1.0), 0.0)
        day = np.where(place == 0, today, days[before] + STEP_DAYS * np.clip(part, 0, 1))
        found[some, column] = np.ceil(day[some] - 1e-9)
    found[found > today + HORIZON_DAYS] = np.inf
    return found, odds[:, 0]


def _after_absences(day, absences):
    """The day itself, or the first after an absence that it falls into or shortly before."""
    moved = False
    for first, last in sorted(absences):
        if day + WATCH_DAYS > first and day <= last:
            day, moved = last + 1, True
    return day, moved


def _days_in_words(days):
    days = round(days)
    if days < 1:
        return "today"
    if days == 1:
        return "in 1 day"
    if days < 60:
        return f"in {days} days"
    return f"in about {round(days / 30.4)} months"


def _counting_day(row, today):
    """The day on which frags are counted: that of the cut; today while something forbids one; else when size allows."""
    if row["day"] is not None:
        return row["day"]
    if row["binds"] in (Binds.HEALTH, Binds.WATER):
        return today
    return min(row["size_day"] or np.inf, today + HORIZON_DAYS)


def _days_ago(days):
    days = round(days)
    return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")


def next_cuts(model: GrowthModel, states: ColonyStates, rules, circumstances, today):
    """The next cut of every mother.

    Parameters
    ----------
    model : GrowthModel
    states : ColonyStates
        Of n mothers in the model's measure.
    rules : sequence of CutRules, length n
    circumstances : sequence of Circumstances, length n
    today : float

    Returns
    -------
    list of NextCut
    """
    if not len(rules) == len(circumstances) == len(states):
        raise ValueError("There must be rules and circumstances for each mother.")
    if not len(states):
        return []
    by_size, odds = size_days(model, states, rules, today)
    rows = [
        _settle(model, states, index, rules[index], circumstances[index], today, by_size[index], float(odds[index]))
        for index in range(len(states))
    ]
    when = np.array([_counting_day(row, today) for row in rows])
    counts = count_frags(model, states, rules, when)
    return [
        _finish(row, count, rule, where)
        for row, count, rule, where in zip(rows, counts, rules, circumstances, strict=True)
    ]


def _settle(model, states, index, rule, where, today, by_size, odds):
    """Days and what binds, before frags are counted."""
    because = []
    earliest, middle, latest = (None if np.isinf(day) else float(day) for day in by_size)
    binds = Binds.NOTHING if middle is not None and middle <= today else Binds.SIZE
    need = float(size_needed(rule.fewest_frags, rule.frag_unit.mean, rule.keep_at_least, rule.largest_share))
    frags = f"{rule.fewest_frags} frag{'s' if rule.fewest_frags > 1 else ''}"
    if rule.room is not None and need > rule.room:
        binds = Binds.ROOM
        because.append(
            f"Its place has room for {rule.room:.3g}, and {frags} need {need:.3g}: it would have to be moved first."
        )
    elif middle is None:
        shrinking = states.rate[index] <= 0
        because.append(
            f"It has been shrinking, so {frags} are not in sight within three years."
            if shrinking
            else f"At its present pace it does not reach the size for {frags} within three years."
        )
    elif middle > today:
        because.append(f"It is likely to have the size for {frags} {_days_in_words(middle - today)}.")
    else:
        because.append(f"It has the size for {frags} ({odds:.0%} sure).")
    if states.only_guessed[index]:
        because.append("It was never measured: this rests on the usual size of a frag and the published rates alone.")
    days = {"earliest": earliest, "day": middle, "latest": latest}

    if where.last_cut_day is not None:
        rested = where.last_cut_day + rule.rest_days
        if rested > today:
            if middle is not None and rested > middle:
                binds = Binds.REST
            if rested > (middle or 0):
                because.append(
                    f"It was cut {_days_ago(today - where.last_cut_day)} and rests {int(rule.rest_days)} days."
                )
            days = {name: None if day is None else max(day, rested) for name, day in days.items()}
    moved = {}
    for name, day in days.items():
        days[name], moved[name] = (None, False) if day is None else _after_absences(day, where.absences)
    if moved["day"]:
        binds = Binds.ABSENCE
        because.append(
            f"Nobody would be there to watch it heal; the first good day comes {_days_in_words(days['day'] - today)}."
        )
    soon = days["day"] is not None and days["day"] <= today + WATER_DAYS
    if where.water:
        because.extend(where.water)
        if soon:
            binds = Binds.WATER
            days = dict.fromkeys(days)
        else:
            because.append("The water should be right again well before the cut.")
    if where.incidents or states.declining[index]:
        binds = Binds.HEALTH
        days = dict.fromkeys(days)
        because.extend(where.incidents or ("It is losing tissue.",))
        because.append("It is left alone until that is over.")
    return days | {
        "identifier": states.identifiers[index],
        "size_day": middle,
        "binds": binds,
        "because": because,
        "probability_today": odds,
    }


def _finish(row, count, rule, where):
    usable = count.mean * rule.healed_share
    binds, because = row["binds"], row["because"]
    insurance = min(where.missing_copies, count.median)
    if where.missing_copies > 0:
        because.append(
            f"The line is {where.missing_copies} living cop{'y' if where.missing_copies == 1 else 'ies'} short: "
            "the first frags are for insurance, not for sale."
        )
        if binds == Binds.NOTHING and count.median <= where.missing_copies:
            binds = Binds.INSURANCE
    for_sale = max(usable - insurance, 0.0)
    return NextCut(
        frags=count,
        usable=round(usable, 2),
        for_insurance=insurance,
        value=None if rule.price is None else round(for_sale * float(rule.price), 2),
        **(row | {"binds": binds}),
    )


def present_sizes(model: GrowthModel, states: ColonyStates):
    """Median size of each colony after its last event, in the unit of the measure."""
    return model.reference * unscale_without_checks(states.level, model.exponent)
