"""What stands on a paper: words, amounts and days as they are to be read, nothing to be worked out any more."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date


def written(day: date | None) -> str:
    """``1 Apr 2026``, the same in every country's reading; nothing for no day."""
    return f"{day.day} {day:%b %Y}" if day else ""


@dataclass(frozen=True)
class Head:
    """What stands at the top of every paper: what it belongs to, whose it is, for whom, and of which day."""

    reference: str
    keeper: str = ""
    recipient: str = ""
    day: date | None = None
    notice: str = ""  # that it is a draft, or was called off


@dataclass(frozen=True)
class Seller:
    """Who hands over: the name, and in lines the address and what else there is to know. Either may be empty."""

    name: str = ""
    lines: Sequence[str] = ()


@dataclass(frozen=True)
class Thing:
    """A plug or a colony on a paper. ``tag`` is that of a colony."""

    code: str
    lineage: str
    latin: str = ""
    tag: str = ""
    address: str = ""
    size: str = ""

    @property
    def is_colony(self) -> bool:
        return bool(self.tag)


@dataclass(frozen=True)
class Charge:
    """A line of a receipt. Amounts are written out; ``discount`` is empty where there is none."""

    thing: Thing
    price: str
    amount: str
    discount: str = ""


@dataclass(frozen=True)
class Sum:
    """A line under a list of amounts."""

    words: str
    amount: str
    is_main: bool = False


@dataclass(frozen=True)
class Paid:
    """One payment: its day, what it was and how, and the amount with a minus if it went back."""

    day: date
    words: str
    amount: str


@dataclass(frozen=True)
class Receipt:
    """The receipt of a sale."""

    head: Head
    charges: Sequence[Charge]
    sums: Sequence[Sum]
    payments: Sequence[Paid]
    paid: Sequence[Sum]
    balance: Sum
    remarks: Sequence[str] = ()
    seller: Seller | None = None
    closing: str = ""  # in the keeper's own words


@dataclass(frozen=True)
class Given:
    """What one side of a trade gave: a plug or colony with its code, or several of a line."""

    thing: Thing
    words: str = ""


@dataclass(frozen=True)
class TradeReceipt:
    """The receipt of a trade: what went, what came, and the difference in cash."""

    head: Head
    went: Sequence[Given]
    came: Sequence[Given]
    cash: Sum
    went_heading: str = "Went out"
    came_heading: str = "Came in"
    remarks: Sequence[str] = ()
    seller: Seller | None = None
    closing: str = ""


@dataclass(frozen=True)
class ToFetch:
    """One thing of a packing list and the cell it stands in."""

    thing: Thing
    cell: str = ""


@dataclass(frozen=True)
class Place:
    """A rack or spot with what is to be fetched from it, in the order of its cells."""

    name: str
    detail: str
    things: Sequence[ToFetch]


@dataclass(frozen=True)
class PackingList:
    """What is to be fetched and packed, rack by rack."""

    head: Head
    places: Sequence[Place]
    sender: Seller | None = None

    @property
    def number(self) -> int:
        return sum(len(place.things) for place in self.places)


@dataclass(frozen=True)
class Picture:
    """A JPEG without metadata, what it shows, and what stands under it."""

    jpeg: bytes
    words: str
    caption: str = ""


@dataclass(frozen=True)
class Step:
    """One step of a line of descent."""

    day: date
    title: str
    detail: str = ""


@dataclass(frozen=True)
class EarlierPart:
    """What an earlier keeper told of the line in a passport."""

    heading: str
    detail: str
    steps: Sequence[Step]


@dataclass(frozen=True)
class Certificate:
    """The line of a plug or colony, as its keeper vouches for it."""

    head: Head
    thing: Thing
    facts: Sequence[tuple[str, str]]
    steps: Sequence[Step]
    before: Sequence[EarlierPart] = ()
    verify: str = ""  # the public address in clear; empty where the keeper publishes no lines
    key: Sequence[str] = ()  # figures of the key that signs the passport
    picture: Picture | None = None


@dataclass(frozen=True)
class Grown:
    """How one plug or colony grew until it was handed on."""

    thing: Thing
    cut: str = ""
    healing: str = ""
    light: str = ""
    place: str = ""


@dataclass(frozen=True)
class Water:
    """The last tests of a system: name, value with its unit, and day."""

    system: str
    tests: Sequence[tuple[str, str, date]]


@dataclass(frozen=True)
class Advice:
    """Cautions under one heading."""

    heading: str
    sentences: Sequence[str]


@dataclass(frozen=True)
class CareNote:
    """How to take in what was handed over: the light and water it knows, and what to beware of."""

    head: Head
    grown: Sequence[Grown]
    waters: Sequence[Water] = ()
    advice: Sequence[Advice] = field(default_factory=tuple)


Paper = Receipt | TradeReceipt | PackingList | Certificate | CareNote

TITLES = {
    Receipt: "Receipt",
    TradeReceipt: "Receipt of a trade",
    PackingList: "Packing list",
    Certificate: "Certificate of descent",
    CareNote: "Care note",
}
