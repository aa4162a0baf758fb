from django import forms
from django.http import QueryDict

from propagation.models import System
from propagation.readings.next_cuts import ORDERS


class NextCutFilter(forms.Form):
    """Which mothers, in which order. What cannot be read is left out: a filter refuses nobody."""

    text = forms.CharField(label="Tag or lineage", required=False, max_length=120)
    system = forms.ModelChoiceField(
        label="System", queryset=System.objects.running(), required=False, empty_label="Every system"
    )
    order = forms.ChoiceField(
        required=False, choices=[(name, words) for name, (words, _) in ORDERS.items()], widget=forms.HiddenInput
    )

    def chosen(self) -> dict:
        """Keyword arguments for `next_cut_rows`."""
        self.is_valid()
        cleaned = self.cleaned_data
        return {
            "text": (cleaned.get("text") or "").strip(),
            "system": cleaned.get("system"),
            "order": cleaned.get("order") or "day",
        }

    def in_use(self) -> int:
        """How many filters are set."""
        chosen = self.chosen()
        return bool(chosen["text"]) + (chosen["system"] is not None)

    def address(self, *, order: str) -> str:
        """The same filter in another order."""
        query = QueryDict(mutable=True)
        chosen = self.chosen()
        if chosen["text"]:
            query["text"] = chosen["text"]
        if chosen["system"] is not None:
            query["system"] = chosen["system"].pk
        query["order"] = order
        return f"?{query.urlencode()}"
