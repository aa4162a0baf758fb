"""The line for a plug that somebody has."""

from datetime import timedelta

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST

from inventory.actions.wait_in_line import LONGEST_NOTE, give_up_waiting, hold_for_next, wait_for
from inventory.errors import NearlyTheSameName
from inventory.forms.holds import USUAL_LENGTH, contact_name_field, contact_suggestions, too_long
from inventory.models import Waiting
from inventory.views.holds import plug_or_404
from propagation.errors import RametError
from propagation.forms.fields import refuse


class WaitForm(forms.Form):
    """Who waits."""

    contact_name = contact_name_field(label="Who waits")
    somebody_new = forms.BooleanField(label="This is somebody else, add them", required=False, widget=forms.HiddenInput)
    note = forms.CharField(
        max_length=LONGEST_NOTE, required=False, error_messages={"max_length": too_long(LONGEST_NOTE)}
    )


def plug_wait(request, code):
    """Put somebody in line for a plug."""
    plug = plug_or_404(code)
    form = WaitForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            waiting = wait_for(
                plug=plug,
                contact_name=told["contact_name"],
                is_somebody_new=told["somebody_new"],
                note=told["note"],
                today=localdate(),
                by=request.user,
            )
        except NearlyTheSameName as error:
            form.fields["somebody_new"].widget = forms.CheckboxInput()
            refuse(form, error)
        except RametError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{waiting.contact} is in line for {plug}.")
            return redirect("hold", plug.code)
    return render(
        request,
        "inventory/wait.html",
        {
            "form": form,
            "heading": f"Wait for {plug.code_in_clear}",
            "lead": "Whoever came first is next. Once the plug is free again you are told, and hold it with one tap.",
            "back_url": reverse("hold", args=[plug.code]),
            "back_label": plug.code_in_clear,
            "submit_label": "Put in line",
            "suggestions": contact_suggestions(),
        },
        status=422 if form.errors else 200,
    )


@require_POST
def waiting_end(request, pk):
    """They wait no more."""
    waiting = get_object_or_404(Waiting, pk=pk)
    try:
        ended = give_up_waiting(waiting=waiting, today=localdate(), by=request.user)
    except RametError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"{ended.contact} waits for {ended.plug} no more.")
    return redirect("holds")


@require_POST
def waiting_hold(request, pk):
    """The plug is held for the next in line, for a week."""
    waiting = get_object_or_404(Waiting, pk=pk)
    today = localdate()
    try:
        hold = hold_for_next(waiting=waiting, until=today + timedelta(days=USUAL_LENGTH), today=today, by=request.user)
    except RametError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"{hold.plug} is held for {hold.contact} until {date_format(hold.until)}.")
    return redirect("holds")
