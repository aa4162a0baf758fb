from decimal import Decimal

import django_filters
from django import forms
from django.db.models import Exists, OuterRef

from propagation.forms.fields import DayField, based_on_field
from propagation.lengths import measure_name, plain, unit_of
from propagation.models import Colony, EndReason, Incident, Lineage, Measure, Method, Placement, Spot, System
from propagation.readings.colonies import long_unmeasured


class ColonyFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label="Tag, code or name", method="matching")
    state = django_filters.ChoiceFilter(
        label="Kept", choices=[("ended", "No longer kept"), ("all", "All")], empty_label="Alive", method="by_state"
    )
    lineage = django_filters.ModelChoiceFilter(queryset=Lineage.objects.all(), empty_label="Any")
    system = django_filters.ModelChoiceFilter(
        label="System", queryset=System.objects.all(), empty_label="Any", method="in_system"
    )
    incident = django_filters.BooleanFilter(
        label="With an open incident", method="with_incident", widget=forms.CheckboxInput
    )
    unmeasured = django_filters.BooleanFilter(
        label="Long unmeasured", method="not_measured", widget=forms.CheckboxInput
    )

    class Meta:
        model = Colony
        fields = ["q", "state", "lineage", "system", "incident", "unmeasured"]

    def __init__(self, data, *, queryset, today, measure_days):
        self.today, self.measure_days = today, measure_days
        super().__init__(data, queryset=queryset)

    def filter_queryset(self, queryset):
        if not self.form.cleaned_data.get("state"):
            queryset = queryset.alive()
        return super().filter_queryset(queryset)

    def matching(self, queryset, name, value):
        return queryset.matching(value.strip())

    def by_state(self, queryset, name, value):
        return queryset.filter(ended_on__isnull=False) if value == "ended" else queryset

    def in_system(self, queryset, name, value):
        return queryset.filter(Exists(Placement.objects.current().filter(colony=OuterRef("pk"), spot__system=value)))

    def with_incident(self, queryset, name, value):
        return queryset.filter(Exists(Incident.objects.open().filter(colony=OuterRef("pk")))) if value else queryset

    def not_measured(self, queryset, name, value):
        return long_unmeasured(queryset, days=self.measure_days, today=self.today) if value else queryset


class ColonyForm(forms.Form):
    tag = forms.CharField(max_length=24, error_messages={"required": "Give the colony a tag."})
    note = forms.CharField(widget=forms.Textarea(attrs={"rows": 4}), required=False)
    based_on = based_on_field()


class SpotField(forms.ModelChoiceField):
    """A spot of a system that runs, by system, with its light."""

    def __init__(self, **kwargs):
        kwargs.setdefault("queryset", Spot.objects.in_running_systems().select_related("system"))
        kwargs.setdefault("empty_label", "Choose a spot")
        kwargs.setdefault("error_messages", {"required": "Say to which spot."})
        super().__init__(**kwargs)

    def label_from_instance(self, spot):
        return f"{spot.system} – {spot.name}{f' ({spot.par} PAR)' if spot.par else ''}"


class MoveForm(forms.Form):
    spot = SpotField(label="To the spot")
    day = DayField(label="On the day")


class PlaceCorrectForm(forms.Form):
    spot = SpotField(label="It stood at")
    based_on = based_on_field()


class EndForm(forms.Form):
    reason = forms.ChoiceField(
        label="Why", choices=EndReason, widget=forms.RadioSelect, error_messages={"required": "Say what became of it."}
    )
    day = DayField(label="On the day")


class MeasureForm(forms.Form):
    """A size in the keeper's unit."""

    measure = forms.ChoiceField()
    value = forms.DecimalField(
        label="Size",
        error_messages={"required": "Give the size.", "invalid": "This is no number. Write it as 84.5."},
        max_digits=12,
    )
    method = forms.ChoiceField(choices=Method)
    day = DayField(label="Measured on")
    note = forms.CharField(max_length=200, required=False)
    confirmed = forms.BooleanField(required=False, widget=forms.HiddenInput)
    based_on = based_on_field()

    def __init__(self, *args, length_unit, last=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.length_unit = length_unit
        self.fields["measure"].choices = [(measure.value, measure_name(measure, length_unit)) for measure in Measure]
        self.fields["value"].widget.attrs |= {"step": "any", "min": "0", "inputmode": "decimal"}
        if last is not None:
            # The first press of + or − counts from the last size.
            self.fields["value"].widget.attrs["data-from"] = plain(unit_of(last.measure, length_unit).shown(last.value))

    def stored_value(self) -> Decimal:
        """The size as it is stored; call after ``is_valid``."""
        shown = self.cleaned_data["value"]
        unit = unit_of(self.cleaned_data["measure"], self.length_unit)
        # A count is passed on as it was typed, so that half a polyp is noticed and not rounded away.
        return shown if self.cleaned_data["measure"] == Measure.POLYPS else unit.stored(shown)

    def likely_value(self, stored) -> str:
        """What may have been meant, as it would be typed."""
        return plain(unit_of(self.cleaned_data["measure"], self.length_unit).shown(stored))

    def likely_words(self, stored) -> str:
        return unit_of(self.cleaned_data["measure"], self.length_unit).text(stored)


def method_for(measure: str) -> str:
    """How a measure is usually taken."""
    return {Measure.POLYPS: Method.COUNT, Measure.WEIGHT: Method.SCALE}.get(measure, Method.RULER)
