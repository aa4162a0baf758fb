"""What is offered to others: what is available, several alike as one offer, some as themselves, some in packs.

Nothing here is stored: what is held, sold, in a trade or dead is no part of ``available_on``, and so of no offer.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import F, Q

from inventory.models import OfferPack, PlugOffer
from inventory.readings.availability import available_on, with_price
from propagation import codes
from propagation.models import GrowthForm, Plug
from propagation.readings.chosen_pictures import chosen_pictures

SIZE_CLASS_MM = 10  # frags that differ less than this are sold as alike; common practice, no source


@dataclass(frozen=True)
class Offer:
    """So many frags of a line for one price each. ``price`` is None where there is none, sizes where none is known.

    ``code_in_clear``, ``words`` and ``photo`` (the id of its picture that others may see) are those of a plug that is
    offered as itself, else empty.
    """

    number: int
    smallest_mm: Decimal | None
    largest_mm: Decimal | None
    price: Decimal | None
    code_in_clear: str = ""
    words: str = ""
    photo: int | None = None


@dataclass(frozen=True)
class LineOffers:
    """The offers of one line."""

    name: str
    binomial: str
    growth_form: str
    offers: tuple[Offer, ...]

    @property
    def number(self) -> int:
        return sum(offer.number for offer in self.offers)


@dataclass(frozen=True)
class PackOffer:
    """Several frags together for one price; ``contents`` is how many of which line."""

    name: str
    price: Decimal
    words: str
    contents: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class Offers:
    """All that is offered on a day."""

    lines: tuple[LineOffers, ...]
    packs: tuple[PackOffer, ...]

    def __bool__(self):
        return bool(self.lines or self.packs)


def open_packs() -> dict[OfferPack, list[int]]:
    """Packs that were not ended, with the ids of their plugs. Two queries."""
    packs = {pack.pk: pack for pack in OfferPack.objects.filter(ended_on=None)}
    held = {pack: [] for pack in packs.values()}
    in_pack = OfferPack.plugs.through.objects.filter(offerpack__ended_on=None)
    for pack, plug in in_pack.order_by("plug_id").values_list("offerpack_id", "plug_id"):
        if pack in packs:
            held[packs[pack]].append(plug)
    return held


def offers_on(day: date, *, with_pictures: bool = False) -> Offers:
    """What is offered on a day: lines by name, in each the small ones first. Three queries.

    ``with_pictures`` looks for the picture of each plug that is offered as itself: three queries more, if any is.
    A plug of which something is said is offered as itself. A pack is offered while each of its plugs is; its plugs are
    then not offered one by one. Once one of them is gone the pack is too, and the others are offered again.
    """
    rows = list(
        with_price(available_on(day))
        .exclude(offer__withheld=True)
        .order_by("size_mm", "healed_on", "id")
        .values_list(
            "pk",
            "lineage_id",
            "size_mm",
            "price",
            "code",
            F("offer__as_itself"),
            F("offer__words"),
            "lineage__name",
            "lineage__genus",
            "lineage__species",
            "lineage__growth_form",
        )
    )
    names = {row[0]: row[7] for row in rows}
    packs, packed = [], set()
    for pack, plugs in open_packs().items():
        if plugs and all(plug in names and plug not in packed for plug in plugs):
            packed.update(plugs)
            inside = [names[plug] for plug in plugs]
            contents = tuple((inside.count(name), name) for name in sorted(set(inside), key=str.casefold))
            packs.append(PackOffer(pack.name, pack.amount, pack.words, contents))
    shown = [row[0] for row in rows if (row[5] or row[6]) and row[0] not in packed] if with_pictures else []
    pictures = _pictures_of(shown)
    alike, themselves, lines = {}, {}, {}
    for pk, lineage, size, price, code, as_itself, words, name, genus, species, growth_form in rows:
        if pk in packed:
            continue
        if lineage not in lines:
            binomial = f"{genus} {species or 'sp.'}" if genus else ""
            lines[lineage] = (name, binomial, GrowthForm(growth_form).label)
            alike[lineage], themselves[lineage] = {}, []
        if as_itself or words:
            offer = Offer(1, size, size, price, codes.in_clear(code), words or "", pictures.get(pk))
            themselves[lineage].append(offer)
        else:
            size_class = None if size is None else size // SIZE_CLASS_MM
            alike[lineage].setdefault((size_class, price), []).append(size)
    made = [
        LineOffers(
            *lines[lineage],
            offers=(
                *sorted(
                    (Offer(len(sizes), sizes[0], sizes[-1], price) for (_, price), sizes in alike[lineage].items()),
                    key=lambda offer: (offer.smallest_mm is None, offer.smallest_mm or 0, offer.price or 0),
                ),
                *themselves[lineage],
            ),
        )
        for lineage in lines
    ]
    made.sort(key=lambda line: line.name.casefold())
    return Offers(tuple(made), tuple(packs))


def _pictures_of(plugs: list[int]) -> dict[int, int]:
    """``{plug id: photo id}`` of those that have a picture, or whose mother has one, that was chosen for others."""
    if not plugs:
        return {}
    found = chosen_pictures(plugs=Plug.objects.filter(pk__in=plugs).select_related("cut_event"))
    return {plug.pk: photo.pk for plug, photo in found.items()}


@dataclass(frozen=True)
class PackStanding:
    """A pack as its keeper sees it; ``missing`` are its plugs that are not to be had, why the pack is not shown."""

    pack: OfferPack
    plugs: tuple[Plug, ...]
    missing: tuple[Plug, ...]


def packs_with_standing(day: date) -> list[PackStanding]:
    """Packs that were not ended, each with its plugs and those of them that are not available. Three queries."""
    packs = open_packs()
    wanted = {plug for plugs in packs.values() for plug in plugs}
    free = set(available_on(day).exclude(offer__withheld=True).filter(pk__in=wanted).values_list("pk", flat=True))
    plugs = Plug.objects.select_related("lineage").in_bulk(wanted)
    return [
        PackStanding(
            pack,
            tuple(plugs[pk] for pk in inside),
            tuple(plugs[pk] for pk in inside if pk not in free),
        )
        for pack, inside in packs.items()
    ]


def differently_offered(day: date):
    """How plugs that are available are offered, where it is not as one of several alike. One query."""
    differs = PlugOffer.objects.filter(Q(as_itself=True) | Q(withheld=True) | ~Q(words=""))
    return differs.filter(plug__in=available_on(day)).select_related("plug__lineage").order_by("plug__code")
