"""What is still to print."""

from django.db.models import Count, Q

from propagation.models import Colony, CuttingSession, Fate, Plug
from propagation.readings.find import find_colony, find_plug

RECENT_SESSIONS = 6


def plugs_named(words) -> list[Plug]:
    """Plugs by their ids or codes, as links and forms of other pages give them.

    Raises CodeMistyped or NothingFound for the first that is neither.
    """
    ids = [int(word) for word in words if word.isascii() and word.isdigit() and len(word) < 8]
    found = list(Plug.objects.filter(pk__in=ids))
    known = {str(plug.pk) for plug in found}
    return found + [find_plug(word) for word in words if word not in known]


def colonies_named(words) -> list[Colony]:
    """Colonies by their tags or codes. Raises NothingFound for the first that is neither."""
    return [find_colony(word) for word in words]


def recent_sessions():
    """The latest sittings, with how many of their plugs are kept."""
    kept = Count("cut_events__plugs", filter=Q(cut_events__plugs__fate=Fate.KEPT))
    return CuttingSession.objects.order_by("-cut_on", "-id").annotate(plug_count=kept)[:RECENT_SESSIONS]
