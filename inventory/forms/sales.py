"""Forms of sales: what is in one, how it is paid, how it leaves."""

from dataclasses import dataclass
from decimal import Decimal
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError

from inventory.actions.begin_sale import LONGEST_NOTE
from inventory.actions.pay_sale import LONGEST_NOTE as LONGEST_PAYMENT_NOTE
from inventory.actions.sale_steps import SaleItem
from inventory.errors import NearlyTheSameName, PaidFromCredit, PaidLongBefore, SaleToConfirm
from inventory.forms.holds import contact_name_field, too_long
from inventory.forms.prices import AmountField
from inventory.forms.ticked import UnticksWhatCannotBeHad
from inventory.models import Book, Credit, Payment, Sale
from inventory.money import read_discount, write_amount
from propagation.errors import RametError
from propagation.forms.fields import AsksWhenWarned, DayField, based_on_field
from propagation.models import Colony, Plug

NOT_PAID = "later"


def paid_now_field(*methods: Payment.Method) -> forms.ChoiceField:
    """How what is sold is paid at once, in this order, or that it is not yet."""
    return forms.ChoiceField(
        label="How it is paid",
        choices=[*((method.value, method.label) for method in methods), (NOT_PAID, "Not yet")],
        widget=forms.RadioSelect,
        required=False,
        initial=methods[0],
        error_messages={"invalid_choice": "Choose one of these."},
    )


class DiscountField(AmountField):
    """An amount, or so many percent of every line: ``10`` or ``10 %``; ``(amount, percent)``, one of them None."""

    def clean(self, value):
        text = forms.CharField.clean(self, value)
        if not text:
            return None, None
        try:
            return read_discount(text, book=self.book)
        except RametError as error:
            raise ValidationError(str(error)) from error


@dataclass(frozen=True)
class Row:
    """One thing that may be sold, as a row of the form shows it."""

    thing: Plug | Colony
    is_taken: bool
    price: forms.BoundField
    less: forms.BoundField
    promise: str

    @property
    def is_plug(self) -> bool:
        return isinstance(self.thing, Plug)


class SaleForm(UnticksWhatCannotBeHad, forms.Form):
    """What is in a sale: things with a box, a price and what is off it; for whom stands in it only for a new one."""

    contact_name = contact_name_field(label="To whom", missing="Say to whom.")
    somebody_new = forms.BooleanField(label="This is somebody else, add them", required=False)
    confirmed = forms.BooleanField(label="Yes, sell it all the same", required=False)
    note = forms.CharField(
        max_length=LONGEST_NOTE, required=False, error_messages={"max_length": too_long(LONGEST_NOTE)}
    )
    method = paid_now_field(Payment.Method.CASH, Payment.Method.TRANSFER, Payment.Method.CARD)
    submission = forms.UUIDField(widget=forms.HiddenInput, required=False)
    based_on = based_on_field()
    asks = {NearlyTheSameName: "somebody_new", SaleToConfirm: "confirmed"}

    def __init__(self, *args, book: Book, things, taken, prices=None, is_new=True, **kwargs):
        kwargs["initial"] = {"submission": uuid4()} | (kwargs.get("initial") or {})
        super().__init__(*args, **kwargs)
        self.book, self.things, self.taken = book, list(things), set(taken)
        self.fields["discount"] = DiscountField(
            book=book,
            label=f"Discount on all ({book.currency})",
            help_text="An amount, or percent: 10 %.",
        )
        self.fields["shipping"] = AmountField(book=book, label=f"Shipping ({book.currency})")
        for thing in self.things:
            name = thing.code_in_clear if isinstance(thing, Plug) else thing.tag
            price, less = (prices or {}).get(thing.code, (None, None))
            self.fields[f"price-{thing.code}"] = AmountField(
                book=book, label=f"Price of {name} ({book.currency})", initial=price
            )
            self.fields[f"less-{thing.code}"] = AmountField(
                book=book, label=f"Off {name} ({book.currency})", initial=less or None
            )
        if not is_new:
            for name in ("contact_name", "somebody_new", "method"):
                del self.fields[name]

    def rows(self, promises) -> list[Row]:
        return [
            Row(
                thing,
                thing.code in self.taken - self.taken_out,
                self[f"price-{thing.code}"],
                self[f"less-{thing.code}"],
                promises.get(thing.pk, "") if isinstance(thing, Plug) else "",
            )
            for thing in self.things
        ]

    def clean(self):
        told = super().clean()
        for thing in self.things:
            name = f"price-{thing.code}"
            if thing.code in self.taken and name in told and told[name] is None:
                self.add_error(name, "Say what it costs; 0 if nothing.")
        if not self.taken:
            self.add_error(None, "Choose at least one to sell.")
        return told

    @property
    def items(self) -> list[SaleItem]:
        return [
            SaleItem(
                plug=thing if isinstance(thing, Plug) else None,
                colony=None if isinstance(thing, Plug) else thing,
                price=self.cleaned_data[f"price-{thing.code}"],
                discount=self.cleaned_data[f"less-{thing.code}"] or Decimal(0),
            )
            for thing in self.things
            if thing.code in self.taken
        ]

    @property
    def terms(self) -> dict:
        """Discount and note as the acts take them."""
        amount, percent = self.cleaned_data["discount"]
        return {"discount": amount or Decimal(0), "percent": percent, "note": self.cleaned_data["note"]}


class PaymentForm(AsksWhenWarned, forms.Form):
    """Money that came, or goes back."""

    method = forms.ChoiceField(
        label="How",
        widget=forms.RadioSelect,
        initial=Payment.Method.CASH,
        error_messages={"required": "Say how it is paid.", "invalid_choice": "Choose one of these."},
    )
    day = DayField(label="On the day")
    note = forms.CharField(
        max_length=LONGEST_PAYMENT_NOTE, required=False, error_messages={"max_length": too_long(LONGEST_PAYMENT_NOTE)}
    )
    confirmed = forms.BooleanField(label="Yes, it was paid on that day", required=False)
    in_money = forms.BooleanField(label="Yes, give all of it in money", required=False)
    based_on = based_on_field()
    asks = {PaidLongBefore: "confirmed", PaidFromCredit: "in_money"}
    field_order = ["amount", "method", "in_money", "day", "confirmed", "note", "based_on"]

    def __init__(self, *args, book: Book, credit=None, goes_back=False, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["amount"] = AmountField(
            book=book,
            label=f"Amount ({book.currency})",
            required=True,
            error_messages={"required": "Say how much."},
        )
        choices = list(Credit.PAID_OUT_BY)
        if goes_back:
            choices.append((Payment.Method.CREDIT, "Kept as their credit"))
        else:
            del self.fields["in_money"]
        if credit:
            choices.append((Payment.Method.CREDIT, f"From their credit of {write_amount(credit, book.currency)}"))
        self.fields["method"].choices = choices
        self.order_fields(self.field_order)


class PayOutForm(forms.Form):
    """Credit that is paid out to them."""

    method = forms.ChoiceField(
        label="How",
        choices=Credit.PAID_OUT_BY,
        widget=forms.RadioSelect,
        initial=Payment.Method.CASH,
        error_messages={"required": "Say how it is paid out.", "invalid_choice": "Choose one of these."},
    )
    day = DayField(label="On the day")
    note = forms.CharField(
        max_length=LONGEST_PAYMENT_NOTE, required=False, error_messages={"max_length": too_long(LONGEST_PAYMENT_NOTE)}
    )
    submission = forms.UUIDField(widget=forms.HiddenInput)
    field_order = ["amount", "method", "day", "note", "submission"]

    def __init__(self, *args, book: Book, **kwargs):
        kwargs["initial"] = {"submission": uuid4()} | (kwargs.get("initial") or {})
        super().__init__(*args, **kwargs)
        self.fields["amount"] = AmountField(
            book=book, label=f"Amount ({book.currency})", required=True, error_messages={"required": "Say how much."}
        )
        self.order_fields(self.field_order)


class HandOverForm(AsksWhenWarned, forms.Form):
    """How everything in a sale leaves."""

    how = forms.ChoiceField(
        label="How it leaves",
        choices=Sale.Leaving.choices,
        widget=forms.RadioSelect,
        initial=Sale.Leaving.HANDED_OVER,
        error_messages={
            "required": "Say whether it is handed over or sent.",
            "invalid_choice": "Say whether it is handed over or sent.",
        },
    )
    day = DayField(label="On the day")
    confirmed = forms.BooleanField(label="Yes, it leaves all the same", required=False)
    asks = {SaleToConfirm: "confirmed"}


class CancelForm(forms.Form):
    """What becomes of the money when a sale is called off."""

    settle = forms.ChoiceField(
        label="What was paid",
        choices=[("refund", "Give it back"), ("credit", "Keep it as their credit")],
        widget=forms.RadioSelect,
        error_messages={"required": "Say what becomes of the money.", "invalid_choice": "Choose one of these."},
    )
    method = forms.ChoiceField(
        label="How it is given back",
        choices=Credit.PAID_OUT_BY,
        widget=forms.RadioSelect,
        initial=Payment.Method.CASH,
        required=False,
        error_messages={"invalid_choice": "Choose one of these."},
    )

    def __init__(self, *args, with_money: bool, **kwargs):
        super().__init__(*args, **kwargs)
        if not with_money:
            self.fields.clear()


class CloseForm(forms.Form):
    confirmed = forms.BooleanField(
        label="Yes, let what is owed go", error_messages={"required": "Tick this, or take the payment first."}
    )
