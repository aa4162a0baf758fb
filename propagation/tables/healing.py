import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import mark_safe

NUMERIC = {"td": {"class": "numeric"}, "th": {"class": "numeric"}}


def whole(number: float) -> str:
    return f"{number:.0f}"


def per_cent(share: float) -> str:
    """Never quite nothing nor quite certain."""
    return f"{min(max(round(share * 100), 1), 99)}"


def with_interval(middle: str, low: str, high: str) -> str:
    """``25 days`` and, quieter, ``22 to 28``."""
    return format_html('<span>{}<br><span class="quiet small one-line">{} to {}</span></span>', middle, low, high)


def share_with_interval(figures) -> str:
    low, high = per_cent(figures.healed_share_low), per_cent(figures.healed_share_high)
    return with_interval(f"{per_cent(figures.healed_share)}\u00a0%", low, high)


def count_of_plugs(number: int) -> str:
    return "1 plug" if number == 1 else f"{number} plugs"


FEW_PLUGS = mark_safe('<br><span class="quiet small">few plugs: leans on the others</span>')


class HealingTable(tables.Table):
    """How each line heals; rows are `HealingLine`."""

    empty_icon = "stage-healed"

    lineage = tables.Column("Lineage", accessor="lineage__name", order_by="lineage__name")
    days = tables.Column("Healed after", accessor="figures__median_days", attrs=NUMERIC)
    share = tables.Column("Make it", accessor="figures__healed_share", attrs=NUMERIC)
    plugs = tables.Column("Learned from", accessor="figures__plugs", attrs=NUMERIC)
    healing = tables.Column("Healing now", attrs=NUMERIC)
    lost = tables.Column("Lost after it left", accessor="left", orderable=False, attrs=NUMERIC)

    class Meta:
        order_by = "days"
        empty_text = "No line has been cut yet."

    def render_lineage(self, value, record):
        link = format_html('<a href="{}">{}</a>', reverse("lineage", args=[record.lineage.pk]), value)
        if not record.leans_on_others:
            return link
        return format_html("<span>{}{}</span>", link, FEW_PLUGS)

    def render_days(self, record):
        f = record.figures
        curve = format_html(
            '<a href="?lineage={}#curve">{}\u00a0days<span class="visually-hidden">: curve of {}</span></a>',
            record.lineage.pk,
            whole(f.median_days),
            record.lineage.name,
        )
        return with_interval(curve, whole(f.median_days_low), whole(f.median_days_high))

    def render_share(self, record):
        return share_with_interval(record.figures)

    def render_plugs(self, value):
        return count_of_plugs(value)

    def render_lost(self, value):
        return value.words if value.sold else "–"

    def render_healing(self, value):
        return value or "–"


class HealingByToolTable(tables.Table):
    """How plugs fare by what they were cut with; rows are `HealingByTool`."""

    tool = tables.Column("Cut with", attrs={"td": {"class": "headline"}}, empty_values=())
    share = tables.Column("Make it", accessor="healed_share", attrs=NUMERIC)
    plugs = tables.Column("Plugs", attrs=NUMERIC)
    lost_healing = tables.Column("Lost while healing", accessor="lost", attrs=NUMERIC)
    lost = tables.Column("Lost after it left", accessor="left", attrs=NUMERIC)

    class Meta:
        orderable = False

    def __init__(self, rows, **kwargs):
        super().__init__(rows, exclude=[] if any(row.left.sold for row in rows) else ["lost"], **kwargs)

    def render_tool(self, record):
        name = "Not noted" if record.tool is None else record.tool.label
        return format_html("<span>{}{}</span>", name, FEW_PLUGS if record.leans_on_others else "")

    def render_share(self, record):
        return share_with_interval(record)

    def render_plugs(self, value, record):
        if not record.healing:
            return count_of_plugs(value)
        quiet = '<span>{}<br><span class="quiet small one-line">{} healing now</span></span>'
        return format_html(quiet, count_of_plugs(value), record.healing)

    def render_lost_healing(self, value):
        return value or "none"

    def render_lost(self, value):
        return value.words if value.sold else "–"
