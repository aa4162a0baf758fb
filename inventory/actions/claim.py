"""Sold corals that were reported dead or damaged, and what is done about it."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.formats import date_format
from PIL import Image

from inventory.actions.begin_sale import agree_sale, begin_sale
from inventory.actions.keep_contact import refuse_credit_of_nobody, refuse_forgotten
from inventory.actions.pay_sale import refund
from inventory.actions.sale_steps import SaleItem, checked_note, keep, note_whether_paid
from inventory.errors import LateClaim, upper_first, what_of
from inventory.models import Claim, ClaimPicture, Contact, Credit, Payment, Sale, SaleLine
from inventory.money import checked_amount, write_amount
from inventory.readings.claims import may_be_given_back
from propagation.actions.days import check_day
from propagation.errors import AlreadyDone, BadValue
from propagation.models import Plug
from propagation.picture_copies import bare_jpeg
from propagation.sent_pictures import open_sent_picture

# How long after it left a sold coral is answered for; common practice, no source.
DAYS_ANSWERED_FOR = 14
LONGEST_WORDS = Claim._meta.get_field("words").max_length
LONGEST_NOTE = Claim._meta.get_field("note").max_length
MOST_PICTURES = 12  # of one claim
MOST_BYTES = 15 * 1024 * 1024
PIXELS_A_SIDE = 2400  # enough to see a polyp on a frag that fills the picture


@transaction.atomic
def report_claim(
    *, line: SaleLine, kind: str, on: date, today: date, words: str = "", confirmed: bool = True, by=None
) -> Claim:
    """A sold coral was reported dead, damaged or wrong on a day. The same report twice is one claim.

    Raises BadValue for what has not left or no such kind, BadDate, AlreadyDone if there is another claim of it, and
    with ``confirmed=False`` LateClaim more than DAYS_ANSWERED_FOR days after it left.
    """
    sale = Sale.objects.select_for_update(of=("self",)).select_related("contact").get(pk=line.sale_id)
    refuse_forgotten(sale.contact)
    line = SaleLine.objects.select_related("plug__lineage", "colony__lineage").get(pk=line.pk)
    if kind not in Claim.Kind.values:
        raise BadValue(f"“{kind}” is no kind of claim; use one of {', '.join(Claim.Kind.values)}.", field="kind")
    if line.cancelled_on or sale.left_on is None:
        raise BadValue(f"{upper_first(what_of(line))} has not left in sale {sale.pk}, so nobody can claim it.")
    checked_note(words, LONGEST_WORDS)
    check_day(on, today=today, what="A report", not_before=sale.left_on, because="it left")
    earlier = Claim.objects.filter(line=line).first()
    if earlier is not None:
        if (earlier.kind, earlier.reported_on) == (kind, on):
            return earlier
        raise AlreadyDone(
            f"{upper_first(what_of(line))} was reported on {date_format(earlier.reported_on)} already: "
            f"{earlier.get_kind_display().lower()}."
        )
    if not confirmed and on > sale.left_on + timedelta(days=DAYS_ANSWERED_FOR):
        raise LateClaim(line, sale.left_on, DAYS_ANSWERED_FOR)
    claim = Claim(line=line, kind=kind, reported_on=on, words=words.strip())
    claim._history_user = by
    claim.save()
    return claim


def clean_picture(data: bytes) -> bytes:
    """The picture as a JPEG file of its pixels alone: turned upright, no larger than needed, without metadata.

    Raises PictureUnreadable for what is no JPEG, PNG, HEIC or WebP picture, broken, or too large.
    """
    picture = Image.fromarray(open_sent_picture(data, most_bytes=MOST_BYTES).pixels)
    return bare_jpeg(picture, longest_side=PIXELS_A_SIDE)


@transaction.atomic
def add_picture(*, claim: Claim, data: bytes) -> ClaimPicture:
    """Keep a picture that came with a claim. Raises PictureUnreadable, and BadValue if it has many already."""
    refuse_forgotten(Contact.objects.get(sales__lines__claim=claim))
    if claim.pictures.count() >= MOST_PICTURES:
        raise BadValue(f"There are {MOST_PICTURES} pictures already; that is as many as are kept.", field="picture")
    kept = ClaimPicture(claim=claim)
    kept.file.save(f"{uuid4().hex}.jpg", ContentFile(clean_picture(data)), save=False)
    kept.save()
    return kept


@transaction.atomic
def settle_claim(
    *,
    claim: Claim,
    outcome: str,
    on: date,
    today: date,
    plug: Plug | None = None,
    amount: Decimal | None = None,
    method: str = Payment.Method.CASH,
    note: str = "",
    confirmed: bool = True,
    by=None,
) -> Claim:
    """Say what is done: another plug in a sale of its own that costs nothing, credit, money back, or nothing.

    Credit and money back together never come to more than was paid for the sale. What was refused, or whose replacement
    was taken out of its sale, can be settled anew. Raises AlreadyDone, BadDate, BadAmount, BadValue, and for a
    replacement what `begin_sale` raises.
    """
    if outcome not in Claim.Outcome.values:
        raise BadValue(
            f"“{outcome}” is no way to settle it; use one of {', '.join(Claim.Outcome.values)}.", field="outcome"
        )
    if outcome == Claim.Outcome.REPLACED:
        if plug is None:
            raise BadValue("Give the code of the plug that replaces it.", field="plug")
        Plug.objects.select_for_update().get(pk=plug.pk)  # plugs before sales, as in every act
    sale = Sale.objects.select_for_update(of=("self",)).select_related("contact").get(lines__claim=claim)
    refuse_forgotten(sale.contact)
    claim = Claim.objects.select_related("line__plug", "line__colony", "replaced_by").get(pk=claim.pk)
    claim.line.sale = sale
    if not can_be_settled(claim):
        raise AlreadyDone(
            f"The claim was settled on {date_format(claim.settled_on)}: {claim.get_outcome_display().lower()}."
        )
    check_day(on, today=today, what="Settling it", not_before=claim.reported_on, because="it was reported")
    checked_note(note, LONGEST_NOTE)
    claim.replaced_by = None
    if outcome == Claim.Outcome.REPLACED:
        claim.replaced_by = _replacement(claim, sale, plug, today=today, confirmed=confirmed, by=by)
    if outcome == Claim.Outcome.CREDIT:
        refuse_credit_of_nobody(sale.contact, field="outcome", instead="give another plug or the money back")
    if outcome in (Claim.Outcome.CREDIT, Claim.Outcome.REFUNDED):
        amount = _checked_amount(sale, amount)
    if outcome == Claim.Outcome.REFUNDED:
        if method == Payment.Method.CREDIT:
            raise BadValue("Money back is paid; choose credit as the outcome to keep it here.", field="method")
        words = f"Claim for {what_of(claim.line)}"
        claim.refund = refund(sale=sale, amount=amount, method=method, on=on, today=today, note=words, by=by)
    claim.settled_on, claim.outcome, claim.note = on, outcome, note.strip()
    claim._history_user = by
    claim.save()
    if outcome == Claim.Outcome.CREDIT:
        credit = Credit(
            contact=sale.contact,
            amount=amount,
            currency=sale.currency,
            on=on,
            claim=claim,
            note=f"Claim for {what_of(claim.line)}",
        )
        credit._history_user = by
        credit.save()
    if outcome == Claim.Outcome.REFUNDED:  # what is due is less by it from now on
        sale.refresh_from_db(fields=["paid_on"])
        note_whether_paid(sale, today=today)
        keep(sale, "paid_on", by=by)
    return claim


def can_be_settled(claim: Claim) -> bool:
    """Is it open, or was it refused, or did its replacement not come about?"""
    if claim.settled_on is None or claim.outcome == Claim.Outcome.REFUSED:
        return True
    return claim.outcome == Claim.Outcome.REPLACED and claim.replaced_by.cancelled_on is not None


def _replacement(claim: Claim, sale: Sale, plug: Plug, *, today: date, confirmed: bool, by) -> SaleLine:
    new = begin_sale(
        contact=sale.contact,
        items=[SaleItem(plug=plug, price=Decimal(0))],
        today=today,
        note=f"Replaces {what_of(claim.line)} of sale {sale.pk}",
        confirmed=confirmed,
        by=by,
    )
    return agree_sale(sale=new, today=today, by=by).lines.get()


def _checked_amount(sale: Sale, amount: Decimal | None) -> Decimal:
    if not amount:
        raise BadValue("Say how much; nothing is the same as refusing it.", field="amount")
    amount = checked_amount(amount, currency=sale.currency, what="The amount")
    most = may_be_given_back(sale)
    if amount > most:
        raise BadValue(
            f"{write_amount(amount, sale.currency)} is more than the {write_amount(most, sale.currency)} that was paid "
            f"for sale {sale.pk} and not given back yet."
            if most
            else f"Nothing was paid for sale {sale.pk} that could be given back; replace it, or refuse.",
            field="amount",
        )
    return amount
