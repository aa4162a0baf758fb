"""Tells the floor below what the frags of a mother fetched."""

from collections import defaultdict
from decimal import Decimal

from inventory.models import Book, Sale, SaleLine
from inventory.money import write_amount
from inventory.readings.sales import totals_of
from propagation.earnings import Earned, tells_earnings

NOTHING = Decimal(0)


@tells_earnings
def earned_in_sales(mothers: list[int]) -> dict[int, Earned]:
    """Money that came for the frags of each mother, in the book's currency; sales in another one are left out.

    What was received for a sale, less its shipping, is shared out over its lines by what each costs, so a discount on
    all and money given back fall on each alike. Trades bring no money. Six queries at most.
    """
    book = Book.current()
    lines = list(
        SaleLine.objects.standing()
        .filter(plug__cut_event__mother__in=mothers, sale__currency=book.currency, sale__cancelled_on=None)
        .values_list("sale", "plug__cut_event__mother", "price", "discount")
    )
    if not lines:
        return {}
    sales = {line[0] for line in lines}
    costs = defaultdict(Decimal)  # of all lines of a sale, other mothers' and whole colonies' too
    for sale, price, discount in (
        SaleLine.objects.standing().filter(sale__in=sales).values_list("sale", "price", "discount")
    ):
        costs[sale] += price - discount
    totals = totals_of(Sale.objects.filter(pk__in=sales))
    in_all = defaultdict(Decimal)
    for sale, mother, price, discount in lines:
        if costs[sale]:
            in_all[mother] += (price - discount) * _received_for_goods(totals[sale]) / costs[sale]
    smallest = Decimal(1).scaleb(-book.decimals)
    return {
        mother: Earned(amount, write_amount(amount.quantize(smallest), book.currency))
        for mother, amount in in_all.items()
        if amount > 0
    }


def _received_for_goods(totals) -> Decimal:
    """What was received less shipping: at least nothing, at most what the goods cost with every discount."""
    cost = max(totals.lines - totals.discounts, NOTHING)
    return min(max(totals.received - totals.shipping, NOTHING), cost)
