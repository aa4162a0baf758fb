"""What comes in, from whom and for how much: the acquisition on the floor below, and its terms here."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_DOWN, Decimal
from uuid import UUID

from django.db import IntegrityError, transaction

from inventory.actions.keep_contact import contact_named, locked_contact
from inventory.errors import BadAmount
from inventory.models import AcquisitionTerms, Book, Contact
from inventory.money import check_price
from propagation.actions.acquire import PackLine, acquire_colony, acquire_pack, acquire_plugs
from propagation.actions.changes import refuse_changed
from propagation.actions.keep_lineage import lineage_named
from propagation.errors import BadValue, RowErrors
from propagation.models import Acquisition, GrowthForm, HealingStage, Plug, Spot


@dataclass(frozen=True)
class Deal:
    """When something came, how, from whom and for how much."""

    on: date
    kind: str = Acquisition.Kind.BOUGHT
    contact_name: str = ""
    amount: Decimal | None = None
    note: str = ""


@dataclass(frozen=True)
class PricedLine:
    """A line of a pack, with the part of the price that falls on it if that is known."""

    line: PackLine
    amount: Decimal | None = None


def share_out(
    total: Decimal | None, parts: list[Decimal | None], counts: list[int], *, decimals: int
) -> list[Decimal | None]:
    """The part of a price that falls on each line: known parts stay, the rest is shared by the number of pieces.

    ``parts`` and ``counts`` have one entry a line. Shares are rounded down to the currency's last digit, and what is
    left over goes to the first lines, one such digit each, so that the parts add up to the total. Without a total the
    parts come back as they are.

    Raises BadAmount if the known parts come to more than the total, or to less where no line is open.
    """
    if total is None:
        return list(parts)
    known = sum((part for part in parts if part is not None), Decimal(0))
    rest = total - known
    still_open = [number for number, part in enumerate(parts) if part is None]
    if rest < 0 or (rest and not still_open):
        raise BadAmount(
            f"The parts of the lines come to {known:f}, but {total:f} was paid for all. Put one of them right.",
            "amount",
        )
    smallest = Decimal(1).scaleb(-decimals)
    pieces = sum(counts[number] for number in still_open)
    shares = list(parts)
    for number in still_open:
        shares[number] = (rest * counts[number] / pieces).quantize(smallest, ROUND_DOWN)
    left_over = rest - sum((shares[number] for number in still_open), Decimal(0))
    for number in still_open:
        if left_over <= 0:
            break
        shares[number] += smallest
        left_over -= smallest
    return shares


def _once(submission: UUID | None, bring_in: Callable[[], Acquisition]) -> Acquisition:
    """What this form brought in the first time, or what it brings in now."""
    earlier = Acquisition.objects.filter(submission=submission).first() if submission else None
    if earlier is not None:
        return earlier
    try:
        with transaction.atomic():
            return bring_in()
    except IntegrityError:  # the same form, sent twice at once: the first one has made it
        earlier = Acquisition.objects.filter(submission=submission).first() if submission else None
        if earlier is None:
            raise
        return earlier


def _contact(name: str, *, by) -> Contact | None:
    """The contact of this name, met now if they were not known; None for no name."""
    return locked_contact(contact_named(name=name, by=by)) if name.strip() else None


def _note_terms(acquisition: Acquisition, *, contact: Contact | None, amount: Decimal | None, by) -> None:
    if contact is None and amount is None:
        return
    currency = "" if amount is None else Book.current().currency
    terms = AcquisitionTerms(acquisition=acquisition, contact=contact, amount=amount, currency=currency)
    terms._history_user = by
    terms.save()


@transaction.atomic
def acquire_colony_from(
    *,
    deal: Deal,
    lineage_name: str,
    tag: str,
    today: date,
    growth_form: str = GrowthForm.BRANCHING,
    spot: Spot | None = None,
    returned_plug: Plug | None = None,
    submission: UUID | None = None,
    by=None,
) -> Acquisition:
    """A colony came, from a contact perhaps. Raises BadDate, BadValue, AlreadyDone (the tag was used before)."""

    def bring_in():
        check_price(deal.amount, Book.current())
        colony = acquire_colony(
            lineage=lineage_of(lineage_name, returned_plug, growth_form=growth_form, by=by),
            tag=tag,
            on=deal.on,
            today=today,
            kind=deal.kind,
            spot=spot,
            returned_plug=returned_plug,
            note=deal.note,
            submission=submission,
            by=by,
        )
        contact = _contact(deal.contact_name, by=by)
        _note_terms(colony.acquisition, contact=contact, amount=deal.amount, by=by)
        return colony.acquisition

    return _once(submission, bring_in)


@transaction.atomic
def acquire_plugs_from(
    *,
    deal: Deal,
    lineage_name: str,
    count: int,
    today: date,
    growth_form: str = GrowthForm.BRANCHING,
    size_mm: Decimal | None = None,
    stage: str = HealingStage.HEALED,
    rack: Spot | None = None,
    returned_plug: Plug | None = None,
    submission: UUID | None = None,
    by=None,
) -> Acquisition:
    """Plugs of one lineage came, from a contact perhaps. Raises BadDate, BadValue."""

    def bring_in():
        check_price(deal.amount, Book.current())
        plugs = acquire_plugs(
            lineage=lineage_of(lineage_name, returned_plug, growth_form=growth_form, by=by),
            count=count,
            on=deal.on,
            today=today,
            kind=deal.kind,
            size_mm=size_mm,
            stage=stage,
            rack=rack,
            returned_plug=returned_plug,
            note=deal.note,
            submission=submission,
            by=by,
        )
        acquisition = plugs[0].acquisition
        _note_terms(acquisition, contact=_contact(deal.contact_name, by=by), amount=deal.amount, by=by)
        return acquisition

    return _once(submission, bring_in)


@transaction.atomic
def acquire_pack_from(
    *,
    deal: Deal,
    name: str,
    lines: list[PricedLine],
    today: date,
    rack: Spot | None = None,
    submission: UUID | None = None,
    by=None,
) -> Acquisition:
    """A pack of several lines came; returns the acquisition of its first line.

    The amount of the deal is what was paid for all; lines without a part share what is left by their pieces. Raises
    BadDate, BadValue, and RowErrors naming every line and column that is wrong; then nothing is saved.
    """

    def bring_in():
        book = Book.current()
        check_price(deal.amount, book)
        wrong = []
        for row, each in enumerate(lines, 1):
            try:
                check_price(each.amount, book)
            except BadValue as error:
                wrong.append((row, "amount", str(error)))
        if wrong:
            raise RowErrors(wrong)
        shares = share_out(
            deal.amount,
            [each.amount for each in lines],
            [max(each.line.count, 1) for each in lines],
            decimals=book.decimals,
        )
        _, acquisitions = acquire_pack(
            name=name,
            lines=[each.line for each in lines],
            on=deal.on,
            today=today,
            kind=deal.kind,
            rack=rack,
            note=deal.note,
            submission=submission,
            by=by,
        )
        contact = _contact(deal.contact_name, by=by)
        for acquisition, share in zip(acquisitions, shares, strict=True):
            _note_terms(acquisition, contact=contact, amount=share, by=by)
        return acquisitions[0]

    return _once(submission, bring_in)


def lineage_of(name: str, returned_plug: Plug | None, *, growth_form: str, by):
    """The lineage by its name, old or new; a return has the lineage of the plug that left."""
    if not name.strip():
        if returned_plug is None:
            raise BadValue("Say which lineage this is; a new name begins a new one.", field="lineage_name")
        return returned_plug.lineage
    return lineage_named(name, growth_form=growth_form, by=by)


def book_of_terms(terms: AcquisitionTerms | None) -> Book:
    """A book in the currency that was paid in, or the keeper's own while nothing is known to have been paid."""
    return Book(currency=terms.currency) if terms and terms.currency else Book.current()


@transaction.atomic
def correct_acquisition(
    *,
    acquisition: Acquisition,
    contact_name: str,
    amount: Decimal | None,
    note: str,
    based_on: int | None = None,
    by=None,
) -> Acquisition:
    """Put right from whom something came, what it cost, or its note; the history keeps what stood there.

    An amount stays in the currency it was paid in.

    Raises BadValue, ChangedMeanwhile.
    """
    acquisition = Acquisition.objects.select_for_update().get(pk=acquisition.pk)
    refuse_changed(acquisition, based_on=based_on, what="This acquisition")
    terms = AcquisitionTerms.objects.filter(acquisition=acquisition).first() or AcquisitionTerms(
        acquisition=acquisition
    )
    book = book_of_terms(terms)
    check_price(amount, book)
    terms.contact, terms.amount = _contact(contact_name, by=by), amount
    terms.currency = "" if amount is None else book.currency
    terms._history_user = by
    terms.save()
    acquisition.note = note
    acquisition._history_user = by
    acquisition.save(update_fields=["note"])
    return acquisition
