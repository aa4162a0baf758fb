"""Incidents: what is wrong now, opening and closing one."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localdate

from propagation.actions.incidents import close_incident, open_incident
from propagation.forms.incidents import IncidentCloseForm, IncidentForm
from propagation.models import Incident, System
from propagation.paging import UncountedPaginator
from propagation.views.answers import carried_out, form_page, sent

PAST_ROWS = 25


def incidents(request):
    every = Incident.objects.select_related("colony__lineage", "system")
    past = UncountedPaginator(every.filter(closed_on__isnull=False).order_by("-closed_on", "-pk"), PAST_ROWS)
    return render(
        request,
        "propagation/incidents.html",
        {
            "today": localdate(),
            "open_incidents": every.open().order_by("opened_on", "pk"),
            "past": past.get_page(request.GET.get("page")),
        },
    )


def _page_of(incident) -> str:
    if incident.colony_id:
        return reverse("colony", args=[incident.colony.tag])
    return reverse("system", args=[incident.system_id])


def incident_new(request):
    form = IncidentForm(
        sent(request),
        initial={
            "colony": request.GET.get("colony", ""),
            "system": System.objects.filter(pk=request.GET.get("system") or 0).first()
            if request.GET.get("system", "").isdecimal()
            else None,
            "day": localdate(),
        },
    )

    def record(told):
        incident = open_incident(
            kind=told["kind"],
            on=told["day"],
            today=localdate(),
            colony=told["colony"],
            system=told["system"],
            note=told["note"],
            by=request.user,
        )
        messages.success(request, f"{incident} is recorded.")
        return redirect(_page_of(incident))

    if answer := carried_out(request, form, record):
        return answer
    return form_page(
        request,
        "propagation/form.html",
        form,
        {
            "heading": "Something is wrong",
            "back_url": reverse("incidents"),
            "back_label": "Incidents",
            "icon_name": "incident",
            "draft": "incident",
        },
    )


def incident_close(request, pk):
    incident = get_object_or_404(Incident.objects.select_related("colony", "system"), pk=pk)
    concerned = incident.colony or incident.system
    form = IncidentCloseForm(sent(request), initial={"day": localdate()})

    def close(told):
        close_incident(incident=incident, on=told["day"], today=localdate(), note=told["note"], by=request.user)
        messages.success(request, f"{incident.get_kind_display()} of {concerned} is over.")
        return redirect(_page_of(incident))

    if answer := carried_out(request, form, close):
        return answer
    return form_page(
        request,
        "propagation/form.html",
        form,
        {
            "heading": f"{incident.get_kind_display()} is over",
            "lead": f"{concerned}, since {date_format(incident.opened_on)}. {incident.note}",
            "submit_label": "It is over",
            "back_url": _page_of(incident),
            "back_label": str(concerned),
        },
    )
