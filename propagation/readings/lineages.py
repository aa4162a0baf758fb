"""What a keeper asks of lineages."""

from django.db.models import Count, Max, OuterRef, QuerySet, Subquery

from propagation.models import CutEvent, Fate, HealingStage, Lineage, Plug
from propagation.readings.living_copies import number_of, with_living_copies


def lineages_with_counts(today) -> QuerySet:
    """Lineages with what there is of each: ``living_colonies``, ``insurance_plugs``, ``living_copies`` (the two
    together), ``healing_plugs``, ``ready_plugs`` and ``last_cut_on``.
    """
    last_cut = (
        CutEvent.objects.filter(mother__lineage=OuterRef("pk"), frags__gt=0)
        .order_by()
        .values("mother__lineage")
        .annotate(day=Max("session__cut_on"))
        .values("day")
    )
    return with_living_copies(Lineage.objects.all()).annotate(
        healing_plugs=number_of(Plug.objects.healing()),
        ready_plugs=number_of(Plug.objects.ready_on(today)),
        last_cut_on=Subquery(last_cut),
    )


def plugs_by_stage(lineage: Lineage) -> list[tuple[str, int]]:
    """How many kept plugs of a lineage stand at each healing stage, in the order of the stages. One query."""
    counts = dict(
        Plug.objects.kept().filter(lineage=lineage).order_by().values_list("stage").annotate(number=Count("pk"))
    )
    return [(stage.value, counts.get(stage.value, 0)) for stage in HealingStage]


def plugs_that_left(lineage: Lineage) -> list[tuple[str, int]]:
    """How many plugs of a lineage met each other fate, e.g. ``[("Sold", 12), ("Dead", 3)]``. One query."""
    counts = dict(
        Plug.objects.filter(lineage=lineage)
        .exclude(fate__in=[Fate.KEPT, Fate.VOID])
        .order_by()
        .values_list("fate")
        .annotate(number=Count("pk"))
    )
    return [(fate.label, counts[fate.value]) for fate in Fate if counts.get(fate.value)]
