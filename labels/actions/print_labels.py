"""Printing labels: draws them, remembers that they were printed, and says what to look out for."""

from uuid import UUID, uuid4

from django.db import transaction
from django.utils import timezone

from labels.contents import content_of
from labels.drawing.errors import LabelDrawingError
from labels.drawing.layout import choose_layout
from labels.drawing.sheet import DrawnSheet, draw_labels
from labels.drawing.stock import StockGeometry
from labels.drawing.symbol import symbol_size
from labels.errors import CannotPrint, NothingToPrint
from labels.models import LabelStock, PrintedLabel, PrintRun
from propagation.actions.mark_labelled import mark_labelled
from propagation.errors import BadValue, PlugGone
from propagation.models import Colony, Fate, Plug

MOST_LABELS_IN_A_RUN = 5000  # a bound against a slip; a rack holds at most 1600 plugs


def geometry_of(stock: LabelStock) -> StockGeometry:
    """The measures of a stock as the drawing wants them."""
    return StockGeometry(
        name=stock.name,
        kind=stock.kind,
        page_width_mm=stock.page_width_mm,
        page_height_mm=stock.page_height_mm,
        label_width_mm=stock.label_width_mm,
        label_height_mm=stock.label_height_mm,
        columns=stock.columns,
        rows=stock.rows,
        left_mm=stock.left_mm,
        top_mm=stock.top_mm,
        pitch_x_mm=stock.pitch_x_mm,
        pitch_y_mm=stock.pitch_y_mm,
        corner_radius_mm=stock.corner_radius_mm,
    )


def module_of(address: str, stock: StockGeometry, dpi: float) -> float:
    """Side of one module (mm) of the QR on a label of this stock."""
    return choose_layout(
        stock.label_width_mm,
        stock.label_height_mm,
        symbol_size(address).modules_with_quiet_zone,
        dpi,
        stock.name,
        stock.corner_radius_mm,
    ).module_mm


def to_label(plugs) -> list[Plug]:
    """The plugs with all that their labels say, in the order they are printed. One query."""
    return list(
        Plug.objects.filter(pk__in=[plug.pk for plug in plugs])
        .select_related("lineage", "cut_event__mother")
        .order_by("began_on", "id")
    )


def colonies_to_label(colonies) -> list[Colony]:
    """The colonies with all that their labels say, in the order they are printed. One query."""
    return list(
        Colony.objects.filter(pk__in=[colony.pk for colony in colonies]).select_related("lineage").order_by("tag")
    )


def draw(contents, *, stock: LabelStock, dpi: int, start: int, outline: bool) -> DrawnSheet:
    """The labels as a PDF. Raises CannotPrint with the reason."""
    try:
        return draw_labels(
            contents, stock=geometry_of(stock), dpi=dpi, start=start, outline=outline, title="Ramet labels"
        )
    except LabelDrawingError as error:
        raise CannotPrint(str(error)) from error


def draw_again(*, run: PrintRun) -> DrawnSheet:
    """The labels of a print run as the records stand now; nothing is recorded."""
    labels = list(run.labels.select_related("plug__lineage", "plug__cut_event__mother", "colony__lineage"))
    contents = [content_of(label.plug or label.colony, base_address=run.base_address) for label in labels]
    return draw(contents, stock=run.stock, dpi=run.dpi, start=run.start, outline=run.with_outline)


@transaction.atomic
def print_labels(
    *,
    stock: LabelStock,
    base_address: str,
    plugs=(),
    colonies=(),
    dpi: int = 300,
    start: int = 1,
    outline: bool = False,
    submission: UUID | None = None,
    by=None,
) -> tuple[PrintRun, DrawnSheet]:
    """Draw the labels of plugs and colonies, in that order, and record the print run.

    A plug that had a label before gets a reprint. The same ``submission`` sent again is the run that it made the first
    time, drawn again. Raises NothingToPrint, PlugGone for a void plug, CannotPrint with the
    reason if the stock, the position or the resolution does not allow it; then nothing is recorded.
    """
    submission = submission or uuid4()
    earlier = PrintRun.objects.filter(submission=submission).first()
    if earlier is not None:
        return earlier, draw_again(run=earlier)
    plugs, colonies = to_label(plugs), colonies_to_label(colonies)
    for plug in plugs:
        if plug.fate == Fate.VOID:
            raise PlugGone(plug, "labelled")
    labelled = [*plugs, *colonies]
    if not labelled:
        raise NothingToPrint("There is nothing to print: every plug has its label, or none was chosen.")
    if len(labelled) > MOST_LABELS_IN_A_RUN:
        raise BadValue(f"{len(labelled)} labels at once are too many; print at most {MOST_LABELS_IN_A_RUN}.")
    contents = [content_of(one, base_address=base_address) for one in labelled]
    sheet = draw(contents, stock=stock, dpi=dpi, start=start, outline=outline)
    module_mm = module_of(contents[0].address, geometry_of(stock), dpi)
    run = PrintRun.objects.create(
        stock=stock,
        printed_by=by,
        dpi=dpi,
        start=start,
        with_outline=outline,
        base_address=base_address,
        submission=submission,
    )
    PrintedLabel.objects.bulk_create(
        PrintedLabel(
            print_run=run,
            plug=one if isinstance(one, Plug) else None,
            colony=one if isinstance(one, Colony) else None,
            is_reprint=one.labelled_at is not None,
            lineage_name=content.lineage,
            cut_on=content.cut_on,
            mother_tag=content.mother or "",
            module_mm=module_mm,
        )
        for one, content in zip(labelled, contents, strict=True)
    )
    mark_labelled(plugs=plugs, colonies=colonies, at=timezone.now())
    return run, sheet
