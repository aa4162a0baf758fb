from decimal import Decimal

from django import forms

from propagation.dates import day_in_words
from propagation.forms.fields import DayField, NumberField, based_on_field
from propagation.lengths import plain
from propagation.models import WaterParameter
from propagation.readings.water import ParameterNow


class WaterTestForm(forms.Form):
    """Several parameters of one day; those that were not measured stay empty."""

    day = DayField(label="Tested on")
    note = forms.CharField(max_length=200, required=False)
    confirmed = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args, now: list[ParameterNow], **kwargs):
        super().__init__(*args, **kwargs)
        self.now = now
        for each in now:
            limits = f"{plain(each.limits.low)} to {plain(each.limits.high)} is {each.kept.words}."
            last = "" if each.value is None else f"Last {plain(each.value)} on {day_in_words(each.taken_on)}. "
            self.fields[each.parameter.value] = NumberField(
                label=each.parameter.label, required=False, help_text=f"{last}{limits}"
            )

    @property
    def rows(self):
        """Each parameter's field with its unit, and the last value to show in it while it is empty."""
        return [
            (self[each.parameter.value], each.parameter.unit, "" if each.value is None else plain(each.value))
            for each in self.now
        ]

    @property
    def values(self) -> dict[str, Decimal]:
        """What was measured, by parameter; call after ``is_valid``."""
        told = ((parameter, self.cleaned_data.get(parameter)) for parameter in WaterParameter.values)
        return {parameter: value for parameter, value in told if value is not None}


class WaterRangeForm(forms.Form):
    low = NumberField(label="At least")
    high = NumberField(label="At most")
    largest_swing = NumberField(
        label="Largest swing",
        help_text="From the smallest to the largest value within the days below.",
    )
    swing_days = forms.IntegerField(label="Within days", min_value=1, max_value=60)
    based_on = based_on_field()
