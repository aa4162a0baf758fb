from babel.numbers import get_currency_name, get_currency_precision, list_currencies
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q


def check_currency(code):
    """Raise ValidationError unless this is a currency code of ISO 4217 (as Unicode CLDR lists them)."""
    if code not in list_currencies():
        raise ValidationError(f"“{code}” is not a currency code; write three letters such as EUR or USD (ISO 4217).")


class Book(models.Model):
    """The keeper's book: one currency, in one row."""

    currency = models.CharField("Currency (ISO 4217)", max_length=3, default="EUR", validators=[check_currency])

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="one_book")]

    def __str__(self):
        return self.currency

    @classmethod
    def current(cls) -> "Book":
        """The one book; costs a query."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)

    @classmethod
    def locked(cls) -> "Book":
        """The one book, made if there is none yet, which nobody else changes before this transaction ends."""
        cls.objects.get_or_create(pk=1)
        return cls.objects.select_for_update().get(pk=1)

    @property
    def decimals(self) -> int:
        """Digits after the point in this currency (ISO 4217 minor units)."""
        return get_currency_precision(self.currency)

    @property
    def currency_name(self) -> str:
        return get_currency_name(self.currency, locale="en")
