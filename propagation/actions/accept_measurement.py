"""What was measured in a photo becomes sizes in the records, or is taken back from them."""

from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from django.db import transaction
from django.utils import timezone

from propagation.actions.sort_photo import locked_photo, refuse_measured, refuse_unfit, save_photo
from propagation.actions.take_size import correct_size, strike_size, take_size
from propagation.errors import BadValue, MeasurementDoubtful
from propagation.models import Measure, Method, Photo, PhotoMeasurement, SizeReading

HUNDREDTH = Decimal("0.01")
MM2_IN_A_CM2 = 100
MOST_RELATIVE_ERROR = Decimal("999.99")  # as it is stored, in percent
READINGS = ("area_reading", "longest_reading")


@transaction.atomic
def accept_measurement(
    *, measurement: PhotoMeasurement, today: date, confirmed: bool = False, by=None
) -> PhotoMeasurement:
    """Take the area and the longest diameter that were measured into the records, with their uncertainties.

    If another measurement of the photo was accepted before, its sizes are corrected and their histories keep what they
    were; nothing is doubled. With ``confirmed=False`` MeasurementDoubtful is raised for one with doubts, and
    UnlikelySize for a size far from the one before.

    Raises AlreadyDone for a photo set aside, BadValue for one that shows nothing known or has no outline, BadDate.
    """
    photo = locked_photo(measurement.photo)
    measurement = PhotoMeasurement.objects.select_related(*READINGS).get(pk=measurement.pk)
    measurement.photo = photo
    if measurement.accepted_at:
        return measurement
    refuse_unfit(photo)
    if measurement.outline is None:
        raise BadValue(f"{photo} has no outline yet. Draw one around the coral.")
    if measurement.doubts and not confirmed:
        raise MeasurementDoubtful(measurement.doubts)
    earlier = photo.measurements.filter(accepted_at__isnull=False).select_related(*READINGS).first()
    readings = {name: getattr(earlier, name, None) for name in READINGS}
    if earlier is not None:
        _let_go(earlier)
    measurement.area_reading = _take(
        readings["area_reading"],
        photo,
        Measure.AREA,
        measurement.area_mm2 / MM2_IN_A_CM2,
        measurement.area_sd_mm2 / measurement.area_mm2,
        today=today,
        confirmed=confirmed,
        by=by,
    )
    measurement.longest_reading = _take(
        readings["longest_reading"],
        photo,
        Measure.DIAMETER,
        measurement.longest_mm,
        measurement.longest_sd_mm / measurement.longest_mm,
        today=today,
        confirmed=confirmed,
        by=by,
    )
    measurement.accepted_at = timezone.now()
    measurement.save(update_fields=["accepted_at", *READINGS])
    photo.reviewed_at = measurement.accepted_at
    save_photo(photo, "reviewed_at", by=by)
    return measurement


@transaction.atomic
def take_back_measurement(*, photo: Photo, by=None) -> Photo:
    """Take the sizes that were measured in a photo out of the records again, and have it reviewed anew.

    Their histories stay. A photo that was kept as a picture alone is reviewed anew too.
    """
    photo = locked_photo(photo)
    accepted = photo.measurements.filter(accepted_at__isnull=False).select_related(*READINGS).first()
    if accepted is not None:
        readings = [getattr(accepted, name) for name in READINGS]
        _let_go(accepted)
        for reading in readings:
            if reading is not None:
                strike_size(reading=reading, by=by)
    if photo.reviewed_at is None:
        return photo
    photo.reviewed_at = None
    return save_photo(photo, "reviewed_at", by=by)


@transaction.atomic
def keep_as_picture(*, photo: Photo, by=None) -> Photo:
    """Keep a photo of something known without taking sizes from it. Raises AlreadyDone, BadValue."""
    photo = locked_photo(photo)
    refuse_measured(photo, "keep it as a picture")
    if photo.reviewed_at:
        return photo
    refuse_unfit(photo)
    photo.reviewed_at = timezone.now()
    return save_photo(photo, "reviewed_at", by=by)


def _let_go(measurement: PhotoMeasurement) -> None:
    measurement.accepted_at = measurement.area_reading = measurement.longest_reading = None
    measurement.save(update_fields=["accepted_at", *READINGS])


def _take(reading, photo: Photo, measure: str, value: float, relative: float, *, today, confirmed, by) -> SizeReading:
    """The size in the records: a new one, or the one that was there put right."""
    value = Decimal(value).quantize(HUNDREDTH, ROUND_HALF_UP)
    percent = min(max(Decimal(100 * relative).quantize(HUNDREDTH, ROUND_HALF_UP), HUNDREDTH), MOST_RELATIVE_ERROR)
    told = {
        "value": value,
        "measure": measure,
        "on": photo.taken_on,
        "today": today,
        "method": Method.PHOTO,
        "relative_error": percent,
        "confirmed": confirmed,
        "by": by,
    }
    if reading is not None:
        return correct_size(reading=reading, **told)
    return take_size(colony=photo.colony, plug=photo.plug, **told)
