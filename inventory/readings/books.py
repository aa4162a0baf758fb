"""Books: what each line and each mother cost, what it gave, and when it paid for itself.

Rules for sharing, as the pages state them too:

- What was paid for an acquisition falls on its corals alike; in a pack, on what was said of each line when it came.
- What came in a trade cost the cash that was paid on top, and nothing else: a frag that was given for it is counted as
  a frag, never as money. Cash that came on top falls alike on what was given.
- What was received for a sale falls on its corals by what each costs; see `inventory.earnings`.
- A mother grown from a frag of one's own cost nothing: what was paid stands with the mother that came.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum

from django.db.models import Count, Exists, F, OuterRef, Q
from django.db.models.functions import Lower

from inventory.earnings import LineMoney, money_of_sales, share_by_cost
from inventory.models import AcquisitionTerms, Book, Credit, Hold, Safekeeping, Sale, SaleLine, Trade, TradeLine
from inventory.money import write_amount
from inventory.readings.availability import available_on
from inventory.readings.holds import current_holds
from inventory.readings.ledger import hold_deposits
from propagation.dates import day_in_words
from propagation.models import Acquisition, Colony, EndReason, Fate, HealingStage, Lineage, Plug

NOTHING, ONE = Decimal(0), Decimal(1)
# What nothing was paid for unless it says otherwise; of the others an amount that is missing was not written down.
FREE = (Acquisition.Kind.GIFT, Acquisition.Kind.TRADE, Acquisition.Kind.RETURNED)


class PaidBack(StrEnum):
    """Whether what was paid came in again."""

    YES = "yes"
    NOT_YET = "not_yet"
    NOTHING_PAID = "nothing_paid"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class PayBack:
    """Whether and when money that came in passed what was paid. ``to_go`` is what is missing, ``unknown`` how many
    acquisitions have no known cost; then nothing can be said but of the rest.
    """

    state: PaidBack
    on: date | None = None
    to_go: Decimal = NOTHING
    unknown: int = 0


def pay_back(costs: Iterable[tuple[date, Decimal | None]], money: Iterable[tuple[date, Decimal]]) -> PayBack:
    """When what came in passed what was paid, and stayed above it since; what happens on one day counts together.

    ``costs`` and ``money`` are amounts by day, a cost None where it is not known; money below nothing went back.
    """
    costs = list(costs)
    if unknown := sum(amount is None for _, amount in costs):
        return PayBack(PaidBack.UNKNOWN, unknown=unknown)
    if not any(amount for _, amount in costs):
        return PayBack(PaidBack.NOTHING_PAID)
    changes, spent = defaultdict(Decimal), defaultdict(Decimal)
    for day, amount in costs:
        spent[day] += amount
    for day, amount in money:
        changes[day] += amount
    above, balance, has_spent = None, NOTHING, False
    for day in sorted({*changes, *spent}):
        balance += changes[day] - spent[day]
        has_spent = has_spent or spent[day] > 0
        if not has_spent or balance < 0:
            above = None
        elif above is None:
            above = day
    if balance < 0:
        return PayBack(PaidBack.NOT_YET, to_go=-balance)
    return PayBack(PaidBack.YES, on=above)


@dataclass
class Frags:
    """What became of the frags: those cut here and those that came, by where each is now.

    ``lost`` is by the healing stage last seen. ``held``, ``in_sale`` and ``for_sale`` are some of the kept.
    ``in_safekeeping`` are some of those that left.
    """

    cut: int = 0
    came: int = 0
    kept: int = 0
    sold: int = 0
    traded: int = 0
    given: int = 0
    grown_on: int = 0
    lost: dict[str, int] = field(default_factory=dict)
    sold_without_sale: int = 0
    in_safekeeping: int = 0
    held: int = 0
    in_sale: int = 0
    for_sale: int = 0

    @property
    def dead(self) -> int:
        return sum(self.lost.values())

    @property
    def handed_on(self) -> int:
        """Traded or given away."""
        return self.traded + self.given

    @property
    def lost_words(self) -> str:
        """``2 fresh, 1 sealed``, in the order of the stages."""
        return ", ".join(
            f"{self.lost[stage]} {HealingStage(stage).label.lower()}"
            for stage in HealingStage.values
            if self.lost.get(stage)
        )

    def add(self, fate: str, stage: str, is_cut: bool, number: int) -> None:
        if is_cut:
            self.cut += number
        else:
            self.came += number
        if fate == Fate.DEAD:
            self.lost[stage] = self.lost.get(stage, 0) + number
        else:
            setattr(self, fate, getattr(self, fate) + number)


@dataclass(frozen=True)
class Cost:
    """What one acquisition of a line cost, None where it is not known; ``traded_for`` says what was given in a trade.

    ``pieces`` are the plugs and colonies that came and were no mistake: ``("plug" or "colony", id)``.
    """

    acquisition: int
    lineage: int
    day: date
    kind: str
    amount: Decimal | None
    pieces: tuple[tuple[str, int], ...]
    trade: int | None = None
    traded_for: str = ""

    @property
    def kind_words(self) -> str:
        return Acquisition.Kind(self.kind).label


@dataclass
class Account:
    """What a line or a mother cost and gave, in one currency."""

    currency: str
    frags: Frags = field(default_factory=Frags)
    costs: list[tuple[date, Decimal | None]] = field(default_factory=list)
    money: list[tuple[date, Decimal]] = field(default_factory=list)
    from_trades: Decimal = NOTHING
    owed: Decimal = NOTHING
    given_back: Decimal = NOTHING
    credited: Decimal = NOTHING

    @property
    def cost(self) -> Decimal:
        """What is known to have been paid."""
        return sum((amount for _, amount in self.costs if amount is not None), NOTHING)

    @property
    def unknown_costs(self) -> int:
        """How many acquisitions there are of which it is not known what they cost."""
        return sum(amount is None for _, amount in self.costs)

    @property
    def came_in(self) -> Decimal:
        return sum((amount for _, amount in self.money), NOTHING)

    @property
    def left_over(self) -> Decimal:
        return self.came_in - self.cost

    @property
    def pay_back(self) -> PayBack:
        return pay_back(self.costs, self.money)

    @property
    def pay_back_words(self) -> str:
        return words_of(self.pay_back, self.currency)

    def take(self, line: LineMoney) -> None:
        self.money += line.received
        self.owed += line.owed
        self.given_back += line.given_back
        self.credited += line.credited


def words_of(found: PayBack, currency: str) -> str:
    """``Paid for itself on 3 May 2026``, ``Not yet: €12.00 to go``, and where there is no such day why."""
    match found.state:
        case PaidBack.YES:
            return f"Paid for itself on {day_in_words(found.on)}"
        case PaidBack.NOT_YET:
            return f"Not yet: {write_amount(found.to_go, currency)} to go"
        case PaidBack.NOTHING_PAID:
            return "Nothing was paid for it"
        case _:
            return "What it cost is not known" if found.unknown == 1 else f"{found.unknown} costs are not known"


@dataclass(frozen=True)
class LineBook:
    """The account of one line."""

    lineage: Lineage
    account: Account


@dataclass(frozen=True)
class Books:
    """All lines in one currency. ``other`` came in and is no line's: shipping, what was paid too much, deposits that
    lie on holds, credit that was given up. ``currencies`` are all that there is money in, the book's own first.
    """

    currency: str
    is_own: bool
    lines: tuple[LineBook, ...]
    other: Decimal
    other_owed: Decimal
    currencies: tuple[str, ...]

    @property
    def came_in(self) -> Decimal:
        return sum((line.account.came_in for line in self.lines), NOTHING) + self.other

    @property
    def owed(self) -> Decimal:
        return sum((line.account.owed for line in self.lines), NOTHING) + self.other_owed

    @property
    def cost(self) -> Decimal:
        return sum((line.account.cost for line in self.lines), NOTHING)


def currencies_used(own: str) -> tuple[str, ...]:
    """The book's currency, then others in which something was paid, sold or kept as credit. One query."""
    sources = (
        Sale.objects,
        Credit.objects,
        Trade.objects.exclude(cash=0),
        AcquisitionTerms.objects.exclude(amount=None),
        Hold.objects.exclude(deposit=None).annotate(currency=F("deposit_currency")),
    )
    first, *more = (rows.order_by().values_list("currency", flat=True) for rows in sources)
    return (own, *sorted(set(first.union(*more)) - {own}))


def books(today: date, *, currency: str | None = None) -> Books:
    """The account of every line, by name, in the book's currency or another one. Two dozen queries, however many."""
    own = Book.current().currency
    used = currencies_used(own)
    currency = currency if currency in used else own
    lineages = list(Lineage.objects.order_by(Lower("name")))
    accounts = {lineage.pk: Account(currency) for lineage in lineages}
    for cost in costs_of(currency, own=own):
        accounts[cost.lineage].costs.append((cost.day, cost.amount))
    for lineage, _, day, amount in _cash_from_trades(currency):
        accounts[lineage].money.append((day, amount))
        accounts[lineage].from_trades += amount
    sales = money_of_sales()
    for line in sales.lines:
        if line.currency == currency:
            accounts[line.lineage].take(line)
    _count_frags({pk: account.frags for pk, account in accounts.items()}, "lineage", today)
    other = sales.rest.get(currency, NOTHING) - _credit_without_goods(currency)
    other += sum((row.amount for row in hold_deposits(None) if row.currency == currency), NOTHING)
    return Books(
        currency=currency,
        is_own=currency == own,
        lines=tuple(LineBook(lineage, accounts[lineage.pk]) for lineage in lineages),
        other=other,
        other_owed=sales.rest_owed.get(currency, NOTHING),
        currencies=used,
    )


def _credit_without_goods(currency: str) -> Decimal:
    """Credit that came of no sale and no claim: of deposits for holds, less what was given up; one that was withdrawn
    comes to nothing with its line that takes it back. What was paid out is as little earned as what is left. One query.
    """
    rows = Credit.objects.filter(currency=currency, claim=None, paid_out_by="")
    rows = rows.filter(Q(payment=None) | Q(payment__withdrawn_at__isnull=False))
    return sum(rows.values_list("amount", flat=True), NOTHING)


@dataclass(frozen=True)
class MotherBook:
    """The account of one mother. ``origin`` says in words how she came; her cost is her part of an acquisition's."""

    colony: Colony
    account: Account
    origin: str


@dataclass(frozen=True)
class WholeBook:
    """The account of one line, with those of its mothers, and of what came as plugs and is no mother's."""

    lineage: Lineage
    account: Account
    costs: tuple[Cost, ...]
    mothers: tuple[MotherBook, ...]
    of_no_mother: Account
    currencies: tuple[str, ...]


def book_of(lineage: Lineage, today: date, *, currency: str | None = None) -> WholeBook:
    """The account of one line and of each of its mothers. Two dozen queries, however many mothers."""
    own = Book.current().currency
    used = currencies_used(own)
    currency = currency if currency in used else own
    colonies = list(lineage.colonies.select_related("acquisition", "grown_from__cut_event__mother").order_by("tag"))
    accounts = {colony.pk: Account(currency) for colony in colonies}
    whole, nobodys = Account(currency), Account(currency)
    grown_from = {colony.grown_from_id: colony.pk for colony in colonies if colony.grown_from_id}
    costs = costs_of(currency, own=own, lineage=lineage)
    for cost in costs:
        whole.costs.append((cost.day, cost.amount))
        for (kind, pk), amount in zip(cost.pieces, _parts(cost, currency), strict=True):
            colony = pk if kind == "colony" else grown_from.get(pk)
            accounts.get(colony, nobodys).costs.append((cost.day, amount))
        if not cost.pieces:
            nobodys.costs.append((cost.day, cost.amount))
    for each, mother, day, amount in _cash_from_trades(currency, lineage=lineage):
        if each == lineage.pk:
            for account in (whole, accounts.get(mother, nobodys)):
                account.money.append((day, amount))
                account.from_trades += amount
    of_it = Q(plug__lineage=lineage) | Q(colony__lineage=lineage)
    for line in money_of_sales(of_it).lines:
        if line.lineage == lineage.pk and line.currency == currency:
            whole.take(line)
            accounts.get(line.mother, nobodys).take(line)
    _count_frags({lineage.pk: whole.frags}, "lineage", today, lineage=lineage)
    by_mother = {pk: account.frags for pk, account in accounts.items()}
    _count_frags({**by_mother, None: nobodys.frags}, "cut_event__mother", today, lineage=lineage)
    return WholeBook(
        lineage=lineage,
        account=whole,
        costs=tuple(costs),
        mothers=tuple(MotherBook(colony, accounts[colony.pk], _origin(colony)) for colony in colonies),
        of_no_mother=nobodys,
        currencies=used,
    )


def _parts(cost: Cost, currency: str) -> list[Decimal | None]:
    """What falls on each piece of an acquisition: the same on all, as far as the smallest coin allows."""
    if cost.amount is None:
        return [None] * len(cost.pieces)
    return share_by_cost(cost.amount, [ONE] * len(cost.pieces), currency)


def _origin(colony: Colony) -> str:
    if colony.acquisition_id:
        return colony.acquisition.get_kind_display()
    event = colony.grown_from.cut_event
    return f"Grown from a frag of {event.mother.tag}" if event else "Grown from a frag that came"


def costs_of(currency: str, *, own: str, lineage: Lineage | None = None) -> list[Cost]:
    """What each acquisition cost, the first first; of trades that were taken back none. Five queries at most.

    What was paid in another currency is nothing in this one; what is not known to have cost something is so in the
    book's own.
    """
    acquisitions = Acquisition.objects.all() if lineage is None else lineage.acquisitions.all()
    acquisitions = acquisitions.exclude(trade_line__cancelled_on__isnull=False).order_by("acquired_on", "id")
    ids = acquisitions.order_by().values("pk")
    pieces = defaultdict(list)
    plugs = Plug.objects.filter(acquisition__in=ids).exclude(fate=Fate.VOID).order_by("id")
    for acquisition, pk in plugs.values_list("acquisition", "pk"):
        pieces[acquisition].append(("plug", pk))
    colonies = Colony.objects.filter(acquisition__in=ids).exclude(end_reason=EndReason.MISTAKE).order_by("id")
    for acquisition, pk in colonies.values_list("acquisition", "pk"):
        pieces[acquisition].append(("colony", pk))
    cash, given = _cash_to_trades(currency, pieces, ids)
    found = []
    for pk, line, day, kind, amount, paid_in, trade in acquisitions.values_list(
        "pk", "lineage", "acquired_on", "kind", "terms__amount", "terms__currency", "trade_line__trade"
    ):
        if amount is None:
            is_unknown = currency == own and kind not in FREE and pieces[pk]
            amount = None if is_unknown else NOTHING
        elif paid_in != currency:
            amount = NOTHING
        if amount is not None:
            amount += cash.get(pk, NOTHING)
        found.append(Cost(pk, line, day, kind, amount, tuple(pieces[pk]), trade, given.get(trade, "")))
    return found


def _cash_to_trades(currency, pieces, ids) -> tuple[dict[int, Decimal], dict[int, str]]:
    """What was paid on top in trades, by acquisition, shared by pieces; and what was given, in words, by trade."""
    came, out, trades = defaultdict(list), defaultdict(lambda: defaultdict(int)), {}
    rows = TradeLine.objects.filter(
        cancelled_on=None,
        trade__in=TradeLine.objects.filter(acquisition__in=ids, cancelled_on=None).values("trade"),
    ).order_by("id")
    for trade, cash, paid_in, acquisition, plug_line, colony_line in rows.values_list(
        "trade", "trade__cash", "trade__currency", "acquisition", "plug__lineage__name", "colony__lineage__name"
    ):
        trades[trade] = -cash if cash < 0 and paid_in == currency else NOTHING
        if acquisition:
            came[trade].append(acquisition)
        else:
            out[trade][plug_line or colony_line] += 1
    missing = [each for group in came.values() for each in group if each not in pieces]
    counts = {pk: len(pieces[pk]) for group in came.values() for pk in group if pk in pieces}
    if missing:  # of other lines in the same trades
        counted = Plug.objects.filter(acquisition__in=missing).exclude(fate=Fate.VOID).order_by()
        counts |= dict(counted.values("acquisition").annotate(n=Count("pk")).values_list("acquisition", "n"))
    shares = {}
    for trade, group in came.items():
        weights = [Decimal(max(counts.get(pk, 1), 1)) for pk in group]
        shares |= dict(zip(group, share_by_cost(trades[trade], weights, currency), strict=True))
    words = {
        trade: ", ".join(f"{number} {name}" for name, number in sorted(names.items())) for trade, names in out.items()
    }
    return shares, words


def _cash_from_trades(currency: str, *, lineage: Lineage | None = None):
    """``(lineage, mother, day, amount)`` of cash that came on top in trades, on each thing given alike. One query."""
    rows = TradeLine.objects.filter(
        cancelled_on=None, acquisition=None, trade__cash__gt=0, trade__currency=currency, trade__cancelled_on=None
    )
    if lineage is not None:
        of_it = TradeLine.objects.filter(Q(plug__lineage=lineage) | Q(colony__lineage=lineage), cancelled_on=None)
        rows = rows.filter(trade__in=of_it.values("trade"))
    given = defaultdict(list)
    for trade, *told in rows.order_by("trade", "id").values_list(
        "trade",
        "trade__traded_on",
        "trade__cash",
        "plug__lineage",
        "plug__cut_event__mother",
        "colony",
        "colony__lineage",
    ):
        given[trade].append(told)
    for lines in given.values():
        parts = share_by_cost(lines[0][1], [ONE] * len(lines), currency)
        for (day, _, plug_line, mother, colony, colony_line), amount in zip(lines, parts, strict=True):
            yield plug_line or colony_line, mother or colony, day, amount


def _count_frags(frags: dict[int | None, Frags], by: str, today: date, *, lineage: Lineage | None = None) -> None:
    """Count where the frags are, by lineage or by mother; void ones are none. Six queries."""
    plugs = Plug.objects.exclude(fate=Fate.VOID)
    if lineage is not None:
        plugs = plugs.filter(lineage=lineage)
    plugs = plugs.order_by()
    counted = plugs.annotate(is_cut=Q(cut_event__isnull=False))
    for key, fate, stage, is_cut, number in _counted(counted, by, "fate", "stage", "is_cut"):
        if key in frags:
            frags[key].add(fate, stage, is_cut, number)
    standing = SaleLine.objects.standing().filter(plug=OuterRef("pk"))
    some = {
        "for_sale": available_on(today),
        "in_sale": plugs.filter(Exists(standing.filter(sale__left_on=None)), fate=Fate.KEPT),
        "held": plugs.filter(pk__in=current_holds(today).order_by().values("plug")),
        "in_safekeeping": plugs.filter(pk__in=Safekeeping.objects.filter(ended_on=None).values("plug")),
        "sold_without_sale": plugs.filter(~Exists(standing), fate=Fate.SOLD),
    }
    for name, chosen in some.items():
        chosen = chosen if lineage is None else chosen.filter(lineage=lineage)
        for key, number in _counted(chosen.order_by(), by):
            if key in frags:
                setattr(frags[key], name, number)


def _counted(plugs, *names):
    return plugs.values(*names).annotate(number=Count("pk")).values_list(*names, "number")
