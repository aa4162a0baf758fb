"""Who waits for which plug, and who is next now that it is free."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef

from inventory.models import Waiting
from inventory.readings.availability import available_on

MOST_LOOKED_AT = 500


@dataclass(frozen=True)
class Place:
    """A place in the line for a plug, 1 being the next; ``is_free``: it is to be had, ``is_gone``: it died or left."""

    waiting: Waiting
    place: int
    is_free: bool

    @property
    def is_gone(self) -> bool:
        return not self.waiting.plug.is_kept

    @property
    def gets_it(self) -> bool:
        """Is it their turn?"""
        return self.is_free and self.place == 1


def places_in_line(day: date, *, plug=None, contact=None) -> list[Place]:
    """Everybody in line, or in that of one plug, or one contact alone, by plug and then first come first. One query."""
    found = Waiting.objects.filter(ended_on=None).select_related("contact", "plug__lineage")
    if plug is not None:
        found = found.filter(plug=plug)
    if contact is not None:
        theirs = Waiting.objects.filter(ended_on=None, contact=contact)
        found = found.filter(plug__in=theirs.values("plug"))
    found = found.annotate(plug_is_free=Exists(available_on(day).filter(pk=OuterRef("plug"))))
    places, before = [], {}
    for waiting in found.order_by("plug", "since", "id")[:MOST_LOOKED_AT]:
        before[waiting.plug_id] = before.get(waiting.plug_id, 0) + 1
        if contact is None or waiting.contact_id == contact.pk:
            places.append(Place(waiting, before[waiting.plug_id], waiting.plug_is_free))
    return places
