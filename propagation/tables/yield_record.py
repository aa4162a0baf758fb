import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from propagation.readings.healing_outlook import in_ten

NUMERIC = {"td": {"class": "numeric"}, "th": {"class": "numeric"}}


def few_digits(number: float) -> str:
    """``0.8``, ``3.4``, ``12``."""
    return f"{number:.1f}" if number < 9.95 else f"{number:.0f}"


class YieldRecordTable(tables.Table):
    """Mothers with what they gave; rows are `MotherYield`."""

    empty_icon = "colonies"

    colony = tables.Column("Mother", attrs={"td": {"class": "headline"}})
    rate = tables.Column("Frags a year", attrs=NUMERIC)
    frags = tables.Column("Frags", attrs=NUMERIC)
    years = tables.Column("Over", attrs=NUMERIC)
    usable = tables.Column("Usable", attrs=NUMERIC)
    earned = tables.Column("Fetched", attrs=NUMERIC, default="–")
    lost = tables.Column("Lost after they left", accessor="left", attrs=NUMERIC)
    sure_of_place = tables.Column("Ahead of the next", attrs=NUMERIC, default="–")

    class Meta:
        orderable = False
        empty_text = "No mother fits. Change the filter."

    def __init__(self, rows, *, by, with_money, **kwargs):
        hidden = [] if with_money else ["earned"]
        # How sure a place is can be said of the rate alone: a count is a count.
        hidden += [] if by == "rate" else ["sure_of_place"]
        # Beside the share that healed; elsewhere there is no room for it on a phone.
        hidden += [] if by == "usable" and any(row.left.sold for row in rows) else ["lost"]
        super().__init__(rows, exclude=hidden, **kwargs)

    def render_colony(self, value, record):
        gone = "" if value.is_alive else format_html(" · {}", value.get_end_reason_display().lower())
        return format_html(
            '<span>{}.\u00a0<a class="tag" href="{}">{}</a><br><span class="quiet small">{}{}</span></span>',
            record.place,
            reverse("colony", args=[value.tag]),
            value.tag,
            value.lineage.name,
            gone,
        )

    def render_rate(self, value):
        return format_html(
            '<span>{}<br><span class="quiet small one-line">{} to {}</span></span>',
            few_digits(value.mean),
            few_digits(value.low),
            few_digits(value.high),
        )

    def render_years(self, value):
        months = round(value * 12)
        return f"{months} mo" if months < 12 else f"{value:.1f} y"

    def render_usable(self, value, record):
        if record.healing:
            rest = f"{record.healing} still heal" if record.healing > 1 else "1 still heals"
        else:
            rest = f"{min(round(100 * value / record.frags), 100)}\u00a0%"
        return format_html('<span>{}<br><span class="quiet small one-line">{}</span></span>', value, rest)

    def render_lost(self, value):
        return value.words if value.sold else "–"

    def render_earned(self, value):
        return value.words

    def render_sure_of_place(self, value):
        return in_ten(value).replace("nearly all", "nearly sure")
