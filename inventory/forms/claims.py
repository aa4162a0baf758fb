"""Forms of claims: what was reported, and what is done about it."""

from django import forms

from inventory.actions.claim import LONGEST_NOTE, LONGEST_WORDS
from inventory.errors import LateClaim, SaleToConfirm
from inventory.forms.acquisitions import PlugField
from inventory.forms.holds import too_long
from inventory.forms.prices import AmountField
from inventory.models import Book, Claim, Credit, Payment
from propagation.forms.fields import AsksWhenWarned, DayField


class ClaimForm(AsksWhenWarned, forms.Form):
    kind = forms.ChoiceField(
        label="What they report",
        choices=Claim.Kind,
        widget=forms.RadioSelect,
        error_messages={"required": "Say what they report."},
    )
    day = DayField(label="Reported on")
    words = forms.CharField(
        label="What they wrote",
        max_length=LONGEST_WORDS,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": too_long(LONGEST_WORDS)},
    )
    confirmed = forms.BooleanField(label="Yes, take the claim all the same", required=False)
    asks = {LateClaim: "confirmed"}


class SettleForm(AsksWhenWarned, forms.Form):
    outcome = forms.ChoiceField(
        label="What is done",
        choices=[
            (Claim.Outcome.REPLACED, "Another plug"),
            (Claim.Outcome.CREDIT, "Credit"),
            (Claim.Outcome.REFUNDED, "Money back"),
            (Claim.Outcome.REFUSED, "Nothing, it is refused"),
        ],
        widget=forms.RadioSelect,
        error_messages={"required": "Say what is done about it."},
    )
    plug = PlugField(label="The plug that replaces it", required=False)
    method = forms.ChoiceField(
        label="How money is given back",
        choices=Credit.PAID_OUT_BY,
        widget=forms.RadioSelect,
        initial=Payment.Method.CASH,
        required=False,
    )
    day = DayField(label="On the day")
    note = forms.CharField(
        max_length=LONGEST_NOTE, required=False, error_messages={"max_length": too_long(LONGEST_NOTE)}
    )
    confirmed = forms.BooleanField(label="Yes, it goes to them all the same", required=False)
    asks = {SaleToConfirm: "confirmed"}
    field_order = ["outcome", "plug", "amount", "method"]

    def __init__(self, *args, book: Book, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["amount"] = AmountField(book=book, label=f"Credit or money back ({book.currency})")
        self.order_fields(self.field_order)
