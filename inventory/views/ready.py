"""What is ready: the list, as a file, on paper, and what is done with the plugs ticked in it."""

import csv
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import EmptyPage, Paginator
from django.db.models.functions import Lower
from django.http import StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST, require_safe

from inventory.actions.hold_plugs import hold_plugs
from inventory.forms.ready import ReadyFilter
from inventory.models import Book, Contact
from inventory.money import plain_amount
from inventory.readings.availability import (
    available_on,
    for_list,
    line_of,
    lineages_available_on,
    lineages_with_lines_on,
)
from inventory.readings.chosen import plugs_chosen
from inventory.readings.ready_soon import WITHIN_DAYS, batches_with_details, expected, frags_ready_soon, in_batches
from inventory.spreadsheets import Line, guarded
from inventory.tables.ready import ReadyTable
from inventory.tables.ready_soon import ReadySoonTable
from inventory.views.holds import A_WEEK, contact_remembered, remember_contact
from propagation.errors import RametError
from propagation.models import Lineage, Plug, Preferences, Spot
from propagation.paging import UncountedPaginator
from propagation.views.answers import tried
from propagation.views.lists import in_use

ROWS = 25
LINES = 60
LAST_PAGE = 100_000  # no list is longer; an absurd number in the address is not handed to the database
ROWS_ON_PAPER = 500
HEALING_COUNTED = 1000
ROWS_AT_A_TIME = 2000  # read from the database while a file is written
COLUMNS = [
    "code",
    "lineage",
    "species",
    "growth_form",
    "size_mm",
    "age_days",
    "began_on",
    "healed_on",
    "rack",
    "row",
    "column",
    "price",
    "currency",
]


class ReadyList:
    """The ready plugs that a request asks for, filtered and sorted."""

    def __init__(self, request):
        self.today = localdate()
        self.book = Book.current()
        self.preferences = Preferences.current()
        self.is_all = not any(request.GET.get(name) for name in ReadyFilter.base_filters)
        racks = Spot.objects.racks().in_running_systems().order_by("name").values_list("pk", "name", "system__name")
        self.filter = ReadyFilter(
            request.GET,
            queryset=available_on(self.today),
            today=self.today,
            length_unit=self.preferences.length_unit,
            lineages=self._lineages(request.GET.get("lineage", "")),
            racks=[(pk, f"{name}, {system}") for pk, name, system in racks],
        )
        # Without the request: given it, a table pages itself at once, and counts.
        self.table = ReadyTable(
            self.filter.qs,
            today=self.today,
            currency=self.book.currency,
            length_unit=self.preferences.length_unit,
        )
        if request.GET.get("sort"):
            self.table.order_by = request.GET.getlist("sort")

    def _lineages(self, wanted):
        """The lineages to choose from: those that have something ready, and the one that is asked for."""
        lineages = list(lineages_available_on(self.today).values_list("pk", "name"))
        if wanted.isascii() and wanted.isdigit() and len(wanted) < 19 and int(wanted) not in dict(lineages):
            lineages += Lineage.objects.filter(pk=wanted).values_list("pk", "name")
        return lineages

    @property
    def plugs(self):
        """All of them, sorted, with everything a row shows."""
        plugs = self.table.data.data
        return for_list(plugs).order_by(*plugs.query.order_by)

    def turn_to(self, page):
        """Take one page of them and never count the rest."""
        number = int(page) if page.isascii() and page.isdigit() else 1
        try:
            self.table.paginate(page=min(max(number, 1), LAST_PAGE), per_page=ROWS, paginator_class=UncountedPaginator)
        except EmptyPage:
            self.table.paginate(page=1, per_page=ROWS, paginator_class=UncountedPaginator)


@require_safe
def ready(request):
    ready_list = ReadyList(request)
    ready_list.turn_to(request.GET.get("page", "1"))
    is_empty = ready_list.is_all and not ready_list.table.page.object_list
    contact = contact_remembered(request)
    return render(
        request,
        "inventory/ready.html",
        {
            "filter": ready_list.filter,
            "in_use": in_use(ready_list.filter),
            "table": ready_list.table,
            "tabs": _tabs("ready"),
            "book": ready_list.book,
            "preferences": ready_list.preferences,
            "is_empty": is_empty,
            "healing": _healing() if is_empty else 0,
            "healing_counted": HEALING_COUNTED,
            "acts": _acts(contact, ready_list.today),
            "query": request.GET.urlencode(),
        },
    )


@require_safe
def ready_lines(request):
    """What is ready of each lineage."""
    today = localdate()
    page = UncountedPaginator(lineages_with_lines_on(today), LINES).get_page(request.GET.get("page"))
    lines = [line_of(lineage) for lineage in page]
    return render(
        request,
        "inventory/ready_lines.html",
        {
            "lines": lines,
            "page": page,
            "tabs": _tabs("ready_lines"),
            "book": Book.current(),
            "is_empty": not lines and page.number == 1,
            "healing": 0 if lines else _healing(),
            "healing_counted": HEALING_COUNTED,
        },
    )


@require_safe
def ready_soon(request):
    """What is likely healed within a month, by day."""
    today = localdate()
    soon = frags_ready_soon(today)
    page = Paginator(in_batches(soon), ROWS).get_page(request.GET.get("page"))
    return render(
        request,
        "inventory/ready_soon.html",
        {
            "table": ReadySoonTable(batches_with_details(page.object_list), today=today),
            "page": page,
            "number": len(soon),
            "to_look_at": sum(frag.window.is_over_on(today) for frag in soon),
            "expected": round(expected(soon)),
            "within": WITHIN_DAYS,
            "tabs": _tabs("ready_soon", count=len(soon)),
            "healing": 0 if soon else _healing(),
            "healing_counted": HEALING_COUNTED,
        },
    )


def _tabs(current, *, count=None):
    """The views of the list; what is ready is never counted, for it may be any number."""
    return [
        {"url": reverse(name), "words": words, "current": name == current, "count": count if name == current else None}
        for name, words in (("ready", "By frag"), ("ready_lines", "By line"), ("ready_soon", "Ready soon"))
    ]


def _healing() -> int:
    """How many plugs are healing, counted no further than a little beyond what is told."""
    return len(Plug.objects.healing().order_by().values_list("pk")[: HEALING_COUNTED + 1])


def _acts(contact, today):
    """What can be done with ticked plugs; the first is one tap once a contact was chosen before."""
    day = date_format(today + A_WEEK, "j M")
    acts = []
    if contact:
        acts.append(
            {
                "value": "hold_again",
                "words": f"Hold for {contact['name']} until {day}",
                "counted": f"Hold {{n}} for {contact['name']} until {day}",
                "icon": "hold",
                "primary": True,
            }
        )
    acts.append(
        {
            "value": "hold",
            "words": "Hold for somebody else" if contact else "Hold for somebody",
            "counted": "Hold {n} for somebody else" if contact else "Hold {n} for somebody",
            "icon": "hold",
            "primary": not contact,
        }
    )
    return [
        *acts,
        {"value": "sell", "words": "Sell", "counted": "Sell {n}", "icon": "stage-sold"},
        {"value": "trade", "words": "Trade", "counted": "Trade {n}", "icon": "trade"},
        {"value": "market", "words": "To a market", "counted": "Take {n} to a market", "icon": "stage-sold"},
        {"value": "price", "words": "Set a price", "counted": "Set a price for {n}", "icon": "money"},
        {"value": "labels", "words": "Print labels", "counted": "Print {n} labels", "icon": "print"},
        {"value": "left", "words": "They left", "counted": "{n} left", "icon": "forward"},
    ]


@require_POST
def ready_chosen(request):
    """Do with the ticked plugs what the button says."""
    back = f"{reverse('ready')}?{request.GET.urlencode()}".rstrip("?")
    try:
        plugs = plugs_chosen(request.POST.getlist("plugs"))
    except RametError as error:
        messages.error(request, str(error))
        return redirect(back)
    query = urlencode([("plugs", plug.code) for plug in plugs])
    act = request.POST.get("act")
    if act == "hold_again":
        return _hold_again(request, plugs, query, back)
    pages = {
        "hold": "hold_many",
        "sell": "sale_new",
        "trade": "trade_new",
        "price": "plugs_price",
        "labels": "labels",
        "market": "market_brought",
        "left": "plugs_left",
    }
    if act not in pages:
        messages.error(request, "Choose what to do with the plugs by one of the buttons.")
        return redirect(back)
    return redirect(f"{reverse(pages[act])}?{query}")


def _hold_again(request, plugs, query, back):
    """Hold for the contact of the last time, for a week; what stands in the way is said on the page of the hold."""
    remembered = contact_remembered(request)
    contact = Contact.objects.filter(pk=remembered["id"]).first() if remembered else None
    if contact is None:
        return redirect(f"{reverse('hold_many')}?{query}")
    today = localdate()

    def said(holds):
        count = "1 plug is" if len(holds) == 1 else f"{len(holds)} plugs are"
        return f"{count} held for {contact} until {date_format(today + A_WEEK)}."

    def hold():
        return hold_plugs(plugs=plugs, contact=contact, until=today + A_WEEK, today=today, by=request.user)

    if not tried(request, hold, said):
        return redirect(f"{reverse('hold_many')}?{query}")
    remember_contact(request, contact)
    return redirect(back)


def csv_lines(plugs, *, today, book):
    """The lines of the file, by RFC 4180: commas, quotes where they are needed, CRLF.

    The mark at the beginning tells spreadsheets that it is UTF-8.
    """
    writer = csv.writer(Line(), lineterminator="\r\n")
    yield f"\ufeff{writer.writerow(COLUMNS)}"
    for plug in plugs:
        yield writer.writerow(
            [
                plug.code_in_clear,
                guarded(plug.lineage.name),
                guarded(plug.lineage.binomial),
                plug.lineage.growth_form,
                plug.size_mm,
                plug.age_days(today),
                plug.began_on.isoformat(),
                plug.healed_on.isoformat(),
                guarded(plug.rack.name) if plug.rack else "",
                plug.rack_row,
                plug.rack_column,
                "" if plug.price is None else plain_amount(plug.price, book),
                book.currency,
            ]
        )


@require_safe
def ready_csv(request):
    """All that the filters leave, as a file; written while it is read, so it may be of any length."""
    ready_list = ReadyList(request)
    if ready_list.filter.errors:
        return redirect(f"{reverse('ready')}?{request.GET.urlencode()}")
    plugs = ready_list.plugs.iterator(chunk_size=ROWS_AT_A_TIME)
    response = StreamingHttpResponse(
        csv_lines(plugs, today=ready_list.today, book=ready_list.book),
        content_type="text/csv; charset=utf-8; header=present",
    )
    response["Content-Disposition"] = f'attachment; filename="ready-{ready_list.today:%Y-%m-%d}.csv"'
    return response


@require_safe
def ready_print(request):
    """The same list by lineage, as a clean sheet to print or to hang beside the tank."""
    ready_list = ReadyList(request)
    by_lineage = for_list(ready_list.filter.qs).order_by(Lower("lineage__name"), "healed_on", "id")
    plugs = [(plug, plug.age_days(ready_list.today)) for plug in by_lineage[: ROWS_ON_PAPER + 1]]
    return render(
        request,
        "inventory/ready_print.html",
        {
            "plugs": plugs[:ROWS_ON_PAPER],
            "is_cut_off": len(plugs) > ROWS_ON_PAPER,
            "filter": ready_list.filter,
            "used": [
                (field.label, _shown(field))
                for field in ready_list.filter.form
                if ready_list.filter.data.get(field.name)
            ],
            "today": ready_list.today,
            "book": ready_list.book,
            "preferences": ready_list.preferences,
            "query": request.GET.urlencode(),
        },
    )


def _shown(field) -> str:
    """What a filter is set to, in words."""
    choices = dict(getattr(field.field, "choices", ()))
    return str(choices.get(field.value(), field.value()))
