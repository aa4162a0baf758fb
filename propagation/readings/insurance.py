"""How many living copies there are of a line, against how many the keeper wants."""

from django.db.models import Count, F, IntegerField, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from propagation.models import Colony, Lineage, Plug


def _number_of(rows) -> Coalesce:
    counted = rows.filter(lineage=OuterRef("pk")).order_by().values("lineage").annotate(number=Count("pk"))
    return Coalesce(Subquery(counted.values("number"), output_field=IntegerField()), 0)


def with_living_copies(lineages: QuerySet[Lineage]) -> QuerySet[Lineage]:
    """Annotates ``living_colonies``, ``insurance_plugs`` and ``living_copies``, the two together.

    Plugs that are not set aside do not count: they are meant to leave.
    """
    return lineages.annotate(
        living_colonies=_number_of(Colony.objects.alive()), insurance_plugs=_number_of(Plug.objects.insurance())
    ).annotate(living_copies=F("living_colonies") + F("insurance_plugs"))


def short_of_copies(lineages: QuerySet[Lineage]) -> QuerySet[Lineage]:
    """Those of the lineages with fewer living copies than wanted, by name, with the annotations above."""
    return with_living_copies(lineages).filter(living_copies__lt=F("insurance_wanted")).order_by("name")
