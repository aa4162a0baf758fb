"""Water tests: recording those of a day, taking one back, and what should hold for a parameter."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

from django.db import IntegrityError, transaction
from django.utils import timezone

from propagation.actions.changes import refuse_changed
from propagation.actions.days import check_day
from propagation.dates import day_in_words
from propagation.errors import AlreadyDone, BadValue, ChangedMeanwhile, RowErrors, UnlikelyTests
from propagation.lengths import plain
from propagation.models import System, WaterParameter, WaterRange, WaterTest
from propagation.models.water import USUAL_LIMITS

THOUSANDTH = Decimal("0.001")
LARGEST = Decimal(99_999)  # what the table holds
LONGEST_NOTE = WaterTest._meta.get_field("note").max_length
# More than this many times the last test, or less than this part of it, asks before it is saved. Common practice, no
# source: a slip of the point is 10, and no water of a reef moves so far.
UNLIKELY_TIMES = Decimal(6)
COMPARED_WITH_DAYS = 60  # an older test is no measure of what is likely
LARGEST_SWING_DAYS = 60  # as in the table


@dataclass(frozen=True)
class Slip:
    """A way to write a value wrongly: in another unit, or with the point elsewhere."""

    what: str
    meant: Callable[[Decimal], Decimal]


def _times(factor, what) -> Slip:
    return Slip(what, lambda value: value * factor)


POINT = [_times(Decimal(10) ** power, "the point is elsewhere") for power in (-1, 1, -2, 2, -3, 3)]
# How a value of one parameter comes to be written in another unit.
UNITS = {
    WaterParameter.TEMPERATURE: [Slip("in °F", lambda value: (value - 32) / Decimal("1.8"))],
    # Specific gravity at 25 °C over fresh water at 25 °C: 1.0264 at 35 PSU by the equation of state (TEOS-10; computed
    # with gsw). It is close to linear about there.
    WaterParameter.SALINITY: [Slip("a specific gravity", lambda value: (value - 1) * 35 / Decimal("0.02637"))],
    # One degree of German hardness is 17.85 mg/L of calcium carbonate, one meq/L is 2.804 degrees (molar masses).
    WaterParameter.ALKALINITY: [
        _times(1 / Decimal("17.85"), "in ppm of calcium carbonate"),
        _times(Decimal("2.804"), "in meq/L"),
    ],
    WaterParameter.CALCIUM: [_times(Decimal("0.4004"), "in ppm of calcium carbonate")],  # molar masses
    WaterParameter.PHOSPHATE: [_times(Decimal("0.001"), "in ppb")],
}
# What a tank with stony corals may show at all; outside of it the act asks. Common practice, no source.
BELIEVABLE = {
    WaterParameter.TEMPERATURE: (Decimal(15), Decimal(34)),
    WaterParameter.SALINITY: (Decimal(25), Decimal(42)),
    WaterParameter.ALKALINITY: (Decimal(4), Decimal(18)),
    WaterParameter.CALCIUM: (Decimal(250), Decimal(650)),
    WaterParameter.MAGNESIUM: (Decimal(800), Decimal(2000)),
    WaterParameter.NITRATE: (Decimal(0), Decimal(120)),
    WaterParameter.PHOSPHATE: (Decimal(0), Decimal(2)),
    WaterParameter.PH: (Decimal("7.2"), Decimal("8.9")),
}
HIGHEST_PH = Decimal(14)


@transaction.atomic
def record_water_tests(
    *,
    system: System,
    values: Mapping[str, Decimal],
    on: date,
    today: date,
    note: str = "",
    confirmed: bool = True,
    by=None,
) -> list[WaterTest]:
    """Record what was measured in the water of a system on a day: values by parameter, in the units they are stored in.

    Returns the tests, in the order of the parameters. One that is recorded already with that value on that day is
    returned and not made again, so a form sent twice makes nothing twice. With ``confirmed=False`` values that are
    likelier a slip raise UnlikelyTests, which tells what may have been meant.

    Raises BadValue for nothing measured or a note too long, BadDate, RowErrors (column is the parameter) for values
    that cannot be.
    """
    if not values:
        raise BadValue("Give at least one value: nothing was measured.")
    if len(note) > LONGEST_NOTE:
        raise BadValue(f"The note has {len(note)} characters; {LONGEST_NOTE} fit.", field="note")
    check_day(
        on, today=today, what=f"A water test of {system}", not_before=system.started_on, because="the system started"
    )
    if system.ended_on is not None and on > system.ended_on:
        raise BadValue(
            f"{system} ended on {day_in_words(system.ended_on)}, so its water was not tested on {day_in_words(on)}.",
            field="day",
        )
    wrong = [(1, parameter, problem) for parameter, value in values.items() if (problem := _problem(parameter, value))]
    if wrong:
        raise RowErrors(wrong)
    measured = {parameter: values[parameter] for parameter in WaterParameter if parameter in values}
    if not confirmed and (unlikely := _unlikely(system, measured, on=on)):
        raise UnlikelyTests(unlikely)
    same_day = WaterTest.objects.standing().filter(system=system, taken_on=on)
    measured = {parameter: value.quantize(THOUSANDTH, ROUND_HALF_UP) for parameter, value in measured.items()}
    known = {(test.parameter, test.value): test for test in same_day}
    return [
        known.get((parameter, value))
        or WaterTest.objects.create(
            system=system, parameter=parameter, taken_on=on, value=value, note=note, recorded_by=by
        )
        for parameter, value in measured.items()
    ]


def _problem(parameter: str, value: Decimal) -> str:
    if parameter not in WaterParameter.values:
        return f"“{parameter}” is not tested for; use one of {', '.join(WaterParameter.values)}."
    name = WaterParameter(parameter).label
    if not value.is_finite() or value < 0:
        return f"{name} cannot be {value}; it is nothing or more."
    if value > LARGEST:
        return f"{name} of {plain(value)} cannot be right; is the point in its place?"
    if parameter == WaterParameter.PH and value > HIGHEST_PH:
        return f"pH runs from 0 to {HIGHEST_PH}; {plain(value)} cannot be right."
    return ""


def _unlikely(system, measured, *, on: date) -> list[tuple[str, str, Decimal | None]]:
    """The values that are likelier a slip: ``(parameter, sentence, what may have been meant)``. One query."""
    last = {}
    before = WaterTest.objects.standing().filter(system=system, parameter__in=measured)
    for test in before.filter(taken_on__range=(on - timedelta(days=COMPARED_WITH_DAYS), on)).order_by("taken_on", "id"):
        last[test.parameter] = test
    found = []
    for parameter, value in measured.items():
        low, high = BELIEVABLE[parameter]
        shown, earlier = _shown(value, parameter), last.get(parameter)
        if not low <= value <= high:
            why = f"{parameter.label} of {shown} is far from what corals live in."
        elif earlier and earlier.value > 0 and not _near(value, earlier.value, UNLIKELY_TIMES):
            larger = value > earlier.value
            times = value / earlier.value if larger else earlier.value / value if value else None
            why = (
                f"{parameter.label} of {shown} is {f'{times:.0f} times ' if times else 'much '}"
                f"{'more' if larger else 'less'} than the {_shown(earlier.value, parameter)} of "
                f"{day_in_words(earlier.taken_on)}."
            )
        else:
            continue
        likely, what = _meant(parameter, value, earlier)
        hint = f" Did you mean {_shown(likely, parameter)} ({what})?" if likely is not None else ""
        found.append((parameter, f"{why}{hint}", likely))
    return found


def _meant(parameter, value, earlier) -> tuple[Decimal | None, str]:
    """What may have been meant and how it came to be written otherwise: another unit before another place of the point.

    It must be near the last test or, without one, within the usual limits.
    """
    usual = USUAL_LIMITS[parameter]
    for slip in (*UNITS.get(parameter, ()), *POINT):
        meant = slip.meant(value)
        if earlier and earlier.value > 0:
            fits = meant > 0 and _near(meant, earlier.value, Decimal("1.5"))
        else:
            fits = usual.low <= meant <= usual.high
        if fits:
            places = max(0, 3 - len(str(int(meant)))) if meant >= 1 else 3
            return meant.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP), slip.what
    return None, ""


def _near(value, other, times) -> bool:
    return other / times <= value <= other * times


def _shown(value, parameter) -> str:
    return f"{plain(value)} {WaterParameter(parameter).unit}".strip()


@transaction.atomic
def take_back_water_test(*, test: WaterTest, by=None) -> WaterTest:
    """A test was entered by mistake: it no longer counts; who took it back and when stays. Raises AlreadyDone."""
    test = WaterTest.objects.select_for_update().get(pk=test.pk)
    if test.withdrawn_at is not None:
        raise AlreadyDone("This water test was taken back before.")
    test.withdrawn_at, test.withdrawn_by = timezone.now(), by
    test.save(update_fields=["withdrawn_at", "withdrawn_by"])
    return test


@transaction.atomic
def keep_water_range(
    *,
    parameter: str,
    low: Decimal,
    high: Decimal,
    largest_swing: Decimal,
    swing_days: int,
    system: System | None = None,
    based_on: int | None = None,
    by=None,
) -> WaterRange:
    """Say between what a parameter should lie, and how far it may swing; without a system for all of them.

    Raises BadValue, and ChangedMeanwhile if ``based_on`` is not its last change (0 for none kept yet).
    """
    if parameter not in WaterParameter.values:
        raise BadValue(f"“{parameter}” is not tested for; use one of {', '.join(WaterParameter.values)}.")
    name = WaterParameter(parameter).label
    for field, value in (("low", low), ("high", high), ("largest_swing", largest_swing)):
        if not value.is_finite() or value < 0 or value > LARGEST:
            raise BadValue(f"{name} cannot be {value}; give a number from 0 to {LARGEST}.", field=field)
    low, high, largest_swing = (each.quantize(THOUSANDTH, ROUND_HALF_UP) for each in (low, high, largest_swing))
    if low >= high:
        raise BadValue(
            f"At most must be more than at least; {plain(high)} is not more than {plain(low)}.", field="high"
        )
    if largest_swing <= 0:
        raise BadValue(
            "The largest swing must be more than nothing, or every test would be too far off.", "largest_swing"
        )
    if not 1 <= swing_days <= LARGEST_SWING_DAYS:
        raise BadValue(f"A swing is looked for within 1 to {LARGEST_SWING_DAYS} days.", field="swing_days")
    kept = WaterRange.objects.order_by("pk").select_for_update().filter(parameter=parameter, system=system).first()
    if kept is None:
        kept = WaterRange(parameter=parameter, system=system)
    else:
        refuse_changed(kept, based_on=based_on, what=f"What {name.lower()} should be")
    kept.low, kept.high, kept.largest_swing, kept.swing_days = low, high, largest_swing, swing_days
    kept._history_user = by
    try:
        with transaction.atomic():
            kept.save()
    except IntegrityError as error:  # the first limits, set by two at once
        raise ChangedMeanwhile(f"What {name.lower()} should be") from error
    return kept


@transaction.atomic
def drop_water_range(*, kept: WaterRange, by=None) -> None:
    """Go back to the limits for all systems, or to the usual ones. Its history stays. Raises AlreadyDone."""
    locked = WaterRange.objects.order_by("pk").select_for_update().filter(pk=kept.pk).first()
    if locked is None:
        raise AlreadyDone("These limits were given up before.")
    locked._history_user = by
    locked.delete()
