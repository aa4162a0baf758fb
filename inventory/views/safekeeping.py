"""What contacts keep for the owner: the list, one of them, and a form for each act."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe

from inventory.actions.keep_safe import came_back, due_on, end_safekeeping, heard_of, leave_with_name
from inventory.forms.acquisitions import suggestions
from inventory.forms.safekeeping import BackForm, EndForm, HeardForm, LeaveWithForm
from inventory.models import Safekeeping
from inventory.readings.safekeeping import kept_before, kept_now
from inventory.views.holds import remember_contact
from propagation.paging import UncountedPaginator
from propagation.readings.changes import changes_of
from propagation.views.answers import carried_out, form_page, sent

ROWS = 50


@require_safe
def safekeeping(request):
    """Who keeps what, after whom to ask first; or what came of those that ended."""
    is_past = request.GET.get("which") == "ended"
    rows = kept_before() if is_past else kept_now()
    page = UncountedPaginator(rows, ROWS).get_page(request.GET.get("page"))
    here = reverse("safekeeping")
    return render(
        request,
        "inventory/safekeeping.html",
        {
            "page": page,
            "is_past": is_past,
            "today": localdate(),
            "any_at_all": bool(page.object_list) or Safekeeping.objects.exists(),
            "tabs": [
                {"url": here, "words": "Kept now", "current": not is_past},
                {"url": f"{here}?which=ended", "words": "Ended", "current": is_past},
            ],
        },
    )


@require_safe
def safekeeping_one(request, pk):
    found = get_object_or_404(Safekeeping.objects.select_related("contact", "plug__lineage"), pk=pk)
    return render(
        request,
        "inventory/safekeeping_one.html",
        {
            "kept": found,
            "ask_on": due_on(found),
            "today": localdate(),
            "returns": found.plug.returns.order_by("pk"),
            "changes": changes_of(found, "asked_on", "note", "outcome"),
        },
    )


def safekeeping_new(request):
    """A plug goes to somebody who keeps it alive for the owner."""
    form = LeaveWithForm(
        sent(request),
        initial={
            "day": localdate(),
            "plug": request.GET.get("plug", ""),
            "contact_name": request.GET.get("contact", ""),
        },
    )

    def leave(told):
        made = leave_with_name(
            plug=told["plug"],
            contact_name=told["contact_name"],
            is_somebody_new=told["somebody_new"],
            on=told["day"],
            today=localdate(),
            ask_every_days=told["ask_every_days"],
            note=told["note"],
            confirmed=told["confirmed"],
            by=request.user,
        )
        remember_contact(request, made.contact)
        messages.success(request, f"{made.contact} keeps plug {made.plug.code_in_clear} for you.")
        return redirect("safekeeping_one", pk=made.pk)

    if answer := carried_out(request, form, leave):
        return answer
    return coral_form_page(
        request,
        form,
        heading="Leave a coral with somebody",
        lead="They keep it alive for you. It leaves as given away, and you are reminded to ask after it.",
        words="It is with them",
        back=reverse("safekeeping"),
        back_label="Safekeeping",
        suggestions=suggestions(),
    )


def _act_page(request, pk, form_class, act, *, heading, lead, words, said):
    """A form of one act on a safekeeping; back to its page when it is done, or ended in the meantime."""
    found = get_object_or_404(Safekeeping.objects.select_related("contact", "plug__lineage"), pk=pk)
    code = found.plug.code_in_clear
    here = reverse("safekeeping_one", args=[pk])
    if found.ended_on and request.method != "POST":
        messages.info(request, f"That ended: {found.get_outcome_display().lower()}.")
        return redirect(here)
    form = form_class(sent(request), initial={"day": localdate(), "note": found.note})

    def act_on_it(told):
        act(found, told)
        messages.success(request, said.format(code=code, name=found.contact))
        return redirect(here)

    if answer := carried_out(request, form, act_on_it):
        return answer
    return coral_form_page(
        request,
        form,
        heading=heading.format(code=code),
        lead=lead.format(code=code, name=found.contact),
        words=words,
        back=here,
        back_label=code,
    )


def safekeeping_heard(request, pk):
    return _act_page(
        request,
        pk,
        HeardForm,
        lambda found, told: heard_of(
            safekeeping=found, on=told["day"], note=told["note"], today=localdate(), by=request.user
        ),
        heading="{code} is alive",
        lead="{name} says so. The days until you ask again count from there.",
        words="It is alive",
        said="{code} is alive at {name}’s.",
    )


def safekeeping_end(request, pk):
    return _act_page(
        request,
        pk,
        EndForm,
        lambda found, told: end_safekeeping(
            safekeeping=found, outcome=told["outcome"], on=told["day"], today=localdate(), by=request.user
        ),
        heading="{code} is kept for you no more",
        lead="It was lost at {name}’s, or is theirs for good. You are not reminded of it any more.",
        words="That is how it ended",
        said="You are not reminded of {code} any more.",
    )


def safekeeping_back(request, pk):
    return _act_page(
        request,
        pk,
        BackForm,
        lambda found, told: came_back(
            safekeeping=found,
            on=told["day"],
            how=told["how"],
            tag=told["tag"],
            count=told["count"],
            spot=told["spot"],
            rack=told["rack"],
            submission=told["submission"],
            today=localdate(),
            by=request.user,
        ),
        heading="{code} came back",
        lead="What comes gets a code of its own, and its thread goes on from {code}.",
        words="It came back",
        said="It is back from {name}. Print its label.",
    )


def coral_form_page(request, form, *, heading, lead, words, back, back_label, suggestions=None):
    """The page of a form about a coral that is with somebody else, or goes there."""
    context = {
        "heading": heading,
        "lead": lead,
        "words": words,
        "back_url": back,
        "back_label": back_label,
        "suggestions": suggestions,
    }
    return form_page(request, "inventory/safekeeping_form.html", form, context)
