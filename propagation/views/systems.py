"""Systems and their spots: the list, one of them, its end and its restart."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate

from propagation.actions.changes import last_change
from propagation.actions.end_system import end_system, standing_in
from propagation.actions.keep_system import keep_spot, keep_system
from propagation.actions.restart_system import restart_system
from propagation.errors import NameTaken, RowErrors
from propagation.forms.fields import refuse
from propagation.forms.systems import RestartForm, SpotForm, SystemEndForm, SystemForm
from propagation.models import Spot, System
from propagation.readings.changes import changes_of, former_names
from propagation.readings.systems import chain_of, plan_of, spots_with_what_stands, systems_with_counts
from propagation.views.answers import carried_out, form_page, sent


def systems(request):
    every = list(systems_with_counts().order_by("-started_on", "-pk"))
    return render(
        request,
        "propagation/systems.html",
        {
            "running": [each for each in every if each.ended_on is None],
            "ended": [each for each in every if each.ended_on is not None],
        },
    )


def system(request, pk):
    found = get_object_or_404(System.objects.select_related("succeeds"), pk=pk)
    spots = spots_with_what_stands(found)
    before, after = chain_of(found)
    return render(
        request,
        "propagation/system.html",
        {
            "system": found,
            "spots": spots,
            "plan": plan_of(spots),
            "before": before,
            "after": after,
            "open_incidents": found.incidents.open(),
            "former_names": former_names(found),
            "changes": changes_of(found, "name", "started_on", "ended_on", "note"),
        },
    )


def system_new(request):
    return _system_form(request, System(), "New system", reverse("systems"))


def system_edit(request, pk):
    found = get_object_or_404(System, pk=pk)
    return _system_form(request, found, f"Change {found.name}", reverse("system", args=[pk]))


def _system_form(request, record, heading, back):
    form = SystemForm(
        sent(request),
        instance=record,
        initial={"based_on": last_change(record)} if record.pk else {"started_on": localdate()},
    )

    def keep(told):
        kept = keep_system(system=form.instance, today=localdate(), based_on=told["based_on"], by=request.user)
        messages.success(request, f"{kept.name} is saved.")
        return redirect("system", pk=kept.pk)

    if answer := carried_out(request, form, keep, refuse=_refuse_system):
        return answer
    return form_page(request, "propagation/form.html", form, {"heading": heading, "back_url": back})


def _refuse_system(form, error):
    refuse(form, error, day="started_on", other_url=lambda other: reverse("system", args=[other.pk]))


def spot_new(request, pk):
    found = get_object_or_404(System, pk=pk)
    return _spot_form(request, Spot(system=found), f"New spot in {found}")


def spot_edit(request, pk):
    found = get_object_or_404(Spot.objects.select_related("system"), pk=pk)
    return _spot_form(request, found, f"Change {found}")


def _spot_form(request, record, heading):
    form = SpotForm(sent(request), instance=record, initial={"based_on": last_change(record)} if record.pk else None)

    def keep(told):
        kept = keep_spot(spot=form.instance, based_on=told["based_on"], by=request.user)
        messages.success(request, f"{kept.name} is saved.")
        return redirect("spot_new" if "another" in request.POST else "system", pk=kept.system_id)

    if answer := carried_out(request, form, keep, other_url=lambda other: reverse("spot_edit", args=[other.pk])):
        return answer
    return form_page(
        request,
        "propagation/spot_form.html",
        form,
        {
            "heading": heading,
            "spot": record,
            "back_url": reverse("system", args=[record.system_id]),
            "back_label": record.system.name,
            "changes": changes_of(record, "name", "par", "x_cm", "y_cm", "rack_rows", "rack_columns")
            if record.pk
            else [],
        },
    )


def _refuse_ways(form, error):
    """Put what is wrong with single colonies next to them."""
    if isinstance(error, RowErrors):
        fields = {placement.colony.tag: f"colony_{placement.colony_id}" for placement in form.placements}
        for _, column, sentence in error.errors:
            form.add_error(fields.get(column), sentence)
    elif isinstance(error, NameTaken):
        _refuse_system(form, error)
    else:
        refuse(form, error, day="started_on" if "started_on" in form.fields else "day")


def system_end(request, pk):
    found = get_object_or_404(System, pk=pk)
    form = SystemEndForm(sent(request), placements=standing_in(found), initial={"day": localdate()})

    def end(told):
        end_system(system=found, on=told["day"], today=localdate(), where_to=form.where_to(), by=request.user)
        messages.success(request, f"{found.name} has ended. Its records stay.")
        return redirect("system", pk=pk)

    if answer := carried_out(request, form, end, refuse=_refuse_ways):
        return answer
    context = {"system": found, "back_url": reverse("system", args=[pk])}
    return form_page(request, "propagation/system_end.html", form, context)


def system_restart(request, pk):
    found = get_object_or_404(System, pk=pk)
    form = RestartForm(
        sent(request),
        system=found,
        spots=found.spots.order_by("name"),
        placements=standing_in(found),
        initial={"ended_on": localdate(), "started_on": localdate()},
    )

    def restart(told):
        new = restart_system(
            system=found,
            name=told["name"],
            ended_on=told["ended_on"],
            started_on=told["started_on"],
            today=localdate(),
            spots=form.new_spots,
            survivors=form.survivors(),
            note=told["note"],
            by=request.user,
        )
        messages.success(request, f"{new.name} succeeds {found.name}.")
        return redirect("system", pk=new.pk)

    if answer := carried_out(request, form, restart, refuse=_refuse_ways):
        return answer
    context = {"system": found, "back_url": reverse("system", args=[pk])}
    return form_page(request, "propagation/system_restart.html", form, context)
