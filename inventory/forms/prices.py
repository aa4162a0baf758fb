from decimal import Decimal

import django_filters
from babel import Locale
from babel.core import get_global
from babel.numbers import get_currency_name
from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef

from inventory.actions.set_prices import ANY, LARGEST_FROM_MM, SMALLEST_FROM_MM, NewPrice
from inventory.errors import AmountsNotConverted
from inventory.models import Book
from inventory.money import plain_amount, read_amount
from inventory.readings.availability import available_on
from propagation.errors import RametError
from propagation.forms.fields import AsksWhenWarned, LengthField
from propagation.models import Lineage


class AmountField(forms.CharField):
    """An amount of money, typed with a point or a comma; nothing typed is no amount."""

    def __init__(self, *, book: Book, **kwargs):
        self.book = book
        kwargs.setdefault("required", False)
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        super().__init__(**kwargs)

    def prepare_value(self, value):
        return plain_amount(value, self.book) if isinstance(value, Decimal) else value

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        try:
            return read_amount(text, book=self.book)
        except RametError as error:
            raise ValidationError(str(error)) from error


class PricesForm(forms.Form):
    """The prices of some lineages: for each an amount, and what stood there when the form was opened."""

    def __init__(self, *args, book: Book, lineages, **kwargs):
        super().__init__(*args, **kwargs)
        self.lineages = list(lineages)
        for lineage in self.lineages:
            amount = AmountField(book=book, label=lineage.name, initial=lineage.amount)
            self.fields[f"price-{lineage.pk}"] = amount
            self.fields[f"was-{lineage.pk}"] = AmountField(
                book=book, initial=lineage.amount, widget=forms.HiddenInput, label=f"{lineage.name} before"
            )

    def rows(self):
        """``(lineage, price field, hidden field)`` for the page."""
        return [(each, self[f"price-{each.pk}"], self[f"was-{each.pk}"]) for each in self.lineages]

    def new_prices(self) -> list[NewPrice]:
        """What was changed."""
        prices = []
        for lineage in self.lineages:
            amount = self.cleaned_data[f"price-{lineage.pk}"]
            was = self.cleaned_data[f"was-{lineage.pk}"]
            if amount != was:
                prices.append(NewPrice(lineage, amount, was))
        return prices


class TypedLength(LengthField):
    """A length typed with a point or a comma."""

    def __init__(self, **kwargs):
        super().__init__(widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}), **kwargs)

    def to_python(self, value):
        if isinstance(value, str) and value.count(",") == 1 and "." not in value:
            value = value.replace(",", ".")
        return super().to_python(value)


class SizePricesForm(forms.Form):
    """What a lineage costs from a size on: each stored price in a row, and rows to add to them.

    The hidden field holds what was stored when the form was opened. Sizes are typed in the keeper's unit.
    """

    EMPTY_ROWS = 3
    MOST_ROWS = 30
    was = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, data=None, *, book: Book, length_unit: str, stored: dict[Decimal, Decimal]):
        wanted = len(stored) + self.EMPTY_ROWS
        if data is not None:  # every row that was sent, and no fewer
            while wanted < self.MOST_ROWS and f"from-{wanted}" in data:
                wanted += 1
        super().__init__(data, initial={"was": self._written(stored)})
        rows = sorted(stored.items()) + [(None, None)] * (wanted - len(stored))
        for number, (size, amount) in enumerate(rows):
            length = TypedLength(
                label=f"{number + 1}. From",
                initial=size,
                required=False,
                max_digits=6,
                error_messages={"invalid": "This is no size. Write it as 30.", "max_digits": "Such a size cannot be."},
            )
            length.use_unit(length_unit)
            self.fields[f"from-{number}"] = length
            self.fields[f"price-{number}"] = AmountField(
                book=book, label=f"{number + 1}. Price ({book.currency})", initial=amount
            )
        self.stored_sizes = [size for size, _ in rows]

    @staticmethod
    def _written(prices) -> str:
        return " ".join(f"{size}:{amount}" for size, amount in sorted(prices.items()))

    def clean_was(self):
        try:
            pairs = (pair.split(":") for pair in self.cleaned_data["was"].split())
            return {Decimal(size): Decimal(amount) for size, amount in pairs}
        except (ArithmeticError, ValueError):
            raise ValidationError("This page was changed on its way here. Open it again.") from None

    def rows(self):
        """``(size field, price field)`` for the page."""
        return [(self[f"from-{n}"], self[f"price-{n}"]) for n in range(len(self.stored_sizes))]

    def clean(self):
        told, self.prices = super().clean(), {}
        for number, before in enumerate(self.stored_sizes):
            if f"from-{number}" in self.errors or f"price-{number}" in self.errors:
                continue
            size, amount = told.get(f"from-{number}"), told.get(f"price-{number}")
            if before is not None and f"from-{number}" not in self.changed_data:
                size = before  # free of rounding
            if size is None and amount is None:
                continue
            if size is None:
                self.add_error(f"from-{number}", "From which size does this price hold?")
            elif amount is None and f"price-{number}" not in self.changed_data:
                self.add_error(f"price-{number}", "What does a frag of this size cost?")
            elif not SMALLEST_FROM_MM <= size <= LARGEST_FROM_MM:
                ends = (self.fields[f"from-{number}"].unit.text(end) for end in (SMALLEST_FROM_MM, LARGEST_FROM_MM))
                self.add_error(f"from-{number}", f"Such a size cannot be; write one from {' to '.join(ends)}.")
            elif size in self.prices:
                self.add_error(f"from-{number}", "There is a price from this size already; keep one of the two.")
            elif amount is not None:
                self.prices[size] = amount
        return told


class PriceFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label="Lineage or species", method="holding_words")
    unpriced = django_filters.BooleanFilter(
        label="Only without a price", method="without_price", widget=forms.CheckboxInput
    )
    ready = django_filters.BooleanFilter(label="Only with ready frags", method="with_ready", widget=forms.CheckboxInput)

    class Meta:
        model = Lineage
        fields = []

    def __init__(self, *args, today, **kwargs):
        super().__init__(*args, **kwargs)
        self.today = today

    def holding_words(self, queryset, name, value):
        return queryset.named(value.strip())

    def without_price(self, queryset, name, value):
        return queryset.filter(price=None) if value else queryset

    def with_ready(self, queryset, name, value):
        ready = available_on(self.today).filter(lineage=OuterRef("pk"))
        return queryset.filter(Exists(ready)) if value else queryset


class PlugPriceForm(forms.Form):
    """A price of one or several plugs' own; empty returns them to their lineage's."""

    def __init__(self, *args, book: Book, amount: Decimal | None = None, knows_before=False, **kwargs):
        super().__init__(*args, **kwargs)
        self.knows_before = knows_before
        self.fields["amount"] = AmountField(
            book=book,
            label=f"Price ({book.currency})",
            initial=amount,
            help_text="Empty: as its lineage." if knows_before else "Empty: each as its lineage.",
        )
        if knows_before:
            self.fields["was"] = AmountField(book=book, initial=amount, widget=forms.HiddenInput)

    @property
    def was(self):
        return self.cleaned_data["was"] if self.knows_before else ANY


def currencies_in_use() -> list[tuple[str, str]]:
    """The currencies that are legal tender somewhere, by code, as Unicode CLDR lists them."""
    tender = {
        code
        for uses in get_global("territory_currencies").values()
        for code, start, end, is_tender in uses
        if is_tender and end is None
    }
    locale = Locale("en")
    return [(code, f"{code}, {get_currency_name(code, locale=locale)}") for code in sorted(tender)]


class CurrencyForm(AsksWhenWarned, forms.Form):
    currency = forms.ChoiceField(label="Currency", error_messages={"invalid_choice": "Choose one from the list."})
    confirmed = forms.BooleanField(label="Yes, leave the amounts as they are", required=False)
    asks = {AmountsNotConverted: "confirmed"}

    def __init__(self, *args, book: Book, **kwargs):
        super().__init__(*args, **kwargs)
        choices = currencies_in_use()
        if book.currency not in dict(choices):
            choices.insert(0, (book.currency, f"{book.currency}, {book.currency_name}"))
        self.fields["currency"].choices = choices
