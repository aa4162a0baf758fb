"""People, with what stands between them and the keeper."""

import re
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

import numpy as np
from django.db.models import Count, IntegerField, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from rapidfuzz import fuzz, process

from inventory.models import AcquisitionTerms, Claim, Contact, Credit, Hold, Safekeeping, Sale, Trade, Waiting
from inventory.readings.sales import MOST_COUNTED, totals_of

NEARLY_THE_SAME = 85  # rapidfuzz ratio, 0-100; tried on names one slip apart
MOST_PAIRED = 1000  # contacts that are compared with each other for a page
MOST_PAIRS = 10
SURE_WAY = 6  # digits of a number, from which on it is one person's
DIGITS = re.compile(r"\d")


def _number_of(rows, path="contact"):
    counted = rows.filter(**{path: OuterRef("pk")}).order_by().values(path).annotate(number=Count("pk"))
    return Coalesce(Subquery(counted.values("number"), output_field=IntegerField()), 0)


def contacts_with_counts(day):
    """Contacts one deals with, with ``plugs_held`` on a day and ``acquisitions_from`` them."""
    return Contact.objects.known().annotate(
        plugs_held=_number_of(Hold.objects.active_on(day)),
        acquisitions_from=_number_of(AcquisitionTerms.objects.all()),
    )


def contacts_matching(contacts, text: str):
    """Those whose name, or how to reach them, holds the text; also by a name they went by before they were merged."""
    merged = Contact.objects.filter(merged_into__isnull=False, name__icontains=text).values("merged_into")
    return contacts.filter(Q(name__icontains=text) | Q(reach__icontains=text) | Q(pk__in=merged))


@dataclass(frozen=True)
class Between:
    """How much there is of everything between a contact and the keeper."""

    held: int
    held_before: int
    waiting: int
    sales: int
    trades: int
    claims: int
    kept: int
    kept_before: int
    acquisitions: int
    credits: int

    def in_words(self) -> list[str]:
        """``["2 sales", "1 claim"]``; what there is none of is left out."""
        told = (
            (self.held, "plug held", "plugs held"),
            (self.held_before, "hold that ended", "holds that ended"),
            (self.waiting, "place in line", "places in line"),
            (self.sales, "sale", "sales"),
            (self.claims, "claim", "claims"),
            (self.trades, "trade", "trades"),
            (self.kept, "coral they keep for you", "corals they keep for you"),
            (self.kept_before, "coral they kept for you", "corals they kept for you"),
            (self.acquisitions, "acquisition", "acquisitions"),
            (self.credits, "line of credit", "lines of credit"),
        )
        return [f"{number} {one if number == 1 else many}" for number, one, many in told if number]


def between(contact: Contact, day: date) -> Between:
    """The counts for one contact. One query."""
    kept = Safekeeping.objects.all()
    told = {
        "held": _number_of(Hold.objects.active_on(day)),
        "held_before": _number_of(Hold.objects.ended_by(day)),
        "waiting": _number_of(Waiting.objects.filter(ended_on=None)),
        "sales": _number_of(Sale.objects.all()),
        "trades": _number_of(Trade.objects.all()),
        "claims": _number_of(Claim.objects.all(), "line__sale__contact"),
        "kept": _number_of(kept.filter(ended_on=None)),
        "kept_before": _number_of(kept.exclude(ended_on=None)),
        "acquisitions": _number_of(AcquisitionTerms.objects.all()),
        "credits": _number_of(Credit.objects.all()),
    }
    numbers = {f"number_{name}": count for name, count in told.items()}
    found = Contact.objects.filter(pk=contact.pk).annotate(**numbers).values_list(*numbers).get()
    return Between(*found)


def owed_by(contact: Contact) -> dict[str, Decimal]:
    """What a contact owes for agreed sales, by currency. Three queries."""
    open_ones = contact.sales.under_way().filter(agreed_on__isnull=False, paid_on=None)
    sales = list(open_ones.order_by("-id")[:MOST_COUNTED])
    owed = defaultdict(Decimal)
    for sale, sums in zip(sales, totals_of(sales).values(), strict=True):
        if sums.owed:
            owed[sale.currency] += sums.owed
    return dict(owed)


@dataclass(frozen=True)
class FormerName:
    """Somebody who was found to be this contact: the name they had, since when it is known and who said so."""

    name: str
    at: datetime
    who: str


def merged_into(contact: Contact) -> list[FormerName]:
    """Whoever was merged into a contact, the first one first. One query."""
    found = {}
    rows = Contact.history.filter(merged_into=contact.pk).select_related("history_user").order_by("history_id")
    for row in rows:
        first = found.get(row.id)
        who = row.history_user.get_username() if row.history_user else "somebody"
        found[row.id] = FormerName(row.name, first.at if first else row.history_date, first.who if first else who)
    return list(found.values())


def likely_duplicates() -> list[tuple[Contact, Contact]]:
    """Pairs of contacts that may be one person, the later one first: names a slip or the order of words apart, or one
    number or address to reach both.

    Names that differ in a number are two people's. One query.
    """
    known = list(Contact.objects.known().order_by("-pk").only("pk", "name", "reach")[:MOST_PAIRED])
    names = [" ".join(sorted(each.name.casefold().split())) for each in known]
    scores = process.cdist(names, names, scorer=fuzz.ratio, score_cutoff=NEARLY_THE_SAME, dtype=np.uint8)
    pairs = {
        (int(one), int(other)): None
        for one, other in np.argwhere(np.triu(scores, 1))
        if DIGITS.findall(names[one]) == DIGITS.findall(names[other])
    }
    by_way = defaultdict(list)
    for number, each in enumerate(known):
        if "@" in each.reach or len(DIGITS.findall(each.reach)) >= SURE_WAY:
            by_way["".join(each.reach.casefold().split())].append(number)
    for first, *more in by_way.values():
        pairs |= {(first, other): None for other in more}
    return [(known[one], known[other]) for one, other in list(pairs)[:MOST_PAIRS]]
