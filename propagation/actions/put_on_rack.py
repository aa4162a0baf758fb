"""Where plugs stand."""

from django.db import IntegrityError, transaction
from simple_history.utils import bulk_update_with_history

from propagation.errors import BadValue, CellTaken, PlugGone
from propagation.models import Plug, Spot


def free_cells(rack: Spot, *, count: int) -> list[tuple[Spot, int | None, int | None]]:
    """The next `count` places on a rack: free cells row by row, then on the rack without a cell. One query."""
    taken = set(Plug.objects.kept().filter(rack=rack, rack_row__isnull=False).values_list("rack_row", "rack_column"))
    cells = [
        (rack, row, column)
        for row in range(1, (rack.rack_rows or 0) + 1)
        for column in range(1, (rack.rack_columns or 0) + 1)
        if (row, column) not in taken
    ][:count]
    return cells + [(rack, None, None)] * (count - len(cells))


@transaction.atomic
def put_on_rack(*, plugs, rack: Spot, row: int | None = None, column: int | None = None, by=None) -> list[Plug]:
    """Stand plugs on a rack: one plug in a given cell, or several in the next free cells.

    Raises PlugGone for a plug that is no longer kept, BadValue for a cell outside of the rack, CellTaken if another
    plug stands there.
    """
    ids = [plug.pk for plug in plugs]
    locked = list(Plug.objects.select_for_update().filter(pk__in=ids).order_by("began_on", "id"))
    for plug in locked:
        if not plug.is_kept:
            raise PlugGone(plug, "put on a rack")
    if not rack.is_rack:
        raise BadValue(f"{rack} is not a rack; give it rows and columns first.", field="rack")
    if row is not None and column is not None:
        if len(locked) != 1:
            raise BadValue("Only one plug fits into one cell.", field="row")
        if not (1 <= row <= rack.rack_rows and 1 <= column <= rack.rack_columns):
            raise BadValue(
                f"{rack} has {rack.rack_rows} rows and {rack.rack_columns} columns; "
                f"there is no row {row}, column {column}.",
                field="row",
            )
        cells = [(rack, row, column)]
    else:
        standing = [plug for plug in locked if plug.rack_id == rack.pk and plug.rack_row is not None]
        locked = [plug for plug in locked if plug not in standing]
        cells = free_cells(rack, count=len(locked))
    for plug, (_, cell_row, cell_column) in zip(locked, cells, strict=True):
        plug.rack, plug.rack_row, plug.rack_column = rack, cell_row, cell_column
    try:
        with transaction.atomic():
            bulk_update_with_history(locked, Plug, ["rack", "rack_row", "rack_column"], default_user=by)
    except IntegrityError as error:
        raise CellTaken(f"Another plug stands in row {row}, column {column} of {rack}. Choose a free cell.") from error
    return locked
