from django import forms

from propagation.errors import NothingFound
from propagation.forms.fields import DayField
from propagation.models import IncidentKind, System
from propagation.readings.find import find_colony


class ColonyByTag(forms.CharField):
    """A colony by its tag or code; what is not found is answered with the nearest tags."""

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        try:
            return find_colony(text)
        except NothingFound as error:
            raise forms.ValidationError(str(error)) from error


class IncidentForm(forms.Form):
    colony = ColonyByTag(label="Colony, by its tag", required=False)
    system = forms.ModelChoiceField(
        label="Or a whole system", queryset=System.objects.all(), required=False, empty_label="No, one colony"
    )
    kind = forms.ChoiceField(
        label="What is wrong",
        choices=IncidentKind,
        widget=forms.RadioSelect,
        error_messages={"required": "Say what is wrong."},
    )
    day = DayField(label="Since")
    note = forms.CharField(widget=forms.Textarea(attrs={"rows": 3}), required=False)

    def clean(self):
        told = super().clean()
        if not self.errors and bool(told.get("colony")) == bool(told.get("system")):
            self.add_error("colony", "Name one colony or one whole system.")
        return told


class IncidentCloseForm(forms.Form):
    day = DayField(label="Over since")
    note = forms.CharField(
        label="What helped", widget=forms.Textarea(attrs={"rows": 3}), required=False, help_text="Added to its note."
    )
