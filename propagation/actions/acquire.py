"""What comes from outside: colonies, plugs and packs of plugs."""

from datetime import date
from decimal import Decimal

from django.db import IntegrityError, transaction
from simple_history.utils import bulk_create_with_history

from propagation.actions.allot_codes import allot_codes
from propagation.actions.days import check_day
from propagation.actions.move_colony import move_colony
from propagation.actions.put_on_rack import free_cells
from propagation.errors import AlreadyDone, BadValue
from propagation.models import Acquisition, Colony, HealingStage, Lineage, Pack, Plug, Spot
from propagation.models.cutting import MOST_FRAGS_AT_A_CUT


def acquisition_of(*, lineage, on, today, kind, pack=None, returned_plug=None, note="", by=None) -> Acquisition:
    """Save the acquisition itself, after checking its day."""
    check_day(on, today=today, what="An acquisition")
    if returned_plug is not None:
        if returned_plug.is_kept or returned_plug.fate not in ("sold", "traded", "given"):
            raise BadValue(f"Plug {returned_plug.code_in_clear} never left, so nothing of it can come back.")
        if returned_plug.lineage_id != lineage.pk:
            raise BadValue(f"Plug {returned_plug.code_in_clear} is of another lineage, {returned_plug.lineage}.")
        check_day(on, today=today, what="A return", not_before=returned_plug.ended_on, because="it left")
    acquisition = Acquisition(
        lineage=lineage, acquired_on=on, kind=kind, pack=pack, returned_plug=returned_plug, note=note
    )
    acquisition._history_user = by
    acquisition.save()
    return acquisition


def new_colony(*, by=None, **fields) -> Colony:
    """Save a colony with a code of its own. Raises AlreadyDone if the tag was ever used."""
    colony = Colony(code=allot_codes(count=1)[0], **fields)
    colony.tag = colony.tag.strip()
    if not colony.tag:
        raise BadValue("Give the colony a tag: what is written on it in the tank.", field="tag")
    colony._history_user = by
    try:
        with transaction.atomic():
            colony.save()
    except IntegrityError as error:
        if Colony.objects.filter(tag__iexact=colony.tag).exists():
            raise AlreadyDone(
                f"A colony has or had the tag {colony.tag}; choose another, tags are never reused."
            ) from error
        raise
    return colony


@transaction.atomic
def acquire_colony(
    *,
    lineage: Lineage,
    tag: str,
    on: date,
    today: date,
    kind: str = Acquisition.Kind.BOUGHT,
    spot: Spot | None = None,
    pack: Pack | None = None,
    returned_plug: Plug | None = None,
    note: str = "",
    by=None,
) -> Colony:
    """A colony came from outside. Raises BadDate, BadValue, AlreadyDone (the tag was used before)."""
    acquisition = acquisition_of(
        lineage=lineage, on=on, today=today, kind=kind, pack=pack, returned_plug=returned_plug, note=note, by=by
    )
    colony = new_colony(tag=tag, lineage=lineage, acquisition=acquisition, began_on=on, by=by)
    if spot is not None:
        move_colony(colony=colony, spot=spot, on=on, today=today, by=by)
    return colony


@transaction.atomic
def acquire_plugs(
    *,
    lineage: Lineage,
    count: int,
    on: date,
    today: date,
    kind: str = Acquisition.Kind.BOUGHT,
    size_mm: Decimal | None = None,
    stage: str = HealingStage.HEALED,
    rack: Spot | None = None,
    pack: Pack | None = None,
    returned_plug: Plug | None = None,
    note: str = "",
    by=None,
) -> list[Plug]:
    """Plugs of one lineage came from outside. Raises BadDate, BadValue."""
    if not 1 <= count <= MOST_FRAGS_AT_A_CUT:
        raise BadValue(f"{count} plugs cannot be right; give a number from 1 to {MOST_FRAGS_AT_A_CUT}.", field="count")
    acquisition = acquisition_of(
        lineage=lineage, on=on, today=today, kind=kind, pack=pack, returned_plug=returned_plug, note=note, by=by
    )
    cells = free_cells(rack, count=count) if rack else [(None, None, None)] * count
    plugs = [
        Plug(
            code=code,
            lineage=lineage,
            acquisition=acquisition,
            began_on=on,
            checked_on=on,
            size_mm=size_mm,
            stage=stage,
            healed_on=on if stage == HealingStage.HEALED else None,
            rack=cell[0],
            rack_row=cell[1],
            rack_column=cell[2],
        )
        for code, cell in zip(allot_codes(count=count), cells, strict=True)
    ]
    return bulk_create_with_history(plugs, Plug, default_user=by)
