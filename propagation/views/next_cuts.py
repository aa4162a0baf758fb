"""When each mother can be cut next."""

from django.shortcuts import render
from django.utils.timezone import localdate

from propagation.forms.next_cuts import NextCutFilter
from propagation.models import Colony
from propagation.readings.next_cuts import ORDERS, in_sections, next_cut_rows


def next_cuts(request):
    """All living mothers, in the order they can be acted on."""
    today = localdate()
    form = NextCutFilter(request.GET)
    chosen = form.chosen()
    rows = next_cut_rows(today, **chosen)
    by_day = chosen["order"] == "day"
    return render(
        request,
        "propagation/next_cuts.html",
        {
            "today": today,
            "filter": {"form": form},
            "in_use": form.in_use(),
            "rows": rows,
            "sections": in_sections(rows, today) if by_day else [],
            "orders": [
                {"url": form.address(order=name), "words": words, "current": chosen["order"] == name}
                for name, (words, _) in ORDERS.items()
                if name != "worth" or any(row.price for row in rows)
            ],
            "any_at_all": bool(rows) or Colony.objects.alive().exists(),
        },
    )
