"""When each mother can be cut next: the list, in the order a keeper acts on it."""

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Q

from propagation.forecasts.outlooks import current_outlooks, outlook_of
from propagation.models import Binding, Colony, ColonyOutlook
from propagation.worth import FragPrice, frag_prices

# What lies further ahead than this is drawn at the end of the line.
DRAWN_DAYS = 365
SOON = timedelta(days=31)

# What binds, in a keeper's words and with the picture that goes with it.
BINDING_WORDS = {
    Binding.NOTHING: ("Ready to cut", "check"),
    Binding.SIZE: ("Still growing", "ruler"),
    Binding.REST: ("Resting", "clock"),
    Binding.HEALTH: ("Unwell", "incident"),
    Binding.WATER: ("Water", "water"),
    Binding.ABSENCE: ("Nobody there", "calendar"),
    Binding.INSURANCE: ("Insurance first", "insurance"),
    Binding.ROOM: ("No room", "move"),
}


@dataclass(frozen=True)
class Span:
    """The window of a next cut on a line from today (0) to a year ahead (100)."""

    start: float
    width: float
    day: float


@dataclass(frozen=True)
class NextCutRow:
    """One mother's next cut as a page or a command shows it."""

    outlook: ColonyOutlook
    today: date
    price: FragPrice | None = None

    @property
    def colony(self):
        return self.outlook.colony

    @property
    def is_now(self) -> bool:
        return self.outlook.day is not None and self.outlook.day <= self.today

    @property
    def is_left_alone(self) -> bool:
        """Is something wrong that has no end in sight?"""
        return self.outlook.day is None and self.outlook.binds in (Binding.HEALTH, Binding.WATER)

    @property
    def binding_words(self) -> str:
        return BINDING_WORDS[self.outlook.binds][0]

    @property
    def binding_icon(self) -> str:
        return BINDING_WORDS[self.outlook.binds][1]

    @property
    def sure(self) -> int:
        """Per cent, for enough frags today by size alone; never quite nothing nor quite certain."""
        return min(max(round(self.outlook.probability_today * 100), 1), 99)

    @property
    def for_sale(self) -> float:
        return max(self.outlook.usable - self.outlook.for_insurance, 0.0)

    @property
    def worth(self) -> Decimal | None:
        return None if self.price is None else self.price.of(self.for_sale)

    @property
    def worth_words(self) -> str:
        return "" if self.price is None else self.price.words(self.for_sale)

    @property
    def window_is_open(self) -> bool:
        """Is its window more than one day wide?"""
        o = self.outlook
        return o.day is not None and (o.earliest != o.day or o.latest != o.day)

    @property
    def span(self) -> Span | None:
        """Where the window lies on the line; None when there is no day."""
        o = self.outlook
        if o.day is None and o.earliest is None:
            return None

        def at(day):
            if day is None:
                return 100.0
            return round(min(max((day - self.today).days / DRAWN_DAYS, 0), 1) * 100, 1)

        start, end = at(o.earliest or o.day), at(o.latest)
        return Span(start, max(round(end - start, 1), 1.0), at(o.day))

    @property
    def growth_percent(self) -> str:
        """Growth of a month as a share of the present size, in per cent."""
        share = (self.outlook.growth_a_month or 0) * 100
        return f"{share:.1f}" if abs(share) < 3 else f"{share:.0f}"


@dataclass
class Section:
    """Mothers that stand alike."""

    name: str
    words: str
    rows: list[NextCutRow] = field(default_factory=list)


ORDERS = {
    "day": ("By day", lambda row: (row.outlook.day or date.max, row.outlook.earliest or date.max, row.colony.tag)),
    "frags": ("Most frags", lambda row: (-row.outlook.frags, row.colony.tag)),
    "worth": ("Most worth", lambda row: (-(row.worth or 0), row.colony.tag)),
}


def next_cut_rows(day: date, *, text: str = "", system=None, lineage=None, order: str = "day") -> list[NextCutRow]:
    """Next cuts of the living mothers on a day, filtered and in an order. Queries: 3, and those of `bring_up_to_date`
    when records changed.
    """
    outlooks = current_outlooks(day).select_related("colony__lineage")
    if text:
        outlooks = outlooks.filter(
            Q(colony__tag__icontains=text)
            | Q(colony__lineage__name__icontains=text)
            | Q(colony__lineage__sold_as__icontains=text)
        )
    if system is not None:
        outlooks = outlooks.filter(colony__placements__spot__system=system, colony__placements__until=None)
    if lineage is not None:
        outlooks = outlooks.filter(colony__lineage=lineage)
    outlooks = list(outlooks.defer("state"))
    prices = frag_prices(outlook.colony.lineage_id for outlook in outlooks)
    return in_order([NextCutRow(outlook, day, prices.get(outlook.colony.lineage_id)) for outlook in outlooks], order)


def in_order(rows: list[NextCutRow], order: str = "day") -> list[NextCutRow]:
    """The rows sorted by one of `ORDERS`."""
    return sorted(rows, key=ORDERS[order][1])


def next_cut_of(colony: Colony, day: date) -> NextCutRow | None:
    """One mother's next cut on a day; None when she is not alive then."""
    outlook = outlook_of(colony, day)
    return (
        None if outlook is None else NextCutRow(outlook, day, frag_prices([colony.lineage_id]).get(colony.lineage_id))
    )


def in_sections(rows: list[NextCutRow], day: date) -> list[Section]:
    """The rows as a keeper acts on them: now, soon, later, left alone, not in sight; empty sections left out."""
    sections = {
        "now": Section("now", "Ready to cut"),
        "soon": Section("soon", "Within a month"),
        "later": Section("later", "Later"),
        "alone": Section("alone", "Leave alone"),
        "never": Section("never", "Not within three years"),
    }
    for row in rows:
        if row.is_now:
            name = "now"
        elif row.outlook.day is not None:
            name = "soon" if row.outlook.day <= day + SOON else "later"
        else:
            name = "alone" if row.is_left_alone else "never"
        sections[name].rows.append(row)
    return [section for section in sections.values() if section.rows]
