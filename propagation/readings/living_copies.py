"""Lines that would be lost with one death."""

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from propagation.models import Colony, Lineage, Plug


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
