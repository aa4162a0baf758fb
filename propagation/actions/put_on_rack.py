"""Where plugs stand."""

from dataclasses import dataclass

from django.db import IntegrityError, transaction
from simple_history.utils import bulk_update_with_history

from propagation.actions.check_healing import CELL_FIELDS, lock_plugs
from propagation.dates import day_in_words
from propagation.errors import BadValue, CellTaken, PlugGone
from propagation.models import Plug, Spot


@dataclass(frozen=True)
class Place:
    """Where a plug stands: on a rack in a cell, on a rack without one, or nowhere. Ids, so that a form can carry it."""

    plug: int
    rack: int | None = None
    row: int | None = None
    column: int | None = None


def free_cells(rack: Spot, *, count: int, start=(1, 1), leaving=()) -> list[tuple[Spot, int | None, int | None]]:
    """The next `count` places on a rack: free cells row by row, then on the rack without a cell. One query.

    ``start`` is the cell to begin with; behind the last one it goes on with the first. The cells of the plugs
    ``leaving`` (ids) count as free.
    """
    standing = Plug.objects.kept().filter(rack=rack, rack_row__isnull=False).exclude(pk__in=leaving)
    taken = set(standing.values_list("rack_row", "rack_column"))
    every = [
        (row, column)
        for row in range(1, (rack.rack_rows or 0) + 1)
        for column in range(1, (rack.rack_columns or 0) + 1)
    ]
    every.sort(key=lambda cell: cell < start)  # stable: those before the start come last
    cells = [(rack, *cell) for cell in every if cell not in taken][:count]
    return cells + [(rack, None, None)] * (count - len(cells))


def _locked_kept(plugs) -> list[Plug]:
    locked = lock_plugs(plugs)
    for plug in locked:
        if not plug.is_kept:
            raise PlugGone(plug, "moved")
    return sorted(locked, key=lambda plug: (plug.began_on, plug.pk))


def _check_rack(rack: Spot) -> None:
    if not rack.is_rack:
        raise BadValue(f"{rack} is not a rack; give it rows and columns first.", field="rack")
    if rack.system.ended_on is not None:
        raise BadValue(
            f"{rack.system} was taken down on {day_in_words(rack.system.ended_on)}; choose a rack of a running system.",
            field="rack",
        )


def _check_cell(rack: Spot, row: int, column: int, moving) -> None:
    """Refuse a cell outside of the rack or one in which a plug stands that stays."""
    if not (1 <= row <= rack.rack_rows and 1 <= column <= rack.rack_columns):
        raise BadValue(
            f"{rack} has {rack.rack_rows} rows and {rack.rack_columns} columns; "
            f"there is no row {row}, column {column}.",
            field="row",
        )
    there = Plug.objects.kept().filter(rack=rack, rack_row=row, rack_column=column)
    other = there.exclude(pk__in=[plug.pk for plug in moving]).first()
    if other is not None:
        raise CellTaken(
            f"Plug {other.code_in_clear} stands in row {row}, column {column} of {rack} already. Choose a free cell."
        )


@transaction.atomic
def put_on_rack(*, plugs, rack: Spot | None, row: int | None = None, column: int | None = None, by=None) -> list[Plug]:
    """Stand plugs on a rack, from a given cell on or in the next free cells; without a rack they stand nowhere.

    Plugs that have a cell on the rack already keep it unless a cell is given; those for which there is no room stand
    on the rack without one. Returns the plugs that moved.

    Raises PlugGone for a plug that is no longer kept, BadValue for a cell outside of the rack or a rack of a system
    that was taken down, CellTaken if another plug stands there.
    """
    locked = _locked_kept(plugs)
    if rack is None:
        return _stand([(plug, (None, None, None)) for plug in locked], by=by)
    _check_rack(rack)
    if row is not None and column is not None:
        _check_cell(rack, row, column, locked)
        moving, start = locked, (row, column)
    else:
        moving = [plug for plug in locked if plug.rack_id != rack.pk or plug.rack_row is None]
        start = (1, 1)
    cells = free_cells(rack, count=len(moving), start=start, leaving=[plug.pk for plug in moving])
    return _stand([(plug, (rack.pk, *cell[1:])) for plug, cell in zip(moving, cells, strict=True)], by=by)


@transaction.atomic
def put_back(*, places: list[Place], by=None) -> list[Plug]:
    """Stand plugs where they stood before a move. Raises PlugGone, CellTaken if another plug stands there by now."""
    where = {place.plug: (place.rack, place.row, place.column) for place in places}
    locked = _locked_kept(list(Plug.objects.filter(pk__in=where).only("pk")))
    return _stand([(plug, where[plug.pk]) for plug in locked], by=by)


def _stand(plugs_and_cells, *, by) -> list[Plug]:
    """Write where plugs stand; those that stand there already are left alone."""
    moving = [(plug, cell) for plug, cell in plugs_and_cells if (plug.rack_id, plug.rack_row, plug.rack_column) != cell]
    # Lifted first, so that plugs can change cells among themselves in one statement.
    Plug.objects.filter(pk__in=[plug.pk for plug, _ in moving]).update(rack_row=None, rack_column=None)
    for plug, (rack, row, column) in moving:
        plug.rack_id, plug.rack_row, plug.rack_column = rack, row, column
    plugs = [plug for plug, _ in moving]
    try:
        with transaction.atomic():
            bulk_update_with_history(plugs, Plug, CELL_FIELDS, default_user=by)
    except IntegrityError as error:
        raise CellTaken(
            "Another plug stands in one of those cells by now, so nothing was moved. "
            "Look at the rack as it stands and choose again."
        ) from error
    return plugs
