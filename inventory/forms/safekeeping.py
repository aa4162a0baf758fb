"""Forms of what contacts keep for the owner: leaving it with them, hearing of it, its end, its return."""

from uuid import uuid4

from django import forms

from inventory.actions.keep_safe import (
    AS_A_FRAG,
    AS_ITSELF,
    FEWEST_DAYS,
    LONGEST_NOTE,
    MOST_DAYS,
    USUAL_DAYS,
)
from inventory.errors import LeavingToConfirm, NearlyTheSameName
from inventory.forms.acquisitions import PlugField
from inventory.forms.holds import contact_name_field, too_long
from inventory.models import Safekeeping
from propagation.forms.colonies import SpotField
from propagation.forms.fields import AsksWhenWarned, DayField
from propagation.models import Spot


def note_field(**kwargs):
    return forms.CharField(
        max_length=LONGEST_NOTE, required=False, error_messages={"max_length": too_long(LONGEST_NOTE)}, **kwargs
    )


class LeaveWithForm(AsksWhenWarned, forms.Form):
    plug = PlugField(label="The plug", error_messages={"required": "Give the code on its label."})
    contact_name = contact_name_field(label="Who keeps it", missing="Say who keeps it.")
    somebody_new = forms.BooleanField(label="This is somebody else, add them", required=False)
    day = DayField(label="Since")
    ask_every_days = forms.IntegerField(
        label="Days between asking after it",
        min_value=FEWEST_DAYS,
        max_value=MOST_DAYS,
        initial=USUAL_DAYS,
        error_messages={"required": "Say after how many days to ask."},
    )
    note = note_field()
    confirmed = forms.BooleanField(label="Yes, it leaves all the same", required=False)
    asks = {NearlyTheSameName: "somebody_new", LeavingToConfirm: "confirmed"}


class HeardForm(forms.Form):
    day = DayField(label="Alive on the day")
    note = note_field()


class EndForm(forms.Form):
    outcome = forms.ChoiceField(
        label="What became of it",
        choices=[(each.value, each.label) for each in (Safekeeping.Outcome.LOST, Safekeeping.Outcome.THEIRS)],
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether it was lost or is theirs for good."},
    )
    day = DayField(label="On the day")


class BackForm(forms.Form):
    how = forms.ChoiceField(
        label="What came back",
        choices=[(AS_ITSELF, "The whole of it"), (AS_A_FRAG, "Frags of what it grew into")],
        widget=forms.RadioSelect,
        initial=AS_ITSELF,
        error_messages={"required": "Say whether it is the whole of it or frags."},
    )
    day = DayField(label="Came back on")
    tag = forms.CharField(
        label="Tag, if it is a colony by now",
        max_length=24,
        required=False,
        error_messages={"max_length": too_long(24)},
    )
    spot = SpotField(label="The colony stands at", required=False, empty_label="Nowhere yet")
    count = forms.IntegerField(
        label="How many plugs", min_value=1, max_value=200, initial=1, error_messages={"required": "Say how many."}
    )
    rack = SpotField(
        label="The plugs go on",
        queryset=Spot.objects.racks().in_running_systems().select_related("system"),
        required=False,
        empty_label="No rack yet",
    )
    submission = forms.UUIDField(widget=forms.HiddenInput, required=False, initial=uuid4)
