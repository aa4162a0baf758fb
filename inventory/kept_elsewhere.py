"""Tells the floor below how many living copies contacts keep."""

from django.db.models import Count

from inventory.models import Safekeeping
from propagation.kept_elsewhere import tells_kept_elsewhere


@tells_kept_elsewhere
def kept_by_contacts(lineages: list[int]) -> dict[int, int]:
    """``{lineage id: plugs of it that are in safekeeping now}``."""
    now = Safekeeping.objects.filter(ended_on=None, plug__lineage__in=lineages).order_by()
    return dict(now.values_list("plug__lineage").annotate(copies=Count("pk")))
