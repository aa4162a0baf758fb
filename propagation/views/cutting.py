"""Recording a cutting session at the bench, the session afterwards, and its correction."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.timezone import localdate
from django.views.decorators.http import require_GET, require_http_methods

from propagation.actions.correct_cutting import correct_cutting
from propagation.actions.record_cutting import record_cutting
from propagation.actions.sitting_file import check_sitting, read_sitting
from propagation.errors import BadValue, ChangedMeanwhile, RametError, RowErrors
from propagation.forms.cutting import BenchForm, CorrectionForm, FileForm, SessionForm, problems_of
from propagation.models import Colony, CuttingSession, CutTool, Preferences
from propagation.paging import UncountedPaginator
from propagation.readings.find import MOST_COMPARED
from propagation.readings.mothers import find_mother
from propagation.readings.sessions import corrections_of, cuts_with_plugs, sessions_for_list
from propagation.views.answers import REFUSED, sent
from propagation.views.found import codes_sent

SESSIONS_ON_A_PAGE = 25
REMEMBERED_RACK = "cutting_rack"
REMEMBERED_TOOL = "cut_with"


def _numbers(texts):
    return [int(text) for text in texts if text.isdecimal() and len(text) < 19]


def _bench(request, **further):
    return BenchForm(
        today=localdate(),
        length_unit=Preferences.current().length_unit,
        rack_id=request.session.get(REMEMBERED_RACK),
        cut_with=request.session.get(REMEMBERED_TOOL, ""),
        **further,
    )


def _render_bench(request, bench, *, refused=False, **further):
    context = {"bench": bench, "today": bench.today, "any_colony": bool(bench.mothers or bench.offered), **further}
    if not context["any_colony"]:
        context["any_colony"] = Colony.objects.alive().exists()
    return render(request, "propagation/cut.html", context, status=REFUSED if refused else 200)


@require_http_methods(["GET", "POST"])
def cut(request):
    """Everything stands in one form. Only its save button saves; what else sends it brings it back filled in."""
    if request.method == "GET":
        bench = _bench(request)
        bench.find = request.GET.get("find", "").strip()
        _choose(request, bench, request.GET.getlist("mother"))
        return _render_bench(request, bench)
    bench = _bench(request, data=request.POST, chosen=_numbers(request.POST.getlist("mother")))
    if request.POST.get("do") != "save":
        return _find(request, bench)
    if not bench.is_valid():
        return _render_bench(request, bench, refused=True)
    sitting = bench.sitting.cleaned_data
    try:
        session = record_cutting(
            cuts=bench.cuts,
            cut_on=sitting["cut_on"],
            today=bench.today,
            submission=sitting["submission"],
            note=sitting["note"],
            rack=sitting["rack"],
            by=request.user,
        )
    except RowErrors as error:
        bench.refuse(error.errors)
        return _render_bench(request, bench, refused=True)
    except RametError as error:
        bench.sitting.add_error("cut_on", str(error))
        return _render_bench(request, bench, refused=True)
    request.session[REMEMBERED_RACK] = sitting["rack"].pk if sitting["rack"] else None
    request.session[REMEMBERED_TOOL] = sitting["cut_with"]
    return redirect("session", session.pk)


def _find(request, bench):
    """Bring the page back with the mother that was typed or scanned, or with those that match."""
    texts = [request.POST.get("find", "").strip()]
    if "picture" in request.FILES:
        try:
            texts = codes_sent(request)
        except RametError as error:
            messages.error(request, str(error))
            texts = []
    _choose(request, bench, texts)
    return _render_bench(request, bench)


def _choose(request, bench, texts):
    for text in filter(None, texts):
        try:
            said = bench.choose(text)
        except RametError as error:
            bench.find = text
            if isinstance(error, BadValue) or not bench.offered:  # what was typed is part of no name either
                messages.error(request, str(error))
                bench.find = ""
                bench.__dict__.pop("offered", None)
        else:
            if "already" in said:
                messages.info(request, said)


@require_GET
def cut_mothers(request):
    """The mothers that match what is being typed, for htmx."""
    bench = _bench(request, data=request.GET, chosen=_numbers(request.GET.getlist("mother")))
    bench.find = request.GET.get("find", "").strip()
    sentence = ""
    if bench.find and not bench.offered:
        try:
            tag = find_mother(bench.find, day=bench.day).tag
            sentence = f"{tag} is in this sitting already."
        except RametError as error:
            sentence = str(error)
    return render(request, "propagation/cut_offered.html", {"bench": bench, "sentence": sentence})


@require_http_methods(["GET", "POST"])
def session_from_file(request):
    """Read a CSV file into the cutting form, where it is looked over and saved; or say what is wrong in it."""
    today = localdate()
    context = {"tools": CutTool.values}
    if request.method == "GET":
        context["form"] = FileForm(initial={"cut_on": today})
        return render(request, "propagation/session_from_file.html", context)
    form, errors = FileForm(request.POST, request.FILES), []
    if form.is_valid():
        day = form.cleaned_data["cut_on"]
        try:
            sitting = read_sitting(form.cleaned_data["file"].read())
            wrong = check_sitting(sitting, cut_on=day, today=today)
            # A reason can be given in the form; everything else is put right in the file.
            errors = [error for error in wrong if error[1] != "reason"]
        except RowErrors as error:
            errors = error.errors
        except RametError as error:
            form.add_error("cut_on" if getattr(error, "field", None) == "day" else "file", str(error))
    if errors or not form.is_valid():
        context |= {"form": form, "row_errors": errors}
        return render(request, "propagation/session_from_file.html", context, status=REFUSED)
    bench = _bench(request, entered=sitting.cuts)
    bench.sitting.initial["cut_on"] = day
    return _render_bench(request, bench, from_file=form.cleaned_data["file"].name)


@require_GET
def sessions(request):
    paginator: Paginator = UncountedPaginator(sessions_for_list(), SESSIONS_ON_A_PAGE)
    page = paginator.get_page(request.GET.get("page"))
    return render(request, "propagation/sessions.html", {"page": page, "today": localdate()})


@require_GET
def session(request, pk):
    found = get_object_or_404(CuttingSession.objects.select_related("saved_by"), pk=pk)
    cuts = cuts_with_plugs(found)
    plugs = [plug for event in cuts for plug in event.plugs_now]
    kept = [plug for plug in plugs if plug.is_kept]
    return render(
        request,
        "propagation/session.html",
        {
            "session": found,
            "cuts": [event for event in cuts if event.frags],
            "taken_out": [event for event in cuts if not event.frags],
            "plug_count": len(plugs),
            "kept": len(kept),
            "unlabelled": sum(plug.labelled_at is None for plug in kept),
            "racks": sorted({str(plug.rack) for plug in kept if plug.rack}),
            "corrections": corrections_of(found),
        },
    )


@require_http_methods(["GET", "POST"])
def session_correct(request, pk):
    found = get_object_or_404(CuttingSession, pk=pk)
    unit = Preferences.current().length_unit
    data = sent(request)
    head = SessionForm(
        data, initial={"cut_on": found.cut_on, "note": found.note, "version": found.version}, label_suffix=""
    )
    rows = [
        CorrectionForm(data, event=event, plugs=event.plugs_now, length_unit=unit, label_suffix="")
        for event in cuts_with_plugs(found)
        if event.frags or (data and f"e{event.pk}-frags" in data)
    ]
    forgotten = CorrectionForm(data, length_unit=unit, label_suffix="")
    forms = rows if forgotten.is_left_empty else [*rows, forgotten]
    sentences, meanwhile = [], []
    if data is not None and all([head.is_valid(), *(form.is_valid() for form in forms)]):
        try:
            done = correct_cutting(
                session=found,
                corrections=[form.correction() for form in forms],
                cut_on=head.cleaned_data["cut_on"],
                note=head.cleaned_data["note"],
                version=head.cleaned_data["version"],
                today=localdate(),
                by=request.user,
            )
        except RowErrors as error:
            for row, column, sentence in error.errors:
                forms[row - 1].refuse(column, sentence)
        except ChangedMeanwhile as error:
            sentences = [str(error)]
            meanwhile = corrections_of(found)[: found.version - head.cleaned_data["version"]]
            # What was typed stays; sent again, it is a correction of the session as it stands now.
            head.data = head.data.copy()
            head.data["version"] = found.version
        except RametError as error:
            head.add_error("cut_on", str(error))
        else:
            _tell(request, done)
            return redirect("session", found.pk)
    problems = [("", text) for text in sentences]
    if data is not None:
        problems += problems_of([(None, head)])
        problems += problems_of([(form.event.mother.tag if form.event else "Forgotten", form) for form in forms])
    return render(
        request,
        "propagation/session_correct.html",
        {
            "session": found,
            "head": head,
            "rows": rows,
            "forgotten": forgotten if forgotten in forms else CorrectionForm(length_unit=unit, label_suffix=""),
            "forgotten_is_open": forgotten in forms,
            "problems": problems,
            "meanwhile": meanwhile,
            "tags": Colony.objects.alive_on(found.cut_on).order_by("tag").values_list("tag", flat=True)[:MOST_COMPARED],
        },
        status=REFUSED if problems else 200,
    )


def _tell(request, done):
    if not done.changes:
        messages.info(request, "Nothing was different, so nothing was changed.")
        return
    said = "Corrected."
    if done.new_plugs:
        said += f" {len(done.new_plugs)} new plug{'s' if len(done.new_plugs) > 1 else ''} with codes of their own."
    messages.success(request, said)
    if done.print_again:
        codes = ", ".join(plug.code_in_clear for plug in done.print_again)
        messages.warning(request, f"The labels of these plugs say what is no longer so; print them again: {codes}")
