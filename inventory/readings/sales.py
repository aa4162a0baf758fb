"""Sales: what they come to, what is to be done next, and who owes what."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Count, F, Q
from django.utils.formats import date_format

from inventory.models import Contact, Credit, Hold, Payment, Sale, SaleLine, SaleState
from inventory.money import write_amount
from propagation.dates import day_in_words
from propagation.models import HealingStage, Plug

NOTHING = Decimal(0)
ONE_ACT = timedelta(seconds=1)  # what is noted within it belongs together
MOST_COUNTED = 5000  # open sales that one total is made of


@dataclass(frozen=True)
class Totals:
    """What a sale comes to, in its currency. ``discounts`` are those of the lines and the one on all together."""

    lines: Decimal = NOTHING
    discounts: Decimal = NOTHING
    shipping: Decimal = NOTHING
    for_claims: Decimal = NOTHING  # given back because of claims: it lowers what is due
    paid: Decimal = NOTHING
    refunded: Decimal = NOTHING
    from_credit: Decimal = NOTHING  # what was paid from their credit and not given back to it

    @property
    def due(self) -> Decimal:
        """What all of it costs."""
        return max(self.lines - self.discounts + self.shipping - self.for_claims, NOTHING)

    @property
    def received(self) -> Decimal:
        """What was paid and not given back; never below nothing."""
        return self.paid - self.refunded

    @property
    def to_credit(self) -> Decimal:
        """What of it came from their credit, as far as it did not go back in money: money goes back first."""
        return min(self.from_credit, self.received)

    @property
    def in_money(self) -> Decimal:
        """What of it came as money."""
        return self.received - self.to_credit

    @property
    def balance(self) -> Decimal:
        """What is still to be paid; below nothing, what was paid too much."""
        return self.due - self.received

    @property
    def owed(self) -> Decimal:
        return max(self.balance, NOTHING)

    @property
    def too_much(self) -> Decimal:
        return max(-self.balance, NOTHING)


def totals(sale: Sale) -> Totals:
    """What one sale comes to. Two queries."""
    return totals_of([sale])[sale.pk]


def totals_of(sales: Iterable[Sale]) -> dict[int, Totals]:
    """What each of the sales comes to, by its id. Two queries, whatever their number.

    Summed here and not in the database: SQLite would add decimals as binary fractions.
    """
    sales = list(sales)
    ids = [sale.pk for sale in sales]
    prices, discounts = defaultdict(Decimal), defaultdict(Decimal)
    for sale, price, discount in (
        SaleLine.objects.standing().filter(sale__in=ids).values_list("sale", "price", "discount")
    ):
        prices[sale] += price
        discounts[sale] += discount
    paid, refunded, claimed, credit = (defaultdict(Decimal) for _ in range(4))
    rows = Payment.objects.filter(sale__in=ids, withdrawn_at=None)
    for sale, kind, method, amount, claim in rows.values_list("sale", "kind", "method", "amount", "claim"):
        is_refund = kind == Payment.Kind.REFUND
        (refunded if is_refund else paid)[sale] += amount
        if method == Payment.Method.CREDIT:
            credit[sale] += -amount if is_refund else amount
        if is_refund and claim is not None:
            claimed[sale] += amount
    found = {}
    for sale in sales:
        stands = sale.cancelled_on is None
        found[sale.pk] = Totals(
            lines=prices[sale.pk],
            discounts=discounts[sale.pk] + (sale.discount if stands else NOTHING),
            shipping=sale.shipping if stands else NOTHING,
            for_claims=claimed[sale.pk] if stands else NOTHING,
            paid=paid[sale.pk],
            refunded=refunded[sale.pk],
            from_credit=max(credit[sale.pk], NOTHING),
        )
    return found


def credit_of(contact: Contact, currency: str) -> Decimal:
    """What a contact may still take in goods. One query."""
    amounts = Credit.objects.standing().filter(contact=contact, currency=currency).values_list("amount", flat=True)
    return sum(amounts, NOTHING)


def credits_of(contact: Contact) -> dict[str, Decimal]:
    """What a contact may still take in goods, by currency. One query."""
    found = defaultdict(Decimal)
    for currency, amount in Credit.objects.standing().filter(contact=contact).values_list("currency", "amount"):
        found[currency] += amount
    return dict(found)


def credits_of_contact(contact: Contact):
    """Every line of their credit with the sale it concerns, the latest first, also what was withdrawn. One query."""
    return contact.credits.select_related("payment", "claim__line").order_by("-on", "-id")


WITH_SOMETHING_TO_DO = Q(cancelled_on=None, closed_on=None) & (Q(left_on=None) | Q(paid_on=None))

# What the list of sales may be narrowed to, as words and as a condition.
STATES = {
    "open": ("Open", WITH_SOMETHING_TO_DO),
    "draft": (SaleState.DRAFT.label, Q(cancelled_on=None, agreed_on=None)),
    "agreed": (SaleState.AGREED.label, Q(cancelled_on=None, agreed_on__isnull=False, left_on=None, paid_on=None)),
    "paid": (SaleState.PAID.label, Q(cancelled_on=None, agreed_on__isnull=False, left_on=None, paid_on__isnull=False)),
    "owed": ("Left, not paid", Q(closed_on=None, left_on__isnull=False, paid_on=None)),
    "left": ("Left and paid", Q(closed_on=None, left_on__isnull=False, paid_on__isnull=False)),
    "closed": (SaleState.CLOSED.label, Q(closed_on__isnull=False)),
    "cancelled": (SaleState.CANCELLED.label, Q(cancelled_on__isnull=False)),
    "all": ("All", Q()),
}


def sales_in_state(state: str):
    """Sales in one of `STATES`, the latest first, with their contacts; an unknown state is that of the open ones."""
    condition = STATES.get(state, STATES["open"])[1]
    return Sale.objects.filter(condition).select_related("contact").order_by("-begun_on", "-id")


def owed_in_all() -> dict[str, Decimal]:
    """What is owed for agreed sales that are not closed, by currency. Three queries."""
    sales = list(Sale.objects.under_way().filter(agreed_on__isnull=False, paid_on=None).order_by("-id")[:MOST_COUNTED])
    owed = defaultdict(Decimal)
    for sale, each in zip(sales, totals_of(sales).values(), strict=True):
        if each.owed:
            owed[sale.currency] += each.owed
    return dict(owed)


def lines_of(sale: Sale):
    """The lines that a page of the sale shows: the standing ones, or of a cancelled sale those it ended with."""
    lines = sale.lines.filter(cancelled_on=sale.cancelled_on)
    return lines.select_related("plug__lineage", "plug__rack__system", "colony__lineage").order_by("id")


def cannot_leave(lines: Iterable[SaleLine]) -> list[SaleLine]:
    """Those of the lines whose plug or colony is kept no more: they must be taken out, and the buyer told."""
    return [line for line in lines if not (line.plug.is_kept if line.plug_id else line.colony.ended_on is None)]


def against_selling(plugs: Iterable[Plug], holds: Iterable[Hold], contact: Contact | None, today: date) -> list[str]:
    """What is against selling these to a contact, or to somebody unknown, plug by plug; the keeper may know better."""
    others = {
        hold.plug_id: hold for hold in holds if hold.is_active(today) and (not contact or hold.contact_id != contact.pk)
    }
    because = []
    for plug in plugs:
        if hold := others.get(plug.pk):
            because.append(f"plug {plug.code_in_clear} is held for {hold.contact} until {date_format(hold.until)}")
        elif plug.is_insurance:
            because.append(f"plug {plug.code_in_clear} is set aside as insurance")
        elif plug.stage != HealingStage.HEALED:
            because.append(f"plug {plug.code_in_clear} is {plug.get_stage_display().lower()}, not healed")
    return because


def sale_of(plug) -> SaleLine | None:
    """The standing line that a plug is in, with its sale and contact. One query."""
    return SaleLine.objects.standing().filter(plug=plug).select_related("sale__contact").first()


@dataclass(frozen=True)
class Happening:
    """One thing that happened to a sale, as a sentence."""

    at: datetime
    who: str
    sentence: str


DAYS = {
    "agreed_on": ("Agreed", "Not agreed after all"),
    "paid_on": ("All of it is paid", "Not all of it is paid any more"),
    "left_on": ("Handed over", "The handing over was undone"),
    "closed_on": ("Closed", "Opened again"),
    "cancelled_on": ("Called off", ""),
}


def history_of(sale: Sale) -> list[Happening]:
    """What happened to a sale, the latest first. One query."""
    rows = list(sale.history.select_related("history_user").order_by("history_id"))
    found, before = [], None

    def add(at, who, said):
        if found and found[-1].who == who and at - found[-1].at < ONE_ACT:
            said = f"{found[-1].sentence} {said}"
            at = found.pop().at
        found.append(Happening(at, who, said))

    for row in rows:
        who = row.history_user.get_username() if row.history_user else "somebody"
        said = ["Begun"] if before is None else []
        for name, (came, went) in DAYS.items():
            was, now = getattr(before, name, None), getattr(row, name)
            if was == now:
                continue
            if name == "left_on" and now:
                came = row.get_left_how_display()
            said.append(f"{came}, {day_in_words(now)}" if now else went)
        if before is not None:
            said += [
                f"{words} from {write_amount(getattr(before, name), row.currency)} to "
                f"{write_amount(getattr(row, name), row.currency)}"
                for name, words in (("discount", "Discount on all"), ("shipping", "Shipping"))
                if getattr(before, name) != getattr(row, name)
            ]
        if said:
            add(row.history_date, who, f"{'; '.join(said)}.")
        before = row
    return found[::-1]


def sales_of_contact(contact: Contact):
    """Their sales, those with something to do first, then the latest."""
    in_it = Count("lines", filter=Q(lines__cancelled_on=None))
    return contact.sales.annotate(things=in_it).order_by(F("closed_on").asc(nulls_first=True), "-begun_on", "-id")
