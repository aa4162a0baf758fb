"""How right the forecasts were."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.timezone import localdate
from django.views.decorators.http import require_http_methods, require_safe

from propagation.actions.try_method import ask_to_try
from propagation.forecasts.honesty import (
    ENOUGH,
    Errors,
    Figures,
    compared,
    how_right,
    kept,
    models_in_use,
    set_aside,
    verdict,
)
from propagation.forecasts.outlooks import bring_up_to_date
from propagation.forms.honesty import HonestyFilter
from propagation.models import BacktestRun
from propagation.pictures.calibration import calibration

PAST = "#past"


@require_safe
def forecasts(request):
    """What was said and what came, which sizes were not believed, and what the models rest on."""
    bring_up_to_date(localdate())
    form = HonestyFilter(request.GET)
    lineage = form.chosen
    found = how_right(lineage)
    kind, words = found.verdict
    return render(
        request,
        "propagation/forecasts.html",
        {
            "filter": {"form": form},
            "in_use": int(lineage is not None),
            "lineage": lineage,
            "found": found,
            "kind": kind,
            "verdict": words,
            "rows": [found.everything, *found.by_steps] if found.everything else [],
            "pictures": calibration("Forecasts", found.stated, found.ranks) if found.number >= ENOUGH else None,
            "set_aside": set_aside(lineage),
            "models": models_in_use(),
            **_past(),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
def tried_on_past(request):
    """Have the method tried on all past readings; asked for by the page while that runs."""
    if request.method == "POST":
        _, is_new = ask_to_try(by=request.user)
        if not is_new:
            messages.info(request, "It is running already.")
        return redirect(reverse("forecasts") + PAST)
    if not request.htmx:
        return redirect(reverse("forecasts") + PAST)
    return render(request, "propagation/parts/tried_on_past.html", _past())


def _past():
    """The run that goes on, and the latest that ended."""
    running = BacktestRun.objects.filter(finished_at=None).first()
    ended = BacktestRun.objects.exclude(finished_at=None).first()
    rows = _rows_of(ended.figures) if ended else []
    return {
        "running": running,
        "ended": ended,
        "past_rows": rows,
        "past_verdict": " ".join(filter(None, [verdict(rows[0])[1], compared(rows[0])])) if rows else "",
        "today_iso": localdate().isoformat(),
    }


def _rows_of(figures) -> list[Figures]:
    """Figures of a run as they stand in the table."""
    if not figures:
        return []
    rows = []
    for each in ({"steps": None} | figures, *figures["by_horizon"]):
        number, missed = each["forecasts"], each["median_abs_pct_error"]
        if not number:
            continue
        shares = tuple(kept(int(name) / 100, number, round(share * number)) for name, share in each["coverage"].items())
        rows.append(
            Figures(each["steps"], number, shares, Errors(missed["model"], missed["no_growth"], missed["last_rate"]))
        )
    return rows
