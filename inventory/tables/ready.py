import django_tables2 as tables
from django.db.models import F
from django.db.models.functions import Lower
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django_tables2.data import TableQuerysetData

from inventory.money import write_amount
from inventory.readings.availability import for_list, with_price
from propagation.codes import in_clear
from propagation.lengths import unit_of
from propagation.models import Measure, Plug
from propagation.readings.rack import place_in_words
from propagation.templatetags.ramet import code as code_chip

NUMERIC = {"td": {"class": "numeric"}, "th": {"class": "numeric"}}
ON_ONE_LINE = {"td": {"class": "numeric one-line"}, "th": {"class": "numeric"}}


def plug_address(plug) -> str:
    try:
        return reverse("plug", args=[plug.code])
    except NoReverseMatch:
        return ""


class ReadyRows(TableQuerysetData):
    """Finds the ids of a page first, from the plugs alone, then what their rows show.

    With everything joined at once, databases read and sort all the plugs to show 25 of them.
    """

    def __getitem__(self, key):
        if not isinstance(key, slice):
            return super().__getitem__(key)
        page = Plug.objects.filter(pk__in=self.data.values("pk")[key])
        return for_list(page).order_by(*self.data.query.order_by)


class ReadyTable(tables.Table):
    """Plugs that are ready, each with a box to tick. What sorts is written so that an index can serve it."""

    empty_icon = "ready"

    code = tables.Column("Code")
    lineage = tables.Column("Lineage", attrs={"td": {"class": "headline"}})
    size_mm = tables.Column("Size", attrs=ON_ONE_LINE, default="–")
    age = tables.Column("Age", accessor="began_on", attrs=ON_ONE_LINE)
    healed_on = tables.DateColumn(verbose_name="Healed", format="j M Y", attrs={"td": {"class": "one-line"}})
    price = tables.Column("Price", attrs=NUMERIC, empty_values=())

    class Meta:
        model = Plug
        fields = ()
        attrs = {"class": "narrow dense named"}
        order_by = "healed_on"
        empty_text = "No ready frag fits. Change the filter."

    def __init__(self, plugs, *, today, currency, length_unit, **kwargs):
        self.today, self.currency = today, currency
        self.unit = unit_of(Measure.DIAMETER, length_unit)
        super().__init__(ReadyRows(plugs), **kwargs)

    def render_code(self, value, record):
        return format_html(
            '<span class="choose-line"><label class="choose-box"><input type="checkbox" name="plugs" value="{}"'
            ' data-choose="ready" aria-label="Choose {}"></label>{}</span>',
            value,
            in_clear(value),
            code_chip(value, plug_address(record)),
        )

    def render_lineage(self, value, record):
        """The name, and below it the species and where it stands: a column less on a narrow page."""
        latin = format_html('<i class="latin">{}</i>', value.binomial) if value.binomial else ""
        place = place_in_words(record)
        place = format_html('<span class="place">{}</span>', place) if place else ""
        return format_html('<span>{}<br><span class="small quiet">{} {}</span></span>', value.name, latin, place)

    def render_size_mm(self, value):
        return self.unit.text(value)

    def render_age(self, record):
        days = record.age_days(self.today)
        return "today" if not days else "1 day" if days == 1 else f"{days} days"

    def render_price(self, record):
        if record.price is None:
            return format_html('<span class="badge warning">{}</span>', "No price")
        return write_amount(record.price, self.currency)

    def _by(self, queryset, is_descending, *fields):
        """Sorted by the fields, which end in the id: so one index serves both directions."""
        return queryset.order_by(*(F(name).desc() if is_descending else F(name).asc() for name in fields)), True

    def order_code(self, queryset, is_descending):
        return self._by(queryset, is_descending, "code")

    def order_healed_on(self, queryset, is_descending):
        return self._by(queryset, is_descending, "healed_on", "id")

    def order_age(self, queryset, is_descending):
        return self._by(queryset, not is_descending, "began_on", "id")

    def order_size_mm(self, queryset, is_descending):
        size = F("size_mm")
        if is_descending:
            return queryset.order_by(size.desc(nulls_last=True), "-id"), True
        return queryset.order_by(size.asc(nulls_last=True), "id"), True

    def order_lineage(self, queryset, is_descending):
        name = Lower("lineage__name")
        return queryset.order_by(name.desc() if is_descending else name.asc(), "healed_on", "id"), True

    def order_price(self, queryset, is_descending):
        queryset, price = with_price(queryset), F("price")
        order = price.desc(nulls_last=True) if is_descending else price.asc(nulls_last=True)
        return queryset.order_by(order, "healed_on", "id"), True
