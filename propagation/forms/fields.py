"""Fields that several forms share: a day, a length in the keeper's unit, what a correction was based on."""

from decimal import ROUND_HALF_UP, Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.utils.html import format_html

from propagation.errors import NameTaken
from propagation.lengths import plain, unit_of
from propagation.models import Measure

TENTH_OF_A_MM = Decimal("0.1")


class DayField(forms.DateField):
    """A day; the browser's calendar where it has one, else typed as 15 Jun 2026, 15.6.2026 or 2026-06-15."""

    def __init__(self, **kwargs):
        kwargs.setdefault("input_formats", ["%Y-%m-%d", "%d.%m.%Y", "%d %b %Y", "%d %B %Y"])
        kwargs.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
        kwargs.setdefault(
            "error_messages",
            {
                "invalid": "This is no day. Write it like 15 Jun 2026.",
                "required": "Say on which day.",
            },
        )
        super().__init__(**kwargs)


class NumberField(forms.DecimalField):
    """A number as people write it, with a decimal point or comma; shown without zeros at its end."""

    widget = forms.TextInput

    def __init__(self, **kwargs):
        kwargs.setdefault("max_digits", 12)
        kwargs.setdefault(
            "error_messages",
            {
                "invalid": "This is no number. Write it as 8.4.",
                "required": "Give a number.",
                "max_digits": "A number with so many digits cannot be right.",
            },
        )
        super().__init__(**kwargs)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def to_python(self, value):
        if isinstance(value, str) and value.count(",") == 1 and "." not in value:
            value = value.replace(",", ".")
        return super().to_python(value)

    def prepare_value(self, value):
        return plain(value) if isinstance(value, Decimal) else value


class LengthField(forms.DecimalField):
    """A length that is stored in mm, shown and typed in the keeper's unit. Call ``use_unit`` before it is drawn."""

    def __init__(self, *, label, **kwargs):
        self.bare_label = label
        super().__init__(label=label, **kwargs)
        self.unit = None

    def use_unit(self, length_unit: str) -> None:
        self.unit = unit_of(Measure.DIAMETER, length_unit)
        self.label = f"{self.bare_label} ({self.unit.name})"
        self.widget.attrs["step"] = "any"

    def prepare_value(self, value):
        """A stored number is shown in the unit; text that was typed comes back as it is."""
        if value is None or isinstance(value, str) or self.unit is None:
            return value
        return plain(self.unit.shown(value))

    def clean(self, value):
        shown = super().clean(value)
        return None if shown is None else self.unit.stored(shown).quantize(TENTH_OF_A_MM, ROUND_HALF_UP)

    def has_changed(self, initial, data):
        shown = self.prepare_value(initial)
        return super().has_changed(None if shown in (None, "") else Decimal(shown), data)


class KeepsUntouchedLengths:
    """For a form of a record with lengths: one that was not touched keeps its stored size, free of rounding."""

    def use_unit(self, length_unit: str) -> None:
        for field in self.fields.values():
            if isinstance(field, LengthField):
                field.use_unit(length_unit)

    def clean(self):
        cleaned = super().clean()
        for name, field in self.fields.items():
            if isinstance(field, LengthField) and name in cleaned and name not in self.changed_data:
                cleaned[name] = self.initial.get(name, cleaned[name])
        return cleaned


class NameIsForTheAct:
    """For a form of a record with a name: that it is free is for the act to say, which links to what has it."""

    def _get_validation_exclusions(self):
        return {*super()._get_validation_exclusions(), "name"}


class AsksWhenWarned:
    """For a form with boxes such as "yes, all the same", which are shown only once a warning asks for them, and stay.

    ``asks`` says which refusal asks for which box: ``{LateClaim: "confirmed"}``. ``refuse`` heeds it.
    """

    asks = {}

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name in self.asks.values():
            if not self.data.get(self.add_prefix(name)):
                self.fields[name].widget = forms.HiddenInput()

    def ask_about(self, error) -> None:
        """Show the box that says yes to what was warned of, if there is one."""
        for kind, name in self.asks.items():
            if isinstance(error, kind):
                self.fields[name].widget = forms.CheckboxInput()


def based_on_field(*, required=False):
    """The number of the last change when the form was opened, so that a change in between is noticed.

    Required where all else may be left empty: it tells what was emptied from a form that came without its fields.
    """
    words = {"required": "The form came without its fields. Open this page again and make your change once more."}
    return forms.IntegerField(widget=forms.HiddenInput, required=required, error_messages=words)


def refuse(form, error, **names) -> None:
    """Put a refusal into a form, at the field it names; ``names`` say how an error's field is called in this form, and
    ``otherwise`` at which field an error stands that names none. A box that the form keeps for it is shown.

    A taken name comes with a link to what has it, where that has a page (``get_absolute_url`` is not used: the address
    is asked for by the caller through ``names["other_url"]``).
    """
    if isinstance(form, AsksWhenWarned):
        form.ask_about(error)
    other_url, otherwise = names.pop("other_url", None), names.pop("otherwise", None)
    field = getattr(error, "field", None)
    field = names.get(field, field) or otherwise
    sentence = str(error)
    if isinstance(error, NameTaken):
        field = "name"
        if other_url:
            sentence = format_html('{} <a href="{}">Open {}</a>', sentence, other_url(error.other), error.other)
    form.add_error(field if field in form.fields else None, ValidationError(sentence))
