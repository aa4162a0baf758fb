import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from propagation.models import Lineage

NUMERIC = {"td": {"class": "numeric"}, "th": {"class": "numeric"}}


class LineageTable(tables.Table):
    empty_icon = "lineages"

    name = tables.Column("Name", linkify=False)
    growth_form = tables.Column("Growth form")
    living_copies = tables.Column("Living copies", attrs=NUMERIC)
    living_colonies = tables.Column("Colonies", attrs=NUMERIC)
    ready_plugs = tables.Column("Plugs")
    last_cut_on = tables.DateColumn(verbose_name="Last cut", format="j M Y", default="never")

    class Meta:
        model = Lineage
        fields = ()
        order_by = "name"
        empty_text = "No lineage fits. Change the filter, or enter a new lineage."

    def render_name(self, value, record):
        link = format_html('<a href="{}">{}</a>', reverse("lineage", args=[record.pk]), value)
        if not record.binomial:
            return link
        return format_html('<span>{}<br><i class="latin quiet">{}</i></span>', link, record.binomial)

    def render_living_copies(self, value, record):
        words = f"{value} of {record.insurance_wanted}"
        if value >= record.insurance_wanted:
            return words
        return format_html(
            '<span class="badge warning">{}<span class="visually-hidden">: fewer than wanted</span></span>', words
        )

    def render_ready_plugs(self, value, record):
        if not value and not record.healing_plugs:
            return "–"
        return f"{record.healing_plugs} healing, {value} ready"
