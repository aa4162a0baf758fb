from django import forms

from inventory.errors import LeavingToConfirm, NearlyTheSameName
from inventory.forms.holds import contact_name_field
from inventory.forms.ticked import UnticksWhatCannotBeHad
from propagation.actions.part_with import LEFT
from propagation.forms.fields import DayField
from propagation.models import Fate


class LeavingForm(UnticksWhatCannotBeHad, forms.Form):
    """How plugs left, when and to whom. The plugs stand beside it."""

    fate = forms.ChoiceField(
        label="How it left",
        choices=[(fate.value, fate.label) for fate in LEFT],
        widget=forms.RadioSelect,
        initial=Fate.SOLD,
        error_messages={
            "required": "Say whether it was sold, traded or given away.",
            "invalid_choice": "Say whether it was sold, traded or given away.",
        },
    )
    day = DayField(label="On the day")
    contact_name = contact_name_field(label="To whom", required=False)
    somebody_new = forms.BooleanField(label="This is somebody else, add them", required=False)
    confirmed = forms.BooleanField(label="Yes, it left all the same", required=False)
    asks = {NearlyTheSameName: "somebody_new", LeavingToConfirm: "confirmed"}

    def __init__(self, *args, several=False, **kwargs):
        super().__init__(*args, **kwargs)
        if several:
            self.fields["fate"].label = "How they left"
            self.fields["confirmed"].label = "Yes, they left all the same"
