"""Tells the floor below who waits for a plug."""

from django.urls import reverse
from django.utils.timezone import localdate

from inventory.models import Waiting
from propagation.in_line import InLine, tells_who_waits


@tells_who_waits
def those_who_wait(plug_id: int) -> list[InLine]:
    """The line for a plug, first come first."""
    rows = Waiting.objects.filter(plug=plug_id, ended_on=None).select_related("contact").order_by("since", "id")
    return [
        InLine(waiting.contact.name, localdate(waiting.since), reverse("contact", args=[waiting.contact_id]))
        for waiting in rows
    ]
