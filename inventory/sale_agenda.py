"""What sales have due. Each contributor costs a query or two, whatever is kept."""

from django.db.models import Q
from django.urls import reverse

from inventory.agenda_items import MOST_LOOKED_AT, _some
from inventory.models import Sale, SaleLine
from propagation.agenda import Due, contributes_to_agenda
from propagation.models import Fate

NOT_CLOSED = Q(cancelled_on=None, closed_on=None, agreed_on__isnull=False)


def _page(sales, state: str) -> str:
    """Where they are: the page of the one, or the list."""
    return reverse("sale", args=[sales[0][0]]) if len(sales) == 1 else f"{reverse('sales')}?state={state}"


@contributes_to_agenda(order=11)
def sold_plugs_that_cannot_be_handed_over(day):
    """Plugs and colonies of sales that died before they left: the buyer must be told."""
    gone = SaleLine.objects.binding().filter(
        (Q(plug__isnull=False) & ~Q(plug__fate=Fate.KEPT)) | Q(colony__ended_on__isnull=False)
    )
    sales = list(dict.fromkeys(gone.order_by("sale").values_list("sale", "sale__contact__name")[:MOST_LOOKED_AT]))
    if sales:
        words = "what they bought cannot be handed over"
        yield Due(f"Tell {_some(name for _, name in sales)}: {words}", _page(sales, "open"), len(sales), icon="warning")


@contributes_to_agenda(order=33)
def sales_to_hand_over(day):
    """Sales that are agreed and paid and still here."""
    waiting = Sale.objects.filter(NOT_CLOSED, left_on=None, paid_on__isnull=False).order_by("paid_on", "id")
    sales = list(waiting.values_list("pk", "contact__name", "paid_on")[:MOST_LOOKED_AT])
    if sales:
        yield Due(
            f"Hand over what is paid: {_some(name for _, name, _ in sales)}",
            _page(sales, "paid"),
            count=len(sales),
            since=sales[0][2],
            icon="stage-sold",
        )


@contributes_to_agenda(order=34)
def sales_not_paid(day):
    """Sales that left and are not paid."""
    owing = Sale.objects.filter(NOT_CLOSED, left_on__isnull=False, paid_on=None).order_by("left_on", "id")
    sales = list(owing.values_list("pk", "contact__name", "left_on")[:MOST_LOOKED_AT])
    if sales:
        yield Due(
            f"Ask {_some(name for _, name, _ in sales)} for the money: it left and is not paid",
            _page(sales, "owed"),
            count=len(sales),
            since=sales[0][2],
            icon="money",
        )
