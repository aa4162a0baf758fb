"""Tells the floor below how many plugs were reported dead after they had been sold."""

from django.db.models import Count

from inventory.models import SaleLine
from inventory.readings.claims import REPORTED_DEAD
from propagation.losses import Left, Of, tells_losses


@tells_losses
def reported_dead(of: Of, ids: list) -> dict[int | str, Left]:
    """Of the plugs of each lineage, mother or tool that left in a sale, those reported dead. One query."""
    of = f"plug__{of}"
    rows = (
        SaleLine.objects.standing()
        .filter(sale__left_on__isnull=False, **{f"{of}__in": ids})
        .order_by()
        .values_list(of)
        .annotate(sold=Count("pk"), lost=Count("pk", filter=REPORTED_DEAD))
    )
    return {pk: Left(sold, lost) for pk, sold, lost in rows}
