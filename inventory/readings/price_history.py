"""What frags like these fetched, and how long they took to go, out of the keeper's own sales and nothing else."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from statistics import median

from django.db.models import Q

from inventory.earnings import share_by_cost
from inventory.models import Book, SaleLine, SizePrice
from inventory.money import round_amount, write_amount
from propagation.models import Fate, GrowthForm, HealingStage, Lineage, Plug
from propagation.yield_model.healing import kaplan_meier

FEWEST = 5  # sales that a price is read off; common practice, no source
LOOKED_BACK_DAYS = 1095  # older prices say little of today's; common practice, no source
MOST_SALES, MOST_FRAGS = 20_000, 20_000  # the latest of them, so that a page stays quick
WENT = (Fate.SOLD, Fate.TRADED)


@dataclass(frozen=True)
class Fetched:
    """What frags like these fetched: the middle one and the range of what was agreed for ``number`` sold ones.

    ``like`` says which frags these are; ``is_own`` whether they are of the line itself. ``days`` is by when half had
    gone since they were healed, None while more than half still wait; it rests on ``went`` that went and ``waiting``
    that did not.
    """

    like: str
    is_own: bool
    number: int
    middle: Decimal
    lowest: Decimal
    highest: Decimal
    currency: str
    days: int | None
    went: int
    waiting: int

    @property
    def price_words(self) -> str:
        """``€25.00 (€18.00 to €30.00)``."""
        middle = write_amount(self.middle, self.currency)
        if self.lowest == self.highest:
            return middle
        return f"{middle} ({write_amount(self.lowest, self.currency)} to {write_amount(self.highest, self.currency)})"

    @property
    def days_words(self) -> str:
        """``half had gone after 31 days, of 24 that healed``; nothing where none has gone."""
        if not self.went:
            return ""
        of = f"of {self.went + self.waiting} that healed"
        if self.days is None:
            return f"fewer than half have gone yet, {self.went} {of}"
        return f"half had gone after {self.days} day{'' if self.days == 1 else 's'}, {of}"

    @property
    def sold_words(self) -> str:
        """``8 sold fetched €25.00 (€18.00 to €30.00)``."""
        return f"{self.number} {'sold' if self.is_own else f'{self.like} sold'} fetched {self.price_words}"

    @property
    def words(self) -> str:
        """All of it in one line."""
        return f"{self.sold_words}; {self.days_words}" if self.days_words else self.sold_words

    @property
    def short_words(self) -> str:
        """As much of it as stands below a price in a list."""
        if self.days is None:
            return self.sold_words
        return f"{self.sold_words}; half gone in {self.days} day{'' if self.days == 1 else 's'}"


@dataclass(frozen=True)
class TooFew:
    """Too few sales to say anything but how many there are."""

    number: int

    @property
    def words(self) -> str:
        if not self.number:
            return "none sold yet"
        return f"{self.number} sold, too few to tell a price from ({FEWEST} are needed)"

    @property
    def short_words(self) -> str:
        return f"{self.number} sold, too few to tell a price from" if self.number else self.words


@dataclass(frozen=True)
class History:
    """What a line fetched, as one, and from each size on that it has a price for: ``(from_mm, …)``, the small first."""

    line: Fetched | TooFew
    sizes: tuple[tuple[Decimal | None, Fetched | TooFew], ...] = ()

    def of_size(self, size_mm: Decimal | None) -> Fetched | TooFew:
        """What frags of this size fetched; of a size with too few sales, or none known, what the line did."""
        found = self.line
        if size_mm is not None:
            for from_mm, each in self.sizes:
                if from_mm is None or from_mm <= size_mm:
                    found = each
        return found if isinstance(found, Fetched) else self.line


def median_days(days: Iterable[float], ended: Iterable[bool]) -> int | None:
    """The day by which half had gone, those that have not gone yet counting as long as they were seen to wait.

    None while the share that waits stays above one half. Product-limit; see `kaplan_meier`.
    """
    days, ended = list(days), list(ended)
    if not any(ended):
        return None
    moments, left, _ = kaplan_meier(days, ended)
    reached = [moment for moment, share in zip(moments, left, strict=True) if share <= 0.5 + 1e-12]
    return round(reached[0]) if reached else None


@dataclass(frozen=True, slots=True)
class _Sold:
    lineage: int
    amount: Decimal
    size_mm: Decimal | None


@dataclass(frozen=True, slots=True)
class _Wait:
    lineage: int
    days: int
    went: bool
    size_mm: Decimal | None


def price_histories(lineages: Iterable[Lineage], today: date) -> dict[int, History]:
    """What each of the lines fetched, by its id. Six queries at most, however many lines and sales.

    Of a line with fewer than `FEWEST` sales others are told that are like it: of its genus and growth form, or else of
    its growth form; where these are too few as well, only how many were sold.
    """
    lineages = list(lineages)
    if not lineages:
        return {}
    book = Book.current()
    wanted = {lineage.growth_form for lineage in lineages}
    alike = Lineage.objects.filter(growth_form__in=wanted)
    kin = {pk: told for pk, *told in alike.values_list("pk", "genus", "growth_form")}
    sold = _sold(kin, book.currency, today)
    waits = _waits(_told_of(lineages, kin, sold), today)
    steps = defaultdict(list)
    prices = SizePrice.objects.filter(lineage__in=lineages).order_by("from_mm")
    for pk, from_mm in prices.values_list("lineage", "from_mm"):
        steps[pk].append(from_mm)
    told = _Teller(kin, sold, waits, book.currency)
    return {lineage.pk: told.history(lineage, steps[lineage.pk]) for lineage in lineages}


def _told_of(lineages: Iterable[Lineage], kin, sold: list[_Sold]) -> set[int]:
    """Those lines of whose frags something will be told: the lines themselves, and the kin of those with few sales."""
    counted = Counter(row.lineage for row in sold)
    few = {lineage.growth_form for lineage in lineages if counted[lineage.pk] < FEWEST}
    return {lineage.pk for lineage in lineages} | {pk for pk, (_, form) in kin.items() if form in few}


def price_history(lineage: Lineage, today: date) -> History:
    """What one line fetched. Six queries at most."""
    return price_histories([lineage], today)[lineage.pk]


class _Teller:
    """Chooses which frags are like those of a line, and says what they fetched."""

    def __init__(self, kin, sold, waits, currency):
        self.kin, self.currency = kin, currency
        self.sold, self.waits = defaultdict(list), defaultdict(list)
        for rows, found in ((sold, self.sold), (waits, self.waits)):
            for row in rows:
                genus, form = kin[row.lineage]
                for key in {row.lineage, (genus, form) if genus else None, (form,)} - {None}:
                    found[key].append(row)

    def history(self, lineage: Lineage, steps) -> History:
        form = GrowthForm(lineage.growth_form).label.lower()
        wider = [((lineage.genus, lineage.growth_form), f"{form} {lineage.genus}")] if lineage.genus else []
        wider.append(((lineage.growth_form,), f"{form} frags"))
        own = self.sold[lineage.pk]
        line = self._fetched(own, self.waits[lineage.pk], "", is_own=True)
        for key, like in wider:
            if isinstance(line, Fetched):
                break
            others = self._fetched(self.sold[key], self.waits[key], like, is_own=False)
            line = others if isinstance(others, Fetched) else line
        edges = [None, *steps] if steps else []
        classes = zip(edges, [*steps, None], strict=False)
        return History(
            line,
            tuple(
                (
                    low,
                    self._fetched(
                        [row for row in own if _within(row.size_mm, low, high)],
                        [row for row in self.waits[lineage.pk] if _within(row.size_mm, low, high)],
                        "",
                        is_own=True,
                    ),
                )
                for low, high in classes
            ),
        )

    def _fetched(self, sold, waits, like, *, is_own) -> Fetched | TooFew:
        if len(sold) < FEWEST:
            return TooFew(len(sold))
        amounts = sorted(row.amount for row in sold)
        went = sum(row.went for row in waits)
        return Fetched(
            like=like,
            is_own=is_own,
            number=len(amounts),
            middle=round_amount(median(amounts), self.currency),
            lowest=amounts[0],
            highest=amounts[-1],
            currency=self.currency,
            days=median_days([row.days for row in waits], [row.went for row in waits]),
            went=went,
            waiting=len(waits) - went,
        )


def _within(size_mm, low, high) -> bool:
    return size_mm is not None and (low is None or size_mm >= low) and (high is None or size_mm < high)


def _sold(kin, currency: str, today: date) -> list[_Sold]:
    """What was agreed for each frag that left in a sale, after every discount; what was given for nothing is left out.

    A discount on all falls on each by what it costs, as in the books. Two queries.
    """
    lines = SaleLine.objects.standing().filter(
        sale__currency=currency, sale__left_on__gt=today - timedelta(days=LOOKED_BACK_DAYS)
    )
    latest = lines.filter(plug__lineage__in=list(kin)).order_by("-sale__left_on", "-id")
    rows = list(
        latest.values_list("pk", "sale", "price", "discount", "sale__discount", "plug__lineage", "plug__size_mm")[
            :MOST_SALES
        ]
    )
    shared = {sale for _, sale, _, _, discount, *_ in rows if discount}
    less = {}
    if shared:
        costs = defaultdict(list)
        every = SaleLine.objects.standing().filter(_of_discounted(currency, today)).order_by("id")
        for sale, pk, price, discount, on_all in every.values_list("sale", "pk", "price", "discount", "sale__discount"):
            costs[sale].append((pk, price - discount, on_all))
        for in_sale in costs.values():
            parts = share_by_cost(in_sale[0][2], [cost for _, cost, _ in in_sale], currency)
            less |= {pk: part for (pk, *_), part in zip(in_sale, parts, strict=True)}
    found = (
        _Sold(lineage, price - discount - less.get(pk, 0), size) for pk, _, price, discount, _, lineage, size in rows
    )
    return [row for row in found if row.amount > 0]


def _of_discounted(currency: str, today: date) -> Q:
    """Lines of sales that left lately with a discount on all."""
    return Q(sale__currency=currency, sale__left_on__gt=today - timedelta(days=LOOKED_BACK_DAYS), sale__discount__gt=0)


def _waits(lineages: set[int], today: date) -> list[_Wait]:
    """How long each frag that healed lately waited until it went, or has been seen to wait.

    Sold and traded ones went. Of those given away, dead or grown on it is only known that they had not gone by then.
    What is set aside as insurance waits for nobody. One query.
    """
    rows = Plug.objects.filter(
        lineage__in=lineages,
        stage=HealingStage.HEALED,
        healed_on__range=(today - timedelta(days=LOOKED_BACK_DAYS), today),
        is_insurance=False,
    ).exclude(fate=Fate.VOID)
    latest = rows.order_by("-healed_on", "-id")
    return [
        _Wait(lineage, max(((ended or today) - healed).days, 0), fate in WENT, size)
        for lineage, healed, ended, fate, size in latest.values_list(
            "lineage", "healed_on", "ended_on", "fate", "size_mm"
        )[:MOST_FRAGS]
    ]
