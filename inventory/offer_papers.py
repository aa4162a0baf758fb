"""What is offered as words and as data: for a page, for pasting into a message, and for a program that reads pages."""

import json
import textwrap
from decimal import Decimal

from django.urls import reverse

from inventory.models import Availability, Book
from inventory.money import plain_amount, write_amount
from inventory.readings.offers import LineOffers, Offer, Offers, PackOffer
from propagation.lengths import unit_of
from propagation.models import Measure

COLUMNS = 70
UNCAUGHT = {ord(sign): f"\\u{ord(sign):04X}" for sign in "<>&\u2028\u2029"}  # so that no name ends a script element
SCHEMA = "https://schema.org/"
# All of the context that is used, so that a reader fetches nothing. Source: schema.org; JSON-LD 1.1 §4.1.2 (@vocab).
CONTEXT = {"@vocab": SCHEMA, "availability": {"@type": "@id"}, "itemCondition": {"@type": "@id"}}
MILLIMETRE = "MMT"  # UN/CEFACT Recommendation 20, as schema.org asks for in unitCode
PRICE_ON_ASKING = "price on asking"


class OfferWords:
    """Sizes in the keeper's unit, prices in the book's currency, and pictures at whole addresses for programs."""

    def __init__(self, *, book: Book, length_unit: str, base_address: str = ""):
        self.book = book
        self.base_address = base_address.rstrip("/")
        self.unit = unit_of(Measure.DIAMETER, length_unit)
        self._prices: dict[Decimal | None, str] = {None: PRICE_ON_ASKING}
        self._sizes: dict[tuple, str] = {(None, None): ""}

    def price(self, amount: Decimal | None) -> str:
        """``€25.00``, or that one has to ask."""
        if amount not in self._prices:
            self._prices[amount] = write_amount(amount, self.book.currency)
        return self._prices[amount]

    def size(self, offer: Offer) -> str:
        """``22 mm``, ``22 to 28 mm``, or nothing where no size is known."""
        ends = (offer.smallest_mm, offer.largest_mm)
        if ends not in self._sizes:
            low, high = (self.unit.text(end) for end in ends)
            self._sizes[ends] = high if low == high else f"{low.removesuffix(f' {self.unit.name}')} to {high}"
        return self._sizes[ends]

    def picture(self, offer: Offer) -> str:
        """The whole address of its picture, or nothing."""
        return f"{self.base_address}{reverse('photo_screen', args=[offer.photo])}" if offer.photo else ""

    def number(self, offer: Offer) -> str:
        """``1 frag``, ``4 frags``; of a plug offered as itself its code."""
        if offer.code_in_clear:
            return offer.code_in_clear
        return "1 frag" if offer.number == 1 else f"{offer.number} frags"

    def contents(self, pack: PackOffer) -> str:
        """``2 × Harbour Ember, 1 × Grey Quay``."""
        return ", ".join(f"{number} × {name}" for number, name in pack.contents)

    def each(self, offer: Offer) -> str:
        """The price, and that it is for each where there are several."""
        several = offer.number > 1 and offer.price is not None
        return f"{self.price(offer.price)} each" if several else self.price(offer.price)


def wishes_of(availability: Availability) -> list[str]:
    """One wish a line."""
    return [wish.strip() for wish in availability.wishes.splitlines() if wish.strip()]


def heading_of(availability: Availability) -> str:
    return availability.headline.strip() or "Frags available"


def _wrapped(text: str, indent: str = "") -> list[str]:
    if len(indent) + len(text) <= COLUMNS:
        return [f"{indent}{text}"]
    return textwrap.wrap(text, COLUMNS, initial_indent=indent, subsequent_indent=f"{indent}  ") or [""]


def as_text(offers: Offers, availability: Availability, words: OfferWords) -> str:
    """What is offered, in lines of at most 70 characters, to be pasted into a message."""
    lines = [*_wrapped(heading_of(availability)), ""]
    if not offers:
        lines += ["Nothing is available at the moment.", ""]
    for line in offers.lines:
        lines += _wrapped(", ".join(filter(None, [line.name, line.binomial, line.growth_form.lower()])))
        for offer in line.offers:
            said = [words.number(offer), words.size(offer), words.each(offer), offer.words]
            lines += _wrapped(", ".join(filter(None, said)), "- ")
        lines.append("")
    for pack in offers.packs:
        lines += _wrapped(f"Pack: {pack.name}, {words.price(pack.price)}")
        lines += _wrapped(words.contents(pack), "- ")
        lines += _wrapped(pack.words, "  ") if pack.words else []
        lines.append("")
    if wishes := wishes_of(availability):
        lines += ["Would swap for:", *(row for wish in wishes for row in _wrapped(wish, "- ")), ""]
    if availability.reach:
        lines += _wrapped(f"To have one: {availability.reach}")
    return "\n".join(lines).rstrip() + "\n"


def _offer_data(price: Decimal | None, number: int, book: Book) -> dict:
    told = {
        "@type": "Offer",
        "availability": f"{SCHEMA}InStock",
        "itemCondition": f"{SCHEMA}NewCondition",
        "inventoryLevel": {"@type": "QuantitativeValue", "value": number},
    }
    if price is not None:
        told |= {"price": plain_amount(price, book), "priceCurrency": book.currency}
    return told


def _product(line: LineOffers, offer: Offer, words: OfferWords) -> dict:
    told = {"@type": "Product", "name": line.name, "category": line.growth_form}
    if line.binomial:
        told["alternateName"] = line.binomial
    if offer.words:
        told["description"] = offer.words
    if offer.code_in_clear:
        told["sku"] = offer.code_in_clear
    if offer.photo:
        told["image"] = words.picture(offer)
    if offer.smallest_mm is not None:
        ends = {float(offer.smallest_mm), float(offer.largest_mm)}
        span = {"value": min(ends)} if len(ends) == 1 else {"minValue": min(ends), "maxValue": max(ends)}
        told["size"] = {"@type": "QuantitativeValue", "unitCode": MILLIMETRE, **span}
    return told | {"offers": _offer_data(offer.price, offer.number, words.book)}


def as_data(offers: Offers, availability: Availability, words: OfferWords) -> str:
    """What is offered as JSON-LD in schema.org's terms, fit to stand in a script element.

    An ItemList of Products, each with an Offer; where there is no price none is told.
    """
    items = [_product(line, offer, words) for line in offers.lines for offer in line.offers]
    items += [
        {
            "@type": "Product",
            "name": pack.name,
            "description": ". ".join(filter(None, [words.contents(pack), pack.words])),
            "offers": _offer_data(pack.price, 1, words.book),
        }
        for pack in offers.packs
    ]
    told = {
        "@context": CONTEXT,
        "@type": "ItemList",
        "name": heading_of(availability),
        "numberOfItems": len(items),
        "itemListElement": [
            {"@type": "ListItem", "position": position, "item": item} for position, item in enumerate(items, 1)
        ],
    }
    return json.dumps(told, ensure_ascii=False, separators=(",", ":")).translate(UNCAUGHT)
