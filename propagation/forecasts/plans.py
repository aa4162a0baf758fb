"""How far to cut one mother back, and how often, for most frags a year; and what today's habit gives beside it."""

from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from statistics import median

from propagation.forecasts.gathering import ColonyRecords, gather_colonies
from propagation.forecasts.outlooks import views
from propagation.lengths import Unit, unit_of
from propagation.models import Colony, LearnedGrowth, Measure, Preferences
from propagation.worth import FragPrice, frag_prices
from propagation.yield_model.cutting_plan import CuttingPlan, Growth, PlanPoint, growth_ahead, plan_cutting
from propagation.yield_model.next_cut import CutRules, present_sizes, size_needed
from propagation.yield_model.published_rates import DAYS_A_YEAR
from propagation.yield_model.scales import scale_without_checks, unscale_without_checks

# How much larger than ever a colony is let grow when nobody has said what room there is. Common practice, no source.
BEYOND_LARGEST = 1.25
# A habit is what was done at the last few cuts.
HABIT_CUTS = 6
# A size this many days from a cut still tells what the mother was at the cut.
NEAR_A_CUT = 120
# A habit that gives this share of the best leaves nothing to gain.
AS_GOOD = 0.97
NEARLY = 0.95


@dataclass(frozen=True)
class Habit:
    """Usual size before and after a cut, in the unit of the measure, and usual frags, from the last few cuts.

    ``recorded`` of the ``cuts`` had both sizes recorded; at the others they were worked out.
    """

    before: float
    after: float
    frags: float
    cuts: int
    recorded: int

    @property
    def frag_words(self) -> str:
        """How many frags it gave."""
        return f"It gave {number(self.frags)} frag{'' if self.frags == 1 else 's'} at a cut."

    @property
    def basis(self) -> str:
        if self.cuts == 1:
            return (
                "Its one cut, with both sizes recorded."
                if self.recorded
                else "Its one cut, whose sizes are worked out from the sizes around it and what a frag takes."
            )
        if self.recorded == self.cuts:
            return f"The last {self.cuts} cuts, with both sizes recorded."
        worked_out = self.cuts - self.recorded
        which = {self.cuts: "Their sizes", 1: "The sizes at one of them"}.get(
            worked_out, f"The sizes at {worked_out} of them"
        )
        return f"The last {self.cuts} cuts. {which} are worked out from the sizes around the cut and what a frag takes."


@dataclass(frozen=True)
class ColonyPlan:
    """The plan of one colony. `best` and `habit` are None where there is none; ``because`` then says why."""

    colony: Colony
    day: date
    measure: str
    unit: Unit
    plan: CuttingPlan
    because: list[str] = field(default_factory=list)
    rules: CutRules | None = None
    growth: Growth | None = None
    learned: LearnedGrowth | None = None
    readings: int = 0
    was_cut: bool = False
    open_incidents: list = field(default_factory=list)
    habit_of: Habit | None = None
    top: float | None = None
    top_words: str = ""
    limits: list[str] = field(default_factory=list)
    price: FragPrice | None = None

    @property
    def best(self) -> PlanPoint | None:
        return self.plan.best

    @property
    def habit(self) -> PlanPoint | None:
        return self.plan.habit

    def size(self, value) -> str:
        """A size as the keeper reads it."""
        return in_words(self.unit, value)

    @property
    def best_words(self) -> str:
        """E.g. ``Cut at 92 mm back to 58 mm, every 5 months: about 11 frags a year (8 to 14).``"""
        b = self.best
        return f"Cut at {self.size(b.cut_at)} back to {self.size(b.cut_to)}, every {often(b.days)}: {a_year(b)}."

    @property
    def habit_words(self) -> str:
        h = self.habit
        return f"You cut at {self.size(h.cut_at)} back to {self.size(h.cut_to)}, every {often(h.days)}: {a_year(h)}."

    @property
    def gain(self) -> float | None:
        """Frags a year that the best gives more than the habit."""
        if self.best is None or self.habit is None:
            return None
        return self.best.frags_a_year - self.habit.frags_a_year

    @property
    def gain_words(self) -> str:
        """What the difference is worth a year; nothing to say without a best or a habit."""
        gain = self.gain
        if gain is None:
            return ""
        if self.habit.frags_a_year * AS_GOOD > self.best.frags_a_year and self._habit_breaks_rules():
            return (
                f"As you cut now gives about {number(-gain)} more a year, by taking more than its rules allow. "
                "Change its rules if that is meant."
            )
        if self.habit.frags_a_year >= AS_GOOD * self.best.frags_a_year:
            return "As you cut now is about as good as it gets."
        usable = gain * self.rules.healed_share
        words = f"About {number(gain)} more a year than as you cut now; {number(usable)} of them will heal"
        return words + (f", worth {self.price.words(usable)}." if self.price is not None else ".")

    @property
    def nearly_as_good(self) -> str:
        """Which shares give nearly as much, where that is most of the curve."""
        if self.best is None:
            return ""
        shares = [p.share_removed for p in self.plan.curve if p.frags_a_year >= NEARLY * self.best.frags_a_year]
        every = [p.share_removed for p in self.plan.curve]
        if max(shares) - min(shares) < max((max(every) - min(every)) / 2, 0.1):
            return ""
        return (
            f"Anything from {100 * min(shares):.0f} to {100 * max(shares):.0f} % of it at a cut gives nearly as much, "
            "so cut as it suits you."
        )

    def _habit_breaks_rules(self):
        habit = self.habit
        return (
            habit.cut_to < self.rules.keep_at_least
            or habit.share_removed > self.rules.largest_share
            or habit.cut_at > self.top
        )


def in_words(unit: Unit, value) -> str:
    """A size in whole millimetres or the like where it is large enough: a plan is no finer."""
    if unit.places == 1 and value / float(unit.factor) >= 20:
        unit = replace(unit, places=0)
    return unit.text(Decimal(str(float(value))))


def number(value: float) -> str:
    """A number of frags: whole from ten on, else with one place."""
    text = f"{value:.0f}" if value >= 9.95 else f"{value:.1f}"
    return text.removesuffix(".0")


def often(days: float) -> str:
    """``45 days``, ``5 months`` or ``2.5 years``, to follow “every”."""
    if days < 60:
        return "day" if round(days) == 1 else f"{days:.0f} days"
    if days < 24 * 30.4:
        return f"{days / 30.4:.0f} months"
    return f"{number(days / DAYS_A_YEAR)} years"


def a_year(point: PlanPoint) -> str:
    """``about 11 frags a year (8 to 14)``."""
    middle = number(point.frags_a_year)
    low, high = number(point.low), number(point.high)
    around = f" ({low} to {high})" if low != high else ""
    return f"about {middle} frag{'' if middle == '1' else 's'} a year{around}"


def plan_of(colony: Colony, day: date) -> ColonyPlan:
    """The cutting plan of one colony on a day, from the records up to it.

    ``colony`` must have begun by then; one that has ended, ails or does not grow has a plan without a best, that says
    why. About twenty queries, however many colonies and sizes there are.
    """
    length_unit = Preferences.current().length_unit
    records = gather_colonies(day, colonies=Colony.objects.filter(pk=colony.pk))
    if not records or (colony.ended_on is not None and colony.ended_on <= day):
        measure = records[0].measure if records else colony.lineage.measure
        why = "It is no longer kept, so there is nothing to plan." if records else "It was not kept yet on that day."
        return ColonyPlan(colony, day, measure, unit_of(measure, length_unit), _no_plan(why), [why])
    ((_, (record,), taken, states, (rules,), _),) = views(records, day)
    unit = unit_of(record.measure, length_unit)
    (growth,) = growth_ahead(taken.model, states, lag_days=taken.lag_days)
    top, top_words = _top(record, states, taken.model, rules, unit)
    habit = _habit(record, growth, states, taken.model, rules.frag_unit.mean)
    plan, because = _plan(states, growth, rules, habit, top, unit)
    return ColonyPlan(
        colony=record.colony,
        day=day,
        measure=record.measure,
        unit=unit,
        plan=plan,
        because=because,
        rules=rules,
        growth=growth,
        learned=taken.row,
        readings=record.readings,
        was_cut=bool(record.history.cuts),
        open_incidents=record.open_incidents,
        habit_of=habit,
        top=top,
        top_words=top_words,
        limits=_limits(plan.best, rules, top, top_words, unit) if plan.best else [],
        price=frag_prices([record.colony.lineage_id]).get(record.colony.lineage_id),
    )


def _no_plan(why):
    return CuttingPlan([], None, None, why)


def _plan(states, growth, rules, habit, top, unit):
    """The plan, and why there is none."""
    if states.declining[0]:
        why = "It is losing tissue. Nothing is planned until that is over."
        return _no_plan(why), [why]
    if growth.rate <= 0:
        why = "It is not growing, so there is nothing to plan. Sizes that rise again bring the plan back."
        return _no_plan(why), [why]
    plan = plan_cutting(growth, rules, largest_size=top)
    if habit is not None:
        plan = replace(plan, habit=_habit_point(habit, growth, rules))
    if plan.best is None:
        frags = f"{rules.fewest_frags} frag{'s' if rules.fewest_frags > 1 else ''}"
        return plan, [
            f"{frags} need a size of {in_words(unit, _needed(rules))}, and it has room for {in_words(unit, top)}. "
            "Give it more room, or allow fewer frags at a cut."
        ]
    return plan, []


def _needed(rules):
    return float(size_needed(rules.fewest_frags, rules.frag_unit.mean, rules.keep_at_least, rules.largest_share))


def _top(record: ColonyRecords, states, model, rules, unit):
    """The size it may grow to, and why that."""
    if rules.room is not None:
        return rules.room, f"Its place has room for {in_words(unit, rules.room)}."
    absurd = {(item.day, item.size) for item in states.absurd}
    sizes = [reading.size for reading in record.history.readings if (reading.day, reading.size) not in absurd]
    sizes += [cut.before for cut in record.history.cuts if cut.before]
    largest = max(sizes, default=float(present_sizes(model, states)[0]))
    top = BEYOND_LARGEST * largest
    ever = "its largest size so far" if sizes else "what is guessed of its size"
    words = f"Nobody said how large it may grow. The plan lets it grow to {{}}, a quarter beyond {ever}."
    # A young colony is not held to the size of its youth.
    if top < BEYOND_LARGEST * _needed(rules):
        top = BEYOND_LARGEST * _needed(rules)
        words = "Nobody said how large it may grow. The plan lets it grow to {}, a quarter beyond what a cut needs."
    return top, words.format(in_words(unit, top))


def _habit(record: ColonyRecords, growth, states, model, frag_unit) -> Habit | None:
    """From the last few cuts; None when it was not cut, or nothing is known of its size at any cut."""
    history = record.history
    readings = sorted((reading.day, reading.size) for reading in history.readings)
    absurd = {(item.day, item.size) for item in states.absurd}
    readings = [item for item in readings if item not in absurd]
    cuts = sorted(history.cuts, key=lambda cut: cut.day)
    found, recorded = [], 0
    for place, cut in list(enumerate(cuts))[-HABIT_CUTS:]:
        since = cuts[place - 1].day if place else float("-inf")
        until = cuts[place + 1].day if place + 1 < len(cuts) else float("inf")
        taken = cut.frags * frag_unit
        before, after = cut.before, cut.after
        if before is None and after is None:
            before = _grown_to(cut.day, [r for r in readings if since < r[0] <= cut.day], growth)
            if before is None:
                after = _shrunk_to(cut.day, [r for r in readings if cut.day < r[0] <= until], growth)
            if before is None and after is None and states.last_day[0] == cut.day:
                after = float(present_sizes(model, states)[0])
        before = after + taken if before is None and after is not None else before
        after = before - taken if after is None and before is not None else after
        if before is None or not 0 < after < before:
            continue
        found.append((before, after, cut.frags))
        recorded += bool(cut.before and cut.after)
    if not found:
        return None
    befores, afters, frags = zip(*found, strict=True)
    before, after = float(median(befores)), float(median(afters))
    # Of sizes that differ much from cut to cut the two middles may cross.
    if after >= before:
        before, after, _ = found[-1]
    return Habit(before, after, float(median(frags)), len(found), recorded)


def _grown_to(day, readings, growth):
    if not readings or day - readings[-1][0] > NEAR_A_CUT:
        return None
    return _moved(readings[-1][1], max(growth.rate, 0.0) * (day - readings[-1][0]), growth)


def _shrunk_to(day, readings, growth):
    if not readings or readings[0][0] - day > NEAR_A_CUT:
        return None
    grown = max(readings[0][0] - day - growth.lag_days, 0.0)
    return _moved(readings[0][1], -max(growth.rate, 0.0) * grown, growth)


def _moved(size, step, growth):
    level = scale_without_checks(size / growth.reference, growth.exponent) + step
    return float(growth.reference * unscale_without_checks(level, growth.exponent))


def _habit_point(habit: Habit, growth: Growth, rules: CutRules) -> PlanPoint:
    """What the habit gives in a steady state. A frag takes what it takes in the plan, or the two would not compare."""
    frags = (habit.before - habit.after) / rules.frag_unit.mean

    def days(rate):
        return float(max(growth.days(habit.after, habit.before, rate) + growth.lag_days, rules.rest_days, 1.0))

    slow = max(growth.rate - 1.2816 * growth.rate_deviation, 0.05 * growth.rate)
    fast = growth.rate + 1.2816 * growth.rate_deviation
    middle, low, high = (frags * DAYS_A_YEAR / days(rate) for rate in (growth.rate, slow, fast))
    return PlanPoint(
        habit.before,
        habit.after,
        1 - habit.after / habit.before,
        max(round(frags), 1),
        days(growth.rate),
        middle,
        low,
        high,
    )


def _limits(best: PlanPoint, rules: CutRules, top: float, top_words: str, unit: Unit) -> list[str]:
    """What keeps the best from being better."""
    found = []
    unit_size = rules.frag_unit.mean
    if best.cut_at >= 0.99 * top:
        found.append(top_words)
    if best.cut_to - unit_size < rules.keep_at_least:
        found.append(f"At least {in_words(unit, rules.keep_at_least)} of it must stay.")
    if best.share_removed + unit_size / best.cut_at > rules.largest_share:
        found.append(f"No cut takes more than {rules.largest_share:.0%} of it.".replace("%", " %"))
    if best.days <= rules.rest_days + 0.5:
        found.append(f"It rests {rules.rest_days:.0f} days after each cut.")
    if best.frags == rules.fewest_frags and rules.fewest_frags > 1:
        found.append(f"A cut is worth while from {rules.fewest_frags} frags on.")
    return found or ["Its growth alone: larger or smaller cuts both give less."]


def told_plan(plan: ColonyPlan) -> dict:
    """A plan in plain values; sizes in the unit of the measure."""
    return {
        "tag": plan.colony.tag,
        "lineage": plan.colony.lineage.name,
        "measure": plan.measure,
        "unit": Measure(plan.measure).unit,
        "best": _told_point(plan.best),
        "habit": _told_point(plan.habit),
        "curve": [_told_point(point) for point in plan.plan.curve],
        "because": because_words(plan),
    }


def because_words(plan: ColonyPlan) -> str:
    """All there is to say of a plan, as one text."""
    if plan.best is None:
        return " ".join(plan.because)
    return " ".join(
        filter(None, [plan.best_words, plan.habit_words if plan.habit else "", plan.gain_words, *plan.limits])
    )


def _told_point(point: PlanPoint | None):
    if point is None:
        return None
    return {
        "cut_at": round(point.cut_at, 2),
        "cut_to": round(point.cut_to, 2),
        "share_removed": round(point.share_removed, 4),
        "frags": point.frags,
        "days": round(point.days, 1),
        "frags_a_year": round(point.frags_a_year, 2),
        "low": round(point.low, 2),
        "high": round(point.high, 2),
    }
