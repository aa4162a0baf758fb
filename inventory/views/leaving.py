"""Plugs that leave: one from its page, several from the ready list."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_POST

from inventory.actions.let_go import let_go_to, take_back_leaving
from inventory.forms.holds import contact_suggestions
from inventory.forms.leaving import LeavingForm
from inventory.readings.holds import active_hold_of
from inventory.readings.safekeeping import safekeeping_of
from inventory.readings.sales import sale_of
from inventory.readings.trades import trade_of
from inventory.views.holds import page_of_plug, plugs_asked
from propagation.actions.part_with import LEFT
from propagation.errors import PlugGone, RametError
from propagation.models import Fate
from propagation.promises import promises_of
from propagation.readings.rack import back_in_words
from propagation.views.answers import carried_out, form_page, sent, tried
from propagation.views.found import plug_or_404


def plug_left(request, code):
    """One plug was sold, traded or given away."""
    plug = plug_or_404(code)
    if plug.fate in LEFT and request.method != "POST":
        return render(
            request,
            "inventory/left_before.html",
            {
                "plug": plug,
                "notes": plug.holds.filter(released_on__gte=plug.ended_on).exclude(note="").select_related("contact"),
                "line": sale_of(plug),
                "traded": trade_of(plug),
                "kept": safekeeping_of(plug),
                "back_url": page_of_plug(plug),
            },
        )
    if not plug.is_kept and request.method != "POST":
        messages.info(request, str(PlugGone(plug, "parted with")))
        return redirect(page_of_plug(plug))
    hold = active_hold_of(plug, localdate())
    return _left_page(
        request,
        [plug],
        back=page_of_plug(plug),
        back_label=plug.code_in_clear,
        contact_name=hold.contact.name if hold else "",
    )


@require_POST
def plug_left_take_back(request, code):
    """It did not leave after all."""
    plug = plug_or_404(code)
    tried(
        request,
        lambda: take_back_leaving(plug=plug, by=request.user),
        lambda kept: f"Plug {plug.code_in_clear} is kept again. {back_in_words([kept])}",
    )
    return redirect(page_of_plug(plug))


def plugs_left(request):
    """Several plugs left together: those that are named in the address, or ticked in the form."""
    try:
        offered, chosen = plugs_asked(request)
    except RametError as error:
        messages.error(request, str(error))
        return redirect("ready")
    return _left_page(request, offered, chosen=chosen, back=reverse("ready"), back_label="Ready")


def _left_page(request, plugs, *, back, back_label, contact_name="", chosen=None):
    today = localdate()
    several = chosen is not None and len(plugs) > 1
    form = LeavingForm(sent(request), several=several, initial={"day": today, "contact_name": contact_name})

    def let_go(told):
        gone = let_go_to(
            contact_name=told["contact_name"],
            is_somebody_new=told["somebody_new"],
            plugs=chosen or plugs,
            fate=told["fate"],
            on=told["day"],
            today=today,
            confirmed=told["confirmed"],
            by=request.user,
        )
        messages.success(request, _said(gone, told["contact_name"]))
        return redirect(back)

    if answer := carried_out(request, form, let_go):
        return answer
    promises = promises_of(plugs)
    ticked = {plug.code for plug in (chosen or plugs)} - form.taken_out
    context = {
        "rows": [(plug, plug.code in ticked, promises.get(plug.pk, "")) for plug in plugs],
        "several": chosen is not None,
        "back_url": back,
        "back_label": back_label,
        "suggestions": contact_suggestions(),
    }
    return form_page(request, "inventory/left.html", form, context)


def _said(gone, name) -> str:
    what = f"Plug {gone[0].code_in_clear} is" if len(gone) == 1 else f"{len(gone)} plugs are"
    return f"{what} {Fate(gone[0].fate).label.lower()}{f' to {name}' if name else ''}."
