"""What frags cost, and in which currency."""

from dataclasses import dataclass
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from inventory.errors import AmountsNotConverted, DepositsLie
from inventory.models import Book, Hold, LineagePrice, OfferPack, PlugPrice, SizePrice
from inventory.models.book import check_currency
from inventory.money import check_price
from propagation.errors import BadValue, ChangedMeanwhile, PlugGone
from propagation.models import Lineage, Plug

SMALLEST_FROM_MM, LARGEST_FROM_MM = Decimal(1), Decimal("999.9")
ANY = object()  # a price that may have been anything when the form was opened


@dataclass(frozen=True)
class NewPrice:
    """A price to be set, None to take it away; ``was`` is what stood there when the form was opened."""

    lineage: Lineage
    amount: Decimal | None
    was: Decimal | object | None = ANY


def _write(model, key: str, wanted: dict[int, Decimal | None], by) -> int:
    """Bring the prices of these lineages or plugs to what is wanted; returns how many changed."""
    stored = {
        getattr(price, key): price for price in model.objects.select_for_update().filter(**{f"{key}__in": wanted})
    }
    new, changed, gone = [], [], []
    for owner, amount in wanted.items():
        price = stored.get(owner)
        if amount is None:
            gone += [price] if price else []
        elif price is None:
            new.append(model(**{key: owner}, amount=amount))
        elif price.amount != amount:
            price.amount = amount
            changed.append(price)
    bulk_create_with_history(new, model, default_user=by)
    bulk_update_with_history(changed, model, ["amount"], default_user=by)
    for price in gone:
        price._history_user = by
        price.delete()  # its history keeps what it was
    return len(new) + len(changed) + len(gone)


@transaction.atomic
def set_lineage_prices(*, prices: list[NewPrice], by=None) -> int:
    """Set what one frag of each lineage costs, all or none; returns how many prices changed.

    Raises BadAmount, and ChangedMeanwhile if a price is no longer what it was when the form was opened.
    """
    book = Book.current()
    for price in prices:
        check_price(price.amount, book)
    # The lineages are locked, not the prices: a price that is not there yet cannot be.
    lineages = {price.lineage.pk: price for price in prices}
    list(Lineage.objects.select_for_update().filter(pk__in=lineages).order_by("pk").values_list("pk"))
    stored = dict(LineagePrice.objects.filter(lineage__in=lineages).values_list("lineage", "amount"))
    for pk, price in lineages.items():
        if price.was is not ANY and stored.get(pk) not in (price.was, price.amount):
            raise ChangedMeanwhile(f"The price of {price.lineage}")
    return _write(LineagePrice, "lineage_id", {pk: price.amount for pk, price in lineages.items()}, by)


@transaction.atomic
def set_plug_prices(*, plugs, amount: Decimal | None, was: Decimal | object | None = ANY, by=None) -> list[Plug]:
    """Give plugs a price of their own; None returns them to their lineage's. Returns the plugs.

    Raises PlugGone, BadAmount, BadValue if there is no plug, and ChangedMeanwhile if the price of one is no longer
    what it was when the form was opened.
    """
    check_price(amount, Book.current())
    locked = list(Plug.objects.select_for_update().filter(pk__in={plug.pk for plug in plugs}).order_by("pk"))
    if not locked:
        raise BadValue("Choose at least one plug to set a price for.", field="plugs")
    for plug in locked:
        if not plug.is_kept:
            raise PlugGone(plug, "given a price")
    if was is not ANY:
        stored = dict(PlugPrice.objects.filter(plug__in=locked).values_list("plug", "amount"))
        for plug in locked:
            if stored.get(plug.pk) not in (was, amount):
                raise ChangedMeanwhile(f"The price of {plug.code_in_clear}")
    _write(PlugPrice, "plug_id", {plug.pk: amount for plug in locked}, by)
    return locked


def _as_sizes(prices: dict[Decimal, Decimal]) -> str:
    return ", ".join(f"from {size} mm" for size in sorted(prices))


@transaction.atomic
def set_size_prices(
    *, lineage: Lineage, prices: dict[Decimal, Decimal], was: dict[Decimal, Decimal] | object = ANY, by=None
) -> int:
    """Set what a frag of a lineage costs from a size on: ``{from_mm: amount}``, all of them; returns how many changed.

    A size that is not named any more has no price. Raises BadAmount, BadValue for a size of less than 1 mm or that does
    not fit, and ChangedMeanwhile if they are no longer what they were when the form was opened.
    """
    book = Book.current()
    for from_mm, amount in prices.items():
        if not SMALLEST_FROM_MM <= from_mm <= LARGEST_FROM_MM:
            raise BadValue(
                f"A price from {from_mm} mm on cannot be; write a size from {SMALLEST_FROM_MM} to {LARGEST_FROM_MM} "
                "mm.",
                field="from_mm",
            )
        check_price(amount, book)
    Lineage.objects.select_for_update().get(pk=lineage.pk)
    stored = {price.from_mm: price for price in SizePrice.objects.filter(lineage=lineage)}
    now = {size: price.amount for size, price in stored.items()}
    if was is not ANY and now not in (was, prices):
        raise ChangedMeanwhile(f"What frags of {lineage} cost by size ({_as_sizes(now) or 'none is set now'})")
    new = [
        SizePrice(lineage=lineage, from_mm=size, amount=prices[size]) for size in sorted(prices) if size not in stored
    ]
    changed, gone = [], []
    for size, price in stored.items():
        if size not in prices:
            gone.append(price)
        elif price.amount != prices[size]:
            price.amount = prices[size]
            changed.append(price)
    for price in gone:
        price._history_user = by
        price.delete()  # its history keeps what it was
    bulk_create_with_history(new, SizePrice, default_user=by)
    bulk_update_with_history(changed, SizePrice, ["amount"], default_user=by)
    return len(new) + len(changed) + len(gone)


def amounts_in_book() -> int:
    """How many amounts there are that have no currency of their own. Four queries."""
    return sum(
        amounts.count()
        for amounts in (
            LineagePrice.objects,
            SizePrice.objects,
            PlugPrice.objects,
            OfferPack.objects,
        )
    )


@transaction.atomic
def set_currency(*, currency: str, confirmed: bool = True) -> Book:
    """Change the currency of the book. Prices stay as they are; nothing is converted. What was paid keeps its own.

    Raises BadValue for a code that is none, DepositsLie while somebody's money lies on a hold: that was paid in the
    old one. With ``confirmed=False`` raises AmountsNotConverted if there are other amounts.
    """
    currency = currency.strip().upper()
    try:
        check_currency(currency)
    except ValidationError as error:
        raise BadValue(error.messages[0], field="currency") from error
    book = Book.locked()  # nobody takes a deposit in the old one meanwhile
    if currency == book.currency:
        return book
    with_deposits = list(Hold.objects.with_a_deposit().select_related("plug__lineage", "contact"))
    if with_deposits:
        raise DepositsLie(with_deposits, book.currency)
    count = 0 if confirmed else amounts_in_book()
    if count:
        raise AmountsNotConverted(book.currency, currency, count)
    book.currency = currency
    book.save(update_fields=["currency"])
    return book
