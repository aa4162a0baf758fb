"""Holds: promising plugs to somebody, who has what until when, giving free and promising for longer."""

from datetime import timedelta

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST, require_safe

from inventory.actions.hold_plugs import extend_hold, hold_plugs_for, release_hold
from inventory.forms.holds import HoldForm, contact_suggestions
from inventory.models import Contact, Hold
from inventory.readings import holds as reading
from inventory.readings.chosen import plugs_chosen
from inventory.readings.waiting import places_in_line
from propagation.errors import RametError
from propagation.models import Plug
from propagation.paging import UncountedPaginator
from propagation.promises import promises_of
from propagation.views.answers import carried_out, form_page, sent, tried
from propagation.views.found import plug_or_404

A_WEEK = timedelta(days=7)
ROWS = 50
REMEMBERED = "hold_contact"


def contact_remembered(request) -> dict | None:
    """The contact that was held for last: ``{"id", "name"}``. One query if there is one."""
    kept = request.session.get(REMEMBERED)
    found = Contact.objects.filter(pk=kept["id"]).select_related("merged_into").first() if kept else None
    if found is None or found.forgotten_on:
        return None
    found = found.merged_into or found
    return {"id": found.pk, "name": found.name}


def remember_contact(request, contact) -> None:
    """By its number alone: a name in a session would outlive the wish to be forgotten."""
    request.session[REMEMBERED] = {"id": contact.pk}


def forget_remembered(request) -> None:
    """Whatever this session may still say of somebody who was forgotten."""
    for key in (REMEMBERED, "toast"):
        request.session.pop(key, None)


def plugs_asked(request) -> tuple[list[Plug], list[Plug]]:
    """``(offered, chosen)``: the plugs a form stands for, by its address or as it was sent, and those ticked in it.

    Raises BadValue, NothingFound.
    """
    words = (request.POST if request.method == "POST" else request.GET).getlist("plugs")
    return plugs_chosen(request.POST.getlist("offered") or words), plugs_chosen(words)


def page_of_plug(plug) -> str:
    """The plug's own page, or the ready list while it has none."""
    try:
        return reverse("plug", args=[plug.code])
    except NoReverseMatch:
        return reverse("ready")


def hold(request, code):
    """Hold one plug, or see who has it."""
    plug = plug_or_404(code)
    today = localdate()
    active = reading.active_hold_of(plug, today)
    if active and request.method != "POST":
        return render(
            request,
            "inventory/held.html",
            {
                "plug": plug,
                "hold": active,
                "today": today,
                "places": places_in_line(today, plug=plug),
                "back_url": page_of_plug(plug),
            },
        )
    places = places_in_line(today, plug=plug)
    return _hold_page(request, [plug], back=page_of_plug(plug), back_label=plug.code_in_clear, places=places)


def hold_many(request):
    """Hold the plugs that are named in the address, or ticked in the form."""
    try:
        offered, chosen = plugs_asked(request)
    except RametError as error:
        messages.error(request, str(error))
        return redirect("ready")
    return _hold_page(request, offered, chosen=chosen, back=reverse("ready"), back_label="Ready")


def _hold_page(request, plugs, *, back, back_label, chosen=None, places=()):
    today = localdate()
    remembered = contact_remembered(request)
    first = {
        "contact_name": request.GET.get("contact") or (remembered["name"] if remembered else ""),
        "until": request.GET.get("until", ""),
    }
    form = HoldForm(sent(request), today=today, initial=first)

    def hold_them(told):
        holds = hold_plugs_for(
            contact_name=told["contact_name"],
            is_somebody_new=told["somebody_new"],
            plugs=chosen or plugs,
            until=told["until"],
            today=today,
            note=told["note"],
            by=request.user,
        )
        contact = holds[0].contact
        remember_contact(request, contact)
        what = f"Plug {holds[0].plug.code_in_clear} is" if len(holds) == 1 else f"{len(holds)} plugs are"
        messages.success(request, f"{what} held for {contact} until {date_format(told['until'])}.")
        return redirect(back)

    if answer := carried_out(request, form, hold_them):
        return answer
    promises = promises_of(plugs)
    ticked = {plug.code for plug in (chosen or plugs)} - form.taken_out
    context = {
        "rows": [(plug, plug.code in ticked, promises.get(plug.pk, "")) for plug in plugs],
        "several": chosen is not None,
        "places": places,
        "back_url": back,
        "back_label": back_label,
        "suggestions": contact_suggestions(),
        "submit_words": _submit_words(len(ticked)) if form.taken_out else "Hold",
    }
    return form_page(request, "inventory/hold.html", form, context)


def _submit_words(others) -> str:
    """What the button says once some of the plugs were found to be taken."""
    return {0: "Hold", 1: "Hold the other one"}.get(others, f"Hold the {others} others")


@require_safe
def holds(request):
    today = localdate()
    which = request.GET.get("which", "current")
    found = {
        "soon": reading.holds_ending_soon,
        "past": reading.past_holds,
    }.get(which, reading.current_holds)(today)
    page = UncountedPaginator(found, ROWS).get_page(request.GET.get("page"))
    here = reverse("holds")
    places = places_in_line(today) if which != "past" else []
    return render(
        request,
        "inventory/holds.html",
        {
            "which": which,
            "page": page,
            "broken": reading.broken_holds(today)[:ROWS] if which != "past" else [],
            "today": today,
            "due_places": [place for place in places if place.gets_it or place.is_gone],
            "other_places": [place for place in places if not (place.gets_it or place.is_gone)],
            "tabs": [
                {
                    "url": here,
                    "words": "Current",
                    "current": which not in ("soon", "past"),
                    "count": reading.current_holds(today).count(),
                },
                {
                    "url": f"{here}?which=soon",
                    "words": "Ending soon",
                    "current": which == "soon",
                    "count": reading.holds_ending_soon(today).count(),
                },
                {"url": f"{here}?which=past", "words": "Ended", "current": which == "past"},
            ],
        },
    )


def _back(request, fallback):
    """Where the button stood, if it says so."""
    back = request.POST.get("back", "")
    return back if url_has_allowed_host_and_scheme(back, allowed_hosts=None) else reverse(fallback)


@require_POST
def hold_release(request, pk):
    found, today = get_object_or_404(Hold, pk=pk), localdate()

    def said(released):
        if not released.plug.is_ready(today):
            return f"{released.contact} has {released.plug} no more."
        return format_html(
            '{} is free again; {} has it no more. <a href="{}?contact={}&amp;until={}">Hold it again</a>',
            released.plug,
            released.contact,
            reverse("hold", args=[released.plug.code]),
            released.contact.name,
            max(released.until, today).isoformat(),
        )

    tried(request, lambda: release_hold(hold=found, today=today, by=request.user), said)
    return redirect(_back(request, "holds"))


@require_POST
def hold_extend(request, pk):
    """A week more than it is now."""
    found, today = get_object_or_404(Hold, pk=pk), localdate()
    tried(
        request,
        lambda: extend_hold(hold=found, until=max(found.until, today) + A_WEEK, today=today, by=request.user),
        lambda extended: f"{extended.plug} is held for {extended.contact} until {date_format(extended.until)}.",
    )
    return redirect(_back(request, "holds"))
