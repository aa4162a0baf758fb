from decimal import Decimal

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from inventory.money import write_amount


class _Sum(tables.Column):
    """A column whose last row is the sum of all rows, also of those on other pages; a phone leaves its zeros out."""

    looks = "numeric"

    def __init__(self, header, **kwargs):
        cell = {"class": lambda record: self.looks if self.is_told(record) else f"{self.looks} is-blank"}
        foot = {"class": self.looks, "data-label": header}
        attrs = {"td": cell, "th": {"class": "numeric"}, "tf": foot}
        super().__init__(header, attrs=attrs, footer=self.footer_of, **kwargs)

    def is_told(self, record) -> bool:
        return bool(self.accessor.resolve(record))

    def footer_of(self, bound_column, table):
        return self.written(sum((self.accessor.resolve(row) for row in table.every), Decimal(0)), table)


class CountColumn(_Sum):
    """How many frags; ``beside`` is some of them, or others of the kind, as attribute of the frags and in words."""

    def __init__(self, header, *, beside=None, **kwargs):
        self.beside = beside
        super().__init__(header, **kwargs)

    def written(self, value, table):
        return str(value)

    def render(self, value, record):
        number = getattr(record.account.frags, self.beside[0]) if self.beside else 0
        if not number:
            return value
        return format_html(
            '<span>{}<br><span class="quiet small one-line">{} {}</span></span>', value, number, self.beside[1]
        )


class MoneyColumn(_Sum):
    """An amount in the currency of the table; nothing is a dash."""

    looks = "numeric one-line"

    def written(self, value, table):
        return write_amount(value, table.currency) if value else "–"

    def render(self, value, table):
        return self.written(value, table)


class CostColumn(MoneyColumn):
    """What was paid, and that something of it is not known."""

    def is_told(self, record):
        return bool(record.account.cost or record.account.unknown_costs)

    def render(self, value, record, table):
        if not record.account.unknown_costs:
            return self.written(value, table)
        return f"{self.written(value, table)} and not known" if value else "not known"


class CameInColumn(MoneyColumn):
    """What came in, and below it what is owed yet."""

    def is_told(self, record):
        return bool(record.account.came_in or record.account.owed)

    def render(self, value, record, table):
        written = self.written(value, table)
        if not record.account.owed:
            return written
        owed = write_amount(record.account.owed, table.currency)
        return format_html('<span>{}<br><span class="quiet small one-line">{} owed</span></span>', written, owed)


class AccountTable(tables.Table):
    """What each line, or each mother, cost and gave. ``every`` are all rows that there are, which the last sums up."""

    empty_icon = "money"

    cut = CountColumn("Cut", accessor="account__frags__cut")
    kept = CountColumn("Kept", accessor="account__frags__kept", beside=("for_sale", "for sale"))
    lost = CountColumn("Lost", accessor="account__frags__dead")
    sold = CountColumn("Sold", accessor="account__frags__sold")
    given = CountColumn("Traded, given", accessor="account__frags__handed_on")
    cost = CostColumn("Paid", accessor="account__cost")
    came_in = CameInColumn("Came in", accessor="account__came_in")
    left_over = MoneyColumn("Left over", accessor="account__left_over")

    class Meta:
        attrs = {"class": "narrow summed books"}

    def __init__(self, rows, *, every, currency, **kwargs):
        self.every, self.currency = list(every), currency
        super().__init__(rows, **kwargs)

    def render_left_over(self, record, value):
        if record.account.unknown_costs:
            return "–"
        return write_amount(value, self.currency) if value else "–"


class LineBookTable(AccountTable):
    """Rows are `LineBook`."""

    name = tables.Column("Line", accessor="lineage__name", attrs={"td": {"class": "headline"}}, footer="All of these")

    class Meta(AccountTable.Meta):
        sequence = ("name", "...")
        order_by = "name"
        empty_text = "No line is like that. Show all of them."

    def render_name(self, record):
        return format_html(
            '<span><a href="{}">{}</a><br><span class="quiet small">{}</span></span>',
            f"{reverse('book', args=[record.lineage.pk])}?currency={self.currency}",
            record.lineage.name,
            record.account.pay_back_words,
        )


class MotherBookTable(AccountTable):
    """Rows are `MotherBook`."""

    tag = tables.Column("Mother", accessor="colony__tag", attrs={"td": {"class": "headline"}}, footer="All mothers")

    class Meta(AccountTable.Meta):
        sequence = ("tag", "...")
        order_by = "tag"

    def render_tag(self, record):
        return format_html(
            '<span><a class="tag" href="{}">{}</a><br><span class="quiet small">{}<br>{}</span></span>',
            f"{reverse('book_of_mother', args=[record.colony.tag])}?currency={self.currency}",
            record.colony.tag,
            record.origin,
            record.account.pay_back_words,
        )
