"""Trades: the list, what went out and what came in."""

from dataclasses import dataclass

from django.db.models import Count, Q

from inventory.models import Contact, Trade, TradeLine
from propagation.models import Acquisition, Colony, Plug


def trades_with_counts():
    """All trades, the latest first, each with ``out`` (plugs and colonies) and ``came`` (lines of what came)."""
    counted = Trade.objects.select_related("contact").annotate(
        out=Count("lines", filter=Q(lines__acquisition=None)),
        came=Count("lines", filter=Q(lines__acquisition__isnull=False)),
    )
    return counted.order_by("-traded_on", "-id")


def trades_of_contact(contact: Contact):
    """The trades with a contact, the latest first, as `trades_with_counts`."""
    return trades_with_counts().filter(contact=contact)


@dataclass(frozen=True)
class Came:
    """One line of what came: its acquisition, and the plugs or colonies of it."""

    acquisition: Acquisition
    plugs: list[Plug]
    colonies: list[Colony]


def sides_of(trade: Trade) -> tuple[list[TradeLine], list[Came]]:
    """What went out, and what came in, also of a trade that was taken back. Four queries."""
    lines = trade.lines.select_related("plug__lineage", "colony__lineage", "acquisition__lineage").order_by("id")
    out, came = [], []
    for line in lines.prefetch_related("acquisition__plugs", "acquisition__colonies"):
        if line.acquisition_id is None:
            out.append(line)
        else:
            acquisition = line.acquisition
            came.append(Came(acquisition, list(acquisition.plugs.all()), list(acquisition.colonies.all())))
    return out, came


def trade_of(plug: Plug) -> TradeLine | None:
    """The standing trade in which a plug went out. One query."""
    return TradeLine.objects.filter(plug=plug, cancelled_on=None).select_related("trade__contact").first()
