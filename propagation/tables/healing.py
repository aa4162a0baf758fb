import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

NUMERIC = {"td": {"class": "numeric"}, "th": {"class": "numeric"}}


def whole(number: float) -> str:
    return f"{number:.0f}"


def per_cent(share: float) -> str:
    """Never quite nothing nor quite certain."""
    return f"{min(max(round(share * 100), 1), 99)}"


def with_interval(middle: str, low: str, high: str) -> str:
    """``25 days`` and, quieter, ``22 to 28``."""
    return format_html('<span>{}<br><span class="quiet small one-line">{} to {}</span></span>', middle, low, high)


class HealingTable(tables.Table):
    """How each line heals; rows are `HealingLine`."""

    empty_icon = "stage-healed"

    lineage = tables.Column("Lineage", accessor="lineage__name", order_by="lineage__name")
    days = tables.Column("Healed after", accessor="figures__median_days", attrs=NUMERIC)
    share = tables.Column("Make it", accessor="figures__healed_share", attrs=NUMERIC)
    plugs = tables.Column("Learned from", accessor="figures__plugs", attrs=NUMERIC)
    healing = tables.Column("Healing now", attrs=NUMERIC)

    class Meta:
        order_by = "days"
        empty_text = "No line has been cut yet."

    def render_lineage(self, value, record):
        link = format_html('<a href="{}">{}</a>', reverse("lineage", args=[record.lineage.pk]), value)
        if not record.leans_on_others:
            return link
        return format_html('<span>{}<br><span class="quiet small">few plugs: leans on the others</span></span>', link)

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
        f = record.figures
        low, high = per_cent(f.healed_share_low), per_cent(f.healed_share_high)
        return with_interval(f"{per_cent(f.healed_share)}\u00a0%", low, high)

    def render_plugs(self, value):
        return "1 plug" if value == 1 else f"{value} plugs"

    def render_healing(self, value):
        return value or "–"
