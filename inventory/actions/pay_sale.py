"""Money for a sale: what came, what went back, what was written by mistake."""

from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from inventory.actions.keep_contact import refuse_credit_of_nobody, refuse_forgotten
from inventory.actions.sale_steps import checked_note, keep, note_whether_paid, refuse_cancelled
from inventory.errors import PaidFromCredit, PaidLongBefore
from inventory.models import Claim, Contact, Credit, Hold, Payment, Sale
from inventory.money import checked_amount, write_amount
from inventory.readings.claims import may_be_given_back
from inventory.readings.sales import credit_of, totals
from propagation.actions.changes import last_change
from propagation.actions.days import check_day
from propagation.errors import AlreadyDone, BadValue, ChangedMeanwhile
from propagation.models import Plug

LONGEST_NOTE = Payment._meta.get_field("note").max_length
# What is paid longer before a sale is begun is asked about: in January a hand still writes the old year.
# Common practice, no source.
LONGEST_BEFORE = timedelta(days=90)


def _locked(sale: Sale) -> Sale:
    """The sale as it is now. Money needs no plug, so none is locked. Raises ContactForgotten."""
    sale = Sale.objects.select_for_update(of=("self",)).select_related("contact").get(pk=sale.pk)
    refuse_forgotten(sale.contact)
    return sale


def _the_same_form(sale: Sale, based_on: int | None, **payment) -> Payment | None:
    """The last payment, if a form was sent again that made it. Raises ChangedMeanwhile if something else was done."""
    if based_on is None or last_change(sale) == based_on:
        return None
    last = sale.payments.filter(withdrawn_at=None).order_by("-id").first()
    if last is not None and all(getattr(last, name) == value for name, value in payment.items()):
        return last
    raise ChangedMeanwhile(f"Sale {sale.pk}")


def _checked(sale: Sale, amount, *, method, on, today, note, confirmed) -> Decimal:
    amount = checked_amount(amount, currency=sale.currency, what="The amount")
    if not amount:
        raise BadValue("Say how much; nothing is no payment.", field="amount")
    if method not in Payment.Method.values:
        raise BadValue(f"“{method}” is no way to pay; use one of {', '.join(Payment.Method.values)}.", field="method")
    check_day(on, today=today, what="A payment")
    if not confirmed and on < sale.begun_on - LONGEST_BEFORE:
        raise PaidLongBefore(sale, on)
    checked_note(note, LONGEST_NOTE)
    return amount


@transaction.atomic
def take_payment(
    *,
    sale: Sale,
    amount: Decimal,
    today: date,
    on: date | None = None,
    method: str = Payment.Method.CASH,
    kind: str | None = None,
    note: str = "",
    based_on: int | None = None,
    confirmed: bool = True,
    by=None,
) -> Payment:
    """Money came for a sale, all that is owed or a part; before it is agreed it is a deposit.

    From their credit no more than they have. A form sent twice (``based_on``) finds its payment. Raises BadAmount,
    BadValue (also for more than is owed), BadDate, AlreadyDone, ChangedMeanwhile, and PaidLongBefore unless a day long
    before the sale is ``confirmed``.
    """
    sale, on = _locked(sale), on or today
    amount = _checked(sale, amount, method=method, on=on, today=today, note=note, confirmed=confirmed)
    if kind is None:
        kind = Payment.Kind.PAYMENT if sale.agreed_on else Payment.Kind.DEPOSIT
    if kind not in (Payment.Kind.PAYMENT, Payment.Kind.DEPOSIT):
        raise BadValue(f"“{kind}” is no money that comes in.", field="kind")
    if found := _the_same_form(sale, based_on, amount=amount, method=method, paid_on=on, kind=kind):
        return found
    refuse_cancelled(sale)
    sums = totals(sale)
    if amount > sums.owed:
        raise BadValue(
            f"{write_amount(amount, sale.currency)} is more than the {write_amount(sums.owed, sale.currency)} still "
            f"owed for sale {sale.pk}."
            if sums.owed
            else f"Nothing is owed for sale {sale.pk}; all of it is paid.",
            field="amount",
        )
    payment = _keep_payment(sale, amount, kind=kind, method=method, on=on, note=note, by=by)
    if method == Payment.Method.CREDIT:
        _use_credit(sale, amount, payment=payment, on=on, by=by)
    note_whether_paid(sale, today=today)
    keep(sale, "paid_on", by=by)
    return payment


def take_deposit(**told) -> Payment:
    """A part that is paid beforehand. Takes and raises what `take_payment` does."""
    return take_payment(kind=Payment.Kind.DEPOSIT, **told)


@transaction.atomic
def refund(
    *,
    sale: Sale,
    amount: Decimal,
    today: date,
    on: date | None = None,
    method: str = Payment.Method.CASH,
    note: str = "",
    based_on: int | None = None,
    confirmed: bool = True,
    in_money: bool = True,
    by=None,
) -> Payment:
    """Money goes back, never more than was paid and not credited for a claim; by credit it stays here as what they may
    take in goods.

    Raises as `take_payment`, and with ``in_money=False`` PaidFromCredit if what came from their credit would go back in
    another way.
    """
    sale, on = _locked(sale), on or today
    amount = _checked(sale, amount, method=method, on=on, today=today, note=note, confirmed=confirmed)
    if found := _the_same_form(sale, based_on, amount=amount, method=method, paid_on=on, kind=Payment.Kind.REFUND):
        return found
    sums = totals(sale)
    most = may_be_given_back(sale)
    if amount > most:
        raise BadValue(
            f"{write_amount(amount, sale.currency)} is more than the {write_amount(most, sale.currency)} that "
            f"was paid for sale {sale.pk} and not given back yet."
            if most
            else f"Nothing was paid for sale {sale.pk} that could be given back.",
            field="amount",
        )
    if method == Payment.Method.CREDIT:
        refuse_credit_of_nobody(sale.contact, field="method")
    elif amount > sums.in_money and not in_money:
        raise PaidFromCredit(write_amount(sums.in_money, sale.currency) if sums.in_money else "")
    payment = give_back(sale, amount, method=method, on=on, note=note, by=by)
    note_whether_paid(sale, today=today)
    keep(sale, "paid_on", by=by)
    return payment


def give_back(sale: Sale, amount: Decimal, *, method: str, on: date, note: str, by) -> Payment:
    """Write down a refund that was checked; for acts inside a transaction."""
    payment = _keep_payment(sale, amount, kind=Payment.Kind.REFUND, method=method, on=on, note=note, by=by)
    if method == Payment.Method.CREDIT:
        _keep_credit(sale, amount, payment=payment, on=on, note=f"From sale {sale.pk}", by=by)
    return payment


@transaction.atomic
def withdraw_payment(*, payment: Payment, today: date, by=None) -> Payment:
    """It was written by mistake: it counts no more, and stays in the history.

    Raises AlreadyDone, and BadValue if more would have been given back, or more credit used, than there was.
    """
    sale = _locked(payment.sale)
    payment = Payment.objects.get(pk=payment.pk)
    words = f"The {payment.get_kind_display().lower()} of {write_amount(payment.amount, sale.currency)}"
    if payment.withdrawn_at is not None:
        raise AlreadyDone(f"{words} was withdrawn already.")
    if sale.closed_on or sale.cancelled_on:
        raise AlreadyDone(f"Sale {sale.pk} is {sale.state_words.lower()}; its payments stay as they are.")
    if Claim.objects.filter(refund=payment).exists():
        raise AlreadyDone(f"{words} settled a claim; put the claim right instead.")
    is_refund = payment.kind == Payment.Kind.REFUND
    if not is_refund and payment.amount > totals(sale).received:
        raise BadValue(f"{words} was given back in part; withdraw that first.")
    if not is_refund and payment.amount > may_be_given_back(sale):
        raise BadValue(f"Credit was given for a claim out of {words[0].lower()}{words[1:]}, so it did come.")
    if payment.method == Payment.Method.CREDIT:
        if is_refund:
            _refuse_beyond_credit(sale, payment.amount)
        _keep_credit(
            sale,
            -payment.amount if is_refund else payment.amount,
            payment=None,
            on=today,
            note=f"Withdrawn from sale {sale.pk}",
            by=by,
        )
    payment.withdrawn_at = timezone.now()
    payment._history_user = by
    payment.save(update_fields=["withdrawn_at"])
    note_whether_paid(sale, today=today)
    keep(sale, "paid_on", by=by)
    return payment


def deposits_of_holds(sale: Sale, plugs: Iterable[Plug], *, today: date, by) -> None:
    """What the buyer paid for holds of these plugs becomes deposits of the sale; it lies on the holds no more.

    What was paid in another currency than that of the sale stays where it lies.
    """
    theirs = Hold.objects.with_a_deposit().filter(contact=sale.contact, deposit_currency=sale.currency)
    holds = list(theirs.filter(plug__in=list(plugs)).select_related("plug"))
    payments = [
        Payment(
            sale=sale,
            kind=Payment.Kind.DEPOSIT,
            method=Payment.Method.OTHER,
            amount=hold.deposit,
            paid_on=today,
            note=f"Paid for the hold of {hold.plug.code_in_clear}",
        )
        for hold in holds
    ]
    if not holds:
        return
    bulk_create_with_history(payments, Payment, default_user=by)
    for hold in holds:
        hold.deposit_fate = Hold.DepositFate.COUNTED
    bulk_update_with_history(holds, Hold, ["deposit_fate"], default_user=by)


def _keep_payment(sale, amount, *, kind, method, on, note, by) -> Payment:
    payment = Payment(sale=sale, kind=kind, method=method, amount=amount, paid_on=on, note=note)
    payment._history_user = by
    payment.save()
    return payment


def _refuse_beyond_credit(sale: Sale, amount: Decimal) -> None:
    """Raises BadValue for more than the contact has; the contact is locked, so that it is used once."""
    contact = Contact.objects.select_for_update().get(pk=sale.contact_id)
    has = credit_of(contact, sale.currency)
    if amount > has:
        raise BadValue(
            f"{contact} has {write_amount(has, sale.currency)} of credit, not {write_amount(amount, sale.currency)}."
            if has
            else f"{contact} has no credit.",
            field="amount",
        )


def _use_credit(sale, amount, *, payment, on, by) -> None:
    _refuse_beyond_credit(sale, amount)
    _keep_credit(sale, -amount, payment=payment, on=on, note=f"Used in sale {sale.pk}", by=by)


def _keep_credit(sale, amount, *, payment, on, note, by) -> Credit:
    credit = Credit(
        contact_id=sale.contact_id, amount=amount, currency=sale.currency, on=on, payment=payment, note=note
    )
    credit._history_user = by
    credit.save()
    return credit
