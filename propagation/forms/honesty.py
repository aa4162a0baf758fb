from django import forms
from django.db.models.functions import Lower

from propagation.forecasts.honesty import lineages_with_scores
from propagation.models import Lineage


class HonestyFilter(forms.Form):
    """Forecasts of which line. What cannot be read is left out: a filter refuses nobody."""

    lineage = forms.ModelChoiceField(
        label="Lineage", queryset=Lineage.objects.none(), required=False, empty_label="Every lineage"
    )

    def __init__(self, data):
        super().__init__(data)
        self.fields["lineage"].queryset = lineages_with_scores().order_by(Lower("name"))
        self.is_valid()

    @property
    def chosen(self):
        """The line, or None for all."""
        return self.cleaned_data.get("lineage")
