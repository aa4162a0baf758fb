from django import forms
from django.db.models.functions import Lower
from django.http import QueryDict

from propagation.models import Lineage, System

ALIVE = {"alive": True, "gone": False}


class YieldRecordFilter(forms.Form):
    """Which mothers, in which ranking. What cannot be read is left out: a filter refuses nobody."""

    text = forms.CharField(label="Tag or lineage", required=False, max_length=120)
    system = forms.ModelChoiceField(
        label="Stood in", queryset=System.objects.all(), required=False, empty_label="Every system"
    )
    lineage = forms.ModelChoiceField(
        label="Lineage",
        queryset=Lineage.objects.filter(colonies__cut_events__frags__gt=0).distinct().order_by(Lower("name")),
        required=False,
        empty_label="Every lineage",
    )
    alive = forms.ChoiceField(
        label="Alive", choices=[("", "All"), ("alive", "Alive"), ("gone", "Gone")], required=False
    )
    by = forms.ChoiceField(required=False, widget=forms.HiddenInput)

    def __init__(self, data, *, rankings):
        super().__init__(data)
        self.fields["by"].choices = [(name, name) for name in rankings]
        self.first = rankings[0]
        self.is_valid()

    @property
    def by_what(self) -> str:
        return self.cleaned_data.get("by") or self.first

    def chosen(self) -> dict:
        """Keyword arguments for `only`."""
        given = self.cleaned_data
        return {
            "text": (given.get("text") or "").strip(),
            "system": given.get("system"),
            "lineage": given.get("lineage"),
            "alive": ALIVE.get(given.get("alive")),
        }

    def in_use(self) -> int:
        """How many filters are set."""
        return sum(value is not None and value != "" for value in self.chosen().values())

    def address(self, *, by: str) -> str:
        """The same filter in another ranking."""
        query = QueryDict(mutable=True)
        given = self.cleaned_data
        for name in ("text", "alive"):
            if given.get(name):
                query[name] = given[name]
        for name in ("system", "lineage"):
            if given.get(name) is not None:
                query[name] = given[name].pk
        query["by"] = by
        return f"?{query.urlencode()}"
