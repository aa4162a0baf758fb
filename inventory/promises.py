"""Tells the floor below which plugs are promised."""

from django.utils.formats import date_format
from django.utils.timezone import localdate

from inventory.models import Hold, SaleLine, TradeLine
from propagation.models import Fate
from propagation.promises import tells_promises


@tells_promises
def held_plugs(plug_ids: list[int]) -> dict[int, str]:
    """``{plug id: "to NAME until 3 Dec 2026"}`` for the plugs that are held today."""
    holds = Hold.objects.active_on(localdate()).filter(plug__in=plug_ids).select_related("contact")
    return {hold.plug_id: f"to {hold.contact} until {date_format(hold.until)}" for hold in holds}


@tells_promises
def plugs_in_sales(plug_ids: list[int]) -> dict[int, str]:
    """``{plug id: "to NAME in sale 12"}`` for the plugs in a sale that stands and has not left."""
    lines = SaleLine.objects.binding().filter(plug__in=plug_ids).select_related("sale__contact")
    return {line.plug_id: f"to {line.sale.contact} in sale {line.sale_id}" for line in lines}


@tells_promises
def plugs_in_trades(plug_ids: list[int]) -> dict[int, str]:
    """``{plug id: "to NAME in trade 3"}`` for plugs of a standing trade that are still kept."""
    lines = TradeLine.objects.filter(cancelled_on=None, plug__in=plug_ids, plug__fate=Fate.KEPT)
    return {
        line.plug_id: f"to {line.trade.contact} in trade {line.trade_id}"
        for line in lines.select_related("trade__contact")
    }
