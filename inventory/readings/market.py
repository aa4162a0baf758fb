"""A market table: what a plug is at a glance, what was sold today, what is left of what was brought."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from django.db.models import Prefetch

from inventory.models import Claim, Credit, Hold, Payment, Sale, SaleLine, Trade, TradeLine
from inventory.readings.availability import with_price
from inventory.readings.holds import active_hold_of
from inventory.readings.sales import Totals, against_selling, sale_of, totals_of
from inventory.readings.trades import trade_of
from propagation.models import HealingStage, Plug

SALES_SHOWN = 50
LEFT_SHOWN = 200


@dataclass(frozen=True)
class AtTheTable:
    """One plug as its keeper must know it with a buyer in front of them."""

    plug: Plug
    price: Decimal | None
    hold: Hold | None
    line: SaleLine | None
    traded: TradeLine | None
    against: list[str]  # what is to be agreed to before it is sold to just anybody

    @property
    def can_be_sold(self) -> bool:
        return self.plug.is_kept and self.line is None and self.traded is None

    @property
    def is_healed(self) -> bool:
        return self.plug.stage == HealingStage.HEALED


def at_the_table(plug: Plug, day: date) -> AtTheTable:
    """What a plug is, costs, and to whom it is promised. Four queries."""
    priced = with_price(Plug.objects.select_related("lineage", "rack__system")).get(pk=plug.pk)
    hold = active_hold_of(priced, day) if priced.is_kept else None
    if hold is not None:
        hold.plug = priced
    return AtTheTable(
        plug=priced,
        price=priced.price,
        hold=hold,
        line=sale_of(priced),
        traded=trade_of(priced),
        against=against_selling([priced], [hold] if hold else [], None, day),
    )


@dataclass(frozen=True)
class SoldHere:
    """A sale that was handed over on the day, with what was in it."""

    sale: Sale
    sums: Totals
    lines: list[SaleLine]
    can_be_undone: bool


@dataclass
class Tally:
    """What a day at the table came to. Money by currency; cash is what should lie in the box over what was put in."""

    sales: list[SoldHere] = field(default_factory=list)
    plugs: int = 0
    taken: dict[str, Decimal] = field(default_factory=dict)
    cash: dict[str, Decimal] = field(default_factory=dict)


def was_sold_at_once(sale: Sale) -> bool:
    return sale.left_on is not None and sale.begun_on == sale.agreed_on == sale.left_on


def tally_of(day: date) -> Tally:
    """Everything handed over on a day, the latest first, and the cash of that day. Eight queries."""
    standing = SaleLine.objects.standing().select_related("plug__lineage", "colony__lineage").order_by("id")
    sales = list(
        Sale.objects.filter(left_on=day, left_how=Sale.Leaving.HANDED_OVER)
        .select_related("contact")
        .prefetch_related(Prefetch("lines", queryset=standing, to_attr="in_it"))
        .order_by("-id")
    )
    sums = totals_of(sales)
    claimed = set(Claim.objects.filter(line__sale__in=sales).values_list("line__sale", flat=True))
    tally = Tally(cash=_cash_of(day))
    taken = defaultdict(Decimal)
    for sale in sales:
        can_be_undone = was_sold_at_once(sale) and sale.closed_on is None and sale.pk not in claimed
        tally.sales.append(SoldHere(sale, sums[sale.pk], sale.in_it, can_be_undone))
        tally.plugs += sum(line.plug_id is not None for line in sale.in_it)
        taken[sale.currency] += sums[sale.pk].due
    tally.taken = dict(taken)
    return tally


def _cash_of(day: date) -> dict[str, Decimal]:
    """Cash that came on a day less what was given back, in sales, trades and for credit. Three queries."""
    cash = defaultdict(Decimal)
    payments = Payment.objects.filter(paid_on=day, method=Payment.Method.CASH, withdrawn_at=None)
    for payment in payments.select_related("sale"):
        cash[payment.sale.currency] += payment.signed
    trades = Trade.objects.filter(traded_on=day, cancelled_on=None).exclude(cash=0)
    for currency, amount in trades.values_list("currency", "cash"):
        cash[currency] += amount
    paid_out = Credit.objects.standing().filter(on=day, paid_out_by=Payment.Method.CASH)
    for currency, amount in paid_out.values_list("currency", "amount"):
        cash[currency] += amount
    return dict(cash)


@dataclass(frozen=True)
class Brought:
    """What was brought to the market: by lineage how many, and of how many of them are still there."""

    lines: list[tuple[str, int, int]]  # (lineage, left, brought)
    left: list[Plug]  # the first of them

    @property
    def number(self) -> int:
        return sum(brought for _, _, brought in self.lines)

    @property
    def number_left(self) -> int:
        return sum(left for _, left, _ in self.lines)


def brought(day: date) -> Brought | None:
    """What is left of what was brought to the market of a day; None if nobody said what was. One query."""
    rows = Plug.objects.filter(brought_to_markets__day=day)
    plugs = list(rows.select_related("lineage").order_by("lineage__name", "code"))
    if not plugs:
        return None
    number = Counter(plug.lineage.name for plug in plugs)
    left = Counter(plug.lineage.name for plug in plugs if plug.is_kept)
    return Brought(
        lines=[(name, left[name], number[name]) for name in sorted(number, key=str.lower)],
        left=[plug for plug in plugs if plug.is_kept][:LEFT_SHOWN],
    )
