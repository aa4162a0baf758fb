from django import forms

from propagation.models import System

DAYS_A_MONTH = 365 / 12
OLDEST_MONTHS = 240


class CompareSystemsForm(forms.Form):
    """Two systems and the ages to compare; ages are months since each system's start."""

    first = forms.ModelChoiceField(label="This system", queryset=System.objects.all(), empty_label=None)
    second = forms.ModelChoiceField(label="Against", queryset=System.objects.all(), empty_label=None)
    youngest = forms.IntegerField(label="From month", min_value=0, max_value=OLDEST_MONTHS)
    oldest = forms.IntegerField(label="To month", min_value=1, max_value=OLDEST_MONTHS)

    def __init__(self, data, *, first, second):
        """What the address leaves out is the default: these two systems, over the first year of each."""
        given = {"first": first.pk, "second": second.pk, "youngest": 0, "oldest": 12}
        super().__init__(given | {name: data[name] for name in given if name in data})

    def clean(self):
        given = super().clean()
        if given.get("first") and given.get("first") == given.get("second"):
            self.add_error("second", "Choose another system: one cannot be compared with itself.")
        youngest, oldest = given.get("youngest"), given.get("oldest")
        if youngest is not None and oldest is not None and youngest >= oldest:
            self.add_error("oldest", f"It must come after month {youngest}.")
        return given

    @property
    def ages(self) -> tuple[int, int]:
        """Youngest and oldest in days; only of a valid form."""
        return tuple(round(self.cleaned_data[name] * DAYS_A_MONTH) for name in ("youngest", "oldest"))

    @property
    def ages_in_words(self) -> str:
        """``their first year``, ``months 6 to 18``."""
        youngest, oldest = self.cleaned_data["youngest"], self.cleaned_data["oldest"]
        if youngest == 0 and oldest % 12 == 0:
            years = oldest // 12
            return "the first year of each" if years == 1 else f"the first {years} years of each"
        return f"months {youngest} to {oldest} of each"
