"""What the inventory floor has due."""

from datetime import timedelta

from django.db.models import Exists, OuterRef
from django.urls import reverse
from django.utils.dateformat import format as date_format

from inventory.models import Hold, LineagePrice
from inventory.readings.availability import available_on
from propagation.agenda import Due, contributes_to_agenda
from propagation.models import Fate, Lineage

SOON = timedelta(days=2)


@contributes_to_agenda(order=30)
def holds_that_end(day):
    """Holds that end in the next days, and promised plugs that died."""
    ending = Hold.objects.active_on(day).filter(until__lte=day + SOON, plug__fate=Fate.KEPT)
    ends = list(ending.order_by("until").values_list("until", flat=True)[:200])
    if ends:
        words = "A hold ends" if len(ends) == 1 else f"{len(ends)} holds end"
        yield Due(f"{words} by {date_format(day + SOON, 'j M')}", reverse("holds"), count=len(ends), icon="hold")
    died = Hold.objects.active_on(day).filter(plug__fate=Fate.DEAD).select_related("contact")
    names = sorted({hold.contact.name for hold in died[:200]})
    if names:
        yield Due(
            f"A promised plug died: tell {', '.join(names[:3])}{' and others' if len(names) > 3 else ''}",
            reverse("holds"),
            count=len(names),
            icon="warning",
        )


@contributes_to_agenda(order=60)
def ready_without_a_price(day):
    """Lineages that have frags to sell and no price."""
    ready = available_on(day).filter(lineage=OuterRef("pk"), own_price=None)
    priced = LineagePrice.objects.filter(lineage=OuterRef("pk"))
    count = Lineage.objects.filter(Exists(ready), ~Exists(priced)).count()
    if count:
        yield Due(
            f"{count} {'lineage has' if count == 1 else 'lineages have'} ready frags and no price",
            reverse("prices"),
            count=count,
            icon="money",
        )
