"""How far to cut a mother back, and whom to cut for an order."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.stats import binom

from .filter import rate_steps
from .forecast import ColonyStates, forecast_sizes
from .histories import DEFAULT_LAG_DAYS
from .next_cut import LARGEST_SESSION, enough_probability, frag_distribution
from .pooling import GrowthModel
from .published_rates import DAYS_A_YEAR
from .scales import scale_without_checks, unscale_without_checks

# How sure a mother must be to have her frags before she is put down for a day in an order. Common practice, no source.
SURE_ENOUGH = 0.8

# Cuts of one mother within one order, and how many days are tried for each but the last. Common practice, no source.
MOST_CUTS_FOR_AN_ORDER = 3
DAYS_TRIED = 6


def regrowth_time(start, target, *, rate, room):
    """Days for a colony to grow from one size to another under logistic growth.

    Parameters
    ----------
    start, target : array_like, shape (n,)
        Sizes in any one measure, 0 < start <= target < room.
    rate : array_like, shape (n,)
        Specific growth rate far below the room, 1/day, > 0.
    room : array_like, shape (n,)
        Size at which growth stops, same measure.

    Returns
    -------
    ndarray, shape (n,)
        Days.

    Raises
    ------
    ValueError
        If a size lies outside (0, room), or the rate is not greater than zero.

    Source: Verhulst 1838; see tests/published/test_logistic.py.
    """
    start, target, rate, room = (np.asarray(v, dtype=float) for v in (start, target, rate, room))
    if np.any(~((start > 0) & (start <= target) & (target < room))):
        raise ValueError("Sizes must lie above zero and below the room, and the start not above the target.")
    if np.any(~(rate > 0)) or np.any(~np.isfinite(room)):
        raise ValueError("The growth rate and the room must be numbers greater than zero.")
    return np.log(target * (room - start) / (start * (room - target))) / rate


def regrowth_time_on_scale(start, target, *, rate, exponent, reference=1.0):
    """Days for a colony to grow from one size to another on a growth scale.

    Parameters
    ----------
    start, target : array_like
        Sizes, 0 < start <= target.
    rate : array_like
        Rate on the scale of sizes over the reference, per day, > 0.
    exponent, reference : float
        The scale.

    Returns
    -------
    ndarray
        Days: (u(target) − u(start)) / rate.

    Raises
    ------
    ValueError
        If a size or the rate is not greater than zero, or the start above the target.
    """
    start, target, rate = (np.asarray(v, dtype=float) for v in (start, target, rate))
    if np.any(~((start > 0) & (start <= target) & np.isfinite(target))) or np.any(~(rate > 0)) or not reference > 0:
        raise ValueError("Sizes and the growth rate must be greater than zero, and the start not above the target.")
    gained = scale_without_checks(target / reference, exponent) - scale_without_checks(start / reference, exponent)
    return gained / rate


@dataclass(frozen=True)
class Growth:
    """How a mother regrows: on the growth scale, or logistic towards a room when `room_limits` is set.

    `rate` is per day on the scale of sizes over `reference`; `rate_deviation` its standard deviation.
    """

    rate: float
    exponent: float
    reference: float
    rate_deviation: float = 0.0
    room_limits: float | None = None
    lag_days: float = 7.0

    def days(self, start, target, rate=None):
        """Days from one size to another, without the healing lag."""
        rate = self.rate if rate is None else rate
        if self.room_limits is not None:
            return regrowth_time(start, target, rate=rate, room=self.room_limits)
        return regrowth_time_on_scale(start, target, rate=rate, exponent=self.exponent, reference=self.reference)


def growth_ahead(model: GrowthModel, states: ColonyStates, *, lag_days=7.0, days=DAYS_A_YEAR):
    """How each colony is likely to grow on average over the time ahead.

    Its own rate counts most in the near future and its lineage's usual rate later on, as in `forecast.forecast_sizes`.

    Parameters
    ----------
    model : GrowthModel
    states : ColonyStates
    lag_days : float
        Days without growth after a cut.
    days : float
        How far ahead, > 0.

    Returns
    -------
    list of Growth
        `rate` may be 0 or less for a colony that does not grow.
    """
    if not days > 0:
        raise ValueError("Growth is looked at over at least one day.")
    _, counts, drift_variance, _, _ = rate_steps(np.asarray(float(days)), model.parameters.rate_return)
    counts, drift_variance = float(counts), float(drift_variance)
    rate = (counts * states.rate + (days - counts) * states.usual_rate) / days
    variance = (
        counts**2 * states.rate_variance
        + states.usual_variance * (counts * states.rate_sensitivity + days - counts) ** 2
        + model.parameters.rate_drift**2 * drift_variance
    ) / days**2
    deviation = np.sqrt(np.maximum(variance, 0.0))
    return [
        Growth(float(rate[index]), model.exponent, model.reference, float(deviation[index]), None, float(lag_days))
        for index in range(len(states))
    ]


@dataclass(frozen=True)
class PlanPoint:
    """One way of cutting a mother: from `cut_at` back to `cut_to` (sizes), every so many days, for so many frags.

    `low` and `high` are frags a year at probabilities 0.1 and 0.9 of the rate.
    """

    cut_at: float
    cut_to: float
    share_removed: float
    frags: int
    days: float
    frags_a_year: float
    low: float
    high: float


@dataclass(frozen=True)
class CuttingPlan:
    """The curve of frags a year against the share removed, its best point, and where today's habit lies on it."""

    curve: list
    best: PlanPoint | None
    habit: PlanPoint | None
    because: str


def frags_a_year(cut_at, cut_to, growth: Growth, frag_unit, *, whole_frags=True, rest_days=0.0, rate=None):
    """Frags a year in steady state when a mother is cut from one size back to another whenever she reaches the first.

    Parameters
    ----------
    cut_at, cut_to : array_like
        Sizes, 0 < cut_to <= cut_at.
    growth : Growth
    frag_unit : float
        Size one frag takes, > 0.
    whole_frags : bool
        Round frags down to whole ones. Without it the answer is a yield of size in frag units.
    rest_days : float
        Fewest days between two cuts.
    rate : float, optional
        In place of the growth's own.

    Returns
    -------
    ndarray
    """
    if not frag_unit > 0:
        raise ValueError("A frag unit must be greater than zero.")
    cut_at, cut_to = np.asarray(cut_at, dtype=float), np.asarray(cut_to, dtype=float)
    taken = (cut_at - cut_to) / frag_unit
    if whole_frags:
        taken = np.floor(taken + 1e-9)
    days = np.maximum(growth.days(cut_to, cut_at, rate) + growth.lag_days, rest_days)
    return np.where(days > 0, taken / np.where(days > 0, days, 1.0), 0.0) * DAYS_A_YEAR


def plan_cutting(growth: Growth, rules, *, largest_size, habit=None, points=60):
    """The curve of frags a year against how far a mother is cut back, the best point, and today's habit on it.

    Parameters
    ----------
    growth : Growth
        With a rate > 0.
    rules : next_cut.CutRules
        Frag unit, keep size, fewest frags, largest share, rest, and room.
    largest_size : float
        Size beyond which she is not let grow when the rules name no room: her largest so far, say.
    habit : (float, float), optional
        Usual size before and after a cut.
    points : int
        Points of the curve.

    Returns
    -------
    CuttingPlan
        For each share removed the best size to cut at. `best` is None when no cut fits within the rules.
    """
    unit = rules.frag_unit.mean
    top = rules.room if rules.room is not None else largest_size
    if not top > 0:
        raise ValueError("The largest size must be greater than zero.")
    if growth.room_limits is not None:
        top = min(top, 0.999 * growth.room_limits)
    if not growth.rate > 0:
        return CuttingPlan([], None, None, "It is not growing, so there is nothing to plan.")
    shares = np.linspace(rules.largest_share / points, rules.largest_share, points)
    sizes = top * np.linspace(0.02, 1.0, 120)
    share, size = shares[:, None], sizes[None, :]
    # Whole frags: she is cut for as many as the share allows and no further back than they need.
    frags = np.floor(share * size / unit + 1e-9)
    cut_to = size - frags * unit
    allowed = (frags >= rules.fewest_frags) & (cut_to >= rules.keep_at_least) & (cut_to > 0)
    safe_to = np.where(allowed, cut_to, size)
    yields = np.where(allowed, frags_a_year(size, safe_to, growth, unit, rest_days=rules.rest_days), -1.0)
    curve = []
    for row in range(points):
        column = int(np.argmax(yields[row]))
        if yields[row, column] > 0:
            curve.append(_point(sizes[column], float(cut_to[row, column]), growth, unit, rules))
    point = None
    if habit is not None:
        before, after = habit
        if not 0 < after < before:
            raise ValueError("The usual size after a cut must be greater than zero and less than that before.")
        if growth.room_limits is None or before < growth.room_limits:
            point = _point(float(before), float(after), growth, unit, rules)
    if not curve:
        need = max(rules.keep_at_least + rules.fewest_frags * unit, rules.fewest_frags * unit / rules.largest_share)
        return CuttingPlan(
            [], None, point, f"{rules.fewest_frags} frags need a size of {need:.3g}, and she may not pass {top:.3g}."
        )
    best = max(curve, key=lambda item: item.frags_a_year)
    because = (
        f"Cut at {best.cut_at:.3g} back to {best.cut_to:.3g} every {best.days:.0f} days: "
        f"about {best.frags_a_year:.1f} frags a year."
    )
    if point is not None:
        because += f" Today's habit gives about {point.frags_a_year:.1f}."
    return CuttingPlan(curve, best, point, because)


def _point(cut_at, cut_to, growth, unit, rules):
    slow = max(growth.rate - 1.2816 * growth.rate_deviation, 0.05 * growth.rate)
    fast = growth.rate + 1.2816 * growth.rate_deviation
    middle, low, high = (
        float(frags_a_year(cut_at, cut_to, growth, unit, rest_days=rules.rest_days, rate=rate))
        for rate in (growth.rate, slow, fast)
    )
    days = float(max(growth.days(cut_to, cut_at) + growth.lag_days, rules.rest_days))
    return PlanPoint(
        float(cut_at),
        float(cut_to),
        float(1 - cut_to / cut_at),
        int((cut_at - cut_to) / unit + 1e-9),
        days,
        middle,
        low,
        high,
    )


@dataclass(frozen=True)
class OrderLine:
    """One mother's part in an order: cut on `day` for `frags`, which she has with `probability`."""

    identifier: str
    day: float
    frags: int
    expected_usable: float
    probability: float


@dataclass(frozen=True)
class OrderAnswer:
    """Which mothers to cut, when and for how many, and how likely the order is filled by the day it is wanted.

    `chances` are the probabilities of 0, 1, … frags; those of the wanted number and more stand together at its end.
    """

    lines: list
    wanted: int
    probability: float
    expected: float
    because: str
    chances: tuple = ()


def fill_order(model: GrowthModel, states: ColonyStates, rules, *, wanted, by_day, today, healing_days=0.0,
               free_from=None, sure=SURE_ENOUGH, largest_lines=None, lag_days=DEFAULT_LAG_DAYS):  # fmt: skip
    """Which mothers to cut, when and for how many, for a number of frags by a day.

    Parameters
    ----------
    model : GrowthModel
    states : ColonyStates
        Of the mothers of the line that may be cut at all.
    rules : sequence of CutRules
    wanted : int
        Frags, > 0.
    by_day, today : float
    healing_days : float
        Days a frag needs before it can leave; the cut must be that long before.
    free_from : sequence of float, optional
        First day each mother may be cut (rest, absences); today when not given.
    sure : float
        Probability of the order at which no further mother is asked.
    largest_lines : int, optional
        Most mothers to cut.
    lag_days : float
        Days without growth after a cut.

    Returns
    -------
    OrderAnswer
        Mothers with most frags are asked first, each on the first day she is sure of her share, at the latest on the
        last day that leaves time to heal. Where one cut of each does not fill the order, a mother that can grow back in
        time is cut early and again: several lines with her identifier, at least her rest apart. The numbers of her cuts
        are added as if one told nothing of the next.

    Raises
    ------
    ValueError
        If nothing is wanted or the day has passed.
    """
    if wanted < 1:
        raise ValueError("An order is for at least one frag.")
    if by_day < today:
        raise ValueError("The day the frags are wanted has passed.")
    last = by_day - healing_days
    free = np.full(len(states), float(today)) if free_from is None else np.maximum(np.asarray(free_from, float), today)
    may = np.flatnonzero((free <= last) & ~states.declining)
    if last < today or not may.size:
        reason = (
            "There is no time left for a frag to heal."
            if last < today
            else "No mother of this line may be cut by then."
        )
        return OrderAnswer([], wanted, 0.0, 0.0, reason, (1.0,) + (0.0,) * wanted)
    rules = [rules[index] for index in may]
    states, free = states.take(may), free[may]
    numbers = np.arange(LARGEST_SESSION + 1)
    table = frag_distribution(model, states, rules, np.full(len(states), last))
    for row, rule in enumerate(rules):
        _drop_small_cuts(table[row], min(rule.fewest_frags, wanted))
    usable = np.stack([_thin(table[row], rules[row].healed_share, wanted) for row in range(len(rules))])
    expected = usable @ np.arange(usable.shape[1])
    order = np.argsort(-expected, kind="stable")
    chosen, total = [], np.zeros(wanted + 1)
    total[0] = 1.0
    for row in order[: largest_lines or len(order)]:
        if expected[row] <= 0.05:
            continue
        chosen.append(row)
        total = _add(total, usable[row], wanted)
        if total[-1] >= sure:
            break
    early = {}
    if total[-1] < sure:
        for row in chosen:
            cuts, again = _early_cuts(model, states.take([row]), rules[row], free[row], last, lag_days, sure, wanted)
            if again @ np.arange(wanted + 1) > expected[row] + 0.5:
                early[row], usable[row], expected[row] = cuts, again, again @ np.arange(wanted + 1)
                total = _sum_of(usable[chosen], wanted)
                if total[-1] >= sure:
                    break
    lines, left = [], wanted
    for row in chosen:
        share = max(rules[row].healed_share, 1e-6)
        view, first, counts = states.take([row]), free[row], table[row]
        for day, frags, probability in early.get(row, ()):
            lines.append(_order_line(states.identifiers[row], day, frags, share, probability))
            left -= frags * share
            view, first = _after_cut(model, view, rules[row], day, frags, lag_days), day + rules[row].rest_days
            first = max(first, day + lag_days)
            counts = frag_distribution(model, view, [rules[row]], last)[0]
        if row in early and left <= 0:
            continue
        at_least = np.cumsum(counts[::-1])[::-1]
        likely = int(np.max(numbers[at_least >= 0.5])) if at_least[1] >= 0.5 else 1
        frags = max(1, min(likely, int(np.ceil(left / share - 1e-9)) if left > 0 else likely))
        day, probability = _first_sure_day(model, view, rules[row], frags, first, last, sure)
        lines.append(_order_line(states.identifiers[row], day, frags, share, probability))
        left -= frags * share
    probability = float(total[-1])
    mean = float(expected[chosen].sum()) if chosen else 0.0
    if not lines:
        because = "No mother of this line is likely to have frags by then."
    elif probability >= sure:
        mothers = len({line.identifier for line in lines})
        because = f"{mothers} mother{'s' if mothers > 1 else ''} should do: {probability:.0%} sure."
        if len(lines) > mothers:
            because += " Some are cut early, grow back, and are cut again."
    else:
        because = f"Even all mothers together give {wanted} with a probability of only {probability:.0%}."
    return OrderAnswer(lines, wanted, probability, mean, because, tuple(float(chance) for chance in total))


def _order_line(identifier, day, frags, share, probability):
    return OrderLine(identifier, day, frags, round(frags * share, 2), probability)


def _drop_small_cuts(counts, least):
    """A cut of fewer frags than the least worth a session is not made: count it as none, in place."""
    counts[0] += counts[1:least].sum()
    counts[1:least] = 0.0


def _early_cuts(model, state, rule, first, last, lag_days, sure, wanted, cuts=MOST_CUTS_FOR_AN_ORDER):
    """Early cuts (day, frags, probability) before a last one on `last`, for most usable frags, and the distribution of
    these with the last one's."""
    counts = frag_distribution(model, state, [rule], last)[0]
    _drop_small_cuts(counts, min(rule.fewest_frags, wanted))
    best, best_usable = [], _thin(counts, rule.healed_share, wanted)
    between = max(rule.rest_days, lag_days)
    if cuts < 2 or first + between > last:
        return best, best_usable
    for day in np.unique(np.linspace(first, last - between, DAYS_TRIED)):
        here = frag_distribution(model, state, [rule], day)[0]
        at_least = np.cumsum(here[::-1])[::-1]
        frags = int(np.max(np.flatnonzero(at_least >= sure)))
        if frags < rule.fewest_frags:
            continue
        # She gives the frags she is put down for, or those she has.
        here[frags] = at_least[frags]
        here[frags + 1 :] = 0.0
        _drop_small_cuts(here, rule.fewest_frags)
        after = _after_cut(model, state, rule, day, frags, lag_days)
        more, usable = _early_cuts(model, after, rule, day + between, last, lag_days, sure, wanted, cuts - 1)
        usable = _add(_thin(here, rule.healed_share, wanted), usable, wanted)
        if (usable - best_usable) @ np.arange(wanted + 1) > 1e-9:
            best = [(float(day), frags, round(float(at_least[frags]), 3)), *more]
            best_usable = usable
    return best, best_usable


def _after_cut(model, state, rule, day, frags, lag_days):
    """What will be known of one mother once she has been cut on a later day, seen from today."""
    parameters, exponent = model.parameters, model.exponent
    elapsed = max(day - state.last_day[0], 0.0)
    growing = np.maximum(day - np.maximum(state.growth_stops_until, state.last_day), 0.0)
    left, counts, drift_uu, drift_ur, drift_rr = rate_steps(growing, parameters.rate_return)
    drift, rest = parameters.rate_drift**2, growing - counts
    before = unscale_without_checks(forecast_sizes(model, state, np.array([day])).level, exponent)
    unit = rule.frag_unit.mean / model.reference
    after = np.maximum(before - frags * unit, (1 - rule.largest_share) * before)
    ratio = np.power(after / before, exponent - 1.0)
    error = np.power(after, exponent - 1.0) * frags * rule.frag_unit.standard_deviation / model.reference
    uu = state.level_variance + counts * (2 * state.covariance + counts * state.rate_variance)
    uu = uu + drift * drift_uu + parameters.size_noise**2 * elapsed
    return replace(
        state,
        level=scale_without_checks(after, exponent),
        rate=left * state.rate + (1 - left) * state.usual_rate,
        level_variance=uu * ratio**2 + error**2,
        covariance=ratio * (left * (state.covariance + counts * state.rate_variance) + drift * drift_ur),
        rate_variance=left**2 * state.rate_variance + drift * drift_rr,
        level_sensitivity=ratio * (state.level_sensitivity + counts * state.rate_sensitivity + rest),
        rate_sensitivity=left * state.rate_sensitivity + 1 - left,
        last_day=np.array([float(day)]),
        growth_stops_until=np.array([float(day) + lag_days]),
    )


def _sum_of(distributions, wanted):
    total = np.zeros(wanted + 1)
    total[0] = 1.0
    for distribution in distributions:
        total = _add(total, distribution, wanted)
    return total


def _thin(probabilities, share, wanted):
    """Distribution of usable frags when each heals with probability `share`; `wanted` or more counted together."""
    result = np.asarray(probabilities) @ _thinning(float(share), wanted)[: len(probabilities)]
    return result / result.sum()


@lru_cache(maxsize=16)
def _thinning(share, wanted):
    """Chances of 0 … `wanted` or more usable frags (columns) out of 0 … LARGEST_SESSION (rows)."""
    numbers = np.arange(LARGEST_SESSION + 1)
    few = binom.pmf(np.arange(wanted), numbers[:, None], share)
    table = np.concatenate([few, binom.sf(wanted - 1, numbers, share)[:, None]], axis=1)
    table.setflags(write=False)
    return table


def _add(left, right, wanted):
    """Distribution of a sum, `wanted` or more counted together."""
    both = np.convolve(left, right)
    result = both[: wanted + 1].copy()
    result[-1] += both[wanted + 1 :].sum()
    return result


def _first_sure_day(model, state, rule, frags, first, last, sure):
    days = np.unique(np.concatenate([np.arange(first, last, 3.0), [last]]))
    odds = enough_probability(model, state, [replace(rule, fewest_frags=int(frags))], days)[0]
    reached = np.flatnonzero(odds >= sure)
    place = int(reached[0]) if reached.size else int(np.argmax(odds))
    return float(days[place]), round(float(odds[place]), 3)
