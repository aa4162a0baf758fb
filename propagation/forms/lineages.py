import django_filters
from django import forms
from django.db.models import F

from propagation.forms.fields import KeepsUntouchedLengths, LengthField, NameIsForTheAct, based_on_field
from propagation.models import GrowthForm, IdentityCertainty, Lineage


class LineageForm(NameIsForTheAct, KeepsUntouchedLengths, forms.ModelForm):
    """The particulars of a lineage."""

    frag_size_mm = LengthField(label="Frag size", min_value=0, max_digits=6, decimal_places=2)
    based_on = based_on_field()

    class Meta:
        model = Lineage
        fields = [
            "name",
            "sold_as",
            "identity",
            "genus",
            "species",
            "growth_form",
            "origin",
            "frags_per_cut",
            "frag_size_mm",
            "measure",
            "rest_days",
            "insurance_wanted",
            "note",
        ]
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}
        labels = {"sold_as": "Sold to me as", "note": "Note"}
        error_messages = {"name": {"required": "Give the lineage a name to keep it under."}}

    def clean_genus(self):
        return self.cleaned_data["genus"].strip().capitalize()

    def clean_species(self):
        return self.cleaned_data["species"].strip().lower()


class LineageFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label="Name", method="named")
    growth_form = django_filters.ChoiceFilter(choices=GrowthForm, empty_label="Any")
    identity = django_filters.ChoiceFilter(label="Identity", choices=IdentityCertainty, empty_label="Any")
    short = django_filters.BooleanFilter(
        label="Fewer living copies than wanted", method="short_of_copies", widget=forms.CheckboxInput
    )

    class Meta:
        model = Lineage
        fields = ["q", "growth_form", "identity", "short"]

    def named(self, queryset, name, value):
        return queryset.named(value.strip())

    def short_of_copies(self, queryset, name, value):
        return queryset.filter(living_copies__lt=F("insurance_wanted")) if value else queryset
