from django import forms

from propagation.forms.fields import DayField, based_on_field


class AbsenceForm(forms.Form):
    first_day = DayField(label="First day away")
    last_day = DayField(label="Last day away", help_text="The last day on which nobody can look after the corals.")
    note = forms.CharField(max_length=200, required=False, help_text="Who looks in, for example.")
    based_on = based_on_field()
