"""What frags cost."""

from decimal import Decimal

from django.db import transaction

from inventory.models import Book, LineagePrice, PlugPrice
from propagation.errors import PlugGone
from propagation.models import Lineage, Plug


def _set(model, amount, by, **key):
    price = model.objects.select_for_update().filter(**key).first()
    if amount is None:
        if price is not None:
            price._history_user = by
            price.delete()
        return None
    if price is None:
        price = model(**key, amount=amount)
    elif price.amount == amount:
        return price
    price.amount = amount
    price._history_user = by
    price.save()
    return price


@transaction.atomic
def set_lineage_prices(*, prices: dict[Lineage, Decimal | None], by=None) -> None:
    """Set what one frag of each lineage costs; None takes the price away. All or none."""
    for lineage, amount in prices.items():
        _set(LineagePrice, amount, by, lineage=lineage)


@transaction.atomic
def set_plug_prices(*, plugs, amount: Decimal | None, by=None) -> None:
    """Give plugs a price of their own; None returns them to their lineage's. Raises PlugGone."""
    for plug in Plug.objects.select_for_update().filter(pk__in=[plug.pk for plug in plugs]).order_by("pk"):
        if not plug.is_kept:
            raise PlugGone(plug, "given a price")
        _set(PlugPrice, amount, by, plug=plug)


@transaction.atomic
def set_currency(*, currency: str) -> Book:
    """Change the currency of the book. Amounts stay as they are; nothing is converted."""
    book, _ = Book.objects.update_or_create(pk=1, defaults={"currency": currency})
    return book
