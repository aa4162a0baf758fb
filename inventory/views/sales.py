"""Sales: the list, one of them, a new one, and changing what is in it."""

import re
from dataclasses import dataclass
from urllib.parse import urlencode

from django.contrib import messages
from django.db.models import Count, Q
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe

from inventory.actions.begin_sale import begin_sale_to, change_sale, recorded_today, usual_prices
from inventory.actions.hand_over import sell_now_to
from inventory.forms.holds import contact_suggestions
from inventory.forms.sales import NOT_PAID, SaleForm
from inventory.models import Book, Payment, Sale, SaleState
from inventory.money import plain_amount, write_amount
from inventory.readings.chosen import things_chosen
from inventory.readings.price_history import price_histories
from inventory.readings.sales import (
    STATES,
    cannot_leave,
    credit_of,
    history_of,
    lines_of,
    owed_in_all,
    sales_in_state,
    totals,
    totals_of,
)
from inventory.views.holds import contact_remembered, remember_contact
from propagation.actions.changes import last_change
from propagation.errors import RametError
from propagation.models import Plug
from propagation.paging import UncountedPaginator
from propagation.promises import promises_of
from propagation.views.answers import carried_out, form_page

ROWS = 25
PAYMENTS_SHOWN = 200
LONGEST_SEARCH = 120


@require_safe
def sales(request):
    """The sales in a state, those still open when none is asked for, with what they owe."""
    state = request.GET.get("state", "open")
    state = state if state in STATES else "open"
    text = request.GET.get("q", "").strip().replace("\0", "")[:LONGEST_SEARCH]
    found = sales_in_state(state)
    if text:
        number = text.lower().removeprefix("sale").strip()
        is_number = number.isascii() and number.isdigit() and len(number) < 19
        found = found.filter(Q(pk=number) if is_number else Q(contact__name__icontains=text))
    in_it = Count("lines", filter=Q(lines__cancelled_on=None))
    page = UncountedPaginator(found.annotate(things=in_it), ROWS).get_page(request.GET.get("page"))
    sums = totals_of(page.object_list)
    here = reverse("sales")
    return render(
        request,
        "inventory/sales.html",
        {
            "rows": [(sale, sums[sale.pk]) for sale in page.object_list],
            "page": page,
            "state": state,
            "text": text,
            "any_at_all": bool(page.object_list) or Sale.objects.exists(),
            "owed": [write_amount(amount, currency) for currency, amount in owed_in_all().items()],
            "tabs": [
                {
                    "url": f"{here}?{urlencode({'state': key} | ({'q': text} if text else {}))}",
                    "words": words,
                    "current": key == state,
                }
                for key, (words, _) in STATES.items()
            ],
        },
    )


@dataclass(frozen=True)
class Step:
    """What is to be done next with a sale: a page to open, or an act to send."""

    words: str
    icon: str
    url: str
    is_act: bool = False


def next_steps(sale: Sale, sums, gone) -> list[Step]:
    """What can be done with a sale, what is to be done next coming first."""

    def step(words, icon, name, is_act=False):
        return Step(words, icon, reverse(name, args=[sale.pk]), is_act)

    if sale.cancelled_on:
        return []
    pay = step(f"Take {write_amount(sums.owed, sale.currency)}", "money", "sale_pay")
    give_back = step(f"Give back {write_amount(sums.too_much, sale.currency)}", "money", "sale_refund")
    change = step("Change what is in it", "edit", "sale_change")
    steps = []
    if sale.left_on is None:
        leave = step("Hand over or send", "stage-sold", "sale_hand_over")
        if gone:
            steps.append(change)
        if sale.agreed_on is None:
            steps.append(step("It is agreed", "check", "sale_agree", is_act=True))
            steps += [step("Take a deposit", "money", "sale_pay")] if sums.owed else []
        elif sums.owed:
            steps += [pay, leave]
        else:
            steps.append(leave)
        steps += [give_back] if sums.too_much else []
        return steps if gone else [*steps, change]
    if sums.owed and not sale.closed_on:
        return [pay, step("Close it all the same", "lock", "sale_close")]
    if sums.too_much:
        return [give_back]
    return [] if sale.closed_on else [step("Close the sale", "lock", "sale_close", is_act=True)]


@require_safe
def sale(request, pk):
    found = get_object_or_404(Sale.objects.select_related("contact"), pk=pk)
    today = localdate()
    lines = list(lines_of(found))
    sums = totals(found)
    gone = [] if found.left_on or found.cancelled_on else cannot_leave(lines)
    steps = next_steps(found, sums, gone)
    left_today = bool(found.left_on) and not found.closed_on and recorded_today(found, "left_on", today)
    return render(
        request,
        "inventory/sale.html",
        {
            "sale": found,
            "lines": lines,
            "gone": gone,
            "sums": sums,
            "first": steps[0] if steps else None,
            "others": steps[1:],
            "payments": found.payments.order_by("paid_on", "id")[:PAYMENTS_SHOWN],
            "credit": credit_of(found.contact, found.currency),
            "can_be_undone": left_today,
            "was_at_once": left_today and found.begun_on == found.agreed_on == found.left_on,
            "can_be_refunded": sums.received > 0 and not found.cancelled_on and not sums.too_much,
            "history": history_of(found),
            "today": today,
            "REFUND": Payment.Kind.REFUND,
            "STATE": SaleState,
        },
    )


def _things_asked_for(request):
    """What the form offers, which of it is ticked, and what was added by code: None if a code named nothing."""
    if request.method != "POST":
        offered = things_chosen(request.GET.getlist("plugs") + request.GET.getlist("colonies"))
        return offered, {thing.code for thing in offered}, []
    try:
        added = things_chosen(re.split(r"[\s,;]+", request.POST.get("add", "")))
    except RametError as error:
        messages.error(request, str(error))
        added = None
    offered = things_chosen(request.POST.getlist("offered"))
    taken = set(request.POST.getlist("taken"))
    if added is None:
        return offered, taken, None
    return list(dict.fromkeys(offered + added)), taken | {thing.code for thing in added}, added


def _data_with(request, added, usual, book):
    """What was sent, with the usual prices of what was added by code."""
    if request.method != "POST":
        return None
    data = request.POST.copy()
    for thing in added or ():
        price = usual.get(thing.code, (None, None))[0]
        if price is not None and not data.get(f"price-{thing.code}"):
            data[f"price-{thing.code}"] = plain_amount(price, book)
    return data


def _usual(things, currency):
    plugs = [thing for thing in things if isinstance(thing, Plug)]
    prices = usual_prices(plugs, currency)
    return {plug.code: (prices[plug.pk], None) for plug in plugs}


def sale_new(request):
    """A new sale of what is named in the address: plugs and whole colonies."""
    book = Book.current()
    try:
        things, taken, added = _things_asked_for(request)
    except RametError as error:
        messages.error(request, str(error))
        return redirect("ready" if request.method != "POST" else request.get_full_path())
    if not things:
        messages.info(request, "Choose what is to be sold first: tick it in the list, then Sell.")
        return redirect("ready")
    usual = _usual(things, book.currency)
    remembered = contact_remembered(request)
    initial = {"contact_name": request.GET.get("contact") or (remembered["name"] if remembered else "")}
    data = _data_with(request, added, usual, book)
    is_adding = bool(data) and (added is None or data.get("act") == "add")
    form = SaleForm(
        None if is_adding else data,
        book=book,
        things=things,
        taken=taken,
        prices=usual,
        initial=data.dict() if is_adding else initial,
    )

    def begin(told):
        common = {
            "contact_name": told["contact_name"],
            "is_somebody_new": told["somebody_new"],
            "items": form.items,
            "today": localdate(),
            "submission": told["submission"],
            "confirmed": told["confirmed"],
            "by": request.user,
        }
        if data.get("act") == "now":
            method = told["method"] or Payment.Method.CASH
            paid = method != NOT_PAID
            how = {"paid": paid} | ({"method": method} if paid else {})
            made = sell_now_to(**common, **form.terms, **how)
        else:
            made = begin_sale_to(**common, **form.terms, shipping=told["shipping"] or 0)
        remember_contact(request, made.contact)
        messages.success(request, _said(made))
        return redirect("sale", pk=made.pk)

    if answer := carried_out(request, form, begin):
        return answer
    return _form_page(
        request,
        form,
        heading="New sale",
        words="Begin the sale",
        back=reverse("ready"),
        back_label="Ready",
        is_new=True,
        add=data.get("add", "") if data and added is None else "",
    )


def _said(made: Sale) -> str:
    if made.left_on:
        return f"Sale {made.pk} to {made.contact} is {made.state_words.lower()}."
    return f"Sale {made.pk} reserves this for {made.contact}. Nobody else can have it now."


def sale_change(request, pk):
    """What is in a sale that has not left, and for how much."""
    found = get_object_or_404(Sale.objects.select_related("contact"), pk=pk)
    address = reverse("sale", args=[found.pk])
    if (found.left_on or found.cancelled_on) and request.method != "POST":
        messages.info(request, f"Sale {found.pk} is {found.state_words.lower()}; what is in it stays.")
        return redirect(address)
    book = Book(currency=found.currency)
    lines = list(lines_of(found))
    try:
        things, taken, added = _things_asked_for(request)
    except RametError as error:
        messages.error(request, str(error))
        return redirect("sale_change", pk=found.pk)
    if request.method != "POST":
        standing = [line.plug or line.colony for line in lines]
        gone = {line.pk for line in cannot_leave(lines)}
        taken |= {(line.plug or line.colony).code for line in lines if line.pk not in gone}
        things = list(dict.fromkeys(standing + things))
    prices = _usual(things, found.currency) | {
        (line.plug or line.colony).code: (line.price, line.discount) for line in lines
    }
    data = _data_with(request, added, prices, book)
    is_adding = bool(data) and (added is None or data.get("act") == "add")
    form = SaleForm(
        None if is_adding else data,
        book=book,
        things=things,
        taken=taken,
        prices=prices,
        is_new=False,
        initial=data.dict()
        if is_adding
        else {
            "discount": found.discount or None,
            "shipping": found.shipping or None,
            "note": found.note,
            "based_on": last_change(found),
        },
    )

    def change(told):
        change_sale(
            sale=found,
            items=form.items,
            today=localdate(),
            shipping=told["shipping"] or 0,
            based_on=told["based_on"],
            confirmed=told["confirmed"],
            by=request.user,
            **form.terms,
        )
        messages.success(request, f"Sale {found.pk} is changed.")
        return redirect(address)

    if answer := carried_out(request, form, change):
        return answer
    return _form_page(
        request,
        form,
        heading=f"Change sale {found.pk}",
        words="Save the sale",
        back=address,
        back_label=f"Sale {found.pk}",
        is_new=False,
        add=data.get("add", "") if data and added is None else "",
    )


def _form_page(request, form, *, heading, words, back, back_label, is_new, add=""):
    plugs = [thing for thing in form.things if isinstance(thing, Plug)]
    fetched = price_histories({plug.lineage for plug in plugs}, localdate())
    for plug in plugs:
        plug.fetched = fetched[plug.lineage_id].of_size(plug.size_mm)
    context = {
        "rows": form.rows(promises_of(plugs) if is_new else {}),
        "heading": heading,
        "words": words,
        "back_url": back,
        "back_label": back_label,
        "is_new": is_new,
        "suggestions": contact_suggestions() if is_new else {},
        "add": add,
    }
    return form_page(request, "inventory/sale_form.html", form, context)
