"""What is done with a sale: agreed, paid, given back, handed over, undone, closed, called off."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST

from inventory.actions.begin_sale import agree_sale, cancel_sale, close_sale, reopen_sale
from inventory.actions.hand_over import hand_over, undo_handing_over, undo_selling_now
from inventory.actions.pay_sale import refund, take_payment, withdraw_payment
from inventory.forms.sales import CancelForm, CloseForm, HandOverForm, PaymentForm
from inventory.models import Book, Payment, Sale
from inventory.money import write_amount
from inventory.readings.claims import may_be_given_back
from inventory.readings.sales import credit_of, lines_of, totals
from propagation.actions.changes import last_change
from propagation.readings.rack import back_in_words
from propagation.views.answers import carried_out, form_page, sent, tried

MONEY = "inventory/sale_money.html"


def _sale_or_404(pk) -> Sale:
    return get_object_or_404(Sale.objects.select_related("contact"), pk=pk)


def _act_page(request, sale, form, template="propagation/form.html", **context):
    """The page of a form that does something with a sale, with the way back to it."""
    back = {"back_url": reverse("sale", args=[sale.pk]), "back_label": f"Sale {sale.pk}"}
    return form_page(request, template, form, {"sale": sale, **back, **context})


def where_it_stands(sale: Sale) -> str:
    """Where the plugs of a sale stand that did not leave after all. One query."""
    return back_in_words(line.plug for line in lines_of(sale) if line.plug_id)


@require_POST
def sale_agree(request, pk):
    found = _sale_or_404(pk)
    tried(
        request,
        lambda: agree_sale(sale=found, today=localdate(), by=request.user),
        f"Sale {found.pk} is agreed.",
    )
    return redirect("sale", pk=found.pk)


def sale_pay(request, pk):
    """Money comes, all that is owed or a part."""
    found = _sale_or_404(pk)
    owed = totals(found).owed
    if (not owed or found.cancelled_on) and request.method != "POST":
        messages.info(request, f"Nothing is owed for sale {found.pk}.")
        return redirect("sale", pk=found.pk)
    book, credit = Book(currency=found.currency), credit_of(found.contact, found.currency)
    initial = {"amount": owed if found.agreed_on else None, "day": localdate(), "based_on": last_change(found)}
    form = PaymentForm(sent(request), book=book, credit=credit, initial=initial)

    def take(told):
        payment = take_payment(sale=found, by=request.user, **_money(told))
        amount = write_amount(payment.amount, found.currency)
        messages.success(request, f"{payment.get_kind_display()} of {amount} is written down.")
        return redirect("sale", pk=found.pk)

    if answer := carried_out(request, form, take):
        return answer
    what = "Take payment" if found.agreed_on else "Take a deposit"
    lead = f"{write_amount(owed, found.currency)} is owed. A part of it will do."
    return _act_page(request, found, form, MONEY, heading=what, lead=lead, words=what)


def sale_refund(request, pk):
    """Money goes back, never more than came."""
    found = _sale_or_404(pk)
    sums, most = totals(found), may_be_given_back(found)
    if not most and request.method != "POST":
        messages.info(request, f"Nothing was paid for sale {found.pk} that could be given back.")
        return redirect("sale", pk=found.pk)
    initial = {"amount": sums.too_much or None, "day": localdate(), "based_on": last_change(found)}
    if not sums.in_money:
        initial["method"] = Payment.Method.CREDIT
    form = PaymentForm(sent(request), book=Book(currency=found.currency), goes_back=True, initial=initial)

    def give_back(told):
        payment = refund(sale=found, in_money=told["in_money"], by=request.user, **_money(told))
        amount = write_amount(payment.amount, found.currency)
        kept = payment.method == Payment.Method.CREDIT
        messages.success(request, f"{amount} {'is kept as their credit' if kept else 'was given back'}.")
        return redirect("sale", pk=found.pk)

    if answer := carried_out(request, form, give_back):
        return answer
    lead = f"{write_amount(most, found.currency)} was paid and can go back."
    if sums.to_credit:
        whole = "It" if not sums.in_money else f"{write_amount(sums.to_credit, found.currency)} of it"
        lead += f" {whole} came from their credit and is kept as that, unless you give it in money."
    return _act_page(request, found, form, MONEY, heading="Give money back", lead=lead, words="Give back")


def _money(told) -> dict:
    return {
        "amount": told["amount"],
        "method": told["method"],
        "on": told["day"],
        "note": told["note"],
        "confirmed": told["confirmed"],
        "based_on": told["based_on"],
        "today": localdate(),
    }


@require_POST
def payment_withdraw(request, pk):
    """It was written by mistake."""
    payment = get_object_or_404(Payment.objects.select_related("sale"), pk=pk)
    amount = write_amount(payment.amount, payment.sale.currency)
    tried(
        request,
        lambda: withdraw_payment(payment=payment, today=localdate(), by=request.user),
        f"The {payment.get_kind_display().lower()} of {amount} counts no more.",
    )
    return redirect("sale", pk=payment.sale_id)


def sale_hand_over(request, pk):
    """Everything in it leaves."""
    found = _sale_or_404(pk)
    if (found.left_on or found.cancelled_on) and request.method != "POST":
        messages.info(request, f"Sale {found.pk} is {found.state_words.lower()} already.")
        return redirect("sale", pk=found.pk)
    form = HandOverForm(sent(request), initial={"day": localdate()})

    def leave(told):
        left = hand_over(
            sale=found,
            how=told["how"],
            on=told["day"],
            today=localdate(),
            confirmed=told["confirmed"],
            by=request.user,
        )
        messages.success(request, f"Sale {left.pk} is {left.get_left_how_display().lower()}.")
        return redirect("sale", pk=found.pk)

    if answer := carried_out(request, form, leave):
        return answer
    owed = totals(found).owed
    return _act_page(request, found, form, "inventory/sale_hand_over.html", lines=lines_of(found), owed=owed)


@require_POST
def sale_undo(request, pk):
    """The handing over was a slip."""
    found = _sale_or_404(pk)
    tried(
        request,
        lambda: undo_handing_over(sale=found, today=localdate(), by=request.user),
        lambda now: f"It did not leave: everything is kept again, still reserved in this sale. {where_it_stands(now)}",
    )
    return redirect("sale", pk=found.pk)


@require_POST
def sale_undo_now(request, pk):
    """All of a sale at a market was a slip."""
    found = _sale_or_404(pk)
    tried(
        request,
        lambda: undo_selling_now(sale=found, today=localdate(), by=request.user),
        lambda undone: f"Sale {pk} is called off: nothing left and nothing was paid. {where_it_stands(undone)}",
    )
    return redirect("sale", pk=found.pk)


def sale_close(request, pk):
    """Nothing is left to do; what is owed is let go only knowingly."""
    found = _sale_or_404(pk)
    owed = totals(found).owed
    form = CloseForm(sent(request))
    if owed and not form.is_valid():
        lead = f"{write_amount(owed, found.currency)} is still owed by {found.contact}. "
        lead += "Closed, it counts as owed no more."
        return _act_page(request, found, form, heading=f"Close sale {found.pk}", lead=lead)
    if request.method == "POST":
        tried(
            request,
            lambda: close_sale(sale=found, today=localdate(), confirmed=bool(owed), by=request.user),
            f"Sale {found.pk} is closed.",
        )
    return redirect("sale", pk=found.pk)


@require_POST
def sale_reopen(request, pk):
    found = _sale_or_404(pk)
    tried(request, lambda: reopen_sale(sale=found, by=request.user), f"Sale {found.pk} is open again.")
    return redirect("sale", pk=found.pk)


def sale_cancel(request, pk):
    """It is called off: what it reserved is free, and what was paid is settled."""
    found = _sale_or_404(pk)
    if (found.left_on or found.cancelled_on) and request.method != "POST":
        messages.info(request, f"Sale {found.pk} is {found.state_words.lower()} already.")
        return redirect("sale", pk=found.pk)
    received = totals(found).received
    form = CancelForm(sent(request), with_money=bool(received))

    def call_off(told):
        cancel_sale(
            sale=found,
            today=localdate(),
            settle=told.get("settle"),
            method=told.get("method") or Payment.Method.CASH,
            by=request.user,
        )
        messages.success(request, f"Sale {found.pk} is called off; what it reserved is free again.")
        return redirect("sale", pk=found.pk)

    if answer := carried_out(request, form, call_off):
        return answer
    return _act_page(request, found, form, "inventory/sale_cancel.html", lines=lines_of(found), received=received)
