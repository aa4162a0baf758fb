import django_tables2 as tables
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.html import format_html, format_html_join

from inventory.tables.ready import plug_address
from propagation.readings.healing_outlook import in_ten
from propagation.templatetags.ramet import code as code_chip
from propagation.templatetags.ramet import icon


class ReadySoonTable(tables.Table):
    """Plugs that are likely healed before long, by day; rows are `BatchReadySoon`."""

    empty_icon = "ready"

    lineage = tables.Column("Lineage", attrs={"td": {"class": "headline"}})
    likely = tables.Column("Likely healed", accessor="window__likely", attrs={"td": {"class": "across"}})
    makes_it = tables.Column("Make it", accessor="window__probability")
    checked = tables.Column("Last looked at", accessor="checked_on")
    plugs = tables.Column("Plugs", accessor="frags", attrs={"td": {"class": "headline"}})

    class Meta:
        attrs = {"class": "narrow dense"}
        orderable = False
        empty_text = "Nothing is likely ready so soon."

    def __init__(self, batches, *, today, **kwargs):
        self.today = today
        super().__init__(batches, **kwargs)

    def render_lineage(self, value, record):
        address, racks = reverse("lineage", args=[value.pk]), ", ".join(record.racks)
        place = format_html('<br><span class="small quiet">{}</span>', racks) if racks else ""
        return format_html('<span><a href="{}">{}</a>{}</span>', address, value.name, place)

    def render_plugs(self, value):
        """How many; unfolded, each with its own page."""
        codes = format_html_join(" ", "{}", ((code_chip(f.plug.code, plug_address(f.plug)),) for f in value))
        if len(value) == 1:
            return codes
        return format_html(
            '<details class="plain-disclosure"><summary>{} plugs</summary><span class="row">{}</span></details>',
            len(value),
            codes,
        )

    def render_likely(self, record):
        window = record.window
        if window.is_over_on(self.today):
            words = "should be by now" if window.latest < self.today else "may be by now"
            return format_html('<span class="badge marker">{}{}</span>', icon("clock", 14), words)
        same_year = window.latest.year == self.today.year
        day = date_format(window.likely, "j M" if window.likely.year == self.today.year else "j M Y")
        latest = date_format(window.latest, "j M" if same_year else "j M Y")
        return format_html(
            '<span><span class="one-line">{}</span><br><span class="small quiet one-line">{} to {}</span></span>',
            day,
            date_format(window.earliest, "j M"),
            latest,
        )

    def render_makes_it(self, value):
        return in_ten(value)

    def render_checked(self, value):
        days = (self.today - value).days
        return "today" if days <= 0 else "yesterday" if days == 1 else f"{days} days ago"
