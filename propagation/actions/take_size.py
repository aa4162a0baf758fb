from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import Q

from propagation.actions.changes import refuse_changed
from propagation.actions.days import check_day
from propagation.dates import day_in_words
from propagation.errors import AlreadyDone, BadValue, UnlikelySize
from propagation.lengths import plain, unit_of
from propagation.models import Colony, Measure, Method, PhotoMeasurement, Plug, Preferences, SizeReading

# More than this many times the last size, or less than this part of it, asks before it is saved. Common practice, no
# source: a slip of the point is 10, inches for millimetres 25.4, centimetres for millimetres 10.
UNLIKELY_TIMES = Decimal(6)
SLIPS = (Decimal(10), Decimal("25.4"), Decimal(100))
# Nobody keeps a larger one; as stored, by measure. Invented bounds against a slip of the thumb.
LARGEST = {
    Measure.BRANCH_LENGTH: Decimal(200_000),
    Measure.DIAMETER: Decimal(5_000),
    Measure.HEIGHT: Decimal(5_000),
    Measure.AREA: Decimal(250_000),
    Measure.POLYPS: Decimal(100_000),
    Measure.WEIGHT: Decimal(500_000),
}


@transaction.atomic
def take_size(
    *,
    value: Decimal,
    measure: str,
    on: date,
    today: date,
    colony: Colony | None = None,
    plug: Plug | None = None,
    method: str = Method.RULER,
    relative_error: Decimal | None = None,
    note: str = "",
    confirmed: bool = True,
    by=None,
) -> SizeReading:
    """Record a measured size of a colony or a plug, as it is stored (mm, cm, cm², g, polyps).

    With ``confirmed=False`` a size far from the one before raises UnlikelySize, which tells what may have been meant.
    Raises BadDate, BadValue.
    """
    reading = SizeReading(
        colony=colony,
        plug=plug,
        taken_on=on,
        measure=measure,
        value=value,
        method=method,
        relative_error=relative_error,
        note=note,
    )
    _check(reading, today=today)
    if not confirmed:
        _ask_if_unlikely(reading)
    _save(reading, by=by)
    return reading


@transaction.atomic
def correct_size(
    *,
    reading: SizeReading,
    value: Decimal,
    measure: str,
    on: date,
    today: date,
    method: str,
    relative_error: Decimal | None = None,
    note: str = "",
    confirmed: bool = True,
    based_on: int | None = None,
    by=None,
) -> SizeReading:
    """Put a wrong reading right; its history keeps what it was, who changed it and when.

    Without ``relative_error`` the uncertainty stays as it was.

    Raises AlreadyDone for a size that belongs to a cut or a photo (which is corrected instead), BadDate, BadValue,
    UnlikelySize, ChangedMeanwhile.
    """
    reading = _locked(reading, based_on=based_on)
    reading.value, reading.measure, reading.taken_on, reading.method, reading.note = value, measure, on, method, note
    if relative_error is not None:
        reading.relative_error = relative_error
    _check(reading, today=today)
    if not confirmed:
        _ask_if_unlikely(reading)
    _save(reading, by=by)
    return reading


@transaction.atomic
def strike_size(*, reading: SizeReading, based_on: int | None = None, by=None) -> None:
    """Take out a reading that was never right; its history stays. Raises AlreadyDone, ChangedMeanwhile."""
    reading = _locked(reading, based_on=based_on)
    reading._history_user = by
    reading.delete()


def _locked(reading: SizeReading, *, based_on) -> SizeReading:
    locked = SizeReading.objects.select_for_update().filter(pk=reading.pk).first()
    if locked is None:
        raise AlreadyDone("This size was struck out by somebody else already.")
    refuse_changed(locked, based_on=based_on, what="This size")
    if locked.cut_event_id is not None:
        raise AlreadyDone("This size was taken at a cut. Correct it in its cutting session, so that the two agree.")
    measured = PhotoMeasurement.objects.filter(Q(area_reading=locked) | Q(longest_reading=locked))
    photo = measured.values_list("photo__name", flat=True).first()
    if photo is not None:
        raise AlreadyDone(
            f"This size was measured in the photo “{photo}”. Mend its outline or take its sizes back there, so that "
            "the two agree."
        )
    return locked


def _check(reading: SizeReading, *, today: date) -> None:
    value, measure = reading.value, reading.measure
    if (reading.colony is None) == (reading.plug is None):
        raise BadValue("A size is of one colony or of one plug.")
    measured = reading.colony or reading.plug
    if measure not in Measure.values:
        raise BadValue(f"“{measure}” is no measure; use one of {', '.join(Measure.values)}.", field="measure")
    if reading.method not in Method.values:
        raise BadValue(f"“{reading.method}” is no method; use one of {', '.join(Method.values)}.", field="method")
    if not value.is_finite() or value <= 0:
        raise BadValue(f"A size must be more than nothing, not {plain(value)}.", field="value")
    if value > LARGEST[measure]:
        raise BadValue(
            f"A size of {plain(value)} {Measure(measure).unit} cannot be right; "
            f"at most {plain(LARGEST[measure])} {Measure(measure).unit} is taken.",
            field="value",
        )
    if measure == Measure.POLYPS and value != value.to_integral_value():
        raise BadValue(f"Polyps are counted whole; {plain(value)} cannot be right.", field="value")
    if value < Decimal("0.01"):
        raise BadValue(f"{plain(value)} is too small to be kept; is the measure right?", field="value")
    on = reading.taken_on
    check_day(on, today=today, what=f"Measuring {measured}", not_before=measured.began_on, because="it began")
    if measured.ended_on is not None and on > measured.ended_on:
        raise BadValue(
            f"{measured} ended on {day_in_words(measured.ended_on)}, so it was not measured on {day_in_words(on)}.",
            field="day",
        )


def _ask_if_unlikely(reading: SizeReading) -> None:
    """Raise UnlikelySize if the size is far from the nearest one before it (or after, if it is entered late)."""
    others = SizeReading.objects.filter(colony=reading.colony, plug=reading.plug, measure=reading.measure)
    others = others.exclude(pk=reading.pk)
    last = (
        others.filter(taken_on__lte=reading.taken_on).order_by("-taken_on", "-id").first()
        or others.order_by("taken_on", "id").first()
    )
    if last is None or last.value / UNLIKELY_TIMES <= reading.value <= last.value * UNLIKELY_TIMES:
        return
    larger = reading.value > last.value
    meant = [reading.value / slip if larger else reading.value * slip for slip in SLIPS]
    near = [size for size in meant if last.value / 2 <= size <= last.value * 2]
    likely = min(near, key=lambda size: abs(size / last.value - 1)).quantize(Decimal("0.01")) if near else None
    if reading.measure == Measure.POLYPS and likely is not None:
        likely = likely.to_integral_value()
    unit = unit_of(reading.measure, Preferences.current().length_unit)
    times = reading.value / last.value if larger else last.value / reading.value
    hint = f" Did you mean {unit.text(likely)}?" if likely else ""
    raise UnlikelySize(
        f"{unit.text(reading.value)} is {times:.0f} times {'more' if larger else 'less'} than the "
        f"{unit.text(last.value)} of {day_in_words(last.taken_on)}.{hint} Put it right, or confirm that it is so.",
        likely=likely,
    )


def _save(reading: SizeReading, *, by) -> None:
    reading._history_user = by
    reading.save()
    plug = reading.plug
    if plug is not None and reading.measure == Measure.DIAMETER:
        plug.size_mm = reading.value
        plug._history_user = by
        plug.save(update_fields=["size_mm"])
