"""Colonies: the list, one of them, and what is done with it."""

from decimal import Decimal

from django.contrib import messages
from django.http import Http404
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
from propagation.errors import NothingFound, RametError, UnlikelySize
from propagation.forms.colonies import (
    ColonyFilter,
    ColonyForm,
    EndForm,
    MeasureForm,
    MoveForm,
    PlaceCorrectForm,
    method_for,
)
from propagation.forms.fields import refuse
from propagation.lengths import plain, unit_of
from propagation.models import Colony, Preferences, SizeReading
from propagation.readings import colonies as reading
from propagation.readings.changes import changes_of
from propagation.readings.find import find_colony
from propagation.readings.growth_films import growth_in_pictures
from propagation.readings.growth_pictures import growth_pictures
from propagation.readings.next_cuts import next_cut_of
from propagation.readings.photo_colour import photo_colour
from propagation.readings.photos import strip_of
from propagation.tables.colonies import ColonyTable
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
    try:
        return find_colony(tag, among=among)
    except NothingFound as error:
        raise Http404(str(error)) from error


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
    form = ColonyForm(
        request.POST or None, initial={"tag": found.tag, "note": found.note, "based_on": last_change(found)}
    )
    if request.method == "POST" and form.is_valid():
        try:
            kept = keep_colony(colony=found, by=request.user, **form.cleaned_data)
        except RametError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{kept.tag} is saved.")
            return redirect("colony", tag=kept.tag)
    return _act_page(request, form, found, f"Change {found.tag}", draft="colony")


def colony_move(request, tag):
    found = _found(tag)
    form = MoveForm(request.POST or None, initial={"day": localdate()})
    if request.method == "POST" and form.is_valid():
        try:
            placement = move_colony(
                colony=found,
                spot=form.cleaned_data["spot"],
                on=form.cleaned_data["day"],
                today=localdate(),
                by=request.user,
            )
        except RametError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{found.tag} stands at {placement.spot} now.")
            return redirect("colony", tag=found.tag)
    place = found.placements.current().select_related("spot__system").first()
    lead = f"It stands at {place.spot} since {date_format(place.since)}." if place else "It stands at no spot yet."
    return _act_page(request, form, found, f"Move {found.tag}", lead=lead, submit_label="Move", icon_name="move")


def colony_place_correct(request, tag):
    found = _found(tag)
    place = found.placements.current().select_related("spot__system").first()
    if place is None:
        messages.info(request, f"{found.tag} stands at no spot, so there is none to put right.")
        return redirect("colony", tag=found.tag)
    form = PlaceCorrectForm(request.POST or None, initial={"spot": place.spot_id, "based_on": last_change(place)})
    if request.method == "POST" and form.is_valid():
        try:
            correct_placement(placement=place, by=request.user, **form.cleaned_data)
        except RametError as error:
            refuse(form, error)
        else:
            messages.success(
                request, f"{found.tag} has stood at {form.cleaned_data['spot']} since {day_in_words(place.since)}."
            )
            return redirect("colony", tag=found.tag)
    lead = f"{place.spot} was written down on {date_format(place.since)}. If it moved since, record a move instead."
    return _act_page(request, form, found, f"Put right where {found.tag} stands", lead=lead)


def colony_end(request, tag):
    found = _found(tag)
    form = EndForm(request.POST or None, initial={"day": localdate()})
    if request.method == "POST" and form.is_valid():
        try:
            end_colony(
                colony=found,
                reason=form.cleaned_data["reason"],
                on=form.cleaned_data["day"],
                today=localdate(),
                by=request.user,
            )
        except RametError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{found.tag} is no longer kept. Its records stay.")
            return redirect("colony", tag=found.tag)
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
    try:
        bring_back_colony(colony=found, by=request.user)
    except RametError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"{found.tag} is kept again. Say where it stands.")
    return redirect("colony", tag=found.tag)


def colony_measure(request, tag):
    found = _found(tag)
    last = found.size_readings.order_by("-taken_on", "-pk").first()
    measure = found.lineage.measure
    form = MeasureForm(
        request.POST or None,
        length_unit=Preferences.current().length_unit,
        initial={"measure": measure, "method": method_for(measure), "day": localdate()},
        last=last,
    )
    likely = None
    if request.method == "POST" and form.is_valid():
        try:
            taken = take_size(colony=found, by=request.user, **_size(form))
        except UnlikelySize as error:
            likely = error
        except RametError as error:
            refuse(form, error)
        else:
            return _measured(request, found, taken)
    return _measure_page(request, form, found, likely, heading=f"Measure {found.tag}", last=last)


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
        request.POST or None,
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
    likely = None
    if request.method == "POST" and "strike" in request.POST:
        try:
            strike_size(reading=wrong, based_on=int(request.POST.get("based_on") or 0), by=request.user)
        except RametError as error:
            messages.error(request, str(error))
        else:
            messages.success(request, "The size is struck out.")
        return redirect("colony", tag=found.tag)
    if request.method == "POST" and form.is_valid():
        size = _size(form)
        if not {"value", "measure"} & set(form.changed_data):
            size["value"] = wrong.value
        try:
            correct_size(reading=wrong, based_on=form.cleaned_data["based_on"], by=request.user, **size)
        except UnlikelySize as error:
            likely = error
        except RametError as error:
            refuse(form, error)
        else:
            messages.success(request, "The size is put right.")
            return redirect("colony", tag=found.tag)
    return _measure_page(request, form, found, likely, heading=f"Put a size of {found.tag} right", wrong=wrong)


def _measure_page(request, form, found, likely, **context):
    if likely is not None and likely.likely is not None:
        context |= {"likely_value": form.likely_value(likely.likely), "likely_words": form.likely_words(likely.likely)}
    context |= {"form": form, "colony": found, "unlikely": likely, "back_url": reverse("colony", args=[found.tag])}
    return render(request, "propagation/colony_measure.html", context)


def _act_page(request, form, found, heading, **context):
    context |= {
        "form": form,
        "heading": heading,
        "back_url": reverse("colony", args=[found.tag]),
        "back_label": found.tag,
    }
    return render(request, "propagation/form.html", context)
