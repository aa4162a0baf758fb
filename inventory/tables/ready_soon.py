import django_tables2 as tables
from django.utils.formats import date_format
from django.utils.html import format_html

from inventory.tables.ready import place_of, plug_address
from propagation.readings.healing_outlook import in_ten
from propagation.templatetags.ramet import code as code_chip
from propagation.templatetags.ramet import icon


class ReadySoonTable(tables.Table):
    """Plugs that are likely healed before long, by day; rows are `FragReadySoon`."""

    empty_icon = "ready"

    code = tables.Column("Code", accessor="plug__code")
    lineage = tables.Column("Lineage", accessor="plug__lineage", attrs={"td": {"class": "headline"}})
    likely = tables.Column("Likely healed", accessor="window__likely")
    makes_it = tables.Column("Make it", accessor="window__probability")
    checked = tables.Column("Last looked at", accessor="plug__checked_on")

    class Meta:
        attrs = {"class": "narrow"}
        orderable = False
        empty_text = "Nothing is likely ready so soon."

    def __init__(self, frags, *, today, **kwargs):
        self.today = today
        super().__init__(frags, **kwargs)

    def render_code(self, value, record):
        return code_chip(value, plug_address(record.plug))

    def render_lineage(self, value, record):
        place = place_of(record.plug)
        place = format_html('<br><span class="small quiet">{}</span>', place) if place else ""
        return format_html("<span>{}{}</span>", value.name, place)

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
