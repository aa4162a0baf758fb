from django import forms

from propagation.models import Preferences


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
        ]
        labels = {"length_unit": "Lengths in"}
        widgets = {
            "length_unit": forms.RadioSelect,
            "base_address": forms.TextInput(
                attrs={"inputmode": "url", "autocapitalize": "none", "spellcheck": "false"}
            ),
        }
