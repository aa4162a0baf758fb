import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

NUMERIC = {"td": {"class": "numeric"}, "th": {"class": "numeric"}}


def per_cent(share: float, *, signed: bool = False) -> str:
    """``4.2 %``, ``+12 %``; a true minus sign."""
    number = share * 100
    text = f"{abs(number):.1f}" if abs(number) < 9.95 else f"{abs(number):.0f}"
    sign = "" if float(text) == 0 else "−" if number < 0 else "+" if signed else ""
    return f"{sign}{text}\u00a0%"


class SystemPairTable(tables.Table):
    """Lineages that lived in both systems; rows are `LineagePair`."""

    empty_icon = "lineages"

    lineage = tables.Column("Lineage", attrs={"td": {"class": "headline"}})
    first = tables.Column(attrs=NUMERIC)
    second = tables.Column(attrs=NUMERIC)
    apart = tables.Column("Difference", attrs=NUMERIC)
    light = tables.Column("Light", accessor="first_light", attrs=NUMERIC, empty_values=())

    class Meta:
        orderable = False

    def __init__(self, pairs, *, first, second, **kwargs):
        super().__init__(pairs, **kwargs)
        self.columns["first"].column.verbose_name = first.name
        self.columns["second"].column.verbose_name = second.name

    def render_lineage(self, value):
        return format_html('<a href="{}">{}</a>', reverse("lineage", args=[value.pk]), value.name)

    def _rate(self, rate, error):
        return format_html(
            '<span>{}<br><span class="quiet small one-line">± {}</span></span>', per_cent(rate), per_cent(error)
        )

    def render_first(self, value, record):
        return self._rate(value, record.first_error)

    def render_second(self, value, record):
        return self._rate(value, record.second_error)

    def render_apart(self, value):
        return per_cent(value, signed=True)

    def render_light(self, record):
        lights = record.first_light, record.second_light
        if lights == (None, None):
            return "–"
        return " → ".join("?" if light is None else f"{light:.0f}" for light in lights)
