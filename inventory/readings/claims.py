"""Claims: those to settle, and how many of each lineage were reported dead."""

import io
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Count, F, Q
from PIL import Image, ImageOps

from inventory.models import Claim, ClaimPicture, Contact, Credit, Sale, SaleLine
from inventory.readings.sales import totals

# A frag that was not what was agreed, or damaged, is not lost; and a claim that was refused counts for nothing.
DEAD = (Claim.Kind.DEAD, Claim.Kind.DIED_LATER)
REPORTED_DEAD = Q(claim__kind__in=DEAD) & ~Q(claim__outcome=Claim.Outcome.REFUSED)
THUMBNAIL_SIDE = 320  # pixels; twice as many as it is shown at, for fine glass


def claims_with_what():
    """All claims with what they are about and their pictures, the latest first. Two queries."""
    found = Claim.objects.select_related("line__plug__lineage", "line__colony__lineage", "line__sale__contact")
    return found.prefetch_related("pictures").order_by("-reported_on", "-id")


def claims_of_contact(contact: Contact):
    """The claims of a contact, those to settle first."""
    return (
        claims_with_what()
        .filter(line__sale__contact=contact)
        .order_by(F("settled_on").asc(nulls_first=True), "-reported_on", "-id")
    )


def thumbnail_of(picture: ClaimPicture) -> bytes:
    """A picture of a claim as a small JPEG file. Raises OSError if its file is gone or broken."""
    with picture.file.open("rb") as file, Image.open(file, formats=["JPEG"]) as kept:
        kept.draft("RGB", (THUMBNAIL_SIDE, THUMBNAIL_SIDE))
        small = ImageOps.fit(kept.convert("RGB"), (THUMBNAIL_SIDE, THUMBNAIL_SIDE))
    written = io.BytesIO()
    small.save(written, "JPEG", quality=80)
    return written.getvalue()


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
    rows: Iterable = (
        SaleLine.objects.standing()
        .filter(plug__isnull=False, sale__left_on__isnull=False)
        .order_by()
        .values_list("plug__lineage", "plug__lineage__name")
        .annotate(sold=Count("pk"), dead=Count("pk", filter=REPORTED_DEAD))
        .filter(dead__gt=0)
    )
    found = [Losses(pk, name, dead, sold) for pk, name, sold, dead in rows]
    return sorted(found, key=lambda each: (-each.dead / each.sold, each.name))
