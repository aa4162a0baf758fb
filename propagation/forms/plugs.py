"""Forms of racks and plugs. What is allowed is for the acts to say."""

import re

from django import forms
from django.utils.timezone import localdate

from propagation.forms.fields import DayField, KeepsUntouchedLengths, LengthField, based_on_field
from propagation.models import Colony, HealingCheck, HealingStage, LossReason, Plug, Spot

NEXT = "next"
CELL = re.compile(r"(\d{1,9})-(\d{1,2})-(\d{1,2})")


class PlugsField(forms.ModelMultipleChoiceField):
    """Plugs chosen on a page, by their ids."""

    def __init__(self):
        super().__init__(
            queryset=Plug.objects.all(),
            error_messages={
                "required": "Choose at least one plug first.",
                "invalid_choice": "A plug you chose is not known here any more; choose again.",
                "invalid_pk_value": "A plug you chose is not known here; choose again.",
            },
        )


def racks_in_use():
    return Spot.objects.racks().in_running_systems().select_related("system").order_by("system__name", "name")


class PlugActsForm(forms.Form):
    """What can be done with chosen plugs. ``act`` says which of it, and so what must be given.

    Choices of a rack come with the form so that a page draws them without another query for each.
    """

    plugs = PlugsField()
    on = DayField(label="Seen on")
    stage = forms.ChoiceField(choices=[(NEXT, "Next stage"), *HealingStage.choices], required=False)
    note = forms.CharField(label="Note", max_length=HealingCheck._meta.get_field("note").max_length, required=False)
    reason = forms.ChoiceField(
        label="Why they died", choices=LossReason.choices, required=False, widget=forms.RadioSelect
    )
    rack = forms.ModelChoiceField(
        queryset=Spot.objects.none(), label="Rack", required=False, empty_label="No rack: it stands nowhere"
    )
    cell = forms.CharField(required=False)
    set_aside = forms.ChoiceField(choices=[("yes", "Set aside"), ("no", "Release")], required=False)

    def __init__(self, data=None, *, act="", **kwargs):
        super().__init__(data, **kwargs)
        self.act = act
        self.fields["rack"].queryset = racks_in_use()
        self.fields["on"].initial = localdate
        self.fields["on"].required = not self.is_bound or "on" in self.data  # a form without a day means today
        self.fields["on"].widget.attrs["max"] = localdate().isoformat()

    def clean_on(self):
        return self.cleaned_data["on"] or localdate()

    def clean_stage(self):
        stage = self.cleaned_data["stage"]
        return None if stage == NEXT else stage

    def clean_cell(self):
        """``(row, column)`` of the free cell that was tapped, or None. Its rack is the one to go to."""
        typed = self.cleaned_data["cell"]
        if not typed:
            return None
        match = CELL.fullmatch(typed)
        rack = self.fields["rack"].queryset.filter(pk=match[1]).first() if match else None
        if rack is None:
            raise forms.ValidationError("That is no cell of a rack in use; tap a free one.")
        self.cleaned_data["rack"] = rack
        return int(match[2]), int(match[3])

    def clean(self):
        cleaned = super().clean()
        if self.act == "heal" and "stage" in cleaned and not self.data.get("stage"):
            self.add_error("stage", "Say which stage they are in.")
        if self.act == "dead" and "reason" in cleaned and not cleaned["reason"]:
            self.add_error("reason", "Say why they died; “Unknown” will do.")
        if self.act == "insurance" and "set_aside" in cleaned and not cleaned["set_aside"]:
            self.add_error("set_aside", "Say whether to set them aside or to release them.")
        return cleaned


class RackFilter(forms.Form):
    """Which plugs of a rack are meant: by stage, by lineage, by a check that is due."""

    stage = forms.ChoiceField(label="Stage", choices=[("", "Any"), *HealingStage.choices], required=False)
    lineage = forms.TypedChoiceField(label="Lineage", coerce=int, empty_value=None, required=False)
    due = forms.BooleanField(label="Check is due", required=False)

    def __init__(self, data, *, lineages):
        super().__init__(data)
        self.fields["lineage"].choices = [("", "Any"), *lineages]

    @property
    def asked(self) -> dict:
        """What was asked for; what is no choice here asks for nothing."""
        return {name: value for name, value in self.cleaned_data.items() if value} if self.is_valid() else {}

    def means(self, cell) -> bool:
        return all(getattr(cell, name) == value for name, value in self.asked.items())


class GrowOnForm(forms.Form):
    tag = forms.CharField(
        label="Tag",
        max_length=Colony._meta.get_field("tag").max_length,
        help_text="What you will write on its tag in the tank. The next free one is filled in.",
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off", "spellcheck": "false"}),
        error_messages={"required": "Give the colony a tag."},
    )
    spot = forms.ModelChoiceField(
        queryset=Spot.objects.none(), label="Where it goes", required=False, empty_label="Nowhere yet"
    )
    on = DayField(label="Day")
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["spot"].queryset = (
            Spot.objects.in_running_systems()
            .filter(rack_rows=None)
            .select_related("system")
            .order_by("system__name", "name")
        )
        self.fields["on"].widget.attrs["max"] = localdate().isoformat()


class PlugForm(KeepsUntouchedLengths, forms.Form):
    """The size and the note of a plug."""

    size_mm = LengthField(label="Size", required=False, min_value=0, max_digits=6, decimal_places=2)
    note = forms.CharField(
        label="Note",
        required=False,
        max_length=Plug._meta.get_field("note").max_length,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    based_on = based_on_field(required=True)


class VoidForm(forms.Form):
    reason = forms.CharField(
        label="What went wrong",
        max_length=100,
        help_text="For example: counted twice.",
        error_messages={"required": "Say in a word why it was recorded by mistake."},
    )
