"""The form of a trade: what goes out is ticked, what comes in stands in lines."""

from decimal import Decimal
from uuid import uuid4

from django import forms

from inventory.actions.trade import LONGEST_NOTE
from inventory.errors import LeavingToConfirm, NearlyTheSameName
from inventory.forms.acquisitions import LINEAGE_LIST, BasePackLines
from inventory.forms.holds import contact_name_field, too_long
from inventory.forms.prices import AmountField
from inventory.forms.ticked import UnticksWhatCannotBeHad
from inventory.models import Book
from propagation.actions.acquire import PackLine
from propagation.forms.fields import DayField, LengthField
from propagation.models import GrowthForm

THEY_PAID, YOU_PAID = "they", "you"


class TradeForm(UnticksWhatCannotBeHad, forms.Form):
    contact_name = contact_name_field(label="With whom", missing="Say with whom.")
    somebody_new = forms.BooleanField(label="This is somebody else, add them", required=False)
    confirmed = forms.BooleanField(label="Yes, they go out all the same", required=False)
    day = DayField(label="On the day")
    who_paid = forms.ChoiceField(
        label="Who paid it",
        choices=[(THEY_PAID, "They paid you"), (YOU_PAID, "You paid them")],
        widget=forms.RadioSelect,
        required=False,
        initial=THEY_PAID,
        error_messages={"invalid_choice": "Say who paid the cash."},
    )
    note = forms.CharField(
        max_length=LONGEST_NOTE, required=False, error_messages={"max_length": too_long(LONGEST_NOTE)}
    )
    submission = forms.UUIDField(widget=forms.HiddenInput, required=False)
    asks = {NearlyTheSameName: "somebody_new", LeavingToConfirm: "confirmed"}

    def __init__(self, *args, book: Book, **kwargs):
        kwargs["initial"] = {"submission": uuid4()} | (kwargs.get("initial") or {})
        super().__init__(*args, **kwargs)
        self.fields["cash"] = AmountField(
            book=book, label=f"Cash on top ({book.currency})", help_text="Leave empty if none was paid."
        )

    @property
    def signed_cash(self) -> Decimal:
        """What they paid; below nothing if it was paid to them."""
        amount = self.cleaned_data["cash"] or Decimal(0)
        return -amount if self.cleaned_data["who_paid"] == YOU_PAID else amount


class TradeLineForm(forms.Form):
    lineage = forms.CharField(
        max_length=120,
        widget=forms.TextInput(attrs={"list": LINEAGE_LIST, "autocomplete": "off"}),
        error_messages={"required": "Say which lineage this is; a new name begins a new one."},
    )
    is_colony = forms.BooleanField(label="A colony", required=False)
    count = forms.IntegerField(
        label="How many", min_value=1, max_value=200, initial=1, error_messages={"required": "Say how many."}
    )
    tag = forms.CharField(
        label="Tag of the colony",
        max_length=24,
        required=False,
        error_messages={"max_length": too_long(24)},
    )
    size_mm = LengthField(label="Size", required=False, max_digits=6, decimal_places=2)
    growth_form = forms.ChoiceField(label="Growth form, if new", choices=GrowthForm, initial=GrowthForm.BRANCHING)

    def __init__(self, *args, length_unit: str, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["size_mm"].use_unit(length_unit)

    @property
    def line(self) -> PackLine:
        told = self.cleaned_data
        return PackLine(
            lineage=told["lineage"],
            is_colony=told["is_colony"],
            count=told["count"],
            tag=told["tag"],
            growth_form=told["growth_form"],
            size_mm=None if told["is_colony"] else told["size_mm"],
        )


TradeLines = forms.formset_factory(TradeLineForm, formset=BasePackLines, extra=1, max_num=40, absolute_max=60)
