"""Systems and their spots."""

from datetime import date

from django.db import IntegrityError, transaction
from django.db.models import Min, Q

from propagation.actions.changes import refuse_changed
from propagation.actions.days import check_day
from propagation.dates import day_in_words
from propagation.errors import BadDate, BadValue, NameTaken
from propagation.models import Plug, Spot, System

MOST_NAMED = 5  # plugs named in a sentence before it says "and … more"


@transaction.atomic
def keep_system(*, system: System, today: date, based_on: int | None = None, by=None) -> System:
    """Save a new system, or its changed name, first day and note.

    Raises BadDate if something happened in it before its first day, NameTaken, ChangedMeanwhile.
    """
    system.name = " ".join(system.name.split())
    if not system.name:
        raise BadValue("Give the system a name.", field="name")
    check_day(system.started_on, today=today, what=f"The start of {system.name}")
    if system.pk:
        stored = System.objects.select_for_update().get(pk=system.pk)
        refuse_changed(stored, based_on=based_on, what=f"The system {stored.name}")
        _check_start(system)
    system._history_user = by
    try:
        with transaction.atomic():
            system.save()
    except IntegrityError as error:
        other = System.objects.filter(name__iexact=system.name).exclude(pk=system.pk).first()
        if other is None:
            raise
        raise NameTaken("system", other) from error
    return system


def _check_start(system: System) -> None:
    began = system.started_on
    if system.ended_on is not None and began > system.ended_on:
        raise BadDate(
            f"{system.name} ended on {day_in_words(system.ended_on)}, so it cannot begin on {day_in_words(began)}.",
            field="day",
        )
    old = system.succeeds
    if old is not None and began <= old.started_on:
        raise BadDate(
            f"{system.name} is a restart of {old}, which began on "
            f"{day_in_words(old.started_on)}; it begins after that day.",
            field="day",
        )
    new = System.objects.filter(succeeds=system).first()
    if new is not None and new.started_on <= began:
        raise BadDate(
            f"{new} is a restart of {system.name} and began on {day_in_words(new.started_on)}; this begins before.",
            field="day",
        )
    first = system.spots.aggregate(day=Min("placements__since"))["day"]
    if first is not None and first < began:
        raise BadDate(
            f"A colony stood in {system.name} on {day_in_words(first)}; it cannot begin later than that day.",
            field="day",
        )
    incident = system.incidents.aggregate(day=Min("opened_on"))["day"]
    if incident is not None and incident < began:
        raise BadDate(f"{system.name} has an incident of {incident}; it cannot begin later than that day.", field="day")


@transaction.atomic
def keep_spot(*, spot: Spot, based_on: int | None = None, by=None) -> Spot:
    """Save a new spot, or its changed name, coordinates, light and rack.

    Raises BadValue if plugs stand in cells that would go (it names them), NameTaken, ChangedMeanwhile.
    """
    spot.name = " ".join(spot.name.split())
    if not spot.name:
        raise BadValue("Give the spot a name.", field="name")
    if (spot.rack_rows is None) != (spot.rack_columns is None):
        raise BadValue("A rack needs both its rows and its columns.", field="rack_rows")
    if spot.pk:
        stored = Spot.objects.select_for_update().select_related("system").get(pk=spot.pk)
        refuse_changed(stored, based_on=based_on, what=f"The spot {stored}")
        _check_rack(spot)
    spot._history_user = by
    try:
        with transaction.atomic():
            spot.save()
    except IntegrityError as error:
        other = Spot.objects.filter(system=spot.system, name__iexact=spot.name).exclude(pk=spot.pk).first()
        if other is None:
            raise
        raise NameTaken(f"spot in {spot.system}", other, spot.name) from error
    return spot


def _check_rack(spot: Spot) -> None:
    """Refuse a rack that would shrink under its plugs, or that is no rack any more while plugs stand on it."""
    outside = Plug.objects.kept().filter(rack=spot)
    if spot.rack_rows is not None:
        outside = outside.filter(Q(rack_row__gt=spot.rack_rows) | Q(rack_column__gt=spot.rack_columns))
    outside = list(outside.order_by("rack_row", "rack_column", "pk"))
    if not outside:
        return
    named = ", ".join(
        f"{plug.code_in_clear} (row {plug.rack_row}, column {plug.rack_column})" if plug.rack_row else str(plug)
        for plug in outside[:MOST_NAMED]
    )
    more = f" and {len(outside) - MOST_NAMED} more" if len(outside) > MOST_NAMED else ""
    size = f"{spot.rack_rows} × {spot.rack_columns}" if spot.rack_rows else "no rack"
    raise BadValue(
        f"{spot.name} cannot become {size}: {named}{more} {'stands' if len(outside) == 1 else 'stand'} "
        "where nothing would be left. Move them first.",
        field="rack_rows",
    )
