"""So many frags of a line by a day: what is there already, which mothers to cut and when, and how likely it is done."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from propagation.forecasts.gathering import gather_colonies
from propagation.forecasts.outlooks import views
from propagation.models import Colony, Lineage, Plug
from propagation.promises import promises_of
from propagation.readings.healing_outlook import learned_healing
from propagation.yield_model.cutting_plan import SURE_ENOUGH, fill_order
from propagation.yield_model.healing import HealingModel
from propagation.yield_model.next_cut import WATCH_DAYS, WATER_DAYS

# A frag is given the days in which this share of those that make it have healed. Common practice, no source.
HEALED_BY_THEN = 0.9
# How far an order is looked ahead for, and how finely.
SEARCH_DAYS = 2 * 365
SEARCH_STEP = 7
# A lag that no order outlasts: with it no mother is cut twice.
NEVER_AGAIN = 1e6


@dataclass(frozen=True)
class OrderCut:
    """One cut of an order: so many frags of a mother on a day, which she has by then with a probability."""

    colony: Colony
    day: date
    frags: int
    usable: float
    probability: float

    @property
    def sure(self) -> int:
        return per_cent(self.probability)


@dataclass(frozen=True)
class LeftOut:
    """A mother that takes no part, and why."""

    colony: Colony
    why: str


@dataclass(frozen=True)
class Order:
    """What is to be done for an order, and how likely it is filled.

    ``ready`` and ``healing`` are free plugs that are there; ``counted`` of the ready ones are taken for it, and
    ``coming`` of the healing ones are likely to be. The probability is of ``wanted`` usable frags on ``by_day``, when
    each mother gives by ``last_cut_on`` what she has; ``is_bound`` says that it may be more. ``likely`` is how many are
    likely by then, ``earliest`` the first day by which all are likely, where that is later and within two years.
    """

    lineage: Lineage
    wanted: int
    by_day: date
    ready: int
    healing: int
    healing_soon: float
    counted: int
    coming: int
    probability: float
    is_bound: bool
    expected: float
    likely: int
    last_cut_on: date
    heal_days: int
    healed_share: float
    cuts: list[OrderCut] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    mothers: int = 0
    earliest: date | None = None

    @property
    def is_likely(self) -> bool:
        return self.probability >= SURE_ENOUGH

    @property
    def sure(self) -> int:
        return per_cent(self.probability)

    @property
    def is_there(self) -> bool:
        """Is nothing left to cut?"""
        return self.counted >= self.wanted

    @property
    def to_cut(self) -> int:
        return max(self.wanted - self.counted - self.coming, 0)

    @property
    def all_left_out(self) -> bool:
        return len(self.left_out) == self.mothers


def per_cent(probability: float) -> int:
    """Whole per cent of what is uncertain: never quite nothing nor quite certain."""
    return min(max(round(100 * probability), 1), 99)


def plan_order(
    lineage: Lineage, *, wanted: int, by_day: date, today: date, use_ready: bool = True, use_healing: bool = True
) -> Order:
    """How to come by so many frags of a line by a day.

    ``wanted`` is at least 1 and ``by_day`` not before today, else ValueError. About thirty queries, however many
    mothers and plugs there are.
    """
    if wanted < 1:
        raise ValueError("An order is for at least one frag.")
    if by_day < today:
        raise ValueError("The day the frags are wanted has passed.")
    line = _Line(lineage, today)
    counted = min(len(line.ready), wanted) if use_ready else 0
    order = line.answer(wanted, by_day, counted, use_healing)
    if not order.is_likely and line.groups:
        order = _with_earliest(order, line, use_healing)
    return order


def _with_earliest(order, line, use_healing):
    """The order with the first day by which it is likely, to a week. More time never makes it less so: bisection."""

    def is_likely(weeks):
        day = order.by_day + timedelta(days=SEARCH_STEP * weeks)
        return line.answer(order.wanted, day, order.counted, use_healing).is_likely

    low, high = 0, max((line.today + timedelta(days=SEARCH_DAYS) - order.by_day).days // SEARCH_STEP, 1)
    if not is_likely(high):
        return order
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_likely(middle) else (middle, high)
    return replace(order, earliest=order.by_day + timedelta(days=SEARCH_STEP * high))


class _Line:
    """What is known of a line today: its plugs, its mothers in groups of one model, and what forbids a cut."""

    def __init__(self, lineage, today):
        self.lineage, self.today = lineage, today
        self.model: HealingModel = learned_healing(today)
        self.key = str(lineage.pk)
        self.heal_days = float(self.model.ready_days(self.key, 0.0, (HEALED_BY_THEN,))[0])
        self.ready = _free(Plug.objects.filter(lineage=lineage).ready_on(today))
        healing = Plug.objects.filter(lineage=lineage, is_insurance=False).exclude(cut_event=None).healing()
        self.healing = _free(healing.filter(began_on__lte=today))
        self.left_out, self.notes, self.groups, self.absences = [], [], [], ()
        self.mothers = 0
        self._take_mothers()

    def _take_mothers(self):
        mothers = Colony.objects.alive_on(self.today).filter(lineage=self.lineage)
        records = gather_colonies(self.today, colonies=mothers)
        self.mothers = len(records)
        today, missing = float(self.today.toordinal()), 0
        for _, group, taken, states, rules, circumstances in views(records, self.today):
            free, keep = [], []
            for index, (record, rule, where) in enumerate(zip(group, rules, circumstances, strict=True)):
                self.absences, missing = where.absences, where.missing_copies
                if where.incidents or states.declining[index]:
                    why = " ".join(where.incidents) or "It is losing tissue."
                    self.left_out.append(LeftOut(record.colony, why))
                    continue
                first = today
                if where.water:
                    first = today + WATER_DAYS + 1
                    self.notes.append(f"{record.colony.tag} waits until its water is right: {' '.join(where.water)}")
                if where.last_cut_day is not None:
                    first = max(first, where.last_cut_day + rule.rest_days)
                keep.append(index)
                free.append(first_free_day(first, where.absences))
            if keep:
                self.groups.append(
                    (
                        taken,
                        states.take(keep),
                        [_by_then(rules[index]) for index in keep],
                        free,
                        [group[index].colony for index in keep],
                    )
                )
        if missing:
            self.notes.append(
                f"The line is {missing} living cop{'y' if missing == 1 else 'ies'} short. What is set aside as "
                "insurance comes on top of this order."
            )

    def answer(self, wanted, by_day, counted, use_healing) -> Order:
        """The order for a day; what is found first is taken first."""
        chances, soon = self._healing_chances(by_day, wanted) if use_healing else (np.ones(1), 0.0)
        left = wanted - counted
        total = _at_most(chances, left)
        # What is all but sure to heal need not be cut; the rest of it is reckoned with as it may come.
        coming = _likely(total)
        to_cut = max(left - coming, 0)
        latest = float(last_free_day(np.floor(by_day.toordinal() - self.heal_days), self.absences))
        cuts, too_late, is_bound = [], [], False
        for taken, states, rules, free, colonies in self.groups:
            known = {str(colony.pk): colony for colony in colonies}
            too_late += [colony for colony, day in zip(colonies, free, strict=True) if day > latest]
            if not to_cut or total[-1] >= SURE_ENOUGH or latest < self.today.toordinal():
                continue
            answer = self._share(total, left, taken, states, rules, free, to_cut, latest, is_first=not cuts)
            cuts += [
                OrderCut(
                    known[cut.identifier],
                    date.fromordinal(int(np.ceil(cut.day))),
                    cut.frags,
                    cut.expected_usable,
                    cut.probability,
                )
                for cut in answer.lines
            ]
            total = _with(total, answer, left)
            is_bound = is_bound or answer.wanted < left
        first = self.today.toordinal()
        return Order(
            lineage=self.lineage,
            wanted=wanted,
            by_day=by_day,
            ready=len(self.ready),
            healing=len(self.healing),
            healing_soon=soon,
            counted=counted,
            coming=min(coming, left),
            probability=float(total[-1]) if left else 1.0,
            is_bound=is_bound and total[-1] < 1,
            expected=counted + float(total @ np.arange(len(total))),
            likely=counted + _likely(total),
            last_cut_on=date.fromordinal(max(int(latest), 1)),
            heal_days=round(self.heal_days),
            healed_share=self.model.of(self.key).healed_share,
            cuts=sorted(cuts, key=lambda cut: (cut.day, cut.colony.tag)),
            left_out=self.left_out
            + [
                LeftOut(colony, "It may not be cut early enough for its frags to heal by then: rest, water or absence.")
                for colony in too_late
                if latest >= first
            ],
            notes=self.notes,
            mothers=self.mothers,
        )

    def _share(self, total, left, taken, states, rules, free, wanted, latest, *, is_first):
        """What one group gives: all it is asked for, or, after another group, no more than makes the order likely."""

        def ask(number):
            return self._fill(taken, states, rules, free, number, latest)

        answer = ask(wanted)
        if is_first or _with(total, answer, left)[-1] < SURE_ENOUGH:
            return answer
        low, high = 0, wanted
        while high - low > 1:
            middle = (low + high) // 2
            fewer = ask(middle)
            if _with(total, fewer, left)[-1] < SURE_ENOUGH:
                low = middle
            else:
                high, answer = middle, fewer
        return answer

    def _fill(self, taken, states, rules, free, wanted, latest):
        """The cuts of one group on days when somebody is there."""
        given = {
            "wanted": wanted,
            "by_day": latest,
            "today": float(self.today.toordinal()),
            "free_from": free,
        }
        answer = fill_order(taken.model, states, rules, lag_days=taken.lag_days, **given)
        rests = {name: rule.rest_days for name, rule in zip(states.identifiers, rules, strict=True)}
        moved = _moved(answer, self.absences, rests, latest)
        if moved is None:
            # Cutting twice does not go together with an absence: once, then.
            answer = fill_order(taken.model, states, rules, lag_days=NEVER_AGAIN, **given)
            moved = _moved(answer, self.absences, rests, latest)
        return moved

    def _healing_chances(self, by_day, most):
        """Probability that 0, 1, … of the plugs that heal now are healed by a day; and how many on average."""
        chances, expected = np.ones(1), 0.0
        for plug in self.healing:
            seen = max((plug.checked_on - plug.began_on).days, 0)
            chance = self.model.healed_by(self.key, seen, max((by_day - plug.began_on).days, 0))
            chances = _at_most(np.convolve(chances, [1 - chance, chance]), max(most, 1), pad=False)
            expected += chance
        return chances, expected


def _by_then(rule):
    """The rule, with the share of frags that have healed by the day that they are given."""
    return replace(rule, healed_share=rule.healed_share * HEALED_BY_THEN)


def _free(plugs) -> list[Plug]:
    plugs = list(plugs)
    promised = promises_of(plugs)
    return [plug for plug in plugs if plug.pk not in promised]


def _at_most(chances, most, *, pad=True):
    """Chances of 0 … most, those of more added to the last."""
    chances = np.asarray(chances, dtype=float)
    kept = np.zeros(most + 1 if pad else min(len(chances), most + 1))
    kept[: min(len(chances), len(kept))] = chances[: len(kept)]
    kept[-1] += chances[len(kept) :].sum()
    return kept


def _with(total, answer, left):
    """The chances with what a group gives added."""
    return _at_most(np.convolve(total, answer.chances), left)


def _likely(chances) -> int:
    """The largest number that is reached with enough probability."""
    at_least = np.cumsum(chances[::-1])[::-1]
    return int(np.max(np.flatnonzero(at_least >= SURE_ENOUGH - 1e-12), initial=0))


def first_free_day(day: float, absences: Iterable[tuple]) -> float:
    """The day itself, or the first after an absence that it falls into or shortly before."""
    for first, last in sorted(absences):
        if day + WATCH_DAYS > first and day <= last:
            day = last + 1
    return day


def last_free_day(day: float, absences: Iterable[tuple]) -> float:
    """The day itself, or the last day long enough before an absence that it falls into or shortly before."""
    for first, last in sorted(absences, reverse=True):
        if day + WATCH_DAYS > first and day <= last:
            day = first - WATCH_DAYS
    return day


def _moved(answer, absences, rests, latest):
    """The answer with its cuts moved out of absences; None when a mother cut twice could not rest in between."""
    lines, last_of = [], {}
    for line in sorted(answer.lines, key=lambda each: each.day):
        day = line.day
        if line.identifier in last_of:
            day = max(day, last_of[line.identifier] + rests[line.identifier])
        day = first_free_day(day, absences)
        if day > latest:
            return None
        last_of[line.identifier] = day
        lines.append(replace(line, day=day))
    return replace(answer, lines=lines)
