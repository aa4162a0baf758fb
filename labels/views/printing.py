"""The labels page, print runs, and the PDF."""

from dataclasses import dataclass, field
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.formats import date_format
from django.views.decorators.http import require_POST, require_safe

from labels.actions.print_labels import MOST_LABELS_IN_A_RUN, draw_again, print_labels
from labels.forms.printing import PrintForm
from labels.models import PrintedLabel, PrintRun
from labels.readings.stocks import FIRST_STOCK, find_stock, last_run
from labels.readings.to_print import colonies_named, plugs_named, recent_sessions
from propagation.addresses import Opens, base_address_of, who_opens
from propagation.errors import RametError
from propagation.models import Colony, CuttingSession, Plug
from propagation.views.answers import carried_out, form_page

RUNS_ON_A_PAGE = 50


@dataclass
class Chosen:
    """What a request asks to print: one session, named plugs and colonies, or all that is not printed yet."""

    words: str = ""
    plugs: object = ()
    colonies: object = ()
    fields: list = field(default_factory=list)

    @property
    def count(self) -> int:
        return len(self.plugs) + len(self.colonies)

    @property
    def query(self) -> str:
        return urlencode(self.fields)


def _words(values) -> list[str]:
    return [word for value in values for word in value.replace(",", " ").split()]


def chosen_in(data) -> Chosen:
    """Read what is to be printed out of a query or a form. Raises RametError for what does not exist."""
    session, plugs, colonies = data.get("session", ""), _words(data.getlist("plugs")), _words(data.getlist("colonies"))
    if session:
        sitting = CuttingSession.objects.filter(pk=session).first() if session.isascii() and session.isdigit() else None
        if sitting is None:
            raise RametError(f"There is no cutting session “{session}”; choose one of the latest below.")
        found = list(Plug.objects.kept().filter(cut_event__session=sitting))
        return Chosen(f"of the session of {date_format(sitting.cut_on)}", found, (), [("session", session)])
    if plugs or colonies:
        return Chosen(
            "chosen",
            plugs_named(plugs),
            colonies_named(colonies),
            [*(("plugs", word) for word in plugs), *(("colonies", word) for word in colonies)],
        )
    if data.get("what") == "colonies":
        return Chosen(
            "of colonies without one",
            (),
            list(Colony.objects.alive().filter(labelled_at=None)),
            [("what", "colonies")],
        )
    if data.get("what") == "stale":
        stale = [label.plug for label in PrintedLabel.objects.stale().select_related("plug")]
        return Chosen("to print again", stale, (), [("what", "stale")])
    return Chosen(
        "not printed yet", list(Plug.objects.unlabelled()[:MOST_LABELS_IN_A_RUN]), (), [("what", "unprinted")]
    )


def others_than(chosen: Chosen) -> list[dict]:
    """What else there is to print, as links."""
    here = reverse("labels")
    sets = [
        ("", "Plugs not printed yet", "", "labels", Plug.objects.unlabelled().count()),
        (
            "what=stale",
            "Labels to print again",
            "What they say was corrected after they were printed",
            "warning",
            PrintedLabel.objects.stale().count(),
        ),
        (
            "what=colonies",
            "Colonies without a label",
            "",
            "colonies",
            Colony.objects.alive().filter(labelled_at=None).count(),
        ),
    ]
    sets = [entry for entry in sets if entry[-1]]
    sets += [
        (f"session={session.pk}", f"Session of {date_format(session.cut_on)}", "", "sessions", session.plug_count)
        for session in recent_sessions()
    ]
    return [
        {"url": f"{here}?{query}", "title": title, "detail": detail, "icon": icon, "number": number}
        for query, title, detail, icon, number in sets
        if query != chosen.query and not (query == "" and chosen.query == "what=unprinted")
    ]


def _first_values(data) -> dict:
    run = last_run()
    first = {"stock": run.stock_id, "dpi": run.dpi} if run else {"stock": find_stock(FIRST_STOCK).pk}
    return {**first, **{name: data[name] for name in ("stock", "dpi", "start") if data.get(name)}}


def _page(request, chosen, form):
    address = base_address_of(request)
    context = {
        "chosen": chosen,
        "address": address,
        "is_local": who_opens(address) == Opens.HERE,
        "others": others_than(chosen),
    }
    return form_page(request, "labels/labels.html", form, context)


@require_safe
def labels(request):
    """Choose what to print, on what."""
    try:
        chosen = chosen_in(request.GET)
    except RametError as error:
        messages.error(request, str(error))
        chosen = Chosen("not printed yet")
    return _page(request, chosen, PrintForm(initial=_first_values(request.GET)))


@require_POST
def labels_print(request):
    """Print: record the run, then show it with its PDF."""
    form = PrintForm(request.POST)
    try:
        chosen = chosen_in(request.POST)
    except RametError as error:
        messages.error(request, str(error))
        return redirect("labels")

    def print_them(told):
        run, sheet = print_labels(
            stock=told["stock"],
            plugs=chosen.plugs,
            colonies=chosen.colonies,
            base_address=base_address_of(request),
            dpi=told["dpi"],
            start=told["start"],
            outline=told["outline"],
            submission=told["submission"],
            by=request.user,
        )
        for warning in sheet.warnings:
            messages.warning(request, warning)
        return redirect("print_run", run.pk)

    return carried_out(request, form, print_them) or _page(request, chosen, form)


@require_safe
def print_runs(request):
    """What was printed, latest first."""
    runs = PrintRun.objects.select_related("stock").annotate(count=Count("labels")).order_by("-printed_at", "-id")
    page = Paginator(runs, RUNS_ON_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "labels/print_runs.html", {"page": page})


@require_safe
def print_run(request, pk):
    """One print run: its PDF, what is on it, and how to print it again."""
    run = get_object_or_404(PrintRun.objects.select_related("stock", "printed_by"), pk=pk)
    labels = run.labels.select_related("plug__lineage", "plug__cut_event__mother", "colony__lineage")
    fields = [
        *(("plugs", label.plug.code) for label in labels if label.plug_id),
        *(("colonies", label.colony.tag) for label in labels if label.colony_id),
    ]
    next_start = (run.start - 1 + len(labels)) % run.stock.labels_per_page + 1
    return render(
        request,
        "labels/print_run.html",
        {
            "run": run,
            "labels": labels,
            "again": f"{reverse('labels')}?{urlencode([*fields, ('stock', run.stock_id), ('dpi', run.dpi)])}",
            "next_start": next_start if run.stock.kind == "sheet" else None,
        },
    )


@require_safe
def print_run_pdf(request, pk):
    """The labels of a run as a PDF, as the records stand now."""
    run = get_object_or_404(PrintRun.objects.select_related("stock"), pk=pk)
    response = HttpResponse(draw_again(run=run).pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="labels-{run.printed_at:%Y-%m-%d}-{run.pk}.pdf"'
    return response
