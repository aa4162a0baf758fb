"""What was measured in a photo, beside the size that was known before."""

from dataclasses import dataclass
from datetime import date

from propagation.models import Measure, Photo, PhotoMeasurement, SizeReading

MM2_IN_A_CM2 = 100


@dataclass(frozen=True)
class SizeBeside:
    """One measured size with its uncertainty (one standard deviation), and the last one before it if there is one."""

    measure: str
    value: float
    sd: float
    before: float | None = None
    before_on: date | None = None

    @property
    def change(self) -> float | None:
        """By how much it changed, as a share of what it was."""
        return self.value / self.before - 1 if self.before else None


def sizes_beside(photo: Photo, measured: PhotoMeasurement | None) -> list[SizeBeside]:
    """Area (cm²) and longest diameter (mm) beside the last readings of the same measure up to the photo's day.

    One query; none for what was not measured.
    """
    if measured is None or not measured.outline:
        return []
    seen = [
        (Measure.AREA, measured.area_mm2 / MM2_IN_A_CM2, measured.area_sd_mm2 / MM2_IN_A_CM2),
        (Measure.DIAMETER, measured.longest_mm, measured.longest_sd_mm),
    ]
    before = {}
    if photo.shows is not None:
        own = [pk for pk in (measured.area_reading_id, measured.longest_reading_id) if pk]
        of_it = {"colony": photo.colony} if photo.colony_id else {"plug": photo.plug}
        earlier = SizeReading.objects.filter(
            **of_it, measure__in=[measure for measure, *_ in seen], taken_on__lte=photo.taken_on
        ).exclude(pk__in=own)
        for reading in earlier.order_by("taken_on", "pk"):
            before[reading.measure] = reading
    return [
        SizeBeside(
            measure=measure,
            value=value,
            sd=sd,
            before=float(before[measure].value) if measure in before else None,
            before_on=before[measure].taken_on if measure in before else None,
        )
        for measure, value, sd in seen
    ]
