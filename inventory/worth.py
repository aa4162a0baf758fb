"""Tells the floor below what a frag of a line sells for."""

from decimal import Decimal

from inventory.models import Book, LineagePrice
from inventory.money import write_amount
from propagation.worth import FragPrice, tells_worth


@tells_worth
def lineage_prices(lineage_ids: list[int]) -> dict[int, FragPrice]:
    """The price of each line in the book's currency, rounded to its digits when it is written."""
    rows = dict(LineagePrice.objects.filter(lineage__in=lineage_ids).values_list("lineage", "amount"))
    if not rows:
        return {}
    book = Book.current()

    def write(amount):
        return write_amount(amount.quantize(Decimal(1).scaleb(-book.decimals)), book.currency)

    return {lineage: FragPrice(amount, write) for lineage, amount in rows.items()}
