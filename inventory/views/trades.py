"""Trades: the list, one of them, a new one, and taking one back."""

import re

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST, require_safe

from inventory.actions.trade import cancel_trade, trade_with
from inventory.forms.acquisitions import refuse_lines, suggestions, typed
from inventory.forms.trades import TradeForm, TradeLines
from inventory.models import Book, Trade
from inventory.readings.chosen import things_chosen
from inventory.readings.trades import sides_of, trades_with_counts
from inventory.views.holds import contact_remembered, remember_contact
from propagation.errors import RametError, RowErrors
from propagation.forms.fields import refuse
from propagation.models import Plug, Preferences
from propagation.paging import UncountedPaginator
from propagation.promises import promises_of
from propagation.readings.rack import back_in_words
from propagation.views.answers import form_page, sent, tried

ROWS = 25


@require_safe
def trades(request):
    page = UncountedPaginator(trades_with_counts(), ROWS).get_page(request.GET.get("page"))
    return render(request, "inventory/trades.html", {"page": page})


@require_safe
def trade(request, pk):
    found = get_object_or_404(Trade.objects.select_related("contact"), pk=pk)
    out, came = sides_of(found)
    can_be_taken_back = found.cancelled_on is None and localdate(found.made_at) == localdate()
    return render(
        request,
        "inventory/trade.html",
        {
            "trade": found,
            "out": out,
            "came": came,
            "cash": abs(found.cash),
            "can_be_taken_back": can_be_taken_back,
        },
    )


@require_POST
def trade_cancel(request, pk):
    """A slip of today."""
    found = get_object_or_404(Trade, pk=pk)

    def said(cancelled):
        out, _ = sides_of(cancelled)
        where = back_in_words(line.plug for line in out if line.plug_id)
        return f"Trade {found.pk} is taken back; what had gone out is kept again. {where}"

    tried(request, lambda: cancel_trade(trade=found, today=localdate(), by=request.user), said)
    return redirect("trade", pk=found.pk)


def trade_new(request):
    """A new trade: of what is named in the address, or of what is added by code."""
    book, unit = Book.current(), Preferences.current().length_unit
    posted = request.method == "POST"
    asked = (
        request.POST.getlist("offered") if posted else request.GET.getlist("plugs") + request.GET.getlist("colonies")
    )
    try:
        things = things_chosen(asked)
    except RametError as error:
        messages.error(request, str(error))
        return redirect("trade_new")
    taken = set(request.POST.getlist("taken")) if posted else {thing.code for thing in things}
    add, add_error = request.POST.get("add", ""), ""
    try:
        added = things_chosen(re.split(r"[\s,;]+", add))
    except RametError as error:
        added, add_error = [], str(error)
    else:
        things = list(dict.fromkeys(things + added))
        taken |= {thing.code for thing in added}
        add = ""
    is_asking = posted and ({"more", "adding"} & set(request.POST) or bool(add_error))
    remembered = contact_remembered(request)
    form = TradeForm(
        sent(request),
        book=book,
        initial={
            "day": localdate(),
            "contact_name": request.GET.get("contact") or (remembered["name"] if remembered else ""),
        },
    )
    lines = TradeLines(sent(request), prefix="lines", form_kwargs={"length_unit": unit})
    if is_asking:  # shown again as it was typed, and not judged yet
        form = TradeForm(initial=typed(form), book=book)
        lines = TradeLines(initial=[typed(each) for each in lines], prefix="lines", form_kwargs={"length_unit": unit})
        if "more" not in request.POST:
            lines.extra = 0
    elif posted and form.is_valid() and lines.is_valid():
        told = form.cleaned_data
        chosen = [thing for thing in things if thing.code in taken]
        try:
            made = trade_with(
                contact_name=told["contact_name"],
                is_somebody_new=told["somebody_new"],
                plugs=[thing for thing in chosen if isinstance(thing, Plug)],
                colonies=[thing for thing in chosen if not isinstance(thing, Plug)],
                lines=[each.line for each in lines if each.has_changed()],
                on=told["day"],
                today=localdate(),
                cash=form.signed_cash,
                note=told["note"],
                submission=told["submission"],
                confirmed=told["confirmed"],
                by=request.user,
            )
        except RowErrors as error:
            refuse_lines(form, lines, error)
        except RametError as error:
            if getattr(error, "field", None) == "add":
                add_error = str(error)
            else:
                refuse(form, error)
        else:
            remember_contact(request, made.contact)
            messages.success(request, f"Trade {made.pk} with {made.contact} is recorded. What came has its codes.")
            return redirect("trade", pk=made.pk)
    plugs = [thing for thing in things if isinstance(thing, Plug)]
    promises = promises_of(plugs)
    context = {
        "lines": lines,
        "rows": [
            {
                "thing": thing,
                "is_plug": isinstance(thing, Plug),
                "is_taken": thing.code in taken - form.taken_out,
                "promise": promises.get(thing.pk, "") if isinstance(thing, Plug) else "",
            }
            for thing in things
        ],
        "add": add,
        "add_error": add_error,
        "suggestions": suggestions(),
        "back_url": reverse("trades"),
    }
    return form_page(request, "inventory/trade_form.html", form, context, refused=bool(add_error or any(lines.errors)))
