"""Racks, and what is done with plugs that are chosen on them."""

from collections import Counter
from dataclasses import dataclass, field
from uuid import uuid4

from django.contrib import messages
from django.http import QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST, require_safe

from propagation.actions.check_healing import check_healing, find_dead, take_back_act
from propagation.actions.put_on_rack import Place, put_back, put_on_rack
from propagation.actions.set_insurance import set_insurance
from propagation.errors import BadValue
from propagation.forms.plugs import PlugActsForm, RackFilter
from propagation.models import HealingStage, Plug, Preferences, Spot
from propagation.paging import UncountedPaginator
from propagation.promises import promises_of
from propagation.readings.rack import (
    as_cells,
    cell_name,
    plugs_that_stand_nowhere,
    rack_as_it_stands,
    racks_at_a_glance,
)
from propagation.views import plugs as plug_page
from propagation.views.answers import REFUSED, carried_out, tried

LOOSE_ON_A_PAGE = 120


@require_safe
def racks(request):
    return _racks_page(request)


@require_safe
def rack_grid(request, spot_id):
    return _rack_page(request, get_object_or_404(Spot.objects.racks().select_related("system"), pk=spot_id))


def _racks_page(request, form=None):
    today, check_days = localdate(), Preferences.current().check_days
    page = UncountedPaginator(plugs_that_stand_nowhere(), LOOSE_ON_A_PAGE).get_page(request.GET.get("page"))
    return _page(
        request,
        "propagation/racks.html",
        as_cells(page.object_list, day=today, check_days=check_days),
        form,
        came_from="racks",
        page_of_loose=page,
        racks=racks_at_a_glance(day=today, check_days=check_days),
    )


def _rack_page(request, rack, form=None):
    standing = rack_as_it_stands(rack, day=localdate(), check_days=Preferences.current().check_days)
    return _page(request, "propagation/rack.html", standing, form, came_from=f"rack:{rack.pk}", rack=rack)


def _page(request, template, standing, form, **context):
    """The page as it stands; with a refused form, that form as it was filled in."""
    asked = RackFilter(request.GET, lineages=standing.lineages)
    chosen = set(form.data.getlist("plugs")) if form else set()
    for cell in standing.cells:
        cell.disabled = not asked.means(cell)
        cell.checked = str(cell.value) in chosen or (request.GET.get("choose") == "all" and not cell.disabled)
    context |= {
        "standing": standing,
        "filter": asked,
        "in_use": len(asked.asked),
        "shown": sum(not cell.disabled for cell in standing.cells),
        "form": form or PlugActsForm(),
        "toast": request.session.pop("toast", None),
    }
    return render(request, template, context, status=REFUSED if form else 200)


# -- acts


@dataclass
class Done:
    """What an act did in words ("" for nothing), how it is undone, and what else is to be said: (level, sentence)."""

    words: str
    undo_url: str
    undo_fields: list = field(default_factory=list)
    notes: list = field(default_factory=list)


def plugs_heal(request):
    return _do(request, "heal", _heal)


def plugs_dead(request):
    return _do(request, "dead", _bury)


def plugs_insurance(request):
    return _do(request, "insurance", _set_aside)


def plugs_move(request):
    return _do(request, "move", _move)


def _heal(given, by) -> Done:
    stage_before, act = {plug.pk: HealingStage(plug.stage) for plug in given["plugs"]}, uuid4()
    made = check_healing(
        plugs=given["plugs"],
        stage=given["stage"],
        on=given["on"],
        today=localdate(),
        note=given["note"],
        by=by,
        act=act,
    )
    same = f"seen {given['stage']} that day" if given["stage"] else "checked that day or later"
    notes = _left_alone(given["plugs"], len(made), same)
    back = sum(HealingStage(check.plug.stage).rank < stage_before[check.plug_id].rank for check in made)
    if back:
        sentence = f"{_plugs(back)} went back a stage: tissue was lost. Look at the rest of the rack, too."
        notes.append((messages.INFO, sentence))
    notes += _promises_at_risk([check.plug for check in made])
    stages = Counter(check.stage for check in made)
    words = ", ".join(f"{_plugs(number)} marked as {stage}" for stage, number in stages.items())
    return Done(words, reverse("plugs_undo", args=[act]), notes=notes)


def _bury(given, by) -> Done:
    act = uuid4()
    made = find_dead(
        plugs=given["plugs"],
        reason=given["reason"],
        on=given["on"],
        today=localdate(),
        note=given["note"],
        by=by,
        act=act,
    )
    notes = _left_alone(given["plugs"], len(made), "dead") + _promises_at_risk([check.plug for check in made])
    words = f"{_plugs(len(made))} marked dead" if made else ""
    return Done(words, reverse("plugs_undo", args=[act]), notes=notes)


def _set_aside(given, by) -> Done:
    wanted = given["set_aside"] == "yes"
    changed = set_insurance(plugs=given["plugs"], set_aside=wanted, by=by)
    notes = _left_alone(given["plugs"], len(changed), "set aside" if wanted else "free to leave")
    words = "set aside as insurance" if wanted else "released from insurance"
    return Done(
        f"{_plugs(len(changed))} {words}" if changed else "",
        reverse("plugs_insurance"),
        [("plugs", plug.pk) for plug in changed] + [("set_aside", "no" if wanted else "yes")],
        notes,
    )


def _move(given, by) -> Done:
    rack, (row, column) = given["rack"], given["cell"] or (None, None)
    stood = [("place", f"{p.pk}:{p.rack_id or ''}:{p.rack_row or ''}:{p.rack_column or ''}") for p in given["plugs"]]
    moved = put_on_rack(plugs=given["plugs"], rack=rack, row=row, column=column, by=by)
    notes = _left_alone(given["plugs"], len(moved), "there")
    without = sum(plug.rack_row is None for plug in moved)
    if rack is not None and without:
        notes.append((messages.INFO, f"{rack.name} is full: {_plugs(without)} of them without a cell."))
    where = f"to {rack.name}" if rack else "off the rack"
    if len(moved) == 1 and rack is not None and moved[0].rack_row:
        where += f", {cell_name(moved[0].rack_row, moved[0].rack_column)}"
    words = f"{_plugs(len(moved))} moved {where}" if moved else ""
    return Done(words, reverse("plugs_put_back"), stood, notes)


def _do(request, act, do):
    """Do one act on chosen plugs and lead back with the way to undo it; refused, the page shows what was filled in."""
    if request.method != "POST":  # the address of a refused form, opened again
        return redirect("rack")
    form = PlugActsForm(request.POST, act=act)

    def do_and_say(told):
        done = do(told, request.user)
        for level, sentence in done.notes:
            messages.add_message(request, level, sentence)
        if done.words:
            fields = [*done.undo_fields, ("from", request.POST.get("from", ""))]
            request.session["toast"] = {"words": f"{done.words}.", "undo_url": done.undo_url, "undo_fields": fields}
        return _back(request, to_the_plugs=not done.notes)

    if answer := carried_out(request, form, do_and_say, day="on", row="rack"):
        return answer
    return _shown_again(request, form)


@require_POST
def plugs_go(request):
    """Take the chosen plugs along to another page: their labels, a hold for a contact, or the page of the first."""
    form = PlugActsForm(request.POST)
    if not form.is_valid():
        return _shown_again(request, form)
    if request.POST.get("to") == "plug":
        return redirect("plug", form.cleaned_data["plugs"][0].code)
    name = "hold_many" if request.POST.get("to") == "hold" else "labels"
    query = QueryDict(mutable=True)
    query.setlist("plugs", [plug.code for plug in form.cleaned_data["plugs"]])
    try:
        return redirect(f"{reverse(name)}?{query.urlencode()}")
    except NoReverseMatch:
        return redirect("rack")


@require_POST
def plugs_undo(request, act):
    """Take back the checks of one tap."""

    def said(taken):
        number = len({check.plug_id for check in taken})
        return f"Taken back: {_plugs(number)} as before. The trace stays in their history."

    tried(request, lambda: take_back_act(act=act, by=request.user), said)
    return _back(request)


@require_POST
def plugs_put_back(request):
    """Stand plugs where they stood before a move."""

    def put():
        return put_back(places=[_place(text) for text in request.POST.getlist("place")], by=request.user)

    tried(request, put, lambda moved: f"Taken back: {_plugs(len(moved))} where they stood.")
    return _back(request)


def _place(text: str) -> Place:
    try:
        plug, *place = [int(part) if part else None for part in text.split(":")]
        return Place(plug, *place)
    except (ValueError, TypeError) as error:
        raise BadValue("Where they stood is no longer known; move them by hand.") from error


# -- where the form stood


def _came_from(request):
    """The page that sent the form: ``("rack", Spot)``, ``("plug", Plug)``, or all racks."""
    kind, _, what = request.POST.get("from", "").partition(":")
    if kind == "rack" and what.isascii() and what.isdigit():
        return kind, Spot.objects.racks().select_related("system").filter(pk=what).first()
    if kind == "plug":
        return kind, Plug.objects.filter(code=what).first()
    return "racks", None


def _back(request, *, to_the_plugs=False):
    """Back to where the form stood; to its plugs, unless there is something to read at the head of the page."""
    kind, what = _came_from(request)
    if kind == "plug" and what is not None:
        return redirect("plug", what.code)
    address = reverse("rack") if what is None else reverse("rack_grid", args=[what.pk])
    return redirect(f"{address}#id_plugs" if to_the_plugs else address)


def _shown_again(request, form):
    kind, what = _came_from(request)
    if what is None:
        return _racks_page(request, form)
    return _rack_page(request, what, form) if kind == "rack" else plug_page.show_plug(request, what.code, form)


# -- what is said


def _plugs(number: int) -> str:
    return "1 plug" if number == 1 else f"{number} plugs"


def _left_alone(plugs, done: int, why: str) -> list:
    left = len(plugs) - done
    verb = "was" if left == 1 else "were"
    return [(messages.INFO, f"{_plugs(left)} {verb} {why} already, so nothing changed there.")] if left else []


def _promises_at_risk(plugs) -> list:
    """Somebody waits for a plug that is no longer fit to leave."""
    unfit = {plug.pk: plug for plug in plugs if not plug.is_kept or plug.stage != HealingStage.HEALED}
    return [
        (
            messages.WARNING,
            f"{unfit[pk].code_in_clear} {'is not healed any more' if unfit[pk].is_kept else 'is dead'} "
            f"and promised {promise}. Tell them, or release it.",
        )
        for pk, promise in promises_of(unfit.values()).items()
    ]
