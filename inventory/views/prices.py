"""Prices: of every lineage at once, of single plugs, and the currency they are in."""

from django.contrib import messages
from django.db.models import Count, F, OuterRef, Subquery
from django.db.models.functions import Coalesce, Lower
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.set_prices import set_currency, set_lineage_prices, set_plug_prices, set_size_prices
from inventory.forms.prices import CurrencyForm, PlugPriceForm, PriceFilter, PricesForm, SizePricesForm
from inventory.models import Book, PlugPrice, SizePrice
from inventory.money import write_amount
from inventory.readings.availability import usual_price
from inventory.readings.chosen import plugs_chosen
from inventory.readings.price_history import price_histories, price_history
from inventory.views.holds import page_of_plug
from propagation.errors import RametError
from propagation.models import Lineage, Plug, Preferences
from propagation.paging import UncountedPaginator
from propagation.views.answers import carried_out, form_page, sent
from propagation.views.found import plug_or_404
from propagation.views.lists import in_use

ROWS = 50


def prices(request):
    """Every lineage with its price; those that were changed are saved together."""
    book = Book.current()
    today = localdate()
    every = Lineage.objects.annotate(amount=F("price__amount"), sizes=_number_of_size_prices()).order_by(Lower("name"))
    filterset = PriceFilter(request.GET, queryset=every, today=today)
    page = UncountedPaginator(filterset.qs, ROWS).get_page(request.GET.get("page"))
    # What was on the page when it was opened is saved, whatever the filter would show now.
    shown = _named(every, request.POST) if request.method == "POST" else page.object_list
    form = PricesForm(sent(request), book=book, lineages=shown)

    def set_them(told):
        messages.success(request, _saved(set_lineage_prices(prices=form.new_prices(), by=request.user)))
        return redirect(request.get_full_path())

    if answer := carried_out(request, form, set_them):
        return answer
    fetched = price_histories(form.lineages, today)
    for lineage in form.lineages:
        lineage.fetched = fetched[lineage.pk].line
    context = {
        "book": book,
        "page": page,
        "filter": filterset,
        "in_use": in_use(filterset),
        "any_at_all": bool(form.lineages) or Lineage.objects.exists(),
    }
    return form_page(request, "inventory/prices.html", form, context)


def _named(lineages, data):
    """The lineages whose prices were on the page that was sent."""
    ids = [name.removeprefix("price-") for name in data if name.startswith("price-")]
    return lineages.filter(pk__in=[pk for pk in ids if pk.isascii() and pk.isdigit() and len(pk) < 19])


def _number_of_size_prices():
    counted = SizePrice.objects.filter(lineage=OuterRef("pk")).values("lineage").annotate(n=Count("pk"))
    return Coalesce(Subquery(counted.values("n")), 0)


def size_prices(request, pk):
    """What frags of one lineage cost from a size on."""
    lineage = get_object_or_404(Lineage.objects.select_related("price"), pk=pk)
    book = Book.current()
    stored = dict(SizePrice.objects.filter(lineage=lineage).values_list("from_mm", "amount"))
    form = SizePricesForm(sent(request), book=book, length_unit=Preferences.current().length_unit, stored=stored)

    def set_them(told):
        count = set_size_prices(lineage=lineage, prices=form.prices, was=told["was"], by=request.user)
        messages.success(request, _saved(count))
        return redirect("size_prices", lineage.pk)

    if answer := carried_out(request, form, set_them):
        return answer
    context = {
        "lineage": lineage,
        "book": book,
        "usual": getattr(lineage, "price", None),
        "history": price_history(lineage, localdate()),
    }
    return form_page(request, "inventory/size_prices.html", form, context)


def _saved(count) -> str:
    if not count:
        return "No price was changed."
    return "1 price is saved." if count == 1 else f"{count} prices are saved."


def plug_price(request, code):
    """A price of one plug's own."""
    plug = plug_or_404(code)
    own = PlugPrice.objects.filter(plug=plug).first()
    return _plug_price_page(
        request, [plug], back=page_of_plug(plug), back_label=plug.code_in_clear, amount=own.amount if own else None
    )


def plugs_price(request):
    """One price for the plugs that are named in the address."""
    words = request.POST.getlist("plugs") if request.method == "POST" else request.GET.getlist("plugs")
    try:
        plugs = plugs_chosen(words)
    except RametError as error:
        messages.error(request, str(error))
        return redirect("ready")
    return _plug_price_page(request, plugs, back=reverse("ready"), back_label="Ready", several=True)


def _plug_price_page(request, plugs, *, back, back_label, amount=None, several=False):
    book = Book.current()
    form = PlugPriceForm(sent(request), book=book, amount=amount, knows_before=not several)

    def set_it(told):
        wanted = told["amount"]
        priced = set_plug_prices(plugs=plugs, amount=wanted, was=form.was, by=request.user)
        what = f"The price of {priced[0]} is" if len(priced) == 1 else f"The prices of {len(priced)} plugs are"
        now = "that of the lineage again" if wanted is None else f"{write_amount(wanted, book.currency)} now"
        messages.success(request, f"{what} {now}.")
        return redirect(back)

    if answer := carried_out(request, form, set_it):
        return answer
    usual = {}
    for each in Plug.objects.filter(pk__in=[plug.pk for plug in plugs]).annotate(usual=usual_price()).order_by("usual"):
        amounts = usual.setdefault(each.lineage_id, [])
        amounts += [each.usual] if each.usual not in amounts else []
    fetched = price_histories({plug.lineage for plug in plugs}, localdate())
    for plug in plugs:
        plug.fetched = fetched[plug.lineage_id].of_size(plug.size_mm)
    context = {
        "plugs": plugs,
        "usual": [(lineage, usual[lineage.pk]) for lineage in dict.fromkeys(plug.lineage for plug in plugs)],
        "book": book,
        "back_url": back,
        "back_label": back_label,
    }
    return form_page(request, "inventory/plug_price.html", form, context)


def book_currency(request):
    """In which currency the prices are."""
    book = Book.current()
    form = CurrencyForm(sent(request), book=book, initial={"currency": book.currency})

    def change(told):
        kept = set_currency(currency=told["currency"], confirmed=told["confirmed"])
        messages.success(request, f"Prices are in {kept.currency} ({kept.currency_name}).")
        return redirect("prices")

    if answer := carried_out(request, form, change):
        return answer
    context = {
        "heading": "Currency",
        "lead": "All prices are in one currency. Changing it converts nothing: 25.00 stays 25.00. What was paid "
        "and received keeps the currency it was in.",
        "back_url": reverse("prices"),
        "back_label": "Prices",
    }
    return form_page(request, "propagation/form.html", form, context)
