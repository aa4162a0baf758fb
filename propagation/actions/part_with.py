"""Plugs that leave: sold, traded or given away. Money and people stand on the inventory floor."""

from datetime import date

from django.db import IntegrityError, transaction
from simple_history.utils import bulk_update_with_history

from propagation.actions.days import check_day
from propagation.errors import AlreadyDone, BadValue, PlugGone
from propagation.models import Fate, Plug, Spot

LEFT = (Fate.SOLD, Fate.TRADED, Fate.GIVEN)


@transaction.atomic
def part_with(*, plugs, fate: str, on: date, today: date, by=None) -> list[Plug]:
    """Record that plugs left on a day. Their cells become free.

    Raises PlugGone for one that is no longer kept, BadDate, and BadValue for a fate that is not a leaving.
    """
    if fate not in LEFT:
        raise BadValue(f"“{fate}” is no way to leave; use one of {', '.join(LEFT)}.", field="fate")
    locked = list(Plug.objects.select_for_update().filter(pk__in=[plug.pk for plug in plugs]).order_by("pk"))
    for plug in locked:
        if not plug.is_kept:
            raise PlugGone(plug, Fate(fate).label.lower())
        check_day(
            on, today=today, what=f"Parting with {plug.code_in_clear}", not_before=plug.began_on, because="it came"
        )
        plug.fate, plug.ended_on = fate, on
        plug.rack = plug.rack_row = plug.rack_column = None
    bulk_update_with_history(locked, Plug, ["fate", "ended_on", "rack", "rack_row", "rack_column"], default_user=by)
    return locked


@transaction.atomic
def take_back_parting(*, plug: Plug, by=None) -> Plug:
    """The plug did not leave after all: it is kept again, in the cell it left if that is still free, else on no rack.

    Its history keeps what was written. Raises AlreadyDone if it is not among those that left, or if it came back and
    that was recorded.
    """
    plug = Plug.objects.select_for_update().get(pk=plug.pk)
    if plug.fate not in LEFT:
        raise AlreadyDone(f"Plug {plug.code_in_clear} is {plug.get_fate_display().lower()}; there is nothing to undo.")
    if plug.returns.exists():
        raise AlreadyDone(
            f"Plug {plug.code_in_clear} left and came back as an acquisition, so its leaving stays. "
            "Put the acquisition right instead."
        )
    plug.fate, plug.ended_on = Fate.KEPT, None
    plug._history_user = by
    plug.rack, plug.rack_row, plug.rack_column = _place_it_left(plug)
    fields = ["fate", "ended_on", "rack", "rack_row", "rack_column"]
    try:
        with transaction.atomic():
            plug.save(update_fields=fields)
    except IntegrityError:  # another plug was stood there in this very moment
        plug.rack = plug.rack_row = plug.rack_column = None
        plug.save(update_fields=fields)
    return plug


def _place_it_left(plug: Plug) -> tuple[Spot | None, int | None, int | None]:
    """Where it stood when it left, if that is still a free place of a rack in a running system. Three queries."""
    nowhere = None, None, None
    before = plug.history.filter(fate=Fate.KEPT).order_by("-history_id").values_list("rack", "rack_row", "rack_column")
    rack_id, row, column = before.first() or nowhere
    rack = Spot.objects.racks().in_running_systems().select_related("system").filter(pk=rack_id).first()
    if rack is None:
        return nowhere
    if row is None:
        return rack, None, None
    is_taken = Plug.objects.kept().filter(rack=rack, rack_row=row, rack_column=column).exists()
    if is_taken or row > rack.rack_rows or column > rack.rack_columns:
        return nowhere
    return rack, row, column
