"""A plug's page: what it is, what can be done next, its life."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST, require_safe

from propagation.actions.changes import last_change
from propagation.actions.check_healing import take_back_checks
from propagation.actions.correct_plug import correct_plug, void_plug
from propagation.actions.grow_on import grow_on
from propagation.codes import strip_code
from propagation.errors import CodeMistyped, NothingFound
from propagation.forms.plugs import GrowOnForm, PlugActsForm, PlugForm, VoidForm
from propagation.in_line import in_line_for
from propagation.models import Colony, HealingCheck, HealingStage, Lineage, Plug, Preferences
from propagation.promises import promises_of
from propagation.readings.find import find_plug
from propagation.readings.healing_outlook import ready_windows
from propagation.readings.living_copies import with_living_copies
from propagation.readings.near_codes import near_codes
from propagation.readings.photo_colour import photo_colour
from propagation.readings.photos import strip_of
from propagation.readings.plug_life import life_of
from propagation.readings.rack import cell_name
from propagation.readings.tags import next_tag
from propagation.views.answers import REFUSED, carried_out, form_page, sent, tried

PAGE_OF_PLUG = ("lineage", "cut_event__mother", "cut_event__session", "acquisition", "rack__system", "colony")


@require_safe
def plug(request, code):
    return show_plug(request, code)


def show_plug(request, code, form=None):
    """The page of a plug; with a refused form, that form as it was filled in."""
    try:
        found = find_plug(code, among=Plug.objects.select_related(*PAGE_OF_PLUG))
    except (CodeMistyped, NothingFound) as error:
        return _unknown(request, code, error)
    if code != found.code:
        return redirect("plug", found.code)
    today, stage = localdate(), HealingStage(found.stage)
    photos = strip_of(found)
    context = {
        "plug": found,
        "life": life_of(found),
        "lineage": with_living_copies(Lineage.objects.all()).get(pk=found.lineage_id),
        "promise": promises_of([found]).get(found.pk, ""),
        "in_line": in_line_for(found),
        "photos": photos,
        "colour": photo_colour(found) if photos.number > 1 else None,
        "window": ready_windows([found], today).get(found.pk),
        "cell": cell_name(found.rack_row, found.rack_column),
        "age_days": found.age_days(found.ended_on or today),
        "next_stage": stage.next,
        "stages": [(each.value, each.label) for each in HealingStage],
        "form": form or PlugActsForm(),
        "came_from": f"plug:{found.code}",
        "today": today,
        "toast": request.session.pop("toast", None),
    }
    return render(request, "propagation/plug.html", context, status=REFUSED if form else 200)


def _unknown(request, code, error):
    """No plug has this code: the colony that has it, or the codes that may have been meant."""
    colony = Colony.objects.filter(code=strip_code(code)).first()
    if colony is not None:
        return redirect("colony", colony.tag)
    context = {"typed": code, "sentence": str(error), "near": near_codes(code)}
    return render(request, "propagation/plug_unknown.html", context, status=404)


def plug_grow_on(request, code):
    """A plug becomes a colony with its own tag."""
    found = get_object_or_404(Plug.objects.select_related("lineage", "cut_event__mother"), code=code)
    form = GrowOnForm(sent(request), initial={"on": localdate(), "tag": next_tag(found.lineage)})

    def grow(told):
        colony = grow_on(
            plug=found,
            tag=told["tag"],
            on=told["on"],
            today=localdate(),
            spot=told["spot"],
            note=told["note"],
            by=request.user,
        )
        messages.success(request, f"{found.code_in_clear} is now the colony {colony.tag}. Print its label.")
        return redirect("colony", colony.tag)

    if answer := carried_out(request, form, grow, day="on"):
        return answer
    promise = promises_of([found]).get(found.pk, "") if found.is_kept else ""
    context = {"plug": found, "promise": promise, "back_url": reverse("plug", args=[found.code])}
    return form_page(request, "propagation/plug_grow_on.html", form, context)


def plug_correct(request, code):
    """Put right the size or the note of a plug, or take it out as a mistake."""
    found = get_object_or_404(Plug.objects.select_related("lineage", "cut_event__mother"), code=code)
    form = _size_and_note(found, sent(request))

    def correct(told):
        correct_plug(plug=found, by=request.user, **told)
        messages.success(request, f"{found.code_in_clear} is corrected; what it was stays in its history.")
        return redirect("plug", found.code)

    if answer := carried_out(request, form, correct):
        return answer
    return _correct_page(request, found, form, VoidForm())


@require_POST
def plug_void(request, code):
    """A plug was recorded that was never there."""
    found = get_object_or_404(Plug.objects.select_related("lineage", "cut_event__mother"), code=code)
    form = VoidForm(request.POST)

    def void(told):
        void_plug(plug=found, reason=told["reason"], today=localdate(), by=request.user)
        messages.success(request, f"{found.code_in_clear} is void. Its code is never used again.")
        return redirect("plug", found.code)

    if answer := carried_out(request, form, void):
        return answer
    return _correct_page(request, found, _size_and_note(found), form)


def _size_and_note(found, data=None) -> PlugForm:
    initial = {"size_mm": found.size_mm, "note": found.note, "based_on": last_change(found)}
    form = PlugForm(data, initial=initial)
    form.use_unit(Preferences.current().length_unit)
    return form


def _correct_page(request, found, form, void_form):
    context = {"plug": found, "void_form": void_form, "back_url": reverse("plug", args=[found.code])}
    return form_page(request, "propagation/plug_correct.html", form, context, refused=bool(void_form.errors))


@require_POST
def check_take_back(request, code, pk):
    """Take back one healing check, or the finding that the plug was dead."""
    check = get_object_or_404(HealingCheck.objects.select_related("plug"), pk=pk, plug__code=code)
    words = "The check is taken back; the trace stays in the history below."
    tried(request, lambda: take_back_checks(checks=[check], by=request.user), words)
    return redirect("plug", code)
