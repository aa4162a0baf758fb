from django import forms

from propagation.models import Preferences


class LinesField(forms.CharField):
    """Text of several lines, whose ends count as one character each, as they do in the browser."""

    def to_python(self, value):
        return super().to_python(value).replace("\r\n", "\n")


class PreferencesForm(forms.ModelForm):
    class Meta:
        model = Preferences
        fields = [
            "length_unit",
            "rest_days",
            "check_days",
            "measure_days",
            "display_name",
            "public_pages",
            "base_address",
            "paper_name",
            "postal_address",
            "paper_reach",
            "tax_number",
            "receipt_closing",
        ]
        field_classes = {"postal_address": LinesField, "receipt_closing": LinesField}
        labels = {"length_unit": "Lengths in"}
        widgets = {
            "length_unit": forms.RadioSelect,
            "base_address": forms.TextInput(
                attrs={"inputmode": "url", "autocapitalize": "none", "spellcheck": "false"}
            ),
            "paper_name": forms.TextInput(attrs={"autocomplete": "name"}),
            "postal_address": forms.Textarea(attrs={"rows": 4, "autocomplete": "street-address"}),
            "receipt_closing": forms.Textarea(attrs={"rows": 2}),
        }
