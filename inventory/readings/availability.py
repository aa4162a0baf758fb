"""What is to be had on a day: ready, and promised to nobody."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import DateField, DecimalField, Exists, F, IntegerField, OuterRef, Subquery
from django.db.models.functions import Coalesce, Lower

from inventory.models import Hold, SaleLine, SizePrice, TradeLine
from propagation.models import Lineage, Plug

# A glance counts so far and no further: what is beyond is "more than". Keeps a page quick however much is ready.
COUNTED_OF_A_LINEAGE = 100


def available_on(day):
    """Plugs that are healed, kept, not insurance, not held on this day, and in no sale and no trade.

    A hold binds through its last day; the day after, its plug is available again without anybody doing anything.
    """
    held = Hold.objects.active_on(day).filter(plug=OuterRef("pk"))
    in_a_sale = SaleLine.objects.standing().filter(plug=OuterRef("pk"))
    in_a_trade = TradeLine.objects.filter(cancelled_on=None, plug=OuterRef("pk"))
    return Plug.objects.ready_on(day).filter(~Exists(held), ~Exists(in_a_sale), ~Exists(in_a_trade))


def usual_price():
    """What a plug costs without a price of its own, as an expression on plugs.

    The price by size of its lineage with the largest ``from_mm`` not above the plug's size, or what the lineage usually
    costs, or None. A plug whose size is not known has no price by size.
    """
    by_size = SizePrice.objects.filter(lineage=OuterRef("lineage"), from_mm__lte=OuterRef("size_mm"))
    return Coalesce(Subquery(by_size.order_by("-from_mm").values("amount")[:1]), "lineage__price__amount")


def price():
    """What a plug costs, as an expression on plugs: its own price, or the usual one (``usual_price``), or None."""
    return Coalesce("own_price__amount", usual_price())


def with_price(plugs):
    """The plugs with ``price``: their own, or that of their size, or their lineage's, or None. No query more."""
    return plugs.annotate(price=price())


def for_list(plugs):
    """The plugs with everything a row of a list shows, in one query, longest healed first."""
    return with_price(plugs).select_related("lineage", "rack__system").order_by("healed_on", "id")


class _OfRows(Subquery):
    """A number made of the rows of a subquery, which may be cut off; an aggregate would go through all of them."""

    template = "(SELECT %(number)s FROM (%(subquery)s) counted)"


class _NumberOfRows(_OfRows):
    output_field = IntegerField()

    def __init__(self, queryset):
        super().__init__(queryset, number="COUNT(*)")


class _LowestPrice(_OfRows):
    output_field = DecimalField(max_digits=12, decimal_places=3)

    def __init__(self, queryset):
        super().__init__(queryset, number="MIN(counted.price)")


class _FirstDay(_OfRows):
    output_field = DateField()

    def __init__(self, queryset):
        super().__init__(queryset, number="MIN(counted.healed_on)")


@dataclass(frozen=True)
class Line:
    """What is available of a lineage; beyond ``COUNTED_OF_A_LINEAGE`` plugs ``is_more`` is set and ``number`` stays."""

    lineage: Lineage
    number: int
    is_more: bool
    since: date
    price: Decimal | None
    is_lowest: bool  # else `price` is only what the lineage usually costs


def lineages_with_lines_on(day: date):
    """Lineages of which something is available, by name, each with what ``line_of`` reads. One query."""
    first = available_on(day).filter(lineage=OuterRef("pk")).order_by("healed_on")[: COUNTED_OF_A_LINEAGE + 1]
    return lineages_available_on(day).annotate(
        number=_NumberOfRows(first.values("pk")),
        since=_FirstDay(first.values("healed_on")),
        lowest=_LowestPrice(with_price(first).values("price")),
        usual=F("price__amount"),
    )


def line_of(lineage: Lineage) -> Line:
    """The line of a lineage of ``lineages_with_lines_on``; of many plugs the price is what it usually costs."""
    is_more = lineage.number > COUNTED_OF_A_LINEAGE
    return Line(
        lineage,
        number=min(lineage.number, COUNTED_OF_A_LINEAGE),
        is_more=is_more,
        since=lineage.since,
        price=lineage.usual if is_more else lineage.lowest,
        is_lowest=not is_more,
    )


def lineages_available_on(day: date):
    """Lineages of which something is available, by name."""
    return Lineage.objects.filter(Exists(available_on(day).filter(lineage=OuterRef("pk")))).order_by(Lower("name"))
