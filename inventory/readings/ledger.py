"""The ledger: every movement of money, one line each, year by year.

Amounts are signed as the till sees them. A line of credit moves no money: what a contact may take in goods is below
nothing when it is given and above it when it is used, paid out or given up, so that all lines of a contact add up to
what was earned of them, and those of credit to what they have left, below nothing.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from heapq import merge
from itertools import count, islice

from django.db import models
from django.utils.timezone import localdate

from inventory.models import AcquisitionTerms, Credit, Hold, Payment, SaleLine, Trade, TradeLine
from propagation.codes import in_clear

NOTHING = Decimal(0)
ROWS_AT_A_TIME = 1000
MOST_NAMED = 3  # lineages named in one line; the rest is counted

NOT_TAX_ADVICE = (
    "This is a record of what was written down, not tax advice: what is taxed, and when, your local law and licensed "
    "people say."
)


class Kind(models.TextChoices):
    """What a line of the ledger is. The order is that of lines of one day."""

    BOUGHT = "bought", "Paid for corals"
    TRADE = "trade", "Cash in a trade"
    HOLD = "hold", "Deposit for a hold"
    HOLD_BACK = "hold_back", "Deposit for a hold given back"
    HOLD_MOVED = "hold_moved", "Deposit for a hold, moved to its sale"
    DEPOSIT = "deposit", "Deposit"
    PAYMENT = "payment", "Payment"
    REFUND = "refund", "Refund"
    PAID_OUT = "paid_out", "Paid out of their credit"
    CREDIT_GIVEN = "credit_given", "Credit given"
    CREDIT_USED = "credit_used", "Credit used"
    CREDIT_PAID_OUT = "credit_paid_out", "Credit paid out"
    CREDIT_ENDED = "credit_ended", "Credit given up or taken back"

    @property
    def moves_money(self) -> bool:
        return self not in (Kind.CREDIT_GIVEN, Kind.CREDIT_USED, Kind.CREDIT_PAID_OUT, Kind.CREDIT_ENDED)


RANK = {kind: number for number, kind in enumerate(Kind)}


@dataclass(frozen=True, slots=True)
class Row:
    """A line before it is numbered. ``about`` is a sale, a trade, an acquisition or a hold, ``about_id`` its number."""

    day: date
    kind: Kind
    pk: int
    amount: Decimal
    currency: str
    method: str
    contact: str
    about: str
    about_id: int
    note: str
    what: str = ""  # where it is known already

    @property
    def place(self):
        return self.day, RANK[self.kind], self.pk


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the ledger of a year, numbered from 1 in its order."""

    number: int
    day: date
    kind: Kind
    amount: Decimal
    currency: str
    method: str
    contact: str
    about: str
    about_id: int
    what: str
    note: str

    @property
    def moves_money(self) -> bool:
        return self.kind.moves_money

    @property
    def about_words(self) -> str:
        """``Sale 12``; nothing for what concerns a contact alone."""
        return "" if self.about == "contact" else f"{self.about.capitalize()} {self.about_id}"


def _in_year(rows, field: str, year: int | None):
    if year is not None:
        rows = rows.filter(**{f"{field}__range": (date(year, 1, 1), date(year, 12, 31))})
    return rows.order_by(field, "pk")


def _payments(year) -> Iterator[Row]:
    rows = Payment.objects.filter(withdrawn_at=None).exclude(method=Payment.Method.CREDIT)
    rows = _in_year(rows, "paid_on", year).values_list(
        "paid_on", "kind", "pk", "amount", "sale__currency", "method", "sale__contact__name", "sale", "note"
    )
    labels = dict(Payment.Method.choices)
    for day, kind, pk, amount, currency, method, contact, sale, note in rows.iterator(chunk_size=ROWS_AT_A_TIME):
        signed = -amount if kind == Payment.Kind.REFUND else amount
        yield Row(day, Kind(kind), pk, signed, currency, labels[method], contact, "sale", sale, note)


def _credits(year) -> Iterator[Row]:
    """Credit given and used, also what was used and withdrawn: then a second line takes it back.

    What was paid out is two lines: the money that left, and the credit that is no more.
    """
    rows = _in_year(Credit.objects.standing(), "on", year).values_list(
        "on",
        "pk",
        "amount",
        "currency",
        "contact__name",
        "contact",
        "payment__sale",
        "claim__line__sale",
        "paid_out_by",
        "note",
    )
    labels = dict(Credit.PAID_OUT_BY)
    for day, pk, amount, currency, name, contact, paid_in, claimed_in, out_by, note in rows.iterator(ROWS_AT_A_TIME):
        sale = paid_in or claimed_in
        kind = Kind.CREDIT_GIVEN if amount > 0 else Kind.CREDIT_USED if sale else Kind.CREDIT_ENDED
        about = ("sale", sale) if sale else ("contact", contact)
        if out_by:
            kind = Kind.CREDIT_PAID_OUT
            yield Row(day, Kind.PAID_OUT, pk, amount, currency, labels[out_by], name, *about, note)
        yield Row(day, kind, pk, -amount, currency, "Credit", name, *about, note)


def _bought(year) -> Iterator[Row]:
    rows = AcquisitionTerms.objects.filter(amount__gt=0).exclude(acquisition__trade_line__cancelled_on__isnull=False)
    rows = _in_year(rows, "acquisition__acquired_on", year).values_list(
        "acquisition__acquired_on",
        "pk",
        "amount",
        "currency",
        "contact__name",
        "acquisition",
        "acquisition__lineage__name",
        "acquisition__pack__name",
    )
    for day, pk, amount, currency, contact, acquisition, lineage, pack in rows.iterator(chunk_size=ROWS_AT_A_TIME):
        yield Row(
            day, Kind.BOUGHT, pk, -amount, currency, "", contact or "", "acquisition", acquisition, pack or "", lineage
        )


def _trades(year) -> Iterator[Row]:
    rows = _in_year(Trade.objects.filter(cancelled_on=None).exclude(cash=0), "traded_on", year).values_list(
        "traded_on", "pk", "cash", "currency", "contact__name", "note"
    )
    for day, pk, cash, currency, contact, note in rows.iterator(chunk_size=ROWS_AT_A_TIME):
        yield Row(day, Kind.TRADE, pk, cash, currency, "", contact, "trade", pk, note)


def hold_deposits(year: int | None) -> Iterator[Row]:
    """What was paid for holds and what became of it, on the days that the history of the holds tells.

    What became a part of a sale leaves here and comes in again there; of what is kept as credit a line of credit tells.
    One query.
    """
    fates = Hold.DepositFate
    left_as = {fates.GIVEN_BACK: Kind.HOLD_BACK, fates.COUNTED: Kind.HOLD_MOVED}
    rows = Hold.history.exclude(deposit=None).order_by("id", "history_id")
    found, lay, last = [], NOTHING, None
    for number, day, deposit, currency, fate, contact, code, lineage in rows.values_list(
        "id",
        "history_date",
        "deposit",
        "deposit_currency",
        "deposit_fate",
        "contact__name",
        "plug__code",
        "plug__lineage__name",
    ):
        if number != last:
            lay, last = NOTHING, number
        lies = deposit if fate == fates.LIES else NOTHING
        change, lay = lies - lay, lies
        kind = Kind.HOLD if change > 0 else left_as.get(fate)
        day = localdate(day)
        if change and kind and year in (None, day.year):
            what = f"{in_clear(code)} {lineage}"
            found.append(Row(day, kind, number, change, currency, "", contact, "hold", number, "", what))
    yield from sorted(found, key=lambda row: row.place)


def rows_of(year: int | None) -> Iterator[Row]:
    """Every movement of a year, or of all years, in the order of their days; read while it is used. Five queries."""
    sources = (_bought(year), _trades(year), hold_deposits(year), _payments(year), _credits(year))
    return merge(*(_by_place(source) for source in sources), key=lambda row: row.place)


def _by_place(rows: Iterable[Row]) -> Iterator[Row]:
    """A source comes by day and number; within one day its kinds are put in order."""
    day, waiting = None, []
    for row in rows:
        if row.day != day:
            yield from sorted(waiting, key=lambda each: each.place)
            day, waiting = row.day, []
        waiting.append(row)
    yield from sorted(waiting, key=lambda each: each.place)


def entries(year: int | None, rows: Iterable[Row] | None = None, *, first: int = 1) -> Iterator[Entry]:
    """The lines of a year, numbered, each with what it was for; a query or two for every thousand of them."""
    number, left = count(first), iter(rows_of(year) if rows is None else rows)
    while some := list(islice(left, ROWS_AT_A_TIME)):
        names = _what(some)
        for row in some:
            what = row.what or names.get((row.about, row.about_id), "")
            yield Entry(
                next(number),
                row.day,
                row.kind,
                row.amount,
                row.currency,
                row.method,
                row.contact,
                row.about,
                row.about_id,
                what,
                row.note,
            )


def _what(rows: Iterable[Row]) -> dict[tuple[str, int], str]:
    """What sales and trades were of, in words. Two queries at most."""
    sales = {row.about_id for row in rows if row.about == "sale"}
    trades = {row.about_id for row in rows if row.about == "trade"}
    counted = defaultdict(lambda: defaultdict(int))
    if sales:
        # Of a sale that was called off every line is cancelled; what it was of is told all the same.
        lines = SaleLine.objects.filter(sale__in=sales).order_by("id")
        told = lines.values_list(
            "sale", "plug__lineage__name", "colony__lineage__name", "cancelled_on", "sale__cancelled_on"
        )
        for sale, plug_line, colony_line, cancelled, called_off in told:
            if cancelled == called_off:
                counted["sale", sale][plug_line or colony_line] += 1
    if trades:
        lines = TradeLine.objects.filter(trade__in=trades, acquisition=None).order_by("id")
        for trade, plug_line, colony_line in lines.values_list("trade", "plug__lineage__name", "colony__lineage__name"):
            counted["trade", trade][plug_line or colony_line] += 1
    return {key: _named(names) for key, names in counted.items()}


def _named(names: dict[str, int]) -> str:
    """``2 Harbour Ember, 1 Reef Lantern``."""
    some = list(names.items())
    words = ", ".join(f"{number} {name}" for name, number in some[:MOST_NAMED])
    return words + (f" and {len(some) - MOST_NAMED} more lines" if len(some) > MOST_NAMED else "")


@dataclass
class Totals:
    """What lines come to. ``kinds`` by ``(currency, kind)``, ``months`` by ``(currency, month, kind)``."""

    kinds: dict[tuple[str, Kind], Decimal]
    months: dict[tuple[str, int, Kind], Decimal]
    lines: int = 0

    @classmethod
    def none(cls) -> "Totals":
        return cls(defaultdict(Decimal), defaultdict(Decimal))

    def add(self, row: Row | Entry) -> None:
        self.lines += 1
        self.kinds[row.currency, row.kind] += row.amount
        self.months[row.currency, row.day.month, row.kind] += row.amount

    @property
    def currencies(self) -> list[str]:
        return sorted({currency for currency, _ in self.kinds})

    def kinds_in(self, currency: str) -> list[Kind]:
        """Those there are lines of, in their order."""
        return [kind for kind in Kind if (currency, kind) in self.kinds]

    def money(self, currency: str, month: int | None = None) -> Decimal:
        """What the till gained, by all lines that move money, in all or in a month."""
        return sum((amount for kind, amount in self._of(currency, month) if kind.moves_money), NOTHING)

    def credit(self, currency: str, month: int | None = None) -> Decimal:
        """What lines of credit come to."""
        return sum((amount for kind, amount in self._of(currency, month) if not kind.moves_money), NOTHING)

    def _of(self, currency: str, month: int | None):
        if month is None:
            return [(kind, amount) for (each, kind), amount in self.kinds.items() if each == currency]
        return [(kind, a) for (each, when, kind), a in self.months.items() if each == currency and when == month]

    def by_month(self, currency: str) -> list[tuple[int, dict[Kind, Decimal]]]:
        """The months there are lines in, each with its amounts by kind."""
        months = sorted({month for each, month, _ in self.months if each == currency})
        return [
            (month, {kind: a for (each, when, kind), a in self.months.items() if each == currency and when == month})
            for month in months
        ]


def totals_of_year(year: int | None) -> Totals:
    """What the lines of a year come to; goes through all of them. Five queries."""
    found = Totals.none()
    for row in rows_of(year):
        found.add(row)
    return found


def years() -> list[int]:
    """The years in which money moved, the latest first. Five queries."""
    sources = [
        (Payment.objects.filter(withdrawn_at=None).exclude(method=Payment.Method.CREDIT), "paid_on"),
        (Credit.objects.standing(), "on"),
        (Trade.objects.filter(cancelled_on=None).exclude(cash=0), "traded_on"),
        (AcquisitionTerms.objects.filter(amount__gt=0), "acquisition__acquired_on"),
    ]
    found = set()
    for rows, field in sources:
        found |= set(rows.order_by().values_list(f"{field}__year", flat=True).distinct())
    deposits = Hold.history.filter(deposit__gt=0).order_by().values_list("history_date__year", flat=True).distinct()
    return sorted(found | set(deposits), reverse=True)
