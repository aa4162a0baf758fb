"""The ledger of a year as a page and as files."""

import csv
import io
from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from inventory.actions.begin_sale import agree_sale
from inventory.actions.pay_sale import refund, take_payment
from inventory.models import Payment
from inventory.readings.ledger import NOT_TAX_ADVICE
from tests.inventory.sales import begun

pytestmark = pytest.mark.django_db


@pytest.fixture
def sale(today):
    made = agree_sale(sale=begun(today=today, plugs=40, price=10), today=today)
    take_payment(sale=made, amount=Decimal("100.50"), today=today, on=date(2026, 2, 3))
    take_payment(sale=made, amount=Decimal(50), today=today, on=date(2026, 4, 5))
    refund(sale=made, amount=Decimal(20), today=today, on=date(2026, 4, 6))
    take_payment(sale=made, amount=Decimal(5), today=today, on=date(2025, 4, 5))
    return made


def shown(client, year=2026, **query):
    answer = client.get(reverse("ledger_of_year", args=[year]), query)
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_ledger_opens_at_the_latest_year_with_money(signed_in, sale):
    assert signed_in.get(reverse("ledger"))["Location"] == reverse("ledger_of_year", args=[2026])


def test_a_year_tells_its_totals_by_month_and_kind_and_its_lines(signed_in, sale):
    page = shown(signed_in)
    assert [month in page for month in ("February", "March", "April")] == [True, False, True]
    months = page[page.index("<tbody") : page.index("</tfoot>")]
    for amount in ("€100.50", "€50.00", "−€20.00", "€30.00", "€150.50", "€130.50"):
        assert amount in months
    assert "1 to 3 of 3" in page
    assert reverse("sale", args=[sale.pk]) in page
    assert NOT_TAX_ADVICE in page
    assert reverse("ledger_of_year", args=[2025]) in page


def test_without_money_the_page_says_so_and_the_way_on(signed_in):
    page = shown(signed_in)
    assert "No money moved yet" in page
    assert reverse("ledger_csv", args=[2026]) not in page


def test_a_year_without_money_leads_to_one_with(signed_in, sale):
    page = shown(signed_in, 2020)
    assert "No money moved in this year." in page
    assert reverse("ledger") in page


@pytest.mark.parametrize("year", [0, 10000, 10**9])
def test_a_year_that_cannot_be_is_not_found(signed_in, year):
    for name in ("ledger_of_year", "ledger_csv", "ledger_xlsx"):
        assert signed_in.get(reverse(name, args=[year])).status_code == 404


def test_lines_are_paged_and_numbered_through(signed_in, sale, today):
    Payment.objects.bulk_create(Payment(sale=sale, amount=1, paid_on=today) for _ in range(60))
    page = shown(signed_in, page=2)
    assert "51 to 63 of 63" in page
    assert "page=1" in page
    assert signed_in.get(reverse("ledger_of_year", args=[2026]), {"page": 99}).status_code == 302
    assert "1 to 50 of 63" in shown(signed_in, page="nonsense")


def test_the_csv_agrees_with_the_page(signed_in, sale):
    answer = signed_in.get(reverse("ledger_csv", args=[2026]))
    assert answer.streaming
    assert answer["Content-Disposition"] == 'attachment; filename="ledger-2026.csv"'
    text = answer.getvalue().decode()
    assert text.startswith("\ufeff")
    rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True))
    assert {len(row) for row in rows} == {11}
    assert sum(Decimal(row[4]) for row in rows[1:-1]) == Decimal("130.50")
    assert not signed_in.get(reverse("ledger_csv", args=[2026]), {"plain": 1}).getvalue().startswith(b"\xef\xbb\xbf")


def test_the_workbook_agrees_with_the_page(signed_in, sale):
    answer = signed_in.get(reverse("ledger_xlsx", args=[2026]))
    assert answer["Content-Disposition"] == 'attachment; filename="ledger-2026.xlsx"'
    sheet = load_workbook(io.BytesIO(answer.getvalue()))["Ledger"]
    assert sum(Decimal(str(row[4])) for row in sheet.iter_rows(min_row=2, values_only=True)) == Decimal("130.50")


def test_the_page_costs_the_same_queries_however_many_lines(signed_in, sale, today, django_assert_num_queries):
    shown(signed_in)
    with django_assert_num_queries(13):
        shown(signed_in)
    Payment.objects.bulk_create(Payment(sale=sale, amount=1, paid_on=today) for _ in range(40))
    with django_assert_num_queries(13):
        shown(signed_in)
