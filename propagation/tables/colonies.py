import django_tables2 as tables
from django.utils.html import format_html

from propagation.models import Colony

ONE_LINE = {"td": {"class": "one-line"}}
# That it lives goes without saying on a phone.
STATE = {"td": {"class": lambda record: "" if record.ended_on or record.has_open_incident else "is-blank"}}


class ColonyTable(tables.Table):
    empty_icon = "colonies"

    tag = tables.Column("Tag", linkify=("colony", {"tag": tables.A("tag")}))
    lineage = tables.Column("Lineage", linkify=("lineage", {"pk": tables.A("lineage_id")}), order_by="lineage__name")
    spot_name = tables.Column("Stands at", default="nowhere")
    last_cut_on = tables.DateColumn(verbose_name="Last cut", format="j M Y", default="never", attrs=ONE_LINE)
    measured_on = tables.DateColumn(verbose_name="Last measured", format="j M Y", default="never", attrs=ONE_LINE)
    state = tables.Column("Now", accessor="ended_on", empty_values=(), attrs=STATE)

    class Meta:
        attrs = {"class": "narrow named"}
        model = Colony
        fields = ()
        order_by = "tag"
        empty_text = "No colony fits. Change the filter, or bring one in."

    def render_spot_name(self, value, record):
        return format_html('<span>{} <span class="quiet small place">{}</span></span>', value, record.system_name)

    def render_state(self, record):
        if record.ended_on:
            return format_html('<span class="badge">{}</span>', record.get_end_reason_display())
        if record.has_open_incident:
            return format_html('<span class="badge warning">{}</span>', "Incident")
        return format_html('<span class="badge success">{}</span>', "Alive")
