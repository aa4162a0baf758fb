"""Planned absences: coming and past, planning, changing and calling one off."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.html import format_html
from django.utils.timezone import localdate

from propagation.actions.changes import last_change
from propagation.actions.plan_absence import call_off_absence, change_absence, plan_absence
from propagation.errors import AbsencesOverlap
from propagation.forms.absences import AbsenceForm
from propagation.forms.fields import refuse
from propagation.models import Absence
from propagation.paging import UncountedPaginator
from propagation.readings.absences import absences_from, absences_past
from propagation.readings.changes import changes_of
from propagation.views.answers import carried_out, form_page, sent, tried

PAST_ROWS = 25


def absences(request):
    return render(
        request,
        "propagation/absences.html",
        {
            "today": localdate(),
            "coming": absences_from(localdate()),
            "past": UncountedPaginator(absences_past(localdate()), PAST_ROWS).get_page(request.GET.get("page")),
        },
    )


def absence_new(request):
    form = AbsenceForm(sent(request))

    def plan(told):
        absence = plan_absence(
            first_day=told["first_day"],
            last_day=told["last_day"],
            note=told["note"],
            today=localdate(),
            by=request.user,
        )
        messages.success(request, f"{absence} is planned. No cut is forecast that would heal with nobody there.")
        return redirect("absences")

    if answer := carried_out(request, form, plan, refuse=_refuse):
        return answer
    return _form(request, form, heading="Plan an absence")


def absence_edit(request, pk):
    absence = get_object_or_404(Absence, pk=pk)
    if absence.called_off_at is not None:
        messages.error(request, "This absence was called off. Plan a new one.")
        return redirect("absences")
    if request.method == "POST" and "call_off" in request.POST:
        tried(request, lambda: call_off_absence(absence=absence, by=request.user), f"{absence}: called off.")
        return redirect("absences")
    form = AbsenceForm(
        sent(request),
        initial={
            "first_day": absence.first_day,
            "last_day": absence.last_day,
            "note": absence.note,
            "based_on": last_change(absence),
        },
    )

    def change(told):
        kept = change_absence(absence=absence, today=localdate(), by=request.user, **told)
        messages.success(request, f"{kept} is saved.")
        return redirect("absences")

    if answer := carried_out(request, form, change, refuse=_refuse):
        return answer
    return _form(
        request,
        form,
        heading="Change an absence",
        absence=absence,
        changes=changes_of(absence, "first_day", "last_day", "note"),
    )


def _refuse(form, error):
    """Put a refusal into the form, with a link to the absence that is in the way."""
    if isinstance(error, AbsencesOverlap):
        link = format_html(
            '{} <a href="{}">Open that absence</a>', str(error), reverse("absence_edit", args=[error.other.pk])
        )
        form.add_error("first_day", ValidationError(link))
    else:
        refuse(form, error)


def _form(request, form, **context):
    context |= {"back_url": reverse("absences"), "back_label": "Absences", "icon_name": "calendar"}
    return form_page(request, "propagation/absence_form.html", form, context)
