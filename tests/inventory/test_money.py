"""Amounts of money, read as people type them."""

from decimal import Decimal

import pytest
from babel.numbers import format_decimal
from hypothesis import given
from hypothesis import strategies as st

from inventory.errors import BadAmount
from inventory.models import Book
from inventory.money import read_amount, write_amount

EURO = Book(currency="EUR")


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("25", "25.00"),
        ("12.5", "12.50"),
        ("12,50", "12.50"),
        ("1 250", "1250.00"),
        ("1.250,00", "1250.00"),
        ("1,250.00", "1250.00"),
        ("1,250", "1250.00"),
        ("1’250.50", "1250.50"),
        ("EUR 7", "7.00"),
        ("7 eur", "7.00"),
        ("€ 7", "7.00"),
        ("0", "0.00"),
        ("12.500000", "12.50"),
    ],
)
def test_what_people_type_is_read(text, amount):
    assert read_amount(text, book=EURO) == Decimal(amount)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no amount"),
        ("ten", "no amount"),
        ("1.2.3", "no amount"),
        ("12,,5", "no amount"),
        ("-5", "less than nothing"),
        ("12.3456", "more digits"),
        ("0.125", "more digits"),
        ("9" * 12, "cannot be right"),
        ("1e5", "no amount"),
        ("NaN", "no amount"),
        ("٣٤", "no amount"),
    ],
)
def test_what_is_no_amount_is_named(text, words):
    with pytest.raises(BadAmount, match=words):
        read_amount(text, book=EURO)


@pytest.mark.parametrize(("currency", "text", "amount"), [("JPY", "1,500", "1500"), ("KWD", "1.250", "1.250")])
def test_the_decimals_are_those_of_the_currency(currency, text, amount):
    """Minor units of ISO 4217: none for the yen, three for the Kuwaiti dinar."""
    assert str(read_amount(text, book=Book(currency=currency))) == amount


@given(st.decimals(0, 9_999_999, places=2), st.sampled_from(["en", "de", "fr", "de_CH", "sv"]))
def test_amounts_read_back_as_locales_write_them(amount, locale):
    """Grouping and decimal marks by Unicode CLDR through Babel."""
    assert read_amount(format_decimal(amount, "#,##0.00", locale=locale), book=EURO) == amount


def test_amounts_are_written_in_their_currency():
    assert write_amount(Decimal("12.5"), "EUR") == "€12.50"
    assert write_amount(None, "EUR") == "–"
