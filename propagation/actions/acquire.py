"""What comes from outside: colonies, plugs and packs of plugs."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from simple_history.utils import bulk_create_with_history

from propagation.actions.allot_codes import allot_codes
from propagation.actions.days import check_day
from propagation.actions.keep_colony import save_with_tag
from propagation.actions.keep_lineage import lineage_named
from propagation.actions.move_colony import move_colony
from propagation.actions.part_with import LEFT
from propagation.actions.put_on_rack import free_cells
from propagation.actions.record_cutting import LARGEST_FRAG_MM, SMALLEST_FRAG_MM
from propagation.errors import BadValue, RametError, RowErrors
from propagation.lengths import plain
from propagation.models import Acquisition, Colony, GrowthForm, HealingStage, Lineage, Pack, Plug, Spot
from propagation.models.cutting import MOST_FRAGS_AT_A_CUT


def acquisition_of(
    *, lineage, on, today, kind, pack=None, returned_plug=None, note="", submission=None, by=None
) -> Acquisition:
    """Save the acquisition itself, after checking its day and, for a return, the plug that left."""
    check_day(on, today=today, what="An acquisition")
    if kind not in Acquisition.Kind.values:
        raise BadValue(f"“{kind}” is no way to come; use one of {', '.join(Acquisition.Kind.values)}.", field="kind")
    if returned_plug is not None:
        if kind != Acquisition.Kind.RETURNED:
            raise BadValue("Only what came back names the plug that left.", field="kind")
        if returned_plug.fate not in LEFT:
            raise BadValue(
                f"Plug {returned_plug.code_in_clear} never left, so nothing of it can come back.", field="returned_plug"
            )
        if returned_plug.lineage_id != lineage.pk:
            raise BadValue(f"Plug {returned_plug.code_in_clear} is of another lineage, {returned_plug.lineage}.")
        check_day(on, today=today, what="A return", not_before=returned_plug.ended_on, because="it left")
    elif kind == Acquisition.Kind.RETURNED:
        raise BadValue("Which plug came back? Give the code on its label.", field="returned_plug")
    acquisition = Acquisition(
        lineage=lineage,
        acquired_on=on,
        kind=kind,
        pack=pack,
        returned_plug=returned_plug,
        note=note,
        submission=submission,
    )
    acquisition._history_user = by
    acquisition.save()
    return acquisition


def new_colony(*, by=None, **fields) -> Colony:
    """Save a colony with a code of its own. Raises AlreadyDone if the tag was ever used, BadValue if it is no tag."""
    return save_with_tag(Colony(code=allot_codes(count=1)[0], **fields), by=by)


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
    submission: UUID | None = None,
    by=None,
) -> Colony:
    """A colony came from outside. Raises BadDate, BadValue, AlreadyDone (the tag was used before)."""
    acquisition = acquisition_of(
        lineage=lineage,
        on=on,
        today=today,
        kind=kind,
        pack=pack,
        returned_plug=returned_plug,
        note=note,
        submission=submission,
        by=by,
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
    submission: UUID | None = None,
    by=None,
) -> list[Plug]:
    """Plugs of one lineage came from outside. Raises BadDate, BadValue."""
    if stage not in HealingStage.values:
        raise BadValue(f"“{stage}” is no healing stage; use one of {', '.join(HealingStage.values)}.", field="stage")
    if size_mm is not None and not SMALLEST_FRAG_MM <= size_mm <= LARGEST_FRAG_MM:
        raise BadValue(
            f"A plug of {plain(size_mm)} mm cannot be right; give {SMALLEST_FRAG_MM} to {LARGEST_FRAG_MM} mm.",
            field="size_mm",
        )
    if not 1 <= count <= MOST_FRAGS_AT_A_CUT:
        raise BadValue(f"{count} plugs cannot be right; give a number from 1 to {MOST_FRAGS_AT_A_CUT}.", field="count")
    acquisition = acquisition_of(
        lineage=lineage,
        on=on,
        today=today,
        kind=kind,
        pack=pack,
        returned_plug=returned_plug,
        note=note,
        submission=submission,
        by=by,
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


@dataclass(frozen=True)
class PackLine:
    """One line of a pack as it was entered: plugs of a lineage, or a colony with its tag."""

    lineage: str
    is_colony: bool = False
    count: int = 1
    tag: str = ""
    growth_form: str = GrowthForm.BRANCHING  # of a lineage that is new with this pack
    size_mm: Decimal | None = None
    stage: str = HealingStage.HEALED


@transaction.atomic
def acquire_pack(
    *,
    name: str,
    lines: list[PackLine],
    on: date,
    today: date,
    kind: str = Acquisition.Kind.BOUGHT,
    rack: Spot | None = None,
    note: str = "",
    submission: UUID | None = None,
    by=None,
) -> tuple[Pack, list[Acquisition]]:
    """Several plugs or colonies came together; one acquisition for each line, in their order.

    A lineage that is not kept yet begins with its line. Raises BadDate, BadValue for the pack, and RowErrors naming
    every line and column that is wrong; then nothing is saved.
    """
    check_day(on, today=today, what="An acquisition")
    name = " ".join(name.split())
    if not name:
        raise BadValue("Give the pack a name, such as where it came from and when.", field="name")
    if not lines:
        raise RowErrors([(1, "lineage", "A pack has at least one line.")])
    pack = Pack.objects.create(name=name, acquired_on=on, note=note)
    made, wrong, tags = [], [], set()
    for row, line in enumerate(lines, 1):
        tag = line.tag.strip().upper()
        if tag and tag in tags:
            wrong.append((row, "tag", f"The tag {line.tag.strip()} stands in this pack twice."))
            continue
        tags.add(tag)
        try:
            with transaction.atomic():
                made.append(
                    _acquire_line(
                        line,
                        pack=pack,
                        on=on,
                        today=today,
                        kind=kind,
                        rack=rack,
                        submission=None if made else submission,
                        by=by,
                    )
                )
        except RametError as error:
            column = getattr(error, "field", None) or ("tag" if line.is_colony else "lineage")
            wrong.append((row, column, str(error)))
    if wrong:
        raise RowErrors(wrong)
    return pack, made


def _acquire_line(line: PackLine, *, pack, on, today, kind, rack, submission, by) -> Acquisition:
    if not line.lineage.strip():
        raise BadValue("Say which lineage this is.", field="lineage")
    if line.is_colony and line.count != 1:
        raise BadValue(
            f"A line is one colony with its tag, not {line.count}; give each colony its own line.",
            field="count",
        )
    if line.tag.strip() and not line.is_colony:
        raise BadValue(f"Plugs have codes and no tag; leave “{line.tag.strip()}” out, or say colony.", field="tag")
    lineage = lineage_named(line.lineage, by=by, growth_form=line.growth_form)
    if line.is_colony:
        return acquire_colony(
            lineage=lineage, tag=line.tag, on=on, today=today, kind=kind, pack=pack, submission=submission, by=by
        ).acquisition
    plugs = acquire_plugs(
        lineage=lineage,
        count=line.count,
        on=on,
        today=today,
        kind=kind,
        size_mm=line.size_mm,
        stage=line.stage,
        rack=rack,
        pack=pack,
        submission=submission,
        by=by,
    )
    return plugs[0].acquisition
