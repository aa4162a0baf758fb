"""What the labels floor has due."""

from django.urls import reverse

from labels.models import PrintedLabel
from propagation.agenda import Due, contributes_to_agenda
from propagation.models import Plug


@contributes_to_agenda(order=20)
def labels_to_print(day):
    """Plugs without a label, and labels that a correction made wrong."""
    unprinted = Plug.objects.unlabelled()
    count = unprinted.count()
    if count:
        yield Due(
            "Print a label" if count == 1 else f"Print {count} labels",
            reverse("labels"),
            count=count,
            since=unprinted.order_by("began_on").values_list("began_on", flat=True).first(),
            icon="labels",
        )
    stale = PrintedLabel.objects.stale().count()
    if stale:
        yield Due(
            "Print a label again" if stale == 1 else f"Print {stale} labels again",
            f"{reverse('labels')}?what=stale",
            count=stale,
            icon="reprint",
        )
