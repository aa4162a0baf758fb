"""The ledger of a year: what it comes to, its lines, and as a file."""

import tempfile
from datetime import date

from django.http import FileResponse, Http404, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe

from inventory.ledger_files import csv_lines, write_xlsx
from inventory.readings.ledger import NOT_TAX_ADVICE, Totals, entries, rows_of, years

ROWS = 50
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_safe
def ledger(request):
    """The latest year in which money moved, or this one."""
    return redirect("ledger_of_year", (years() or [localdate().year])[0])


def _checked(year: int) -> int:
    if not date.min.year <= year <= date.max.year:
        raise Http404("There is no such year.")
    return year


@require_safe
def ledger_of_year(request, year):
    """What the year comes to, month by month and kind by kind, and its lines."""
    year = _checked(year)
    totals, shown, wanted = Totals.none(), [], _page_number(request)
    first = (wanted - 1) * ROWS
    for number, row in enumerate(rows_of(year)):
        totals.add(row)
        if first <= number < first + ROWS:
            shown.append(row)
    if not shown and wanted > 1 and totals.lines:  # a page that there is not
        return redirect("ledger_of_year", year)
    every = years()
    return render(
        request,
        "inventory/ledger.html",
        {
            "year": year,
            "years": sorted({year, *every}, reverse=True),
            "any_at_all": bool(every),
            "totals": totals,
            "tables": [_table(totals, currency) for currency in totals.currencies],
            "entries": list(entries(year, shown, first=first + 1)),
            "page": {
                "number": wanted,
                "has_previous": wanted > 1,
                "previous_page_number": wanted - 1,
                "next_page_number": wanted + 1,
                "has_next": first + ROWS < totals.lines,
                "first": first + 1,
                "last": first + len(shown),
            },
            "not_tax_advice": NOT_TAX_ADVICE,
        },
    )


def _page_number(request) -> int:
    given = request.GET.get("page", "1")
    return max(int(given), 1) if given.isascii() and given.isdigit() and len(given) < 7 else 1


def _table(totals: Totals, currency: str) -> dict:
    """What the year comes to in one currency: a row a month, a column a kind."""
    kinds = totals.kinds_in(currency)
    return {
        "currency": currency,
        "kinds": [kind.label for kind in kinds],
        "months": [
            (date(2000, month, 1), [by_kind.get(kind) for kind in kinds], totals.money(currency, month))
            for month, by_kind in totals.by_month(currency)
        ],
        "year": [totals.kinds[currency, kind] for kind in kinds],
        "money": totals.money(currency),
        "credit": totals.credit(currency),
    }


@require_safe
def ledger_csv(request, year):
    """The year as a file by RFC 4180; ``?plain`` leaves out the mark by which spreadsheets know UTF-8."""
    year = _checked(year)
    response = StreamingHttpResponse(
        csv_lines(year, for_spreadsheets="plain" not in request.GET),
        content_type="text/csv; charset=utf-8; header=present",
    )
    response["Content-Disposition"] = f'attachment; filename="ledger-{year}.csv"'
    return response


@require_safe
def ledger_xlsx(request, year):
    """The year as a workbook, made on the disk and gone once it was read."""
    year = _checked(year)
    file = tempfile.TemporaryFile()  # noqa: SIM115 - the answer closes it
    write_xlsx(file, year)
    file.seek(0)
    return FileResponse(file, as_attachment=True, filename=f"ledger-{year}.xlsx", content_type=XLSX)
