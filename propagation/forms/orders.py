from datetime import date, timedelta

from django import forms
from django.core.exceptions import ValidationError
from django.db.models.functions import Lower

from propagation.forms.fields import DayField
from propagation.models import Lineage

MOST_WANTED = 500  # a bound against a slip of the thumb; common practice, no source
USUAL_WAIT = timedelta(days=91)
FURTHEST = timedelta(days=3 * 365)


class OrderForm(forms.Form):
    """So many frags of a line by a day. Empty until a number is asked for."""

    lineage = forms.ModelChoiceField(
        label="Lineage",
        queryset=Lineage.objects.order_by(Lower("name")),
        empty_label="Choose a lineage",
        error_messages={
            "required": "Say of which lineage.",
            "invalid_choice": "There is no such lineage. Choose one of the list.",
        },
    )
    frags = forms.IntegerField(
        label="Frags wanted",
        min_value=1,
        max_value=MOST_WANTED,
        error_messages={
            "required": "Say how many.",
            "invalid": "This is no number. Write it as 12.",
            "min_value": "An order is for at least one frag.",
            "max_value": f"No more than {MOST_WANTED} are planned at once. Plan a larger order in parts.",
        },
    )
    day = DayField(label="Ready by")
    ready = forms.BooleanField(label="Take plugs that are ready now", required=False)
    healing = forms.BooleanField(label="Reckon with plugs that heal now", required=False)

    def __init__(self, data, *, today: date):
        self.today = today
        asked = "frags" in data
        super().__init__(
            data if asked else None,
            initial={
                "lineage": _number(data.get("lineage")),
                "frags": 12,
                "day": today + USUAL_WAIT,
                "ready": True,
                "healing": True,
            },
        )

    def clean_day(self):
        day = self.cleaned_data["day"]
        if day < self.today:
            raise ValidationError("This day has passed. Take one from today on.")
        if day > self.today + FURTHEST:
            raise ValidationError("Nothing can be said of a day more than three years ahead.")
        return day


def _number(text):
    """A key in an address, or none where it cannot be one."""
    return int(text) if text and text.isascii() and text.isdecimal() and len(text) < 18 else None
