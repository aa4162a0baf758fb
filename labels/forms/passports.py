"""The passport that is read, what becomes of what came with it, and whose a key is."""

from django import forms

from inventory.forms.acquisitions import DealForm, lineage_name_field
from propagation.forms.colonies import SpotField
from propagation.forms.fields import LengthField, based_on_field
from propagation.models import Acquisition, GrowthForm, HealingStage, Spot

PLUG, COLONY = "plug", "colony"


class PassportFileForm(forms.Form):
    passport = forms.FileField(
        label="Passport",
        widget=forms.FileInput(attrs={"accept": ".jsonld,.json,application/ld+json,application/json"}),
        error_messages={
            "required": "Choose the file of the passport.",
            "empty": "The file is empty. Ask for the passport again.",
            "invalid": "Choose the file of the passport.",
        },
    )


class PassportArrivalForm(DealForm):
    """A plug or a colony that came with a passport; a return has its lineage and its way already."""

    document = forms.CharField(widget=forms.HiddenInput, strip=False)
    lineage_name = lineage_name_field()
    growth_form = forms.ChoiceField(
        label="Growth form, if the lineage is new", choices=GrowthForm, initial=GrowthForm.BRANCHING
    )
    what = forms.ChoiceField(
        label="It comes as",
        choices=[(PLUG, "A plug"), (COLONY, "A colony")],
        widget=forms.RadioSelect,
        initial=PLUG,
    )
    stage = forms.ChoiceField(label="How far healed", choices=HealingStage, initial=HealingStage.HEALED)
    size_mm = LengthField(label="Size", required=False, max_digits=6, decimal_places=2)
    rack = SpotField(
        queryset=Spot.objects.racks().in_running_systems().select_related("system"),
        required=False,
        empty_label="No rack yet",
    )
    tag = forms.CharField(max_length=24, required=False)
    spot = SpotField(label="Stands at", required=False, empty_label="Nowhere yet")

    def __init__(self, *args, is_return: bool, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["amount"].label = self.fields["amount"].label.replace("Paid in all", "Paid")
        if is_return:
            del self.fields["kind"], self.fields["lineage_name"], self.fields["growth_form"]
        else:
            self.fields["kind"].choices = [
                (kind.value, kind.label)
                for kind in (Acquisition.Kind.BOUGHT, Acquisition.Kind.TRADE, Acquisition.Kind.GIFT)
            ]

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("what") == COLONY and not cleaned.get("tag") and "tag" not in self.errors:
            self.add_error("tag", "Give the colony a tag.")
        if cleaned.get("what") == PLUG:  # what belongs to the other choice is left aside
            cleaned["tag"], cleaned["spot"] = "", None
        return cleaned


class KeyForm(forms.Form):
    name = forms.CharField(
        label="Whose key it is",
        max_length=80,
        required=False,
        help_text="The keeper who read you the same figures. Empty: you do not know.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    based_on = based_on_field()
