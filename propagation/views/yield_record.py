"""What each mother has given, and one system against another."""

from django.core.paginator import Paginator
from django.shortcuts import render
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe

from propagation.earnings import earnings_are_kept
from propagation.forms.compare_systems import CompareSystemsForm
from propagation.forms.yield_record import YieldRecordFilter
from propagation.pictures.rates import RateRow, rates
from propagation.readings.system_comparison import compare, default_pair
from propagation.readings.yield_record import only, yield_record
from propagation.tables.system_pairs import SystemPairTable, per_cent
from propagation.tables.yield_record import YieldRecordTable, few_digits
from propagation.yield_model.yield_record import Verdict

ROWS = 50
RANKINGS = {"rate": "Frags a year", "count": "Frags", "usable": "Usable frags", "money": "Money"}


@require_safe
def mothers_yield(request):
    """Mothers ranked by what they gave."""
    form = YieldRecordFilter(request.GET, rankings=list(RANKINGS))
    by = form.by_what
    everybody = yield_record(localdate(), by=by)
    with_money = any(each.earned for each in everybody)
    rankings = [name for name in RANKINGS if name != "money" or with_money]
    if by not in rankings:  # a ranking of zeros
        by = rankings[0]
        everybody = yield_record(localdate(), by=by)
    rows = only(everybody, **form.chosen())
    page = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    return render(
        request,
        "propagation/yield_record.html",
        {
            "table": YieldRecordTable(page.object_list, by=by, with_money=with_money),
            "page": page,
            "picture": _picture_of_rates(page.object_list) if by == "rate" else None,
            "number": len(rows),
            "of": len(everybody),
            "by": by,
            "with_money": with_money,
            "money_is_kept": earnings_are_kept(),
            "filter": {"form": form},
            "in_use": form.in_use(),
            "tabs": [{"url": form.address(by=n), "words": RANKINGS[n], "current": n == by} for n in rankings],
        },
    )


def _picture_of_rates(mothers):
    rows = [
        RateRow(
            f"{each.colony.tag} {each.colony.lineage.name}",
            each.rate.mean,
            each.rate.low,
            each.rate.high,
            f"{few_digits(each.rate.mean)} a year",
        )
        for each in mothers
    ]
    return rates("Frags a year of each mother", rows, unit="frags a year")


@require_safe
def compare_systems(request):
    """Two systems over the same ages, by the lineages that lived in both."""
    first, second = default_pair()
    if first is None:
        return render(request, "propagation/compare_systems.html", {})
    form = CompareSystemsForm(request.GET, first=first, second=second)
    context = {"form": form}
    if form.is_valid():
        first, second = form.cleaned_data["first"], form.cleaned_data["second"]
        youngest, oldest = form.ages
        found = compare(first, second, youngest=youngest, oldest=oldest, day=localdate())
        context |= {
            "first": first,
            "second": second,
            "comparisons": [_shown(comparison, first, second) for comparison in found],
        }
    return render(request, "propagation/compare_systems.html", context)


def _shown(comparison, first, second):
    """A comparison with its figures as they are written."""
    interval = None
    if comparison.difference is not None:
        difference, low, high = (
            per_cent(share, signed=True) for share in (comparison.difference, comparison.low, comparison.high)
        )
        interval = {"difference": difference, "low": low, "high": high}
    return {
        "comparison": comparison,
        "interval": interval,
        "verdict": comparison.verdict.name.lower(),
        "heading": {
            Verdict.FIRST: f"Faster in {first}",
            Verdict.SECOND: f"Faster in {second}",
            Verdict.ALIKE: "No difference seen",
            Verdict.TOO_FEW: "Too few to tell",
        }[comparison.verdict],
        "picture": _picture_of_pairs(comparison, first, second),
        "table": SystemPairTable(comparison.pairs, first=first, second=second) if comparison.pairs else None,
    }


def _picture_of_pairs(comparison, first, second):
    rows = [
        RateRow(pair.lineage.name, *(100 * share for share in pair.interval), per_cent(pair.apart, signed=True))
        for pair in comparison.pairs
    ]
    if comparison.difference is not None:
        together = (100 * share for share in (comparison.difference, comparison.low, comparison.high))
        rows.append(RateRow("All together", *together, per_cent(comparison.difference, signed=True)))
    return rates(f"Growth a month: {second} less {first}", rows, unit="% of size a month", zero_words="no difference")
