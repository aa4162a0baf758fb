"""What each line and each mother cost and gave."""

from django.http import QueryDict
from django.shortcuts import get_object_or_404, render
from django.utils.timezone import localdate
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from inventory.money import write_amount
from inventory.readings.books import Account, PaidBack, book_of, books
from inventory.readings.price_history import price_history
from inventory.tables.books import LineBookTable, MotherBookTable
from propagation.models import Colony, Lineage
from propagation.pictures.money_curve import MoneyStep, money_curve

ROWS = 50
STATES = {
    "": "All",
    PaidBack.YES.value: "Paid for itself",
    PaidBack.NOT_YET.value: "Not yet",
    PaidBack.NOTHING_PAID.value: "Nothing paid",
    PaidBack.UNKNOWN.value: "Cost not known",
}


def address(**told) -> str:
    """A query of those that are set."""
    query = QueryDict(mutable=True)
    query.update({name: value for name, value in told.items() if value})
    return f"?{query.urlencode()}"


def currency_tabs(currencies, current, **told):
    """One tab a currency, where there is more than one."""
    if len(currencies) == 1:
        return []
    return [{"url": address(currency=each, **told), "words": each, "current": each == current} for each in currencies]


@require_safe
def books_page(request):
    """Every line with what it cost and gave."""
    today = localdate()
    found = books(today, currency=request.GET.get("currency"))
    text, state = request.GET.get("q", "").strip(), request.GET.get("state", "")
    state = state if state in STATES else ""
    fitting = [line for line in found.lines if text.lower() in _searched(line.lineage)]
    counted = {name: sum(_is(line, name) for line in fitting) for name in STATES}
    rows = [line for line in fitting if _is(line, state)]
    table = LineBookTable(rows, every=rows, currency=found.currency)
    RequestConfig(request, paginate={"per_page": ROWS}).configure(table)
    told = {"q": text, "sort": request.GET.get("sort")}
    return render(
        request,
        "inventory/books.html",
        {
            "books": found,
            "table": table,
            "rows": rows,
            "text": text,
            "state": state,
            "is_narrowed": bool(text or state),
            "without_sale": sum(line.account.frags.sold_without_sale for line in found.lines),
            "tabs": [
                {
                    "url": address(state=name, currency=request.GET.get("currency"), **told),
                    "words": words,
                    "current": name == state,
                    "count": counted[name],
                }
                for name, words in STATES.items()
            ],
            "currencies": currency_tabs(found.currencies, found.currency, state=state, **told),
        },
    )


def _searched(lineage) -> str:
    return f"{lineage.name}\n{lineage.binomial}\n{lineage.sold_as}".lower()


def _is(line, state) -> bool:
    return not state or line.account.pay_back.state == state


def picture_of(title: str, account: Account, today):
    """What came in over time against what was paid; None where no money is known."""
    known = [(day, amount) for day, amount in account.costs if amount]
    days = sorted({day for day, _ in known} | {day for day, _ in account.money})
    steps, came_in, paid = [], 0, 0
    for day in days:
        came_in += sum(amount for when, amount in account.money if when == day)
        paid += sum(amount for when, amount in known if when == day)
        steps.append(MoneyStep(day, float(came_in), float(paid)))
    return money_curve(
        title,
        steps,
        today=today,
        unit=account.currency,
        show=lambda amount: write_amount(f"{amount:.2f}" if amount % 1 else f"{amount:.0f}", account.currency),
        paid_back_on=account.pay_back.on,
    )


@require_safe
def book(request, pk):
    """The book of one line."""
    lineage, today = get_object_or_404(Lineage, pk=pk), localdate()
    found = book_of(lineage, today, currency=request.GET.get("currency"))
    currency = found.account.currency
    table = MotherBookTable(found.mothers, every=found.mothers, currency=currency)
    RequestConfig(request, paginate={"per_page": ROWS}).configure(table)
    return render(
        request,
        "inventory/book.html",
        {
            "lineage": lineage,
            "book": found,
            "account": found.account,
            "currency": currency,
            "table": table,
            "history": price_history(lineage, today),
            "picture": picture_of(f"{lineage.name}: what came in against what was paid", found.account, today),
            "currencies": currency_tabs(found.currencies, currency),
        },
    )


@require_safe
def book_of_mother(request, tag):
    """The book of one mother."""
    colony, today = get_object_or_404(Colony.objects.select_related("lineage"), tag=tag), localdate()
    found = book_of(colony.lineage, today, currency=request.GET.get("currency"))
    (mother,) = (each for each in found.mothers if each.colony.pk == colony.pk)
    return render(
        request,
        "inventory/book_of_mother.html",
        {
            "mother": mother,
            "colony": colony,
            "account": mother.account,
            "currency": mother.account.currency,
            "picture": picture_of(f"{tag}: what came in against what was paid", mother.account, today),
            "currencies": currency_tabs(found.currencies, mother.account.currency),
        },
    )
