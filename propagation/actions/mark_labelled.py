from datetime import datetime

from django.db import transaction

from propagation.models import Colony, Plug


@transaction.atomic
def mark_labelled(*, plugs=(), colonies=(), at: datetime) -> None:
    """Note that these have a printed label now. From then on a plug's origin is fixed (guards.py)."""
    Plug.objects.filter(pk__in=[plug.pk for plug in plugs], labelled_at=None).update(labelled_at=at)
    Colony.objects.filter(pk__in=[colony.pk for colony in colonies], labelled_at=None).update(labelled_at=at)
