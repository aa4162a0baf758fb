"""The ledger: every movement of money once, in order, and totals that its lines come to."""

import csv
import io
from datetime import date, datetime
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from inventory.actions.acquire_from import Deal, acquire_plugs_from
from inventory.actions.begin_sale import agree_sale, begin_sale
from inventory.actions.give_up_credit import give_up_credit
from inventory.actions.hand_over import sell_now
from inventory.actions.hold_deposits import settle_hold_deposit, take_hold_deposit
from inventory.actions.hold_plugs import hold_plugs
from inventory.actions.pay_out_credit import pay_out_credit, withdraw_pay_out
from inventory.actions.pay_sale import refund, take_payment, withdraw_payment
from inventory.actions.trade import trade
from inventory.ledger_files import COLUMNS, csv_lines, write_xlsx
from inventory.models import AcquisitionTerms, Contact, Hold, Payment, Sale
from inventory.readings.books import book_of, books
from inventory.readings.ledger import NOT_TAX_ADVICE, Kind, entries, totals_of_year, years
from inventory.readings.sales import credit_of
from inventory.spreadsheets import guarded
from propagation.actions.acquire import PackLine
from tests.factories import ColonyFactory, ContactFactory, ReadyPlugFactory
from tests.inventory.sales import begun, items_of
from tests.inventory.test_sale_histories import ACTS, Keeper, played_as_asked, steps_of, try_to

pytestmark = pytest.mark.django_db


def told(year=None):
    """The lines as ``(kind, amount)``, of all years when none is named."""
    return [(entry.kind, entry.amount) for entry in entries(year)]


def agreed(today, **more):
    return agree_sale(sale=begun(today=today, **more), today=today)


# -- which lines there are


def test_payments_deposits_and_refunds_are_lines_with_all_that_is_known(today):
    contact = ContactFactory(name="Mira")
    sale = begun(today=today, contact=contact)
    take_payment(sale=sale, amount=Decimal(10), today=today, on=date(2026, 6, 3), method="transfer", note="by hand")
    agree_sale(sale=sale, today=today)
    take_payment(sale=sale, amount=Decimal(40), today=today)
    refund(sale=sale, amount=Decimal(5), today=today, method="card")
    first, second, third = entries(2026)
    assert (first.number, first.day, first.kind, first.amount) == (1, date(2026, 6, 3), Kind.DEPOSIT, 10)
    assert (first.method, first.currency, first.contact, first.note) == ("Bank transfer", "EUR", "Mira", "by hand")
    assert first.about_words == f"Sale {sale.pk}"
    assert first.what == ", ".join(f"1 {line.plug.lineage}" for line in sale.lines.order_by("id"))
    assert (second.kind, second.amount) == (Kind.PAYMENT, 40)
    assert (third.kind, third.amount, third.method) == (Kind.REFUND, -5, "Card")


def test_the_name_is_that_of_today(today):
    contact = ContactFactory(name="Mira")
    take_payment(sale=agreed(today, contact=contact), amount=Decimal(10), today=today)
    Contact.objects.filter(pk=contact.pk).update(name="Forgotten person 12")
    assert [entry.contact for entry in entries(2026)] == ["Forgotten person 12"]


def test_a_payment_that_was_withdrawn_is_no_line(today):
    payment = take_payment(sale=agreed(today), amount=Decimal(10), today=today)
    withdraw_payment(payment=payment, today=today)
    assert told() == []


def test_credit_is_given_and_used_without_moving_money(today):
    contact = ContactFactory()
    first = sell_now(contact=contact, items=items_of(ReadyPlugFactory()), today=today)
    refund(sale=first, amount=Decimal(15), today=today, method="credit")
    second = agreed(today, contact=contact)
    used = take_payment(sale=second, amount=Decimal(15), today=today, method="credit")
    assert told() == [(Kind.PAYMENT, 25), (Kind.CREDIT_GIVEN, -15), (Kind.CREDIT_USED, 15)]
    assert [entry.about_words for entry in entries(None)][1:] == [f"Sale {first.pk}", f"Sale {second.pk}"]
    totals = totals_of_year(None)
    assert (totals.money("EUR"), totals.credit("EUR")) == (25, 0)
    withdraw_payment(payment=used, today=today)
    assert totals_of_year(None).credit("EUR") == -15


def test_credit_that_is_given_up_is_told_and_is_no_lines_money(today):
    settle_hold_deposit(hold=(hold := held(today)), how="credit", today=today)
    assert books(today).other == 0
    give_up_credit(contact=hold.contact, currency="EUR", today=today)
    assert (Kind.CREDIT_ENDED, 10) in told()
    assert books(today).other == 10


def test_credit_that_is_paid_out_leaves_the_till_and_is_credit_no_more(today):
    contact = settle_hold_deposit(hold=held(today), how="credit", today=today).contact
    told_before, other = totals_of_year(None), books(today).other
    paid = pay_out_credit(
        contact=contact, amount=Decimal(4), currency="EUR", method="transfer", today=today, note="by hand"
    )
    money, credit = [entry for entry in entries(None) if entry.kind in (Kind.PAID_OUT, Kind.CREDIT_PAID_OUT)]
    assert (money.kind, money.amount, money.method, money.moves_money) == (Kind.PAID_OUT, -4, "Bank transfer", True)
    assert (credit.kind, credit.amount, credit.method, credit.moves_money) == (
        Kind.CREDIT_PAID_OUT,
        4,
        "Credit",
        False,
    )
    assert (money.contact, money.note) == (contact.name, "by hand")
    totals = totals_of_year(None)
    assert (totals.money("EUR"), totals.credit("EUR")) == (6, -6)
    assert books(today).other == other == 0
    withdraw_pay_out(credit=paid)
    assert totals_of_year(None) == told_before


def test_a_refund_of_what_came_from_credit_balances_either_way(today):
    for method, left, credit in (("credit", 25, 25), ("cash", 0, 0)):
        contact = ContactFactory()
        first = sell_now(contact=contact, items=items_of(ReadyPlugFactory()), today=today)
        refund(sale=first, amount=Decimal(25), today=today, method="credit")
        second = sell_now(contact=contact, items=items_of(ReadyPlugFactory()), today=today, method="credit")
        before = totals_of_year(None)
        refund(sale=second, amount=Decimal(25), today=today, method=method)
        totals = totals_of_year(None)
        assert totals.money("EUR") - before.money("EUR") == left - 25
        assert credit_of(contact, "EUR") == credit
        assert books(today).came_in == totals.money("EUR") + totals.credit("EUR")


def test_what_was_paid_for_corals_and_cash_in_trades_are_lines(today):
    acquire_plugs_from(
        deal=Deal(date(2026, 5, 2), contact_name="Sela", amount=Decimal("30.00")),
        lineage_name="Quarry Ember",
        count=2,
        today=today,
    )
    for cash in (Decimal(6), Decimal(-4), Decimal(0)):
        made = trade(
            contact=ContactFactory(),
            plugs=[ReadyPlugFactory()],
            lines=[PackLine("Harbour Lantern")],
            on=today,
            today=today,
            cash=cash,
        )
    assert told() == [(Kind.BOUGHT, -30), (Kind.TRADE, 6), (Kind.TRADE, -4)]
    first, second, _ = entries(None)
    assert (first.contact, first.what) == ("Sela", "Quarry Ember")
    assert second.about_words == f"Trade {made.pk - 2}"
    assert second.what.startswith("1 ")


def held(today):
    (hold,) = hold_plugs(plugs=[ReadyPlugFactory()], contact=ContactFactory(), until=today, today=today)
    return take_hold_deposit(hold=hold, amount=Decimal(10), today=today)


def test_a_deposit_for_a_hold_is_money_as_long_as_it_lies_there(today):
    hold = held(today)
    (entry,) = entries(None)
    assert (entry.kind, entry.amount) == (Kind.HOLD, 10)
    assert entry.what == f"{hold.plug.code_in_clear} {hold.plug.lineage}"


def test_a_deposit_for_a_hold_that_is_given_back_leaves_again(today):
    settle_hold_deposit(hold=held(today), how="refund", today=today)
    assert told() == [(Kind.HOLD, 10), (Kind.HOLD_BACK, -10)]


def test_a_deposit_for_a_hold_kept_as_credit_stays_in_the_till(today):
    settle_hold_deposit(hold=held(today), how="credit", today=today)
    assert sorted(told()) == sorted([(Kind.HOLD, 10), (Kind.CREDIT_GIVEN, -10)])
    assert totals_of_year(None).money("EUR") == 10


def test_a_deposit_for_a_hold_moves_to_its_sale_and_counts_once(today):
    hold = held(today)
    begin_sale(contact=hold.contact, items=items_of(hold.plug), today=today)
    assert sorted(told()) == sorted([(Kind.HOLD, 10), (Kind.HOLD_MOVED, -10), (Kind.DEPOSIT, 10)])


def test_a_second_deposit_on_one_hold_is_told_from_the_first(today):
    hold = held(today)
    settle_hold_deposit(hold=hold, how="refund", today=today)
    take_hold_deposit(hold=Hold.objects.get(pk=hold.pk), amount=Decimal(7), today=today)
    begin_sale(contact=hold.contact, items=items_of(hold.plug), today=today)
    amounts = dict.fromkeys(Kind, 0)
    for kind, amount in told():
        amounts[kind] += amount
    assert (amounts[Kind.HOLD], amounts[Kind.HOLD_BACK], amounts[Kind.HOLD_MOVED]) == (17, -10, -7)


# -- years, order, totals


def test_a_year_holds_its_days_and_is_numbered_from_one(today):
    sale = agreed(today, plugs=4)
    for day in (date(2025, 12, 31), date(2026, 1, 1), date(2026, 6, 2), date(2025, 3, 1)):
        take_payment(sale=sale, amount=Decimal(5), today=today, on=day)
    assert years() == [2026, 2025]
    assert [(entry.number, entry.day) for entry in entries(2025)] == [
        (1, date(2025, 3, 1)),
        (2, date(2025, 12, 31)),
    ]
    assert [entry.day for entry in entries(2026)] == [date(2026, 1, 1), date(2026, 6, 2)]


def test_totals_by_month_and_kind_are_those_of_the_lines(today):
    sale = agreed(today, plugs=4)
    for month, amount in ((1, 5), (1, 7), (4, 9)):
        take_payment(sale=sale, amount=Decimal(amount), today=today, on=date(2026, month, 8))
    refund(sale=sale, amount=Decimal(2), today=today, on=date(2026, 4, 9))
    totals = totals_of_year(2026)
    assert totals.by_month("EUR") == [(1, {Kind.PAYMENT: 12}), (4, {Kind.PAYMENT: 9, Kind.REFUND: -2})]
    assert totals.money("EUR") == 19
    assert totals.money("EUR", 4) == 7


def test_currencies_stand_apart(today):
    first, second = agreed(today), agreed(today)
    Sale.objects.filter(pk=second.pk).update(currency="USD")
    for sale in (first, second):
        Payment.objects.create(sale=sale, amount=10, paid_on=today)
    totals = totals_of_year(2026)
    assert totals.currencies == ["EUR", "USD"]
    assert totals.money("EUR") == totals.money("USD") == 10


def test_the_lines_cost_the_same_queries_however_many(today, django_assert_num_queries):
    sale = agreed(today, plugs=8)
    take_payment(sale=sale, amount=Decimal(1), today=today)
    with django_assert_num_queries(6):
        list(entries(2026))
    for _ in range(12):
        take_payment(sale=sale, amount=Decimal(1), today=today)
    with django_assert_num_queries(6):
        list(entries(2026))


# -- files


@pytest.fixture
def a_year(today):
    """Lines of many kinds, two with text that a spreadsheet would take for a formula."""
    contact = ContactFactory(name="=HYPERLINK(1)")
    sale = agreed(today, contact=contact)
    take_payment(sale=sale, amount=Decimal("30.50"), today=today, note='+1 "quoted", with comma\nand line')
    refund(sale=sale, amount=Decimal("0.50"), today=today)
    yen = agreed(today)
    Sale.objects.filter(pk=yen.pk).update(currency="JPY")
    Payment.objects.create(sale=yen, amount=900, paid_on=today)
    return contact


def read_csv(text):
    rows = list(csv.DictReader(io.StringIO(text, newline=""), strict=True))
    assert [row for row in rows if not row["number"]] == rows[-1:]
    assert rows[-1]["note"] == NOT_TAX_ADVICE
    return rows[:-1]


def test_the_csv_is_read_back_line_by_line(a_year):
    text = "".join(csv_lines(2026))
    assert text.startswith("\ufeff")
    assert "\r\n" in text
    rows = read_csv(text.removeprefix("\ufeff"))
    assert list(rows[0]) == COLUMNS
    assert [Decimal(row["amount"]) for row in rows] == [entry.amount for entry in entries(2026)]
    assert [row["amount"] for row in rows] == ["30.50", "900", "-0.50"]
    assert [row["currency"] for row in rows] == ["EUR", "JPY", "EUR"]
    assert [date.fromisoformat(row["day"]) for row in rows] == [entry.day for entry in entries(2026)]


def test_no_text_in_the_csv_is_taken_for_a_formula(a_year):
    row = read_csv("".join(csv_lines(2026, for_spreadsheets=False)))[0]
    assert row["contact"] == "'=HYPERLINK(1)"
    assert row["note"].startswith("'+1")


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t"])
def test_each_beginning_of_a_formula_is_guarded(start):
    assert guarded(f"{start}1") == f"'{start}1"
    assert guarded(f"1{start}") == f"1{start}"


def test_the_csv_comes_without_the_mark_for_other_programs(a_year):
    assert "".join(csv_lines(2026, for_spreadsheets=False)).startswith("number,day")


def test_the_workbook_is_read_back_with_numbers_days_and_totals(a_year, tmp_path):
    with (tmp_path / "ledger.xlsx").open("wb") as file:
        assert write_xlsx(file, 2026) == 3
    book = load_workbook(tmp_path / "ledger.xlsx")
    rows = list(book["Ledger"].iter_rows(min_row=2))
    assert [Decimal(str(row[4].value)) for row in rows] == [entry.amount for entry in entries(2026)]
    assert [row[1].value for row in rows] == [datetime(2026, 6, 15)] * 3  # noqa: DTZ001 - a day of a spreadsheet
    assert rows[0][1].is_date
    assert [row[4].number_format.split(";")[0] for row in rows[:2]] == ['#,##0.00" EUR"', '#,##0" JPY"']
    assert rows[0][7].value == "=HYPERLINK(1)"
    assert rows[0][7].data_type in ("s", "inlineStr")  # text, not a formula
    totals = {(row[0].value, row[1].value) for row in book["Totals"].iter_rows()}
    assert {("Payment", 30.5), ("Refund", -0.5), ("Payment", 900), ("All that moved money", 30)} <= totals
    assert NOT_TAX_ADVICE in {value for value, _ in totals}


def test_a_year_without_money_is_a_file_that_says_so(tmp_path):
    assert read_csv("".join(csv_lines(1999, for_spreadsheets=False))) == []
    with (tmp_path / "ledger.xlsx").open("wb") as file:
        assert write_xlsx(file, 1999) == 0
    values = {row[0].value for row in load_workbook(tmp_path / "ledger.xlsx")["Totals"].iter_rows()}
    assert "No money moved in this year." in values


# -- whatever is done


class Bookkeeper(Keeper):
    """A keeper who also buys; ``till`` still counts what should be in it."""

    def buy(self, a, b):
        amount = Decimal(a % 30) / 4 if b % 4 else None
        AcquisitionTerms.objects.create(
            acquisition=ColonyFactory(acquired_on=self.today).acquisition,
            amount=amount,
            currency="EUR" if b % 4 else "",
        )
        self.till -= amount or 0

    def check(self):
        totals = totals_of_year(None)
        assert totals.money("EUR") == self.till
        payments = list(Payment.objects.filter(withdrawn_at=None).exclude(method="credit"))
        by_payments = [kind for kind in (Kind.DEPOSIT, Kind.PAYMENT, Kind.REFUND) if ("EUR", kind) in totals.kinds]
        assert sum(totals.kinds["EUR", kind] for kind in by_payments) == sum(payment.signed for payment in payments)
        assert totals.credit("EUR") == -sum(credit_of(contact, "EUR") for contact in Contact.objects.all())
        given, used, ended, out, paid_out = (
            totals.kinds.get(("EUR", kind), Decimal(0))
            for kind in (Kind.CREDIT_GIVEN, Kind.CREDIT_USED, Kind.CREDIT_ENDED, Kind.CREDIT_PAID_OUT, Kind.PAID_OUT)
        )
        assert -given - used - ended - out == -totals.credit("EUR")
        assert out == -paid_out >= 0
        found = books(self.today)
        assert found.came_in - found.cost == totals.money("EUR") + totals.credit("EUR")
        by_year = [totals_of_year(year) for year in years()]
        assert sum(each.lines for each in by_year) == totals.lines
        assert sum(each.money("EUR") for each in by_year) == self.till
        for line in found.lines:
            self.check_mothers(line)

    def check_mothers(self, line):
        """What the mothers of a line cost and gave, with what is no mother's, is what the line did."""
        book = book_of(line.lineage, self.today)
        parts = [mother.account for mother in book.mothers] + [book.of_no_mother]
        for name in ("cost", "came_in", "owed", "given_back", "credited", "left_over"):
            assert getattr(book.account, name) == getattr(line.account, name)
            assert sum(getattr(part, name) for part in parts) == getattr(line.account, name)
        for name in ("cut", "came", "kept", "dead", "sold", "traded", "given", "for_sale", "held", "in_sale"):
            assert sum(getattr(part.frags, name) for part in parts) == getattr(line.account.frags, name)


@played_as_asked
@given(history=st.lists(steps_of([*ACTS, "buy", "buy"]), min_size=8, max_size=30))
def test_till_ledger_and_books_agree_whatever_is_done(history):
    with transaction.atomic():
        keeper = Bookkeeper()
        for name, a, b in history:
            try_to(keeper, name, a, b)
        keeper.check()
        transaction.set_rollback(True)
