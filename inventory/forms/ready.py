from datetime import timedelta

import django_filters
from django.db.models import Q, Value
from django.db.models.functions import Concat

from inventory.readings.availability import price as price_of_plug
from propagation import codes
from propagation.lengths import unit_of
from propagation.models import GrowthForm, Lineage, Measure, Plug

NO_RACK = "none"
OLDEST_DAYS = 36_500  # a hundred years: beyond it there is no day to compare with
LARGEST_SIZE = 100_000


CHOOSE = {"invalid_choice": "Choose one from the list."}


def _days(words, method):
    return django_filters.NumberFilter(
        label=f"{words} (days)",
        method=method,
        min_value=0,
        max_value=OLDEST_DAYS,
        error_messages={
            "invalid": "This is no number of days. Write it as 90.",
            "min_value": "An age cannot be less than 0 days.",
            "max_value": f"An age is {OLDEST_DAYS} days at most.",
        },
    )


def _size(words, method):
    return django_filters.NumberFilter(
        label=words,
        method=method,
        min_value=0,
        max_value=LARGEST_SIZE,
        error_messages={
            "invalid": "This is no number. Write it as 25.",
            "min_value": "A size cannot be less than 0.",
            "max_value": "Such a size cannot be right.",
        },
    )


class ReadyFilter(django_filters.FilterSet):
    """The filters of the ready list. Sizes are typed in the keeper's unit; ages are days since the cut or arrival."""

    q = django_filters.CharFilter(label="Code, lineage or species", method="holding_words")
    lineage = django_filters.ChoiceFilter(
        label="Lineage", field_name="lineage_id", empty_label="Any", error_messages=CHOOSE
    )
    growth_form = django_filters.ChoiceFilter(
        label="Growth form",
        field_name="lineage__growth_form",
        choices=GrowthForm,
        empty_label="Any",
        error_messages=CHOOSE,
    )
    older_than = _days("At least so old", "at_least_so_old")
    younger_than = _days("At most so old", "at_most_so_old")
    size_min = _size("Size from", "at_least_so_large")
    size_max = _size("Size to", "at_most_so_large")
    rack = django_filters.ChoiceFilter(label="Rack", method="on_rack", empty_label="Any", error_messages=CHOOSE)
    price = django_filters.ChoiceFilter(
        label="Price",
        method="priced",
        choices=[("known", "Known"), ("unknown", "Not known")],
        empty_label="Any",
        error_messages=CHOOSE,
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
            form.fields[name].widget.attrs |= {"step": 1, "inputmode": "numeric"}
        for name, words in (("size_min", "Size from"), ("size_max", "Size to")):
            form.fields[name].label = f"{words} ({self.unit.name})"
            form.fields[name].widget.attrs |= {"step": "any", "inputmode": "decimal"}
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
        return queryset.filter(began_on__lte=self.today - timedelta(days=int(value)))

    def at_most_so_old(self, queryset, name, value):
        return queryset.filter(began_on__gte=self.today - timedelta(days=int(value)))

    def at_least_so_large(self, queryset, name, value):
        return queryset.filter(size_mm__gte=self.unit.stored(value))

    def at_most_so_large(self, queryset, name, value):
        return queryset.filter(size_mm__lte=self.unit.stored(value))

    def on_rack(self, queryset, name, value):
        return queryset.filter(rack=None if value == NO_RACK else value)

    def priced(self, queryset, name, value):
        return queryset.alias(price_sought=price_of_plug()).filter(price_sought__isnull=value != "known")
