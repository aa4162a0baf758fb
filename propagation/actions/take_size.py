from datetime import date
from decimal import Decimal

from django.db import transaction

from propagation.actions.days import check_day
from propagation.errors import BadValue
from propagation.models import Colony, Measure, Method, Plug, SizeReading


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
    by=None,
) -> SizeReading:
    """Record a measured size of a colony or a plug. Raises BadDate, BadValue."""
    if (colony is None) == (plug is None):
        raise BadValue("A size is of one colony or of one plug.")
    measured = colony or plug
    if measure not in Measure.values:
        raise BadValue(f"“{measure}” is no measure; use one of {', '.join(Measure.values)}.", field="measure")
    if value <= 0:
        raise BadValue(f"A size must be more than nothing, not {value:f}.", field="value")
    if value >= 10**8:
        raise BadValue(f"A size of {value:f} cannot be right.", field="value")
    if measure == Measure.POLYPS and value != value.to_integral_value():
        raise BadValue(f"Polyps are counted whole; {value:f} cannot be right.", field="value")
    check_day(on, today=today, what=f"Measuring {measured}", not_before=measured.began_on, because="it began")
    if measured.ended_on is not None and on > measured.ended_on:
        raise BadValue(f"{measured} ended on {measured.ended_on}, so it was not measured on {on}.", field="day")
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
    reading._history_user = by
    reading.save()
    if plug is not None and measure == Measure.DIAMETER and value < 10_000:
        plug.size_mm = value
        plug._history_user = by
        plug.save(update_fields=["size_mm"])
    return reading
