"""What came for what was sold, shared out over the lines of its sales.

The books read it, and the floor below asks it for what the frags of a mother fetched.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Q

from inventory.models import Book, Credit, Payment, Sale, SaleLine
from inventory.money import round_amount, write_amount
from inventory.readings.sales import Totals
from propagation.earnings import Earned, tells_earnings

NOTHING = Decimal(0)


@dataclass(frozen=True)
class LineMoney:
    """What came for one line of a sale.

    ``mother`` is the colony whose frag it was, or the colony itself where it was sold whole; None for a plug that came
    from outside. ``received`` are the changes by day: above nothing what came, below what went back. ``given_back`` and
    ``credited``, for claims, are taken off there already.
    """

    sale: int
    line: int
    currency: str
    lineage: int
    mother: int | None
    is_whole_colony: bool
    received: tuple[tuple[date, Decimal], ...]
    owed: Decimal
    given_back: Decimal
    credited: Decimal

    @property
    def money(self) -> Decimal:
        return sum((amount for _, amount in self.received), NOTHING)


@dataclass(frozen=True)
class SalesMoney:
    """What came for sales. ``rest`` is, by currency, what came and is for no line: shipping, and what was paid too
    much; ``rest_owed`` what is owed of such.
    """

    lines: tuple[LineMoney, ...]
    rest: dict[str, Decimal]
    rest_owed: dict[str, Decimal]


def share_by_cost(amount: Decimal, costs: Sequence[Decimal], currency: str) -> list[Decimal]:
    """The part of an amount that falls on each cost, in whole units of the currency; together they are the amount.

    Of costs that are all nothing, nothing falls on any.
    """
    whole = sum(costs, NOTHING)
    if not whole:
        return [NOTHING] * len(costs)
    parts, so_far, shared = [], NOTHING, NOTHING
    for cost in costs:
        so_far += cost
        edge = amount if so_far == whole else min(round_amount(amount * so_far / whole, currency), amount)
        parts.append(edge - shared)
        shared = edge
    return parts


def money_of_sales(lines: Q | None = None) -> SalesMoney:
    """What came for the sales that stand, or for those with a line of this kind. Four queries.

    What was received for a sale, less its shipping, is shared out over its lines by what each costs, so a discount on
    all falls on each alike, and so does what was given back, in money or as credit for a claim.
    """
    sales = Sale.objects.all()
    if lines is not None:
        sales = sales.filter(pk__in=SaleLine.objects.standing().filter(lines).values("sale"))
    ids = sales.values("pk")
    in_sale = defaultdict(list)
    for row in (
        SaleLine.objects.standing()
        .filter(sale__in=ids)
        .order_by("id")
        .values_list(
            "sale", "pk", "price", "discount", "plug__lineage", "plug__cut_event__mother", "colony", "colony__lineage"
        )
    ):
        in_sale[row[0]].append(row)
    moved, paid, refunded, claimed, credited = defaultdict(list), *(defaultdict(Decimal) for _ in range(4))
    for sale, kind, amount, day, claim in (
        Payment.objects.filter(sale__in=ids, withdrawn_at=None)
        .order_by("paid_on", "id")
        .values_list("sale", "kind", "amount", "paid_on", "claim")
    ):
        is_refund = kind == Payment.Kind.REFUND
        moved[sale].append((day, -amount if is_refund else amount))
        (refunded if is_refund else paid)[sale] += amount
        if is_refund and claim is not None:
            claimed[sale] += amount
    credits = Credit.objects.filter(claim__line__sale__in=ids)
    for sale, amount, day in credits.order_by("on", "id").values_list("claim__line__sale", "amount", "on"):
        moved[sale].append((day, -amount))
        credited[sale] += amount
    found, rest, rest_owed = [], defaultdict(Decimal), defaultdict(Decimal)
    for sale in sales.order_by("pk"):
        rows = in_sale[sale.pk]
        stands = sale.cancelled_on is None
        totals = Totals(
            lines=sum((row[2] for row in rows), NOTHING),
            discounts=sum((row[3] for row in rows), NOTHING) + (sale.discount if stands else NOTHING),
            shipping=sale.shipping if stands else NOTHING,
            for_claims=claimed[sale.pk] if stands else NOTHING,
            paid=paid[sale.pk],
            refunded=refunded[sale.pk],
        )
        shared = _shared(sale, rows, totals, moved[sale.pk], credited[sale.pk])
        found += shared
        rest[sale.currency] += sum((amount for _, amount in moved[sale.pk]), NOTHING) - _sum(shared, "money")
        if sale.is_owed:
            rest_owed[sale.currency] += totals.owed - _sum(shared, "owed")
    return SalesMoney(tuple(found), dict(rest), dict(rest_owed))


def _sum(lines: Iterable[LineMoney], name: str) -> Decimal:
    return sum((getattr(line, name) for line in lines), NOTHING)


def _shared(sale: Sale, rows, totals: Totals, moved, credited: Decimal) -> list[LineMoney]:
    """One sale's money on its lines; ``moved`` are its payments as ``(day, amount)``, ``credited`` what claims took."""
    costs = [price - discount for _, _, price, discount, *_ in rows]
    changes = [[] for _ in rows]
    received, had = NOTHING, [NOTHING] * len(rows)
    for day, amount in sorted(moved, key=lambda each: each[0]):
        received += amount
        has = share_by_cost(_for_goods(totals, received), costs, sale.currency)
        for each, now, before in zip(changes, has, had, strict=True):
            if now != before:
                each.append((day, now - before))
        had = has
    goods_owed = NOTHING
    if sale.is_owed:
        goods_owed = min(totals.owed, _cost_of_goods(totals) - _for_goods(totals, totals.received))
    owed = share_by_cost(goods_owed, costs, sale.currency)
    given_back = share_by_cost(totals.refunded, costs, sale.currency)
    credit = share_by_cost(credited, costs, sale.currency)
    return [
        LineMoney(
            sale=sale.pk,
            line=line,
            currency=sale.currency,
            lineage=lineage or colony_lineage,
            mother=mother or colony,
            is_whole_colony=colony is not None,
            received=tuple(changes[number]),
            owed=owed[number],
            given_back=given_back[number],
            credited=credit[number],
        )
        for number, (_, line, _, _, lineage, mother, colony, colony_lineage) in enumerate(rows)
    ]


def _cost_of_goods(totals: Totals) -> Decimal:
    return max(totals.lines - totals.discounts, NOTHING)


def _for_goods(totals: Totals, received: Decimal) -> Decimal:
    """What was received less shipping: at least nothing, at most what the goods cost with every discount."""
    return min(max(received - totals.shipping, NOTHING), _cost_of_goods(totals))


@tells_earnings
def earned_in_sales(mothers: list[int]) -> dict[int, Earned]:
    """Money that came for the frags of each mother, in the book's currency; sales in another one are left out.

    Shared out as `money_of_sales` does. Trades bring no money, and a mother sold whole is no frag of hers. Five
    queries.
    """
    book = Book.current()
    in_all, wanted = defaultdict(Decimal), set(mothers)
    for line in money_of_sales(Q(plug__cut_event__mother__in=mothers, sale__currency=book.currency)).lines:
        if line.mother in wanted and not line.is_whole_colony:
            in_all[line.mother] += line.money
    return {
        mother: Earned(amount, write_amount(amount, book.currency)) for mother, amount in in_all.items() if amount > 0
    }
