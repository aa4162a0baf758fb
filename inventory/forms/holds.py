from datetime import timedelta

from django import forms
from django.utils.formats import date_format

from inventory.actions.hold_plugs import LONGEST_NOTE
from inventory.errors import NearlyTheSameName
from inventory.forms.ticked import UnticksWhatCannotBeHad
from inventory.models import Contact
from propagation.forms.fields import DayField

CONTACT_LIST = "contact-names"
MOST_SUGGESTED = 500  # names offered while typing; any other can be typed in full
# How long one usually waits for somebody to come by; common practice, no source.
LENGTHS = [(3, "3 days"), (7, "A week"), (14, "Two weeks"), (30, "30 days")]
USUAL_LENGTH = 7


def contact_suggestions() -> dict[str, list[str]]:
    """The names that are offered while typing, by the id of their list."""
    return {CONTACT_LIST: list(Contact.objects.known().values_list("name", flat=True)[:MOST_SUGGESTED])}


def too_long(most: int) -> str:
    return f"This has %(show_value)d characters; {most} fit."


def contact_name_field(*, missing="Say for whom.", **kwargs):
    """A contact that is known, or a new name; ``missing`` is what is said where none was given."""
    return forms.CharField(
        max_length=120,
        help_text="A contact, or a new name.",
        widget=forms.TextInput(attrs={"list": CONTACT_LIST, "autocomplete": "off", "autocapitalize": "words"}),
        error_messages={"required": missing, "max_length": too_long(120)},
        **kwargs,
    )


class HoldForm(UnticksWhatCannotBeHad, forms.Form):
    """For whom and until when. The plugs stand beside it."""

    contact_name = contact_name_field(label="For")
    somebody_new = forms.BooleanField(label="This is somebody else, add them", required=False)
    days = forms.TypedChoiceField(
        label="For how long",
        coerce=int,
        widget=forms.RadioSelect,
        initial=USUAL_LENGTH,
        required=False,
        empty_value=0,
        error_messages={"invalid_choice": "Choose one of these, or a day."},
    )
    until = DayField(label="Or until a day", required=False)
    note = forms.CharField(
        max_length=LONGEST_NOTE, required=False, error_messages={"max_length": too_long(LONGEST_NOTE)}
    )
    asks = {NearlyTheSameName: "somebody_new"}

    def __init__(self, *args, today, **kwargs):
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["days"].choices = [
            (days, f"{words}, {date_format(today + timedelta(days=days), 'D j M')}") for days, words in LENGTHS
        ]

    def clean(self):
        told = super().clean()
        if "until" in told and not told["until"]:
            if not told.get("days"):
                self.add_error("days", "Say for how long, or until which day.")
            else:
                told["until"] = self.today + timedelta(days=told["days"])
        return told
