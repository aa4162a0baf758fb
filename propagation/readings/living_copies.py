"""Living copies of a line: how many there are, how many are wanted, which lines one death would end."""

from django.db.models import Count, Exists, F, IntegerField, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from propagation.models import Colony, Lineage, Plug


def number_of(rows) -> Coalesce:
    """How many of the rows belong to the lineage at hand, as a subquery."""
    counted = rows.filter(lineage=OuterRef("pk")).order_by().values("lineage").annotate(number=Count("pk"))
    return Coalesce(Subquery(counted.values("number"), output_field=IntegerField()), 0)


def with_living_copies(lineages: QuerySet[Lineage]) -> QuerySet[Lineage]:
    """Annotates ``living_colonies``, ``insurance_plugs`` and ``living_copies``, the two together.

    Plugs that are not set aside do not count: they are meant to leave.
    """
    return lineages.annotate(
        living_colonies=number_of(Colony.objects.alive()), insurance_plugs=number_of(Plug.objects.insurance())
    ).annotate(living_copies=F("living_colonies") + F("insurance_plugs"))


def short_of_copies(lineages: QuerySet[Lineage]) -> QuerySet[Lineage]:
    """Those of the lineages with fewer living copies than wanted, by name, with the annotations above."""
    return with_living_copies(lineages).filter(living_copies__lt=F("insurance_wanted")).order_by("name")


def lines_on_one_copy() -> QuerySet[Lineage]:
    """Lineages of which one living copy is left, be it a colony or a plug, by name.

    Looks no further than the second copy of each line, so it costs the same however many plugs a line has.
    """
    colonies = Colony.objects.alive().filter(lineage=OuterRef("pk")).order_by()
    plugs = Plug.objects.kept().filter(lineage=OuterRef("pk")).order_by()

    first_colony, first_plug = Subquery(colonies.values("pk")[:1]), Subquery(plugs.values("pk")[:1])
    return (
        Lineage.objects.annotate(a_colony=first_colony, a_plug=first_plug)
        .filter(
            Q(a_colony__isnull=False, a_plug=None) & ~Exists(colonies.exclude(pk=OuterRef("a_colony")))
            | Q(a_colony=None, a_plug__isnull=False) & ~Exists(plugs.exclude(pk=OuterRef("a_plug")))
        )
        .order_by("name")
    )
