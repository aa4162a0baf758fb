"""How the water of each system stands: the latest tests against their limits, and how far values swung."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import OuterRef, Q, Subquery

from propagation.dates import day_in_words
from propagation.lengths import plain
from propagation.models import System, WaterParameter, WaterRange, WaterTest
from propagation.models.water import USUAL_LIMITS, WaterLimits

# A test that is older says nothing of the water of today.
COUNTS_FOR_DAYS = 30

OF_SYSTEM, OF_ALL, USUAL = "system", "all", "usual"


def with_unit(value: Decimal, parameter: str) -> str:
    """E.g. ``8.2 dKH``, ``8.1`` for pH."""
    return f"{plain(value)} {WaterParameter(parameter).unit}".strip()


@dataclass(frozen=True)
class KeptLimits:
    """The limits that hold for a parameter in a system, and whose they are: ``system``, ``all`` or ``usual``."""

    limits: WaterLimits
    whose: str

    @property
    def words(self) -> str:
        return {OF_SYSTEM: "set for this system", OF_ALL: "set for all systems", USUAL: "usual for stony corals"}[
            self.whose
        ]


@dataclass(frozen=True)
class ParameterNow:
    """One parameter of a system as its latest standing test shows it; without a test only its limits.

    ``swing`` is the largest minus the smallest value within ``swing_days`` up to that test, taken from
    ``swing_since`` on.
    """

    parameter: WaterParameter
    kept: KeptLimits
    value: Decimal | None = None
    taken_on: date | None = None
    swing: Decimal = Decimal(0)
    swing_since: date | None = None

    @property
    def limits(self) -> WaterLimits:
        return self.kept.limits

    @property
    def is_low(self) -> bool:
        return self.value is not None and self.value < self.limits.low

    @property
    def is_high(self) -> bool:
        return self.value is not None and self.value > self.limits.high

    @property
    def is_swinging(self) -> bool:
        return self.swing > self.limits.largest_swing

    @property
    def is_out(self) -> bool:
        return self.is_low or self.is_high or self.is_swinging

    def counts_on(self, day: date) -> bool:
        return self.taken_on is not None and day - timedelta(days=COUNTS_FOR_DAYS) <= self.taken_on <= day

    @property
    def in_words(self) -> str:
        """E.g. ``alkalinity is low and swings``; empty while all is well."""
        words = [word for word, holds in (("is low", self.is_low), ("is high", self.is_high)) if holds]
        words += ["swings"] if self.is_swinging else []
        return f"{_in_a_sentence(self.parameter)} {' and '.join(words)}" if words else ""

    def worries(self, system: str) -> list[str]:
        """What is wrong with it in a system, in whole sentences."""
        sentences = []
        name, shown = self.parameter.label, self.value is not None and with_unit(self.value, self.parameter)
        if self.is_low or self.is_high:
            bound = f"below {plain(self.limits.low)}" if self.is_low else f"above {plain(self.limits.high)}"
            sentences.append(f"{name} is {shown} in {system}, {bound} (tested {day_in_words(self.taken_on)}).")
        if self.is_swinging:
            days = (self.taken_on - self.swing_since).days
            within = f"within {days} day{'s' if days != 1 else ''}" if days else "within a day"
            sentences.append(
                f"{name} moved by {with_unit(self.swing, self.parameter)} {within} in {system}, more than "
                f"{plain(self.limits.largest_swing)} (up to {day_in_words(self.taken_on)})."
            )
        return sentences


def _in_a_sentence(parameter: WaterParameter) -> str:
    return parameter.label if parameter == WaterParameter.PH else parameter.label.lower()


class KeepersLimits:
    """The limits of every parameter in every system; the keeper's own come first. One query."""

    def __init__(self):
        self._ranges = {(each.system_id, each.parameter): each.limits for each in WaterRange.objects.all()}

    def of(self, system_id: int | None, parameter: str) -> KeptLimits:
        if system_id is not None and (system_id, parameter) in self._ranges:
            return KeptLimits(self._ranges[system_id, parameter], OF_SYSTEM)
        if (None, parameter) in self._ranges:
            return KeptLimits(self._ranges[None, parameter], OF_ALL)
        return KeptLimits(USUAL_LIMITS[WaterParameter(parameter)], USUAL)

    @property
    def longest_swing_days(self) -> int:
        return max(limits.swing_days for limits in (*USUAL_LIMITS.values(), *self._ranges.values()))


def _judged(parameter: str, kept: KeptLimits, tests) -> ParameterNow:
    """``tests`` are ``(day, value)`` of one parameter in one system, the latest first; at least one."""
    latest_on, value = tests[0]
    earliest = latest_on - timedelta(days=kept.limits.swing_days)
    window = [(day, each) for day, each in tests if day >= earliest]
    values = [each for _, each in window]
    low_on, high_on = (next(day for day, each in window if each == bound) for bound in (min(values), max(values)))
    return ParameterNow(
        WaterParameter(parameter),
        kept,
        value=value,
        taken_on=latest_on,
        swing=max(values) - min(values),
        swing_since=min(low_on, high_on),
    )


@dataclass(frozen=True)
class WaterNow:
    """The water of one system that runs: its parameters with a test that counts."""

    system_id: int
    system: str
    parameters: list[ParameterNow]

    @property
    def out(self) -> list[ParameterNow]:
        return [each for each in self.parameters if each.is_out]

    @property
    def tested_on(self) -> date:
        return max(each.taken_on for each in self.parameters)

    @property
    def worries(self) -> list[str]:
        return [sentence for each in self.out for sentence in each.worries(self.system)]


def water_now(day: date) -> list[WaterNow]:
    """The water of every system that runs on a day and was tested in the last 30 days. Two queries."""
    kept = KeepersLimits()
    since = day - timedelta(days=COUNTS_FOR_DAYS + kept.longest_swing_days)
    rows = (
        WaterTest.objects.standing()
        .filter(Q(system__ended_on=None) | Q(system__ended_on__gt=day), taken_on__range=(since, day))
        .order_by("system__name", "-taken_on", "-id")
        .values_list("system", "system__name", "parameter", "taken_on", "value")
    )
    names, tests = {}, defaultdict(list)
    for system, name, parameter, taken_on, value in rows:
        names[system] = name
        tests[system, parameter].append((taken_on, value))
    waters = []
    for system, name in names.items():
        judged = [
            _judged(parameter, kept.of(system, parameter), tests[system, parameter])
            for parameter in WaterParameter
            if (system, parameter) in tests
        ]
        counting = [each for each in judged if each.counts_on(day)]
        if counting:
            waters.append(WaterNow(system, name, counting))
    return waters


def water_worries(day: date) -> dict[int, list[str]]:
    """What is wrong with the water of each system on a day: its id, and sentences. Two queries.

    Only standing tests of the last 30 days count, and only what is wrong is named.
    """
    return {water.system_id: water.worries for water in water_now(day) if water.out}


def water_of(system: System, day: date) -> list[ParameterNow]:
    """Every parameter of one system with its latest standing test up to a day, however old. Three queries."""
    kept = KeepersLimits()
    newest = WaterTest.objects.standing().filter(system=system, parameter=OuterRef("parameter"), taken_on__lte=day)
    latest = dict(
        WaterTest.objects.filter(
            system=system, pk=Subquery(newest.order_by("-taken_on", "-id").values("pk")[:1])
        ).values_list("parameter", "taken_on")
    )
    windows = Q(pk=None)
    for parameter, taken_on in latest.items():
        days = timedelta(days=kept.of(system.pk, parameter).limits.swing_days)
        windows |= Q(parameter=parameter, taken_on__range=(taken_on - days, taken_on))
    tests = defaultdict(list)
    rows = WaterTest.objects.standing().filter(windows, system=system).order_by("-taken_on", "-id")
    for parameter, taken_on, value in rows.values_list("parameter", "taken_on", "value"):
        tests[parameter].append((taken_on, value))
    shown = []
    for parameter in WaterParameter:
        limits = kept.of(system.pk, parameter)
        of_it = tests.get(parameter)
        shown.append(_judged(parameter, limits, of_it) if of_it else ParameterNow(parameter, limits))
    return shown


def tests_of(system: System):
    """The standing tests of a system, the latest first: a queryset."""
    return WaterTest.objects.standing().filter(system=system).order_by("-taken_on", "-id")


def course_of(system: System, parameter: str, *, most: int = 200) -> list[tuple[date, Decimal]]:
    """The last tests of one parameter as ``(day, value)``, the earliest first. One query."""
    rows = tests_of(system).filter(parameter=parameter).values_list("taken_on", "value")[:most]
    return list(reversed(rows))
