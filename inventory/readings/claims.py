"""Claims: those to settle, and how many of each lineage were reported dead."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Count, Q

from inventory.models import Claim, Credit, Sale, SaleLine
from inventory.readings.sales import totals

DEAD = (Claim.Kind.DEAD, Claim.Kind.DIED_LATER)


def claims_with_what():
    """All claims with what they are about, the latest first."""
    return Claim.objects.select_related("line__plug__lineage", "line__colony__lineage", "line__sale__contact").order_by(
        "-reported_on", "-id"
    )


def may_be_given_back(sale: Sale) -> Decimal:
    """What was paid for a sale and neither given back nor made a credit for a claim. Three queries."""
    credits = Credit.objects.filter(claim__line__sale=sale).values_list("amount", flat=True)
    return max(totals(sale).received - sum(credits, Decimal(0)), Decimal(0))


@dataclass(frozen=True)
class Losses:
    """Of a lineage's plugs sold that left, how many were reported dead; refused claims are not counted."""

    lineage_id: int
    name: str
    dead: int
    sold: int


def losses_of_lineages() -> list[Losses]:
    """Lineages of which a sold plug was reported dead, those with the largest share first. One query."""
    is_dead = Q(claim__kind__in=DEAD) & ~Q(claim__outcome=Claim.Outcome.REFUSED)
    rows: Iterable = (
        SaleLine.objects.standing()
        .filter(plug__isnull=False, sale__left_on__isnull=False)
        .order_by()
        .values_list("plug__lineage", "plug__lineage__name")
        .annotate(sold=Count("pk"), dead=Count("pk", filter=is_dead))
        .filter(dead__gt=0)
    )
    found = [Losses(pk, name, dead, sold) for pk, name, sold, dead in rows]
    return sorted(found, key=lambda each: (-each.dead / each.sold, each.name))
