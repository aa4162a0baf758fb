"""Colonies: the list, one of them, and what is done with it."""

from decimal import Decimal
from functools import partial

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localdate, now
from django.views.decorators.http import require_POST

from propagation.actions.changes import last_change
from propagation.actions.end_colony import bring_back_colony, end_colony
from propagation.actions.keep_colony import keep_colony
from propagation.actions.move_colony import correct_placement, move_colony
from propagation.actions.record_cutting import cautions_on
from propagation.actions.take_size import correct_size, strike_size, take_size
from propagation.dates import day_in_words
from propagation.errors import UnlikelySize
from propagation.forms.colonies import (
    ColonyFilter,
    ColonyForm,
    EndForm,
    MeasureForm,
    MoveForm,
    PlaceCorrectForm,
    method_for,
)
from propagation.lengths import plain, unit_of
from propagation.models import Colony, Preferences, SizeReading
from propagation.readings import colonies as reading
from propagation.readings.changes import changes_of
from propagation.readings.growth_films import growth_in_pictures
from propagation.readings.growth_pictures import growth_pictures
from propagation.readings.next_cuts import next_cut_of
from propagation.readings.photo_colour import photo_colour
from propagation.readings.photos import strip_of
from propagation.tables.colonies import ColonyTable
from propagation.views.answers import carried_out, form_page, sent, tried
from propagation.views.found import colony_or_404
from propagation.views.lists import render_list


def colonies(request):
    filterset = ColonyFilter(
        request.GET,
        queryset=reading.colonies_for_list(),
        today=localdate(),
        measure_days=Preferences.current().measure_days,
    )
    return render_list(
        request,
        "propagation/colonies.html",
        filterset=filterset,
        table_class=ColonyTable,
        any_at_all=Colony.objects.exists(),
    )


def _found(tag) -> Colony:
    among = Colony.objects.with_rest(localdate())
    among = among.select_related("lineage", "acquisition", "grown_from__cut_event__mother")
    return colony_or_404(tag, among=among)


def colony(request, tag):
    found = _found(tag)
    today = localdate()
    cuts = reading.cuts_of(found)
    readings = list(found.size_readings.order_by("-taken_on", "-is_after_cut", "-pk"))
    placements = list(found.placements.select_related("spot__system"))
    incidents = list(found.incidents.all())
    offspring = list(reading.grown_from_its_frags(found))
    next_cut = next_cut_of(found, today) if found.is_alive else None
    length_unit = Preferences.current().length_unit
    photos = strip_of(found)
    return render(
        request,
        "propagation/colony.html",
        {
            "colony": found,
            "today": today,
            "place": next((placement for placement in placements if placement.until is None), None),
            "cautions": cautions_on([found], today).get(found.pk, []) if found.is_alive else [],
            "open_incidents": [incident for incident in incidents if incident.is_open],
            "next_cut": next_cut,
            "cuts": cuts,
            "fates": reading.fates_of(cuts),
            "offspring": offspring,
            "last_sizes": reading.last_sizes(readings),
            "growth": growth_pictures(
                found,
                today=today,
                readings=readings,
                cuts=cuts,
                placements=placements,
                incidents=incidents,
                outlook=next_cut.outlook if next_cut else None,
                length_unit=length_unit,
            ),
            "in_pictures": growth_in_pictures(found, now=now(), length_unit=length_unit),
            "readings": readings,
            "photos": photos,
            "colour": photo_colour(found) if photos.number else None,
            "life": reading.life_line(
                found, cuts=cuts, placements=placements, incidents=incidents, readings=readings, offspring=offspring
            ),
            "changes": changes_of(found, "tag", "note", "ended_on", "end_reason"),
        },
    )


def colony_edit(request, tag):
    found = _found(tag)
    form = ColonyForm(sent(request), initial={"tag": found.tag, "note": found.note, "based_on": last_change(found)})

    def keep(told):
        kept = keep_colony(colony=found, by=request.user, **told)
        messages.success(request, f"{kept.tag} is saved.")
        return redirect("colony", tag=kept.tag)

    if answer := carried_out(request, form, keep):
        return answer
    return _act_page(request, form, found, f"Change {found.tag}", draft="colony")


def colony_move(request, tag):
    found = _found(tag)
    form = MoveForm(sent(request), initial={"day": localdate()})

    def move(told):
        placement = move_colony(colony=found, spot=told["spot"], on=told["day"], today=localdate(), by=request.user)
        messages.success(request, f"{found.tag} stands at {placement.spot} now.")
        return redirect("colony", tag=found.tag)

    if answer := carried_out(request, form, move):
        return answer
    place = found.placements.current().select_related("spot__system").first()
    lead = f"It stands at {place.spot} since {date_format(place.since)}." if place else "It stands at no spot yet."
    return _act_page(request, form, found, f"Move {found.tag}", lead=lead, submit_label="Move", icon_name="move")


def colony_place_correct(request, tag):
    found = _found(tag)
    place = found.placements.current().select_related("spot__system").first()
    if place is None:
        messages.info(request, f"{found.tag} stands at no spot, so there is none to put right.")
        return redirect("colony", tag=found.tag)
    form = PlaceCorrectForm(sent(request), initial={"spot": place.spot_id, "based_on": last_change(place)})

    def correct(told):
        correct_placement(placement=place, by=request.user, **told)
        messages.success(request, f"{found.tag} has stood at {told['spot']} since {day_in_words(place.since)}.")
        return redirect("colony", tag=found.tag)

    if answer := carried_out(request, form, correct):
        return answer
    lead = f"{place.spot} was written down on {date_format(place.since)}. If it moved since, record a move instead."
    return _act_page(request, form, found, f"Put right where {found.tag} stands", lead=lead)


def colony_end(request, tag):
    found = _found(tag)
    form = EndForm(sent(request), initial={"day": localdate()})

    def end(told):
        end_colony(colony=found, reason=told["reason"], on=told["day"], today=localdate(), by=request.user)
        messages.success(request, f"{found.tag} is no longer kept. Its records stay.")
        return redirect("colony", tag=found.tag)

    if answer := carried_out(request, form, end):
        return answer
    return _act_page(
        request,
        form,
        found,
        f"{found.tag} is no longer kept",
        lead="It leaves its spot and its incidents close on that day. Its records, cuts and frags stay as they are.",
        submit_label="End it",
        danger=True,
    )


@require_POST
def colony_bring_back(request, tag):
    found = _found(tag)
    words = f"{found.tag} is kept again. Say where it stands."
    tried(request, lambda: bring_back_colony(colony=found, by=request.user), words)
    return redirect("colony", tag=found.tag)


def colony_measure(request, tag):
    found = _found(tag)
    last = found.size_readings.order_by("-taken_on", "-pk").first()
    measure = found.lineage.measure
    form = MeasureForm(
        sent(request),
        length_unit=Preferences.current().length_unit,
        initial={"measure": measure, "method": method_for(measure), "day": localdate()},
        last=last,
    )
    page = partial(_measure_page, request, form, found, heading=f"Measure {found.tag}", last=last)

    def take(_):
        try:
            taken = take_size(colony=found, by=request.user, **_size(form))
        except UnlikelySize as error:
            return page(unlikely=error)
        return _measured(request, found, taken)

    if answer := carried_out(request, form, take):
        return answer
    return page()


def _size(form) -> dict:
    told = form.cleaned_data
    return {
        "value": form.stored_value(),
        "measure": told["measure"],
        "on": told["day"],
        "today": localdate(),
        "method": told["method"],
        "note": told["note"],
        "confirmed": told["confirmed"],
    }


def _measured(request, found, taken):
    preferences = Preferences.current()
    words = unit_of(taken.measure, preferences.length_unit).text(taken.value)
    messages.success(request, f"{found.tag}: {words} is saved.")
    if request.POST.get("then") == "next":
        following = reading.next_to_measure(found, days=preferences.measure_days, today=localdate())
        if following is not None:
            return redirect("colony_measure", tag=following.tag)
        messages.info(request, "No other colony wants measuring.")
    return redirect("colony", tag=found.tag)


def size_correct(request, tag, pk):
    found = _found(tag)
    wrong = get_object_or_404(SizeReading, pk=pk, colony=found)
    length_unit = Preferences.current().length_unit
    shown = Decimal(plain(unit_of(wrong.measure, length_unit).shown(wrong.value)))
    form = MeasureForm(
        sent(request),
        length_unit=length_unit,
        initial={
            "measure": wrong.measure,
            "value": shown,
            "method": wrong.method,
            "day": wrong.taken_on,
            "note": wrong.note,
            "based_on": last_change(wrong),
        },
    )
    page = partial(_measure_page, request, form, found, heading=f"Put a size of {found.tag} right", wrong=wrong)

    def strike():
        strike_size(reading=wrong, based_on=int(request.POST.get("based_on") or 0), by=request.user)

    def correct(told):
        size = _size(form)
        if not {"value", "measure"} & set(form.changed_data):
            size["value"] = wrong.value
        try:
            correct_size(reading=wrong, based_on=told["based_on"], by=request.user, **size)
        except UnlikelySize as error:
            return page(unlikely=error)
        messages.success(request, "The size is put right.")
        return redirect("colony", tag=found.tag)

    if request.method == "POST" and "strike" in request.POST:
        tried(request, strike, "The size is struck out.")
        return redirect("colony", tag=found.tag)
    if answer := carried_out(request, form, correct):
        return answer
    return page()


def _measure_page(request, form, found, *, unlikely=None, **context):
    """The page of a size; with ``unlikely`` it asks whether that is so."""
    if unlikely is not None and unlikely.likely is not None:
        likely = unlikely.likely
        context |= {"likely_value": form.likely_value(likely), "likely_words": form.likely_words(likely)}
    context |= {"colony": found, "unlikely": unlikely, "back_url": reverse("colony", args=[found.tag])}
    return form_page(request, "propagation/colony_measure.html", form, context, refused=unlikely is not None)


def _act_page(request, form, found, heading, **context):
    context |= {"heading": heading, "back_url": reverse("colony", args=[found.tag]), "back_label": found.tag}
    return form_page(request, "propagation/form.html", form, context)
