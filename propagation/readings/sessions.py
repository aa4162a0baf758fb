"""What a keeper asks of cutting sessions."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Prefetch, Q, QuerySet, Sum

from propagation.models import CutEvent, CuttingSession, Fate, Plug


@dataclass(frozen=True)
class Correction:
    """A correction of a session as it is told: ``15 Jun 2026, keeper: M012 8 → 7 frags``."""

    at: datetime
    who: str
    sentence: str


def sessions_for_list() -> QuerySet[CuttingSession]:
    """Sessions, the last one first, with their cuts and ``frags``; two queries with the cuts."""
    taken = CutEvent.objects.filter(frags__gt=0).select_related("mother__lineage").order_by("id")
    return (
        CuttingSession.objects.annotate(frags=Sum("cut_events__frags", default=0))
        .prefetch_related(Prefetch("cut_events", taken, to_attr="cuts"))
        .order_by("-cut_on", "-id")
    )


def cuts_with_plugs(session: CuttingSession) -> list[CutEvent]:
    """The cuts of a session in their order, each with its ``plugs_now``: all but the void ones; two queries."""
    standing = Plug.objects.exclude(fate=Fate.VOID).select_related("rack").order_by("id")
    return list(
        session.cut_events.select_related("mother__lineage")
        .annotate(plug_count=Count("plugs", filter=~Q(plugs__fate=Fate.VOID)))
        .prefetch_related(Prefetch("plugs", standing, to_attr="plugs_now"))
        .order_by("id")
    )


def corrections_of(session: CuttingSession) -> list[Correction]:
    """What was corrected, the last thing first; one query."""
    records = (
        session.history.filter(history_type="~")
        .exclude(history_change_reason=None)
        .exclude(history_change_reason="")
        .select_related("history_user")
        .order_by("-history_id")
    )
    return [
        Correction(
            at=record.history_date,
            who=record.history_user.get_username() if record.history_user else "",
            sentence=record.history_change_reason,
        )
        for record in records
    ]
