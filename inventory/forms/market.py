"""The market table: a code, what lies together for one buyer, what was brought."""

from dataclasses import dataclass, field
from decimal import Decimal
from uuid import uuid4

from django import forms

from inventory.actions.sale_steps import MOST_LINES, SaleItem
from inventory.errors import NearlyTheSameName
from inventory.forms.holds import contact_name_field
from inventory.forms.prices import AmountField
from inventory.forms.sales import paid_now_field
from inventory.models import Book, Payment
from propagation.forms.fields import AsksWhenWarned
from propagation.models import Plug

KEY = "market"


@dataclass
class Basket:
    """What lies together for one buyer until it is sold; kept in the session, so a reload or a lost page takes nothing.

    ``prices`` are as they were typed, by code. ``submission`` is of this basket alone: sent twice, it is sold once.
    """

    submission: str = field(default_factory=lambda: str(uuid4()))
    prices: dict[str, str] = field(default_factory=dict)
    buyer: str = ""
    agreed: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, request) -> "Basket":
        return cls(**request.session.get(KEY, {}))

    def keep(self, request) -> None:
        request.session[KEY] = vars(self)

    @staticmethod
    def empty(request) -> None:
        request.session.pop(KEY, None)

    @property
    def is_full(self) -> bool:
        return len(self.prices) >= MOST_LINES

    def take_out(self, code: str) -> None:
        self.prices.pop(code, None)
        if not self.prices:
            self.buyer, self.agreed = "", []


class PriceForm(forms.Form):
    """What one plug is to cost."""

    def __init__(self, *args, book: Book, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["price"] = AmountField(
            book=book,
            label=f"Price ({book.currency})",
            required=True,
            error_messages={"required": "Say what it costs; 0 if nothing."},
        )


class BasketForm(AsksWhenWarned, forms.Form):
    """The plugs of a basket with their prices, to whom they go and how they are paid."""

    buyer = contact_name_field(label="To whom", required=False)
    somebody_new = forms.BooleanField(label="This is somebody else, add them", required=False)
    method = paid_now_field(Payment.Method.CASH, Payment.Method.CARD, Payment.Method.TRANSFER)
    submission = forms.UUIDField(widget=forms.HiddenInput)
    asks = {NearlyTheSameName: "somebody_new"}

    def __init__(self, *args, book: Book, plugs, prices=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.plugs = list(plugs)
        for plug in self.plugs:
            self.fields[f"price-{plug.code}"] = AmountField(
                book=book,
                label=f"Price of {plug.code_in_clear} ({book.currency})",
                initial=(prices or {}).get(plug.code),
                required=True,
                error_messages={"required": "Say what it costs; 0 if nothing."},
            )
        self.fields["together"] = AmountField(
            book=book, label=f"All of it for ({book.currency})", help_text="Less than the prices come to."
        )

    def rows(self):
        """``(plug, price field)`` for the page."""
        return [(plug, self[f"price-{plug.code}"]) for plug in self.plugs]

    @property
    def further(self) -> bool:
        """Is anything told besides prices, so that its place stands open?"""
        names = ("buyer", "somebody_new", "method", "together")
        return any(name in self.errors for name in names) or bool(self["buyer"].value() or self["together"].value())

    @property
    def sum(self) -> Decimal | None:
        """What all of it comes to as far as it was typed; None if a price cannot be read."""
        together = self["together"]
        bound = [together] if together.value() else [price for _, price in self.rows()]
        total = Decimal(0)
        for each in bound:
            try:
                total += each.field.clean(each.value()) or 0
            except forms.ValidationError:
                return None
        return total

    def items(self) -> list[SaleItem]:
        return [SaleItem(plug=plug, price=self.cleaned_data[f"price-{plug.code}"]) for plug in self.plugs]


class BroughtForm(forms.Form):
    """What goes along to a market: the plugs of a rack that are to be had, and codes."""

    rack = forms.ChoiceField(required=False, label="All that is free on a rack")
    codes = forms.CharField(
        required=False,
        max_length=20_000,
        label="Codes",
        help_text="One or many, with spaces or a line each.",
        widget=forms.Textarea(attrs={"rows": 3, "autocapitalize": "characters", "spellcheck": "false"}),
    )

    def __init__(self, *args, racks, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["rack"].choices = [
            ("", "No rack"),
            *((str(rack.pk), f"{rack.name}, {rack.system}") for rack in racks),
        ]
        self.racks = {str(rack.pk): rack for rack in racks}

    def clean(self):
        told = super().clean()
        if not told.get("rack") and not told.get("codes", "").strip() and not self.errors:
            self.add_error(None, "Choose a rack, or type the codes of what you bring.")
        return told

    @property
    def chosen_rack(self):
        return self.racks.get(self.cleaned_data["rack"])


def plugs_in_order(codes) -> list[Plug]:
    """The plugs with these codes, in the order of the codes. One query."""
    by_code = {plug.code: plug for plug in Plug.objects.filter(code__in=codes).select_related("lineage")}
    return [by_code[code] for code in codes if code in by_code]
