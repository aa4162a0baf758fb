from datetime import timedelta

import django_filters
from django import forms
from django.db.models import Q, Value
from django.db.models.functions import Concat

from propagation import codes
from propagation.lengths import unit_of
from propagation.models import GrowthForm, Lineage, Measure, Plug

NO_RACK = "none"
OLDEST_DAYS = 36_500  # a hundred years: beyond it there is no day to compare with


class ReadyFilter(django_filters.FilterSet):
    """The filters of the ready list. Sizes are typed in the keeper's unit; ages are days since the cut or arrival."""

    q = django_filters.CharFilter(label="Code, lineage or species", method="holding_words")
    lineage = django_filters.ChoiceFilter(label="Lineage", field_name="lineage_id", empty_label="Any")
    growth_form = django_filters.ChoiceFilter(
        label="Growth form", field_name="lineage__growth_form", choices=GrowthForm, empty_label="Any"
    )
    older_than = django_filters.NumberFilter(label="At least so old (days)", method="at_least_so_old")
    younger_than = django_filters.NumberFilter(label="At most so old (days)", method="at_most_so_old")
    size_min = django_filters.NumberFilter(label="Size from", method="at_least_so_large")
    size_max = django_filters.NumberFilter(label="Size to", method="at_most_so_large")
    rack = django_filters.ChoiceFilter(label="Rack", method="on_rack", empty_label="Any")
    price = django_filters.ChoiceFilter(
        label="Price", method="priced", choices=[("known", "Known"), ("unknown", "Not known")], empty_label="Any"
    )

    class Meta:
        model = Plug
        fields = []

    def __init__(self, *args, today, length_unit, lineages, racks, **kwargs):
        """`lineages` and `racks` are (id, name) pairs, so that the choices cost what the page has asked for anyway."""
        super().__init__(*args, **kwargs)
        self.today = today
        self.unit = unit_of(Measure.DIAMETER, length_unit)
        self.filters["lineage"].extra["choices"] = [(str(pk), name) for pk, name in lineages]
        self.filters["rack"].extra["choices"] = [(str(pk), name) for pk, name in racks] + [(NO_RACK, "On no rack")]

    @property
    def form(self):
        form = super().form
        for name in ("older_than", "younger_than"):
            form.fields[name].min_value, form.fields[name].max_value = 0, OLDEST_DAYS
            form.fields[name].widget.attrs |= {"min": 0, "step": 1, "inputmode": "numeric"}
        for name, words in (("size_min", "Size from"), ("size_max", "Size to")):
            form.fields[name].label = f"{words} ({self.unit.name})"
            form.fields[name].widget.attrs |= {"min": 0, "step": "any", "inputmode": "decimal"}
        return form

    def holding_words(self, queryset, name, value):
        text = value.strip()
        bare = codes.strip_code(text)
        if codes.PATTERN.fullmatch(bare):
            by_code = queryset.filter(code=bare)
            if by_code.exists():
                return by_code
        lineages = Lineage.objects.annotate(binomial_words=Concat("genus", Value(" "), "species")).filter(
            Q(name__icontains=text) | Q(sold_as__icontains=text) | Q(binomial_words__icontains=text)
        )
        found = Q(lineage__in=list(lineages.values_list("pk", flat=True)))
        if bare and bare.isalnum() and len(bare) <= codes.LENGTH:
            found |= Q(code__contains=bare)
        return queryset.filter(found)

    def at_least_so_old(self, queryset, name, value):
        return queryset.filter(began_on__lte=self.today - timedelta(days=min(int(value), OLDEST_DAYS)))

    def at_most_so_old(self, queryset, name, value):
        return queryset.filter(began_on__gte=self.today - timedelta(days=min(int(value), OLDEST_DAYS)))

    def at_least_so_large(self, queryset, name, value):
        return queryset.filter(size_mm__gte=self.unit.stored(value))

    def at_most_so_large(self, queryset, name, value):
        return queryset.filter(size_mm__lte=self.unit.stored(value))

    def on_rack(self, queryset, name, value):
        return queryset.filter(rack=None if value == NO_RACK else value)

    def priced(self, queryset, name, value):
        is_priced = Q(own_price__isnull=False) | Q(lineage__price__isnull=False)
        return queryset.filter(is_priced) if value == "known" else queryset.exclude(is_priced)


class ChosenForm(forms.Form):
    """Plugs ticked in a list, by their codes."""

    plugs = forms.MultipleChoiceField()
