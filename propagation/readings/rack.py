"""What stands where on the racks."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta

from propagation.models import HealingStage, Lineage, Plug, Spot
from propagation.promises import promises_of
from propagation.readings.healing_outlook import ready_windows
from propagation.readings.living_copies import short_of_copies


def row_label(row: int) -> str:
    """The rows of a rack are lettered from the back: A … Z, AA … AN."""
    first, second = divmod(row - 1, 26)
    return (chr(64 + first) if first else "") + chr(65 + second)


def cell_name(row: int | None, column: int | None) -> str:
    """``B 3``, or nothing for a plug without a cell."""
    return f"{row_label(row)} {column}" if row and column else ""


def place_in_words(plug: Plug) -> str:
    """``Rack A, B 3``, as far as it is known, or nothing for a plug on no rack; a cell keeps on one line."""
    if plug.rack is None:
        return ""
    cell = cell_name(plug.rack_row, plug.rack_column).replace(" ", "\u00a0")
    return f"{plug.rack.name}, {cell}" if cell else plug.rack.name


def back_in_words(plugs: Iterable[Plug]) -> str:
    """Where plugs stand that did not leave after all, as a sentence; nothing if there are none."""
    plugs = list(plugs)
    nowhere = [plug for plug in plugs if plug.rack_id is None]
    if len(plugs) == 1 and not nowhere:
        return f"Its place is {place_in_words(plugs[0])}, as before."
    if not nowhere:
        return "Each has the place on its rack that it had before." if plugs else ""
    if len(plugs) == 1:
        return "It is on no rack; stand it on one."
    named = ", ".join(plug.code_in_clear for plug in nowhere[:5])
    more = f" and {len(nowhere) - 5} more" if len(nowhere) > 5 else ""
    stand = "stands" if len(nowhere) == 1 else "stand"
    return (
        f"{named}{more} {stand} on no rack; the others have their places again."
        if len(nowhere) < len(plugs)
        else ("They are on no rack; stand them on one.")
    )


@dataclass
class Cell:
    """One cell of a rack as it is drawn: a plug in it, or free. A plug without a cell has no ``place``."""

    place: str = ""
    free: str = ""  # what a form sends for a free cell: rack, row and column as "7-2-3"
    code: str = ""
    value: int | None = None
    stage: str = ""
    note: str = ""
    lineage: int | None = None
    due: bool = False
    held: str = ""
    insurance: bool = False
    ready_about: date | None = None  # while it heals: the likely day, today when that has passed
    checked: bool = False
    disabled: bool = False


@dataclass
class Standing:
    """The plugs of a rack, or those that stand nowhere, as cells."""

    label: str
    columns: list[int] = field(default_factory=list)
    rows: list[dict] = field(default_factory=list)  # {"label": "A", "cells": [Cell, …]}
    loose: list[Cell] = field(default_factory=list)
    lineages: list[tuple[int, str]] = field(default_factory=list)
    short: list[Lineage] = field(default_factory=list)  # lines with fewer living copies than wanted

    @property
    def cells(self) -> list[Cell]:
        """Those in which a plug stands, row by row, then those without a place."""
        return [cell for row in self.rows for cell in row["cells"] if cell.code] + self.loose

    @property
    def counts(self) -> list[tuple[str, int]]:
        found = Counter(cell.stage for cell in self.cells)
        return [(stage.value, found[stage.value]) for stage in HealingStage]

    @property
    def due(self) -> int:
        return sum(cell.due for cell in self.cells)

    @property
    def stages(self) -> list[tuple[str, str]]:
        """The stages there are, as ``(stage, label)``."""
        return [(stage, HealingStage(stage).label) for stage, number in self.counts if number]


def _cells(plugs, *, day: date, check_days: int) -> dict[int, Cell]:
    """A cell for each plug, by its id. One query for each floor that knows of promises, and one for what heals."""
    promises, due_since = promises_of(plugs), day - timedelta(days=check_days)
    windows = ready_windows(plugs, day)
    return {
        plug.pk: Cell(
            place=cell_name(plug.rack_row, plug.rack_column),
            code=plug.code,
            value=plug.pk,
            stage=plug.stage,
            note=plug.lineage.name,
            lineage=plug.lineage_id,
            due=plug.stage != HealingStage.HEALED and plug.checked_on <= due_since,
            held=promises.get(plug.pk, ""),
            insurance=plug.is_insurance,
            ready_about=max(windows[plug.pk].likely, day) if plug.pk in windows else None,
        )
        for plug in plugs
    }


def _of_lineages(standing: Standing, plugs) -> Standing:
    names = {plug.lineage_id: plug.lineage.name for plug in plugs}
    standing.lineages = sorted(names.items(), key=lambda pair: pair[1].lower())
    standing.short = list(short_of_copies(Lineage.objects.filter(pk__in=names)))
    return standing


def rack_as_it_stands(rack: Spot, *, day: date, check_days: int) -> Standing:
    """A rack with its cells and the plugs on it that have none. Four queries, whatever stands there."""
    plugs = list(Plug.objects.kept().filter(rack=rack).select_related("lineage").order_by("began_on", "id"))
    cells = _cells(plugs, day=day, check_days=check_days)
    by_place = {(plug.rack_row, plug.rack_column): cells[plug.pk] for plug in plugs if plug.rack_row is not None}
    columns = list(range(1, rack.rack_columns + 1))
    rows = [
        {
            "label": row_label(row),
            "cells": [
                by_place.get((row, column)) or Cell(place=cell_name(row, column), free=f"{rack.pk}-{row}-{column}")
                for column in columns
            ],
        }
        for row in range(1, rack.rack_rows + 1)
    ]
    loose = [cells[plug.pk] for plug in plugs if plug.rack_row is None]
    return _of_lineages(Standing(str(rack), columns, rows, loose), plugs)


def plugs_that_stand_nowhere():
    """Kept plugs on no rack of a running system, those checked longest ago first."""
    return (
        Plug.objects.kept()
        .exclude(rack__in=Spot.objects.racks().in_running_systems())
        .select_related("lineage", "rack__system")
        .order_by("checked_on", "id")
    )


def as_cells(plugs, *, day: date, check_days: int) -> Standing:
    """Plugs without a place as cells, in their order. Three queries besides their own."""
    plugs = list(plugs)
    cells = _cells(plugs, day=day, check_days=check_days)
    return _of_lineages(Standing("On no rack", loose=[cells[plug.pk] for plug in plugs]), plugs)


@dataclass
class SmallRack:
    """A rack as a small picture: where something stands and in which stage."""

    spot: Spot
    dots: list[dict]  # {"row", "column", "stage", "due"}; stage is "" for a free cell
    counts: list[tuple[str, int]]
    due: int
    loose: int

    @property
    def number(self) -> int:
        return sum(number for _, number in self.counts)

    @property
    def free(self) -> int:
        return self.spot.rack_rows * self.spot.rack_columns - (self.number - self.loose)

    @property
    def in_words(self) -> str:
        if not self.number:
            return "Empty"
        stages = [f"{number} {stage}" for stage, number in self.counts if number]
        words = f"{self.number} plug{'s' if self.number > 1 else ''}: {', '.join(stages)}"
        return f"{words}; {self.due} to check" if self.due else words


def racks_at_a_glance(*, day: date, check_days: int) -> list[SmallRack]:
    """Every rack of the running systems. Two queries, whatever stands there."""
    racks = list(Spot.objects.racks().in_running_systems().select_related("system").order_by("system__name", "name"))
    due_since = day - timedelta(days=check_days)
    standing = defaultdict(list)
    plugs = Plug.objects.kept().filter(rack__in=[rack.pk for rack in racks]).order_by("id")
    for rack, row, column, stage, checked_on in plugs.values_list(
        "rack", "rack_row", "rack_column", "stage", "checked_on"
    ):
        standing[rack].append((row, column, stage, stage != HealingStage.HEALED and checked_on <= due_since))
    return [_small(rack, standing[rack.pk]) for rack in racks]


def _small(rack: Spot, standing) -> SmallRack:
    there = {(row, column): {"stage": stage, "due": due} for row, column, stage, due in standing}
    found = Counter(stage for _, _, stage, _ in standing)
    return SmallRack(
        spot=rack,
        dots=[
            {"row": row, "column": column} | there.get((row, column), {"stage": "", "due": False})
            for row in range(1, rack.rack_rows + 1)
            for column in range(1, rack.rack_columns + 1)
        ],
        counts=[(stage.value, found[stage.value]) for stage in HealingStage],
        due=sum(due for _, _, _, due in standing),
        loose=sum(row is None for row, _, _, _ in standing),
    )
