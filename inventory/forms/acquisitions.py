from uuid import uuid4

from django import forms

from inventory.forms.holds import CONTACT_LIST, MOST_SUGGESTED, contact_suggestions
from inventory.forms.prices import AmountField
from inventory.models import Book
from propagation.errors import RametError
from propagation.forms.colonies import SpotField
from propagation.forms.fields import DayField, LengthField, based_on_field
from propagation.models import Acquisition, GrowthForm, HealingStage, Lineage, Spot
from propagation.readings.find import find_plug

LINEAGE_LIST = "lineage-names"


def suggestions() -> dict[str, list[str]]:
    """The names of lineages and contacts that are offered while typing, by the id of their list."""
    return {
        LINEAGE_LIST: list(Lineage.objects.values_list("name", flat=True)[:MOST_SUGGESTED]),
        **contact_suggestions(),
    }


def lineage_name_field(**kwargs):
    return forms.CharField(
        label="Lineage",
        max_length=120,
        help_text="One that is kept already, or a new name: a new lineage begins with it.",
        widget=forms.TextInput(attrs={"list": LINEAGE_LIST, "autocomplete": "off"}),
        **kwargs,
    )


class PlugField(forms.CharField):
    """A plug by its code; what is mistyped or unknown is said."""

    def __init__(self, **kwargs):
        kwargs.setdefault("widget", forms.TextInput(attrs={"class": "code-input", "autocomplete": "off"}))
        super().__init__(**kwargs)

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        try:
            return find_plug(text)
        except RametError as error:
            raise forms.ValidationError(str(error)) from error


class DealForm(forms.Form):
    """What every way of bringing in asks: when, how, from whom, for how much."""

    day = DayField(label="Came on")
    kind = forms.ChoiceField(label="How it came", choices=Acquisition.Kind, widget=forms.RadioSelect, initial="bought")
    contact_name = forms.CharField(
        label="From",
        max_length=120,
        required=False,
        help_text="A contact, or a new name.",
        widget=forms.TextInput(attrs={"list": CONTACT_LIST, "autocomplete": "off"}),
    )
    note = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), required=False)
    submission = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)

    def __init__(self, *args, book: Book, length_unit: str, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["amount"] = AmountField(book=book, label=f"Paid in all ({book.currency})", required=False)
        for field in self.fields.values():
            if isinstance(field, LengthField):
                field.use_unit(length_unit)


class ReturnFields(forms.Form):
    returned_plug = PlugField(
        label="The plug that left",
        required=False,
        help_text="Only for what came back: the code of the plug of which it is a part or the whole.",
    )


class NewLineageFields(forms.Form):
    lineage_name = lineage_name_field(required=False)
    growth_form = forms.ChoiceField(
        label="Growth form, if the lineage is new", choices=GrowthForm, initial=GrowthForm.BRANCHING
    )


class ColonyArrivalForm(DealForm, ReturnFields, NewLineageFields):
    tag = forms.CharField(max_length=24, error_messages={"required": "Give the colony a tag."})
    spot = SpotField(label="Stands at", required=False, empty_label="Nowhere yet")


class PlugsArrivalForm(DealForm, ReturnFields, NewLineageFields):
    count = forms.IntegerField(
        label="How many plugs",
        min_value=1,
        max_value=200,
        initial=1,
        error_messages={"required": "Say how many plugs came."},
    )
    size_mm = LengthField(label="Size", required=False, max_digits=6, decimal_places=2)
    stage = forms.ChoiceField(label="How far healed", choices=HealingStage, initial=HealingStage.HEALED)
    rack = SpotField(
        queryset=Spot.objects.racks().in_running_systems().select_related("system"),
        required=False,
        empty_label="No rack yet",
    )


class PackForm(DealForm):
    name = forms.CharField(
        label="Name of the pack",
        max_length=120,
        help_text="Such as where it came from and when.",
        error_messages={"required": "Give the pack a name."},
    )
    rack = SpotField(
        label="Its plugs go on",
        queryset=Spot.objects.racks().in_running_systems().select_related("system"),
        required=False,
        empty_label="No rack yet",
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        # What came back names the plug that left, one by one.
        self.fields["kind"].choices = [
            (kind.value, kind.label) for kind in Acquisition.Kind if kind != Acquisition.Kind.RETURNED
        ]


class PackLineForm(forms.Form):
    lineage = forms.CharField(
        max_length=120,
        error_messages={"required": "Say which lineage this is."},
        widget=forms.TextInput(attrs={"list": LINEAGE_LIST, "autocomplete": "off"}),
    )
    is_colony = forms.TypedChoiceField(
        label="What came",
        choices=[("", "Plugs"), ("colony", "A colony")],
        coerce=bool,
        empty_value=False,
        required=False,
    )
    count = forms.IntegerField(
        label="How many", min_value=1, max_value=200, initial=1, error_messages={"required": "Say how many."}
    )
    tag = forms.CharField(label="Tag of the colony", max_length=24, required=False)
    growth_form = forms.ChoiceField(label="Growth form, if new", choices=GrowthForm, initial=GrowthForm.BRANCHING)

    def __init__(self, *args, book: Book, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["amount"] = AmountField(book=book, label=f"Part of the price ({book.currency})", required=False)


class BasePackLines(forms.BaseFormSet):
    default_error_messages = {
        **forms.BaseFormSet.default_error_messages,
        "missing_management_form": "The lines did not come along. Open this page again and fill them in once more.",
    }

    def initial_form_count(self):
        """A line may be left empty, also one that was typed before more lines were asked for."""
        return 0 if self.is_bound else super().initial_form_count()


PackLines = forms.formset_factory(PackLineForm, formset=BasePackLines, extra=3, max_num=40, absolute_max=60)


def refuse_lines(form, lines, error) -> None:
    """Put what is wrong, row by row, into those lines that were filled in; what is in none of them into the form."""
    filled = [each for each in lines or () if each.has_changed()]
    for row, column, sentence in error.errors:
        line = filled[row - 1] if 0 < row <= len(filled) else form
        line.add_error(column if column in line.fields else None, sentence)


def typed(form) -> dict:
    """What was typed into a form, to show it again without judging it yet."""
    return {name: form[name].data for name in form.fields}


class AcquisitionForm(forms.Form):
    contact_name = forms.CharField(
        label="From",
        max_length=120,
        required=False,
        widget=forms.TextInput(attrs={"list": CONTACT_LIST, "autocomplete": "off"}),
    )
    note = forms.CharField(widget=forms.Textarea(attrs={"rows": 3}), required=False)
    based_on = based_on_field()

    field_order = ["contact_name", "amount", "note"]

    def __init__(self, *args, book: Book, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["amount"] = AmountField(book=book, label=f"Paid ({book.currency})", required=False)
        self.order_fields(self.field_order)
