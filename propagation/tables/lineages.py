import django_tables2 as tables
from django.utils.html import format_html

from propagation.models import Lineage

NUMERIC = {"td": {"class": "numeric"}, "th": {"class": "numeric"}}


class LineageTable(tables.Table):
    empty_icon = "lineages"

    name = tables.Column("Name", linkify=("lineage", {"pk": tables.A("pk")}))
    binomial = tables.Column("Species", order_by=("genus", "species"), empty_values=("", None))
    growth_form = tables.Column("Growth form")
    living_copies = tables.Column("Living copies", attrs=NUMERIC)
    living_colonies = tables.Column("Colonies", attrs=NUMERIC)
    healing_plugs = tables.Column("Plugs healing", attrs=NUMERIC)
    ready_plugs = tables.Column("Plugs ready", attrs=NUMERIC)
    last_cut_on = tables.DateColumn(verbose_name="Last cut", format="j M Y", default="–")

    class Meta:
        model = Lineage
        fields = ()
        order_by = "name"
        empty_text = "No lineage fits. Change the filter, or enter a new lineage."

    def render_binomial(self, value):
        return format_html('<i class="latin">{}</i>', value)

    def render_living_copies(self, value, record):
        if value < record.insurance_wanted:
            return format_html('<span class="badge warning">{} of {} wanted</span>', value, record.insurance_wanted)
        return f"{value} of {record.insurance_wanted} wanted"
