"""Tracing: the search, the picture of a label, and the line of descent as page, JSON and SVG."""

import base64
import hashlib
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_POST, require_safe

from propagation import codes
from propagation.errors import CodeMistyped, NothingFound, RametError
from propagation.models import Acquisition, Colony, Plug
from propagation.models.terms import Fate
from propagation.provenance import before_it_came
from propagation.readings.family_tree import (
    MOST_DOWN,
    MOST_UP,
    STYLE_ALONE,
    draw_legend,
    draw_tree,
    grow_tree,
    said,
    written,
)
from propagation.readings.find import find_plug_or_colony
from propagation.readings.picture_codes import MOST_BYTES, labelled, text_aimed_at
from propagation.readings.trace import ancestry_of, as_day, descent_of, fates_of_cuts, told_ancestors, told_trace
from propagation.readings.trace_search import MOST_SHOWN, Found, search_lines
from propagation.views.found import codes_sent

STEPS_SHOWN = 36  # of a long line; the rest folds away
LONGEST_TEXT = 300  # of a code that a browser read; a label says an address of 30 to 80 letters


def address_of(code: str) -> str:
    """The page of a line of descent."""
    return reverse("trace_plug", args=[codes.strip_code(code)])


@require_safe
def trace(request):
    """One box for a code, a tag or a name; what can only be one thing is opened at once."""
    text = request.GET.get("q", "").strip()
    found, wrong = Found(), None
    if text:
        try:
            found = search_lines(text)
        except RametError as error:
            wrong = error
        if found.individual is not None:
            return redirect(address_of(found.individual.code))
    else:
        found.colonies = list(Colony.objects.alive().select_related("lineage").order_by("-began_on", "tag")[:8])
    return render(
        request,
        "propagation/trace.html",
        {
            "q": text,
            "found": found,
            "wrong": wrong,
            "is_mistyped": isinstance(wrong, CodeMistyped),
            "is_full": len(found.colonies) == MOST_SHOWN,
        },
        status=404 if wrong else 200,
    )


@require_POST
def read_picture(request):
    """Opens the line of the label in a photo; several labels are listed."""
    try:
        seen = codes_sent(request)
        if len(seen) == 1:
            return redirect(address_of(find_plug_or_colony(seen[0]).code))
        found = Found(
            colonies=list(Colony.objects.filter(code__in=seen).select_related("lineage")),
            plugs=list(Plug.objects.filter(code__in=seen).select_related("lineage")),
        )
        if not found.colonies and not found.plugs:
            raise NothingFound("plug or colony with the code", " or ".join(codes.in_clear(code) for code in seen))
    except RametError as error:
        messages.error(request, str(error))
        return redirect("trace")
    return render(request, "propagation/trace.html", {"found": found, "from_picture": True})


@require_POST
def read_frame(request):
    """Whose label a live camera is aimed at, for its script: it sends a frame, or what the browser read in one."""
    text, frame = request.POST.get("text", "").replace("\0", "")[:LONGEST_TEXT], request.FILES.get("frame")
    code = says = ""
    try:
        if frame is not None:
            text = text_aimed_at(frame.read(MOST_BYTES + 1))
        if text:
            code = labelled(text).code
    except RametError as error:
        says = str(error)
    return JsonResponse({"code": code, "says": says})


def _named(view):
    """Give the view the plug or colony of the code in the address, or send the keeper to the search with it."""

    @require_safe
    def named(request, code):
        try:
            individual = find_plug_or_colony(code)
        except RametError:
            return redirect(f"{reverse('trace')}?{urlencode({'q': code})}")
        return view(request, individual)

    return named


def _events(steps):
    """Steps upwards as events of a timeline."""
    icons = {"plug": "plug", "cut": "cut", "colony": "colonies", "acquisition": "acquired"}
    for step in steps:
        kind = step["kind"]
        if kind == "plug":
            title = f"Plug {step['code']}"
            detail = "" if step["fate"] in (Fate.KEPT, Fate.GROWN_ON) else Fate(step["fate"]).label
            url = address_of(step["code"])
        elif kind == "cut":
            frags = "1 frag" if step["frags"] == 1 else f"{step['frags']} frags"
            title, detail, url = "Cut", f"{frags} in this cut", reverse("session", args=[step["session"]])
        elif kind == "colony":
            title = f"Colony {step['tag']}"
            detail = f"until {written(step['ended'])}" if step["ended"] else "still kept"
            url = address_of(step["code"])
        else:
            title, detail, url = Acquisition.Kind(step["as"]).label, "", ""
        yield {"day": step["date"], "icon": icons[kind], "title": title, "detail": detail, "url": url}


def _tree_of(individual, generations, *, skip=0):
    """The tree of a plug or colony; no more generations are looked at than it shows."""
    descent = descent_of(individual, generations=MOST_DOWN + 1)
    fates = fates_of_cuts(row.cut_event_id for row in generations[:MOST_UP] if row.cut_event_id)
    return grow_tree(generations, descent, address_of=address_of, fates_of_cuts=fates, skip=skip)


def _skip(request):
    text = request.GET.get("skip", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 7 else 0


@_named
def trace_plug(request, individual):
    """The line of descent as a thread upwards and a family tree with its table."""
    generations = ancestry_of(individual)
    skip = _skip(request)
    root = _tree_of(individual, generations, skip=skip)
    knots = list(root.walk())
    is_colony = isinstance(individual, Colony)
    name = f"Family tree of {individual.tag if is_colony else individual.code_in_clear}"
    steps = list(_events(told_ancestors(generations)))
    parent_of = {id(child): knot for knot in knots for child in knot.children}
    kinds = {"acquisition": "Came", "colony": "Colony", "cut": "Cut", "plug": "Plug", "more": "More"}
    return render(
        request,
        "propagation/trace_plug.html",
        {
            "individual": individual,
            "is_colony": is_colony,
            "name": name,
            "skip": skip,
            "steps": steps[:STEPS_SHOWN],
            "further_steps": steps[STEPS_SHOWN:],
            "number_of_generations": len(generations),
            "began": as_day(generations[-1].acquired_on),
            "before": before_it_came(row.acquisition_id for row in generations if row.acquisition_id),
            "has_descendants": any(knot.children for knot in knots if knot.is_asked_for) or bool(skip),
            "tree_across": mark_safe(draw_tree(root, across=True, name=name)),  # noqa: S308 - written by ElementTree
            "tree_down": mark_safe(draw_tree(root, across=False, name=name)),  # noqa: S308
            "legend": [
                (mark_safe(svg), words)  # noqa: S308
                for svg, words in draw_legend({mark for knot in knots for mark in knot.marks})
            ],
            "headings": ["What", "Day", "Of", "What became of it"],
            "rows": [
                [
                    f"{kinds[knot.kind]}: {knot.title}" if knot.kind in ("colony", "plug") else knot.title,
                    knot.day,
                    parent_of[id(knot)].title if id(knot) in parent_of else "",
                    said(knot.marks) if knot.marks else knot.detail,
                ]
                for knot in knots
            ],
            "day": timezone.localdate(),
        },
    )


@_named
def trace_json(request, individual):
    """The whole line, up and down, for programs."""
    return JsonResponse(told_trace(individual), json_dumps_params={"ensure_ascii": False, "indent": 2})


STYLE_HASH = base64.b64encode(hashlib.sha256(STYLE_ALONE.encode()).digest()).decode()


@_named
def trace_svg(request, individual):
    """The family tree as a picture of its own, to keep or to print large."""
    root = _tree_of(individual, ancestry_of(individual), skip=_skip(request))
    name = f"Family tree of {individual}, {individual.lineage}"
    picture = draw_tree(root, across=True, name=name, style=STYLE_ALONE)
    return HttpResponse(
        f'<?xml version="1.0" encoding="UTF-8"?>\n{picture}',
        content_type="image/svg+xml",
        headers={
            "Content-Disposition": f'inline; filename="family-tree-{individual.code_in_clear}.svg"',
            # Its own style and nothing else, told by its digest.
            "Content-Security-Policy": f"default-src 'none'; style-src 'sha256-{STYLE_HASH}'; frame-ancestors 'none'",
        },
    )
