"""The line for a plug that somebody has."""

from datetime import timedelta

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST

from inventory.actions.wait_in_line import LONGEST_NOTE, give_up_waiting, hold_for_next, wait_for
from inventory.errors import NearlyTheSameName
from inventory.forms.holds import USUAL_LENGTH, contact_name_field, contact_suggestions, too_long
from inventory.models import Waiting
from propagation.forms.fields import AsksWhenWarned
from propagation.views.answers import carried_out, form_page, sent, tried
from propagation.views.found import plug_or_404


class WaitForm(AsksWhenWarned, forms.Form):
    """Who waits."""

    contact_name = contact_name_field(label="Who waits")
    somebody_new = forms.BooleanField(label="This is somebody else, add them", required=False)
    note = forms.CharField(
        max_length=LONGEST_NOTE, required=False, error_messages={"max_length": too_long(LONGEST_NOTE)}
    )
    asks = {NearlyTheSameName: "somebody_new"}


def plug_wait(request, code):
    """Put somebody in line for a plug."""
    plug = plug_or_404(code)
    form = WaitForm(sent(request))

    def put_in_line(told):
        waiting = wait_for(
            plug=plug,
            contact_name=told["contact_name"],
            is_somebody_new=told["somebody_new"],
            note=told["note"],
            today=localdate(),
            by=request.user,
        )
        messages.success(request, f"{waiting.contact} is in line for {plug}.")
        return redirect("hold", plug.code)

    if answer := carried_out(request, form, put_in_line):
        return answer
    context = {
        "heading": f"Wait for {plug.code_in_clear}",
        "lead": "Whoever came first is next. Once the plug is free again you are told, and hold it with one tap.",
        "back_url": reverse("hold", args=[plug.code]),
        "back_label": plug.code_in_clear,
        "submit_label": "Put in line",
        "suggestions": contact_suggestions(),
    }
    return form_page(request, "inventory/wait.html", form, context)


@require_POST
def waiting_end(request, pk):
    """They wait no more."""
    waiting = get_object_or_404(Waiting, pk=pk)
    tried(
        request,
        lambda: give_up_waiting(waiting=waiting, today=localdate(), by=request.user),
        lambda ended: f"{ended.contact} waits for {ended.plug} no more.",
    )
    return redirect("holds")


@require_POST
def waiting_hold(request, pk):
    """The plug is held for the next in line, for a week."""
    waiting = get_object_or_404(Waiting, pk=pk)
    today = localdate()
    until = today + timedelta(days=USUAL_LENGTH)
    tried(
        request,
        lambda: hold_for_next(waiting=waiting, until=until, today=today, by=request.user),
        lambda hold: f"{hold.plug} is held for {hold.contact} until {date_format(hold.until)}.",
    )
    return redirect("holds")
