"""Tells the ground floor how large the codes on labels were printed."""

from decimal import Decimal

from django.db.models import Q

from labels.contents import address_of
from labels.drawing.symbol import symbol_size
from labels.models import PrintedLabel
from propagation.label_sizes import LabelSize, tells_label_size

HUNDREDTH = Decimal("0.01")
# Sides nearer than this are one size: two printers round a module to dots of their own.
SAME_WITHIN = Decimal("0.005")


@tells_label_size
def printed_sizes(codes: list[str]) -> dict[str, LabelSize]:
    """The sides of the symbols of all labels printed of these plugs and colonies, the last first. One query."""
    rows = (
        PrintedLabel.objects.filter(Q(plug__code__in=codes) | Q(colony__code__in=codes))
        .order_by("-pk")
        .values_list("plug__code", "colony__code", "module_mm", "print_run__base_address", "print_run__printed_at")
    )
    sides = {}
    for plug, colony, module_mm, base_address, printed_at in rows:
        code = plug or colony
        modules = symbol_size(address_of(base_address, code)).modules
        sides.setdefault(code, []).append((Decimal(modules * module_mm).quantize(HUNDREDTH), printed_at))
    return {
        code: LabelSize(
            side_mm=printed[0][0],
            printed_at=printed[0][1],
            others_mm=tuple(sorted({side for side, _ in printed[1:] if abs(side / printed[0][0] - 1) > SAME_WITHIN})),
        )
        for code, printed in sides.items()
    }
