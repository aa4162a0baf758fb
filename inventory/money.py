"""Amounts of money: read as people type them, written as the currency is written."""

import re
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation

from babel.numbers import format_currency, get_currency_precision

from inventory.errors import BadAmount
from inventory.models import Book

LARGEST = Decimal(10) ** 8
PERCENT = re.compile(r"\s*([0-9]{1,3}(?:[.,][0-9]{1,2})?)\s*%\s*")
GROUPED = re.compile(r"[1-9][0-9]{0,2}([.,’'])[0-9]{3}(?:\1[0-9]{3})*")


def read_amount(text: str, *, book: Book) -> Decimal:
    """Read ``12.50``, ``12,50``, ``1 250``, ``1.250,00`` or ``1,250.00``, with or without the currency's code.

    A point or a comma that comes last and is followed by one or two digits (three where the currency has three) begins
    the decimals; any other groups thousands. Raises BadAmount, which says what would be right.
    """
    bare = re.sub(r"[\s\u00a0\u202f]", "", text).upper().removeprefix(book.currency).removesuffix(book.currency)
    bare = bare.strip("€$£¥")
    wrong = BadAmount(f"“{text.strip()}” is no amount; write it like {example(book)}.", field="amount")
    if not re.fullmatch(r"-?[0-9][0-9.,’']*", bare):
        raise wrong
    if bare.startswith("-"):
        raise BadAmount(f"An amount cannot be less than nothing, as {text.strip()} is.", field="amount")
    whole, decimals = bare, ""
    last = max(bare.rfind("."), bare.rfind(","))
    if last >= 0:
        after = bare[last + 1 :]
        is_group = len(after) == 3 and book.decimals != 3 and GROUPED.fullmatch(bare)
        if not is_group:
            whole, decimals = bare[:last], after
    if re.search(r"[.,’']", whole) and not GROUPED.fullmatch(whole):
        raise wrong
    if len(decimals.rstrip("0")) > book.decimals:
        raise BadAmount(
            f"{text.strip()} has more digits after the point than {book.currency} has ({book.decimals}).",
            field="amount",
        )
    try:
        amount = Decimal(f"{re.sub(r'[^0-9]', '', whole)}.{decimals or '0'}")
    except InvalidOperation:
        raise wrong from None
    if amount >= LARGEST:
        raise BadAmount(f"{text.strip()} cannot be right; it is more than {LARGEST:,}.", field="amount")
    return amount.quantize(Decimal(1).scaleb(-book.decimals))


def read_discount(text: str, *, book: Book) -> tuple[Decimal | None, Decimal | None]:
    """Read an amount, or so many percent: ``10`` → ``(10.00, None)``, ``10 %`` → ``(None, 10)``. Raises BadAmount."""
    if found := PERCENT.fullmatch(text):
        percent = Decimal(found[1].replace(",", "."))
        if percent > 100:
            raise BadAmount(f"{text.strip()} is more than all of it; 100 % is the most.", field="discount")
        return None, percent
    return read_amount(text, book=book), None


def example(book: Book) -> str:
    """An amount as it may be typed."""
    return f"{Decimal(25):.{book.decimals}f}"


def plain_amount(amount: Decimal, book: Book) -> str:
    """``25.00``: a bare number with the digits of the currency, and more only where the amount has more."""
    return f"{amount:.{_digits(amount, book.decimals)}f}"


def round_amount(amount: Decimal, currency: str) -> Decimal:
    """An amount with the digits of its currency (ISO 4217 minor units); the one place where money is rounded.

    Half a unit goes up (ROUND_HALF_UP), and every line of a sale is rounded by itself, so that the sum on paper is the
    sum of what stands on it.
    """
    return Decimal(amount).quantize(Decimal(1).scaleb(-get_currency_precision(currency)), ROUND_HALF_UP)


def checked_amount(amount: Decimal, *, currency: str, what: str, field: str = "amount") -> Decimal:
    """An amount of at least nothing, with no more digits than its currency has.

    Raises BadAmount, which names ``what`` it was to be.
    """
    amount = Decimal(amount)
    if not amount.is_finite() or amount >= LARGEST:
        raise BadAmount(f"{what} cannot be right; it is not less than {LARGEST:,}.", field=field)
    if amount < 0:
        raise BadAmount(f"{what} cannot be less than nothing, as {amount} is.", field=field)
    rounded = round_amount(amount, currency)
    if rounded != amount:
        raise BadAmount(
            f"{what} has more digits after the point ({amount}) than {currency} has "
            f"({get_currency_precision(currency)}).",
            field=field,
        )
    return rounded


def check_price(amount: Decimal | None, book: Book) -> None:
    """Raise BadAmount for what cannot be a price in the currency of the book; None is no price."""
    if amount is not None:
        checked_amount(amount, currency=book.currency, what="The price")


def write_amount(amount: Decimal | str | None, currency: str) -> str:
    """``€25.00`` as the currency is written in English, ``−€25.00`` below nothing; a dash where there is no price.

    Nothing is rounded away: an amount from before the currency was changed may have more digits than this one has.
    """
    if amount is None:
        return "–"
    amount = Decimal(amount)
    digits = _digits(amount, get_currency_precision(currency))
    exact = amount.quantize(Decimal(1).scaleb(-digits))
    # A true minus, as wide as a digit.
    return format_currency(exact, currency, locale="en", decimal_quantization=False).replace("-", "−")


def _digits(amount: Decimal, usual: int) -> int:
    """Digits after the point to write: those of the currency, or as many as the amount has."""
    return max(usual, -amount.normalize().as_tuple().exponent)
