"""What is to be had on a day: ready, and promised to nobody."""

from django.db.models import Count, Exists, F, Min, OuterRef
from django.db.models.functions import Coalesce

from inventory.models import Hold
from propagation.models import Plug


def available_on(day):
    """Plugs that are healed, kept, not insurance, and not held on this day.

    A hold binds through its last day; the day after, its plug is available again without anybody doing anything.
    """
    held = Hold.objects.active_on(day).filter(plug=OuterRef("pk"))
    return Plug.objects.ready_on(day).filter(~Exists(held))


def with_price(plugs):
    """The plugs with ``price``: their own, or their lineage's, or None."""
    return plugs.annotate(price=Coalesce("own_price__amount", "lineage__price__amount"))


def lines_on(day):
    """What is available of each lineage: ``lineage``, its name, how many, since when, from which price."""
    return (
        with_price(available_on(day))
        .values("lineage", name=F("lineage__name"))
        .annotate(plugs=Count("pk"), oldest=Min("healed_on"), from_price=Min("price"))
        .order_by("lineage__name")
    )
