"""The market table: a code, what is known of the plug, sold for cash in two taps, undone there."""

import re
from urllib.parse import urlencode

from django.contrib import messages
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST, require_safe

from inventory.actions.bring_to_market import bring_to_market, end_market, leave_at_home
from inventory.actions.hand_over import undo_selling_now
from inventory.actions.sell_at_market import sell_at_market
from inventory.errors import SaleToConfirm
from inventory.forms.holds import contact_suggestions
from inventory.forms.market import Basket, BasketForm, BroughtForm, PriceForm, plugs_in_order
from inventory.forms.sales import NOT_PAID
from inventory.models import Book, Payment, Sale
from inventory.money import write_amount
from inventory.readings.availability import available_on
from inventory.readings.chosen import MOST_CHOSEN, plugs_chosen
from inventory.readings.market import SALES_SHOWN, at_the_table, brought, tally_of
from inventory.readings.sales import lines_of, totals
from inventory.views.sale_acts import where_it_stands
from propagation import codes
from propagation.errors import BadValue, CodeMistyped, RametError
from propagation.models import Colony, Plug, Spot
from propagation.readings.find import code_in, find_plug_or_colony
from propagation.readings.near_codes import near_codes
from propagation.views.answers import REFUSED, carried_out, form_page, tried
from propagation.views.found import codes_sent, plug_or_404

LONGEST_CODE = 300  # a scanned address
SOLD = "market_sold"


@require_safe
def market(request):
    """A code is looked up; below it what lies together for a buyer, and the day so far."""
    text = request.GET.get("code", "").strip().replace("\0", "")[:LONGEST_CODE]
    return _page(request, **_looked_up(text))


def _looked_up(text):
    """What stands behind a code: a plug, or why there is none and which were perhaps meant."""
    if not text:
        return {}
    try:
        found = find_plug_or_colony(text)
    except RametError as error:
        near = near_codes(code_in(text))
        return {"typed": text, "wrong": str(error), "is_mistyped": isinstance(error, CodeMistyped), "near": near}
    return {"colony": found} if isinstance(found, Colony) else {"plug": found}


def _page(request, *, plug=None, price_form=None, basket_form=None, against=(), status=200, **further):
    day, book, basket = localdate(), Book.current(), Basket.of(request)
    found = at_the_table(plug, day) if plug else None
    if found and not price_form:
        price_form = PriceForm(book=book, initial={"price": found.price})
    if basket_form is None and basket.prices:
        basket_form = _basket_form(basket, book)
    tally = tally_of(day)
    context = {
        "found": found,
        "is_in_basket": bool(found) and found.plug.code in basket.prices,
        "price_form": price_form,
        "basket": basket,
        "basket_form": basket_form,
        "sum_words": _sum_words(basket_form, book),
        "against": against,
        "book": book,
        "today": day,
        "tally": tally,
        "shown": tally.sales[:SALES_SHOWN],
        "just_sold": next((each for each in tally.sales if each.sale.pk == request.session.get(SOLD)), None),
        "brought": brought(day),
        "suggestions": contact_suggestions() if basket_form else {},
        **further,
    }
    name = "inventory/market_table.html" if request.htmx else "inventory/market.html"
    return render(request, name, context, status=status)


def _basket_form(basket, book, data=None, **initial):
    plugs = plugs_in_order(basket.prices)
    first = {"buyer": basket.buyer, "submission": basket.submission} | initial
    return BasketForm(data, book=book, plugs=plugs, prices=basket.prices, initial=first)


def _sum_words(form, book) -> str:
    if form is None or form.sum is None:
        return ""
    return write_amount(form.sum, book.currency)


@require_POST
def market_picture(request):
    """A picture of a label, or of several, where the camera cannot read by itself."""
    try:
        seen = codes_sent(request)
    except RametError as error:
        messages.error(request, str(error))
        return redirect("market")
    if len(seen) > 1:
        return _page(request, seen=plugs_in_order(seen))
    return redirect(f"{reverse('market')}?{urlencode({'code': seen[0]})}")


@require_POST
def market_put(request):
    """The first tap: the plug lies in the basket at this price, for whom it is held or for just anybody."""
    looked_up = _looked_up(request.POST.get("code", "")[:LONGEST_CODE])
    if "plug" not in looked_up:
        return _page(request, **looked_up, status=REFUSED)
    book, basket = Book.current(), Basket.of(request)
    found = at_the_table(looked_up["plug"], localdate())
    plug, form = found.plug, PriceForm(request.POST, book=book)
    address = f"{reverse('market')}?{urlencode({'code': plug.code})}"
    if not found.can_be_sold:  # the page says why
        return redirect(address)
    if not form.is_valid():
        return _page(request, plug=plug, price_form=form, status=REFUSED)
    agreed = [words for words in request.POST.getlist("agreed") if words in found.against]
    holder = found.hold.contact.name if found.hold else ""
    is_theirs = bool(holder) and request.POST.get("buyer") == holder
    try:
        if plug.code not in basket.prices and basket.is_full:
            raise BadValue(f"{len(basket.prices)} plugs are as many as fit into one sale; sell these first.")
        if is_theirs and basket.prices and basket.buyer != holder:
            whose = f"for {basket.buyer}" if basket.buyer else "for somebody who is not named"
            raise BadValue(
                f"{plug.code_in_clear} is held for {holder}, and what lies in the basket is {whose}. "
                "Sell that first, or name the buyer there."
            )
        if not is_theirs and not set(found.against) <= set(agreed):
            raise SaleToConfirm(found.against)
    except RametError as error:
        messages.error(request, str(error))
        return redirect(address)
    basket.prices[plug.code] = request.POST["price"].strip()
    basket.agreed = list(dict.fromkeys([*basket.agreed, *agreed]))
    if is_theirs:
        basket.buyer = holder
    basket.keep(request)
    request.session.pop(SOLD, None)
    return redirect("market")


@require_POST
def market_change(request):
    """What was typed into the basket is kept; one plug is taken out if its button was pressed."""
    basket = Basket.of(request)
    for code in basket.prices:
        basket.prices[code] = request.POST.get(f"price-{code}", basket.prices[code]).strip()[:20]
    basket.buyer = request.POST.get("buyer", "").strip()[:120]
    basket.take_out(request.POST.get("out", ""))
    if basket.prices:
        basket.keep(request)
    else:
        Basket.empty(request)
    return redirect("market")


@require_POST
def market_sell(request):
    """The second tap: the cash is taken and everything in the basket is theirs.

    The form says all of it itself, so sent again after a lost answer it finds the sale it made.
    """
    book, basket = Book.current(), Basket.of(request)
    prices = {code: request.POST.get(f"price-{code}", "") for code in request.POST.getlist("plugs")[:MOST_CHOSEN]}
    form = BasketForm(request.POST, book=book, plugs=plugs_in_order(prices))
    if not form.plugs:
        messages.error(request, "Nothing lies in the basket; scan a label first.")
        return redirect("market")
    against = []

    def sell(told):
        paid = told["method"] != NOT_PAID
        try:
            sale = sell_at_market(
                items=form.items(),
                today=localdate(),
                buyer=told["buyer"],
                is_somebody_new=told["somebody_new"],
                together=told["together"],
                paid=paid,
                method=told["method"] if paid and told["method"] else Payment.Method.CASH,
                agreed=request.POST.getlist("agreed"),
                submission=told["submission"],
                by=request.user,
            )
        except SaleToConfirm as error:
            against.extend(error.because)
            return None
        return _sold(request, sale, basket)

    if answer := carried_out(request, form, sell):
        return answer
    if str(request.POST.get("submission")) == basket.submission:
        basket.prices |= {code: price for code, price in prices.items() if code in basket.prices}
        basket.keep(request)
    return _page(request, basket_form=form, against=against, status=REFUSED)


def _sold(request, sale, basket):
    """Go on with an empty basket, unless it was begun anew since this form was opened."""
    if str(sale.submission) == basket.submission:
        Basket.empty(request)
    if sale.cancelled_on:
        messages.info(request, f"Sale {sale.pk} was undone; nothing of it is sold. Scan the labels again to sell them.")
    else:
        request.session[SOLD] = sale.pk
    return redirect("market")


@require_POST
def market_undo(request, pk):
    """What was just sold was a slip: nothing left, nothing was paid, the plugs are kept again."""
    sale = get_object_or_404(Sale.objects.select_related("contact"), pk=pk)
    cash = write_amount(totals(sale).received, sale.currency)

    def said(undone):
        number = sum(line.plug_id is not None for line in lines_of(undone))
        what = "The plug is yours again" if number == 1 else f"{number} plugs are yours again"
        return f"Sale {undone.pk} is undone. {what}; {cash} goes back. {where_it_stands(undone)}".strip()

    is_undone = tried(request, lambda: undo_selling_now(sale=sale, today=localdate(), by=request.user), said)
    if is_undone and request.session.get(SOLD) == sale.pk:
        request.session.pop(SOLD)
    return redirect("market")


def market_brought(request):
    """What was brought, so that the table can say what is left: one list on every phone, until the market is over."""
    racks = list(Spot.objects.racks().in_running_systems().select_related("system").order_by("system__name", "name"))
    if request.method != "POST":
        found = request.GET.getlist("plugs")
        form = BroughtForm(racks=racks, initial={"codes": "\n".join(codes.in_clear(code) for code in found)})
        return _brought_page(request, form)
    if "out" in request.POST:
        plug = plug_or_404(request.POST["out"])
        tried(request, lambda: leave_at_home(plug=plug, today=localdate()), f"{plug.code_in_clear} is off the list.")
        return redirect("market_brought")
    if request.POST.get("do") == "over":
        end_market(today=localdate())
        messages.success(request, "The list of what was brought is put away. What was sold stays in Sales.")
        return redirect("market")
    form = BroughtForm(request.POST, racks=racks)

    def bring(told):
        new = bring_to_market(plugs=_brought_by(form), today=localdate())
        now = brought(localdate())
        is_more = now and now.number > new
        messages.success(request, f"{new} more brought, {now.number} in all." if is_more else f"{new} brought.")
        return redirect("market")

    return carried_out(request, form, bring, plugs="codes") or _brought_page(request, form)


def _brought_by(form) -> list[Plug]:
    """The plugs that a form names. Raises NothingFound, CodeMistyped, BadValue."""
    plugs, rack = [], form.chosen_rack
    words = [word for word in re.split(r"[\s,;]+", form.cleaned_data["codes"]) if word]
    if words:
        plugs = plugs_chosen([codes.read_code(code_in(word)) for word in words])
    if rack:
        free = list(available_on(localdate()).filter(Q(rack=rack))[: MOST_CHOSEN + 1])
        if not free and not plugs:
            raise BadValue(f"Nothing on {rack.name} is to be had; choose another rack.", field="rack")
        plugs += free
    return plugs


def _brought_page(request, form):
    context = {"brought": brought(localdate()), "back_url": reverse("market")}
    return form_page(request, "inventory/market_brought.html", form, context)
