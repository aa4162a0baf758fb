"""What papers say of a sale, a trade, a plug or a colony: rows in, contents of papers out.

The number of queries is the same for one line and for five hundred, apart from passports that lines came with.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from babel.numbers import get_currency_name, get_currency_precision

from inventory.models import Claim, Payment, Safekeeping, Sale, SaleLine, Trade
from inventory.money import write_amount
from inventory.readings.sales import totals
from inventory.readings.trades import sides_of
from labels.contents import address_of
from labels.drawing.papers.contents import (
    CareNote,
    Certificate,
    Charge,
    EarlierPart,
    Given,
    Grown,
    Head,
    PackingList,
    Paid,
    Picture,
    Place,
    Receipt,
    Seller,
    Step,
    Sum,
    Thing,
    ToFetch,
    TradeReceipt,
    Water,
    written,
)
from labels.keeper_key import keeper_did
from labels.models import Passport
from labels.paper_words import advice_for
from labels.passports.errors import KeyUnreadable
from labels.passports.signing import fingerprint
from labels.readings.passports import before_acquisitions
from propagation.lengths import unit_of
from propagation.models import (
    Acquisition,
    Colony,
    EndReason,
    Fate,
    IdentityCertainty,
    Measure,
    Placement,
    Plug,
    Preferences,
    Spot,
    System,
)
from propagation.readings.chosen_pictures import chosen_pictures
from propagation.readings.rack import cell_name
from propagation.readings.trace import Generation, ancestries_of, as_day
from propagation.readings.water import water_of, with_unit

Individual = Plug | Colony
ON_NO_RACK = "On no rack"


@dataclass(frozen=True)
class Issuer:
    """Who issues papers, on which day, and the address that stands in their codes.

    Papers are drawn when they are asked for, and say of both sides what the records say now: like the name of a
    contact, the keeper's own name and address are not kept with a sale, only its days, amounts and currency are.
    """

    preferences: Preferences
    base_address: str
    today: date

    @property
    def name(self) -> str:
        return self.preferences.name_on_papers

    def seller(self, *, with_number: bool) -> Seller | None:
        """Who hands over, as far as it was said; None where nothing was."""
        told = self.preferences
        lines = [*told.postal_address.splitlines(), told.paper_reach, told.tax_number if with_number else ""]
        lines = list(filter(None, lines))
        return Seller(self.name, lines) if self.name or lines else None

    def thing(self, individual: Individual) -> Thing:
        """A plug or colony as papers name it. Wants its lineage loaded."""
        lineage, is_colony = individual.lineage, isinstance(individual, Colony)
        size = None if is_colony else individual.size_mm
        unit = unit_of(Measure.DIAMETER, self.preferences.length_unit)
        return Thing(
            code=individual.code_in_clear,
            lineage=lineage.name,
            latin=lineage.binomial,
            tag=individual.tag if is_colony else "",
            address=address_of(self.base_address, individual.code),
            size="" if size is None else unit.text(size).replace(" ", "\u00a0"),
        )


# What is in a sale or a trade -----------------------------------------------------------------------------------------


def lines_on_paper(sale: Sale) -> list[SaleLine]:
    """The lines that papers of a sale name: the standing ones, or of one called off those it ended with. One query."""
    lines = sale.lines.filter(cancelled_on=sale.cancelled_on)
    return list(
        lines.select_related(
            "plug__lineage", "plug__cut_event__mother", "plug__rack__system", "colony__lineage"
        ).order_by("id")
    )


def things_of(of: Sale | Trade | Individual) -> list[Individual]:
    """The plugs and colonies that papers are of: what is sold, what goes out in a trade, or the one itself."""
    if isinstance(of, Sale):
        return [line.plug or line.colony for line in lines_on_paper(of)]
    if isinstance(of, Trade):
        lines = of.lines.filter(acquisition=None).order_by("id")
        related = ("plug__lineage", "plug__cut_event__mother", "plug__rack__system", "colony__lineage")
        return [line.plug or line.colony for line in lines.select_related(*related)]
    return [of]


def head_of(of: Sale | Trade | Individual, issuer: Issuer) -> Head:
    """The top of a paper."""
    if isinstance(of, Sale):
        notice = ""
        if of.cancelled_on:
            notice = f"Called off on {written(of.cancelled_on)}."
        elif of.agreed_on is None:
            notice = "A draft: this is put aside, and nothing is agreed yet."
        return Head(f"Sale {of.pk}", issuer.name, of.contact.name, of.agreed_on or of.begun_on, notice)
    if isinstance(of, Trade):
        notice = f"Taken back on {written(of.cancelled_on)}." if of.cancelled_on else ""
        return Head(f"Trade {of.pk}", issuer.name, of.contact.name, of.traded_on, notice)
    reference = of.tag if isinstance(of, Colony) else of.code_in_clear
    return Head(reference, issuer.name, day=issuer.today)


def day_it_left(of: Sale | Trade | Individual, issuer: Issuer) -> date:
    """The day up to which papers tell how something grew: when it left, or today."""
    if isinstance(of, Sale):
        return of.left_on or issuer.today
    if isinstance(of, Trade):
        return of.traded_on
    return of.ended_on or issuer.today


# Receipts -------------------------------------------------------------------------------------------------------------


def receipt_of_sale(sale: Sale, issuer: Issuer) -> Receipt:
    """The receipt of a sale. Five queries if its contact is loaded."""

    def money(amount):
        return write_amount(amount, sale.currency)

    sums = totals(sale)
    lines = lines_on_paper(sale)
    charges = [
        Charge(
            thing=issuer.thing(line.plug or line.colony),
            price=money(line.price),
            discount=minus(money(line.discount)) if line.discount else "",
            amount=money(line.amount),
        )
        for line in lines
    ]
    return Receipt(
        head=head_of(sale, issuer),
        charges=charges,
        sums=list(_sums_of(sale, sums, money)),
        payments=[
            Paid(
                each.paid_on,
                words_of_payment(each),
                minus(money(each.amount)) if each.signed < 0 else money(each.amount),
            )
            for each in sale.payments.filter(withdrawn_at=None).select_related("claim").order_by("paid_on", "id")
        ],
        paid=list(_paid_of(sums, money)),
        balance=_balance_of(sale, sums, money),
        remarks=[*_claims_in_words(sale, money), rounding_in_words(sale.currency)],
        seller=issuer.seller(with_number=True),
        closing=issuer.preferences.receipt_closing,
    )


def _claims_in_words(sale, money):
    """What was given for claims that is no money of this sale: credit, and replacements."""
    claims = Claim.objects.filter(line__sale=sale, outcome__in=[Claim.Outcome.CREDIT, Claim.Outcome.REPLACED])
    claims = claims.select_related("line__plug", "line__colony", "replaced_by__plug", "credit")
    for claim in claims.order_by("settled_on", "id"):
        what, day = claim.line.plug or claim.line.colony, written(claim.settled_on)
        if claim.outcome == Claim.Outcome.CREDIT:
            yield f"Credit of {money(claim.credit.amount)} was given for {what} on {day}."
        elif claim.replaced_by:
            yield f"{what} was replaced by {claim.replaced_by.plug} on {day}, in sale {claim.replaced_by.sale_id}."


def minus(amount: str) -> str:
    return f"−{amount}"


def _sums_of(sale, sums, money):
    on_all = sale.discount if sale.cancelled_on is None else 0
    on_lines = sums.discounts - on_all
    parts = [
        ("Discounts on single corals", on_lines, True),
        ("Discount on all", on_all, True),
        ("Shipping", sums.shipping, False),
        ("Given back for claims", sums.for_claims, True),
    ]
    if any(amount for _, amount, _ in parts):
        yield Sum("Together", money(sums.lines))
        for words, amount, lowers in parts:
            if amount:
                yield Sum(words, minus(money(amount)) if lowers else money(amount))
    yield Sum("To pay, since it was called off" if sale.cancelled_on else "To pay", money(sums.due), is_main=True)


def _paid_of(sums, money):
    if sums.paid:
        yield Sum("Paid", money(sums.paid))
    if sums.refunded:
        yield Sum("Given back", minus(money(sums.refunded)))


def _balance_of(sale, sums, money):
    if sums.too_much:
        return Sum("Paid too much", money(sums.too_much), is_main=True)
    if sale.closed_on and sums.owed:
        return Sum("Let go when the sale was closed", money(sums.owed), is_main=True)
    if sums.owed:
        words = "Still owed" if sale.agreed_on else "To pay once it is agreed"
        return Sum(words, money(sums.owed), is_main=True)
    return Sum("Still owed", "nothing", is_main=True)


def words_of_payment(payment: Payment) -> str:
    """``Deposit, cash``, ``Refund for a claim, bank transfer``."""
    kind = payment.get_kind_display()
    is_refund = payment.kind == Payment.Kind.REFUND
    if is_refund and hasattr(payment, "claim"):
        kind = f"{kind} for a claim"
    if payment.method == Payment.Method.CREDIT:
        return f"{kind}, {'kept as credit' if is_refund else 'from credit'}"
    return f"{kind}, {payment.get_method_display().lower()}"


def rounding_in_words(currency: str) -> str:
    """How amounts are rounded, said on every receipt; see `inventory.money.round_amount`."""
    digits = get_currency_precision(currency)
    to = f"{digits} digits after the point" if digits else "whole units"
    return (
        f"All amounts are in {get_currency_name(currency, locale='en')} ({currency}), each line rounded by itself to "
        f"{to}, half a unit up; the sums are sums of what stands here."
    )


def receipt_of_trade(trade: Trade, issuer: Issuer) -> TradeReceipt:
    """The receipt of a trade. Four queries if its contact is loaded."""
    out, came = sides_of(trade)
    keeper, contact = issuer.name or "The keeper", trade.contact.name
    received = []
    for each in came:
        for individual in (*each.colonies, *each.plugs):
            individual.lineage = each.acquisition.lineage
            received.append(Given(issuer.thing(individual)))
    amount = write_amount(abs(trade.cash), trade.currency)
    cash = Sum("Cash on top", "none", is_main=True)
    if trade.cash:
        cash = Sum(f"Cash on top, paid by {contact if trade.cash > 0 else keeper}", amount, is_main=True)
    return TradeReceipt(
        head=head_of(trade, issuer),
        went=[Given(issuer.thing(line.plug or line.colony)) for line in out],
        came=received,
        cash=cash,
        went_heading=f"{keeper} gave",
        came_heading=f"{contact} gave",
        remarks=[rounding_in_words(trade.currency)] if trade.cash else [],
        seller=issuer.seller(with_number=True),
        closing=issuer.preferences.receipt_closing,
    )


# Where things stand or stood -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Stand:
    """Where a plug or colony stands, or stood last."""

    spot: Spot | None = None
    row: int | None = None
    column: int | None = None

    @property
    def cell(self) -> str:
        return cell_name(self.row, self.column)


NOWHERE = Stand()


def stands_of(individuals: Iterable[Individual]) -> dict[Individual, Stand]:
    """Where each stands, or stood before it left. Three queries at most; wants racks with their system loaded."""
    individuals = list(individuals)
    found, asked = {}, {}
    for each in individuals:
        if isinstance(each, Plug):
            if each.rack_id:
                found[each] = Stand(each.rack, each.rack_row, each.rack_column)
            elif not each.is_kept:
                asked[each.pk] = each
    last = {}
    if asked:
        rows = Plug.history.filter(id__in=asked, fate=Fate.KEPT).order_by("history_id")
        for pk, rack, row, column in rows.values_list("id", "rack_id", "rack_row", "rack_column"):
            last[pk] = rack, row, column
    racks = {rack for rack, _, _ in last.values() if rack}
    spots = Spot.objects.select_related("system").in_bulk(racks) if racks else {}
    for pk, (rack, row, column) in last.items():
        if rack in spots:
            found[asked[pk]] = Stand(spots[rack], row, column)
    colonies = {each.pk: each for each in individuals if isinstance(each, Colony)}
    if colonies:
        placements = Placement.objects.filter(colony__in=colonies).select_related("spot__system")
        for placement in placements.order_by("since", "id"):
            found[colonies[placement.colony_id]] = Stand(placement.spot)
    return found


def packing_list_of(of: Sale | Trade, issuer: Issuer) -> PackingList:
    """What is to be fetched, rack by rack and cell by cell; what stands nowhere comes last. Five queries at most."""
    things = things_of(of)
    stands = stands_of(things)
    places = defaultdict(list)
    for each in things:
        places[stands.get(each, NOWHERE).spot].append(each)

    def in_order(each):
        stand = stands.get(each, NOWHERE)
        return stand.row or 0, stand.column or 0, each.code

    def by_name(spot):
        return (spot is None, spot and spot.system.name.casefold(), spot and spot.name.casefold(), spot and spot.pk)

    return PackingList(
        head=head_of(of, issuer),
        places=[
            Place(
                name=spot.name if spot else ON_NO_RACK,
                detail=spot.system.name if spot else "look for these first",
                things=[
                    ToFetch(issuer.thing(each), stands.get(each, NOWHERE).cell)
                    for each in sorted(places[spot], key=in_order)
                ],
            )
            for spot in sorted(places, key=by_name)
        ],
        sender=issuer.seller(with_number=False),
    )


# Certificates ---------------------------------------------------------------------------------------------------------


def certificates_of(
    individuals: Sequence[Individual], of: Sale | Trade | Individual, issuer: Issuer
) -> list[Certificate]:
    """A certificate of each of them. A dozen queries, and a few for each passport that a line came with."""
    lines = ancestries_of(individuals)
    told = _LineWords(lines)
    pictures = chosen_pictures(
        plugs=[each for each in individuals if isinstance(each, Plug)],
        colonies=[each for each in individuals if isinstance(each, Colony)],
    )
    read = {}
    key = _figures()
    head = head_of(of, issuer)
    head = Head(head.reference, head.keeper, head.recipient, issuer.today, head.notice)
    made = []
    for each in individuals:
        photo = pictures.get(each)
        if photo is not None and photo.pk not in read:
            read[photo.pk] = _bytes_of(photo)
        jpeg = read.get(photo.pk) if photo else None
        thing = issuer.thing(each)
        made.append(
            Certificate(
                head=head,
                thing=thing,
                facts=list(_facts_of(each, lines[each], thing)),
                steps=told.steps(lines[each]),
                before=told.before(lines[each]),
                verify=_verify(each, issuer),
                key=key,
                picture=_picture(jpeg, photo, each) if jpeg else None,
            )
        )
    return made


def _picture(jpeg, photo, individual):
    """A picture with what it is of: a plug without one of its own is shown by its mother's."""
    day = written(photo.taken_on)
    mother = f"the mother colony {individual.cut_event.mother.tag}" if _is_of_mother(photo, individual) else ""
    of = ", ".join(filter(None, [individual.lineage.name, mother, day]))
    caption = ", ".join(filter(None, [mother, "drawn" if photo.is_drawn else "", day]))
    return Picture(jpeg, f"{'Drawing' if photo.is_drawn else 'Photo'} of {of}", caption[0].upper() + caption[1:])


def _is_of_mother(photo, individual):
    return isinstance(individual, Plug) and photo.plug_id is None


def _verify(individual, issuer):
    """The address of the public page, if the keeper publishes lines."""
    if not issuer.preferences.public_pages:
        return ""
    return f"{issuer.base_address.rstrip('/')}/Q/{individual.code}"


def _figures() -> tuple[str, ...]:
    try:
        return fingerprint(keeper_did())
    except KeyUnreadable:
        return ()


def _bytes_of(photo) -> bytes | None:
    """The copy of a photo that others may see; None where its file is gone."""
    try:
        with photo.screen.open("rb") as file:
            return file.read()
    except OSError:
        return None


SURE = {
    IdentityCertainty.CERTAIN: "Certain",
    IdentityCertainty.LIKELY: "Likely",
    IdentityCertainty.DOUBTFUL: "Doubtful",
    IdentityCertainty.UNKNOWN: "Not known",
}


def _facts_of(individual, generations, thing):
    lineage = individual.lineage
    yield "How sure the identity is", SURE[IdentityCertainty(lineage.identity)]
    yield "Origin as recorded", lineage.get_origin_display()
    yield "Growth form", lineage.get_growth_form_display()
    cuts = sum(1 for row in generations if row.cut_event_id)
    began = as_day(generations[-1].acquired_on)
    if began:
        since = f"since {began:%b %Y}"
        yield "With this keeper", f"{since}, {cuts} {'cut' if cuts == 1 else 'cuts'}" if cuts else since
    if thing.size:
        yield "Size", thing.size


ARRIVALS = {
    Acquisition.Kind.RETURNED: "Came back to this keeper",
    Acquisition.Kind.FOUND: "With this keeper since before the records",
}


class _LineWords:
    """Lines of descent in words: what every step needs is read for all lines together."""

    def __init__(self, lines: dict[Individual, list[Generation]]):
        rows = [row for generations in lines.values() for row in generations]
        self._systems_of_colonies = _systems_of_colonies({row.colony_code for row in rows if row.colony_code})
        self._systems_of_plugs = _systems_of_plugs({row.plug_id for row in rows if row.plug_id})
        left = {row.plug_id for row in rows if row.plug_id and row.plug_fate not in (Fate.KEPT, Fate.GROWN_ON)}
        self._kept_safe = {}
        if left:
            kept = Safekeeping.objects.filter(plug__in=left).order_by("since", "id")
            self._kept_safe = dict(kept.values_list("plug", "since"))
        acquisitions = {row.acquisition_id for row in rows if row.acquisition_id}
        self._with_passport = set()
        if acquisitions:
            came = Passport.objects.filter(acquisition__in=acquisitions)
            self._with_passport = set(came.values_list("acquisition", flat=True))
        self._told = {}

    def before(self, generations) -> tuple[EarlierPart, ...]:
        """What earlier keepers told of a line."""
        ids = tuple(row.acquisition_id for row in generations if row.acquisition_id in self._with_passport)
        if not ids:
            return ()
        if ids not in self._told:
            self._told[ids] = tuple(
                EarlierPart(
                    keeper.heading,
                    keeper.detail,
                    tuple(Step(each.day, each.title, each.detail) for each in keeper.steps),
                )
                for keeper in before_acquisitions(list(ids), for_strangers=True)
            )
        return self._told[ids]

    def steps(self, generations) -> tuple[Step, ...]:
        """The steps of a line, the nearest first, down to the day it was first acquired."""
        found = []
        for row, earlier in zip(generations, [*generations[1:], None], strict=True):
            found += self._steps_of(row, earlier)
        return tuple(found)

    def _steps_of(self, row, earlier):
        in_plug = _in(self._systems_of_plugs.get(row.plug_id))
        in_colony = _in(self._systems_of_colonies.get(row.colony_code))
        if row.cut_event_id:
            what = "This frag was cut" if row.depth == 0 else "A frag was cut"
            others = f", one of {row.frags}" if row.frags and row.frags > 1 else ""
            yield Step(as_day(row.plug_began_on), what, _said(f"from the mother colony {row.tag}{others}", in_plug))
        if row.tag and row.colony_began_on != row.acquired_on:
            grown = "" if row.acquisition_id else "grown on from a frag"
            yield Step(as_day(row.colony_began_on), f"Colony {row.tag} began", _said(grown, in_colony))
        if row.acquisition_id:
            came_as = f"as the colony {row.tag}" if row.tag and row.colony_began_on == row.acquired_on else ""
            what = ARRIVALS.get(row.acquired_as, "First acquired by this keeper")
            detail = _said(self._away(row, earlier), came_as, in_colony if row.tag else in_plug)
            yield Step(as_day(row.acquired_on), what, detail)

    def _away(self, row, earlier):
        """Where it had been before it came back."""
        if row.acquired_as != Acquisition.Kind.RETURNED or earlier is None or not earlier.plug_id:
            return ""
        if since := self._kept_safe.get(earlier.plug_id):
            return f"from safekeeping with another keeper, where it had been since {written(since)}"
        left = as_day(earlier.plug_ended_on)
        return f"from another keeper, to whom it had gone on {written(left)}" if left else "from another keeper"


def _said(*parts) -> str:
    return "; ".join(filter(None, parts))


def _in(systems) -> str:
    """``in Bench tank, then Long reef``."""
    return f"in {', then '.join(systems)}" if systems else ""


def _systems_of_colonies(codes) -> dict[str, list[str]]:
    """The systems that each colony has stood in, in their order. One query."""
    found = defaultdict(list)
    rows = Placement.objects.filter(colony__code__in=codes).order_by("since", "id")
    for code, system in rows.values_list("colony__code", "spot__system__name"):
        if system not in found[code][-1:]:
            found[code].append(system)
    return found


def _systems_of_plugs(ids) -> dict[int, list[str]]:
    """The systems that each plug has stood in, in their order. Two queries."""
    rows = Plug.history.filter(id__in=ids, rack__isnull=False).order_by("history_id").values_list("id", "rack_id")
    stood = list(rows)
    names = dict(Spot.objects.filter(pk__in={rack for _, rack in stood}).values_list("pk", "system__name"))
    found = defaultdict(list)
    for plug, rack in stood:
        if rack in names and names[rack] not in found[plug][-1:]:
            found[plug].append(names[rack])
    return found


# Care -----------------------------------------------------------------------------------------------------------------


def care_note_of(individuals: Sequence[Individual], of: Sale | Trade | Individual, issuer: Issuer) -> CareNote:
    """The light and water they know, how far they healed, and what to beware of. Three queries, three a system."""
    day = day_it_left(of, issuer)
    stands = stands_of(individuals)
    systems = {}
    for each in individuals:
        spot = stands.get(each, NOWHERE).spot
        if spot:
            systems[spot.system_id] = spot.system
    return CareNote(
        head=head_of(of, issuer),
        grown=[_grown(each, stands.get(each, NOWHERE), issuer) for each in individuals],
        waters=[_water(system, day) for system in sorted(systems.values(), key=lambda each: each.name.casefold())],
        advice=advice_for({each.lineage_id: each.lineage for each in individuals}.values()),
    )


def _grown(individual, stand, issuer) -> Grown:
    spot = stand.spot
    light = f"{spot.par} PAR (µmol m⁻² s⁻¹)" if spot and spot.par is not None else ""
    place = spot.system.name if spot else ""
    if isinstance(individual, Colony):
        return Grown(issuer.thing(individual), f"kept since {written(individual.began_on)}", "", light, place)
    came = "cut" if individual.cut_event_id else "came"
    healing = f"healed {written(individual.healed_on)}"
    if individual.healed_on is None:
        healing = f"{individual.get_stage_display().lower()}, {written(individual.checked_on)}"
    return Grown(issuer.thing(individual), f"{came} {written(individual.began_on)}", healing, light, place)


def _water(system: System, day: date) -> Water:
    tests = [
        (now.parameter.label, with_unit(now.value, now.parameter), now.taken_on)
        for now in water_of(system, day)
        if now.value is not None
    ]
    return Water(system.name, tests)


def left_by_mistake(individual: Individual) -> bool:
    """Was it recorded by mistake? Then no paper is issued of it."""
    if isinstance(individual, Plug):
        return individual.fate == Fate.VOID
    return individual.end_reason == EndReason.MISTAKE
