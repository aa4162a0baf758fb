"""So many frags of a line by a day."""

from django.shortcuts import render
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe

from propagation.forecasts.orders import HEALED_BY_THEN, plan_order
from propagation.forms.orders import OrderForm
from propagation.models import Lineage


@require_safe
def orders(request):
    """The question, and below it what to cut, when, and how likely it is done."""
    today = localdate()
    form = OrderForm(request.GET, today=today)
    order = None
    if form.is_valid():
        asked = form.cleaned_data
        order = plan_order(
            asked["lineage"],
            wanted=asked["frags"],
            by_day=asked["day"],
            today=today,
            use_ready=asked["ready"],
            use_healing=asked["healing"],
        )
    return render(
        request,
        "propagation/orders.html",
        {
            "form": form,
            "order": order,
            "today": today,
            "any_at_all": order is not None or Lineage.objects.exists(),
            "healed_percent": round(100 * HEALED_BY_THEN * order.healed_share) if order else None,
        },
    )
