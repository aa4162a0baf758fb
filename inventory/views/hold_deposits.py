"""Deposits on holds: taken, given back, kept as credit."""

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST

from inventory.actions.hold_deposits import settle_hold_deposit, take_hold_deposit
from inventory.forms.prices import AmountField
from inventory.models import Book, Hold
from inventory.money import write_amount
from propagation.views.answers import carried_out, form_page, sent, tried


class DepositForm(forms.Form):
    """How much was paid for a hold."""

    def __init__(self, *args, book: Book, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["amount"] = AmountField(
            book=book, label=f"Amount ({book.currency})", required=True, error_messages={"required": "Say how much."}
        )


def hold_deposit(request, pk):
    """They pay something for a hold."""
    hold = get_object_or_404(Hold.objects.select_related("plug__lineage", "contact"), pk=pk)
    book, back = Book.current(), reverse("contact", args=[hold.contact_id])
    form = DepositForm(sent(request), book=book)

    def take(told):
        kept = take_hold_deposit(hold=hold, amount=told["amount"], today=localdate(), by=request.user)
        amount = write_amount(kept.deposit, kept.deposit_currency)
        messages.success(request, f"{amount} is written down; it counts when {hold.plug} is sold to {hold.contact}.")
        return redirect(back)

    if answer := carried_out(request, form, take):
        return answer
    context = {
        "heading": f"Deposit for {hold.plug.code_in_clear}",
        "lead": f"{hold.plug.lineage}, held for {hold.contact}. A deposit counts when it is sold to them.",
        "back_url": back,
        "back_label": hold.contact.name,
    }
    return form_page(request, "propagation/form.html", form, context)


@require_POST
def hold_deposit_settle(request, pk):
    """What they paid for a hold goes back, or is kept as their credit."""
    hold = get_object_or_404(Hold.objects.select_related("contact"), pk=pk)
    how = request.POST.get("how", "")
    tried(
        request,
        lambda: settle_hold_deposit(hold=hold, how=how, today=localdate(), by=request.user),
        f"The deposit of {hold.contact} {'is kept as their credit' if how == 'credit' else 'went back'}.",
    )
    return redirect("contact", pk=hold.contact_id)
