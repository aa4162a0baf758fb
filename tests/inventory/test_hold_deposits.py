"""Money paid for a hold: it counts in the sale, goes back, or is kept as credit; it never gets lost."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.begin_sale import begin_sale, change_sale
from inventory.actions.hold_deposits import settle_hold_deposit, take_hold_deposit
from inventory.actions.hold_plugs import release_hold
from inventory.actions.set_prices import set_currency
from inventory.errors import BadAmount, DepositsLie
from inventory.models import Book
from inventory.readings.books import books
from inventory.readings.holds import deposits_left_over
from inventory.readings.ledger import entries, totals_of_year
from inventory.readings.sales import credit_of, totals
from propagation.errors import AlreadyDone, BadValue
from tests.factories import ContactFactory, HoldFactory, ReadyPlugFactory
from tests.inventory.sales import items_of

pytestmark = pytest.mark.django_db


def test_a_deposit_is_taken_once_and_counts_in_the_sale(today):
    hold = HoldFactory(until=today)
    for _ in range(2):
        take_hold_deposit(hold=hold, amount=Decimal(5), today=today)
    with pytest.raises(AlreadyDone, match=r"€5\.00 was paid for this hold already"):
        take_hold_deposit(hold=hold, amount=Decimal(6), today=today)
    sale = begin_sale(contact=hold.contact, items=items_of(hold.plug), today=today)
    assert totals(sale).owed == 20
    with pytest.raises(AlreadyDone, match="No deposit lies on the hold"):
        settle_hold_deposit(hold=hold, how="refund", today=today)


@pytest.mark.parametrize("amount", [Decimal(0), Decimal(-1), Decimal("0.001")])
def test_an_amount_that_cannot_be_is_refused(today, amount):
    with pytest.raises((BadValue, BadAmount)):
        take_hold_deposit(hold=HoldFactory(until=today), amount=amount, today=today)


@pytest.mark.parametrize("confirmed", [True, False])
def test_the_currency_stays_while_a_deposit_lies_on_a_hold(today, confirmed):
    hold = HoldFactory(until=today)
    take_hold_deposit(hold=hold, amount=Decimal("5.50"), today=today)
    HoldFactory(deposit=Decimal(3))
    said = f"A deposit in EUR lies on the hold of {hold.plug} for {hold.contact} and 1 more"
    with pytest.raises(DepositsLie, match=re.escape(said)):
        set_currency(currency="USD", confirmed=confirmed)
    assert set_currency(currency="EUR", confirmed=confirmed).currency == Book.current().currency == "EUR"


def test_what_was_paid_before_keeps_its_currency_when_that_of_the_book_changes(today):
    hold = HoldFactory(until=today)
    take_hold_deposit(hold=hold, amount=Decimal("5.50"), today=today)
    settled = settle_hold_deposit(hold=hold, how="refund", today=today)
    assert set_currency(currency="JPY", confirmed=False).currency == "JPY"
    assert [(each.currency, each.amount) for each in entries(None)] == [
        ("EUR", Decimal("5.50")),
        ("EUR", -Decimal("5.50")),
    ]
    take_hold_deposit(hold=settled, amount=Decimal(700), today=today)
    assert [each.currency for each in entries(None)] == ["EUR", "JPY", "EUR"]
    assert totals_of_year(None).money("JPY") == books(today).other == 700


def test_a_deposit_in_another_currency_than_the_sale_stays_on_the_hold(today):
    sale = begin_sale(contact=ContactFactory(), items=items_of(ReadyPlugFactory()), today=today)
    Book.objects.update_or_create(pk=1, defaults={"currency": "USD"})
    hold = HoldFactory(contact=sale.contact, until=today)
    take_hold_deposit(hold=hold, amount=Decimal(5), today=today)
    items = items_of(*(line.plug for line in sale.lines.all()), hold.plug)
    assert totals(change_sale(sale=sale, items=items, today=today)).received == 0
    hold.refresh_from_db()
    assert (hold.deposit_lies, hold.deposit_currency) == (True, "USD")


@pytest.mark.parametrize(
    "wrong",
    [
        {"deposit": 5, "deposit_currency": "EUR", "deposit_fate": ""},
        {"deposit": 5, "deposit_currency": "", "deposit_fate": "lies"},
        {"deposit": 5, "deposit_currency": "EUR", "deposit_fate": "spent"},
        {"deposit": 0, "deposit_currency": "EUR", "deposit_fate": "lies"},
        {"deposit": None, "deposit_currency": "EUR", "deposit_fate": ""},
        {"deposit": None, "deposit_currency": "", "deposit_fate": "given_back"},
    ],
)
def test_the_database_wants_to_know_what_became_of_a_deposit(wrong):
    with pytest.raises(IntegrityError), transaction.atomic():
        HoldFactory(**wrong)


def test_an_ended_hold_takes_no_deposit(today):
    with pytest.raises(AlreadyDone, match="has ended"):
        take_hold_deposit(hold=HoldFactory(until=today - timedelta(days=1)), amount=Decimal(5), today=today)


@pytest.mark.parametrize(("how", "credit", "fate"), [("refund", 0, "given_back"), ("credit", 5, "credit")])
def test_what_lies_on_a_released_hold_is_settled(today, how, credit, fate):
    hold = HoldFactory(until=today, deposit=Decimal(5))
    release_hold(hold=hold, today=today)
    assert list(deposits_left_over(today)) == [hold]
    settled = settle_hold_deposit(hold=hold, how=how, today=today)
    assert (settled.deposit, settled.deposit_fate, settled.note) == (5, fate, "")
    assert credit_of(hold.contact, "EUR") == credit
    assert not deposits_left_over(today).exists()


def test_the_pages_take_and_settle_it(signed_in):
    hold = HoldFactory(until=localdate() + timedelta(days=3))
    address = reverse("hold_deposit", args=[hold.pk])
    assert "is no amount" in signed_in.post(address, {"amount": "some"}).content.decode()
    answer = signed_in.post(address, {"amount": "5,50"}, follow=True)
    assert "€5.50" in answer.content.decode()
    signed_in.post(reverse("hold_release", args=[hold.pk]))
    page = signed_in.get(reverse("contact", args=[hold.contact_id])).content.decode()
    assert "Deposits that lie with you" in page
    answer = signed_in.post(reverse("hold_deposit_settle", args=[hold.pk]), {"how": "credit"}, follow=True)
    assert "is kept as their credit" in answer.content.decode()
    assert credit_of(hold.contact, "EUR") == Decimal("5.50")
    page = answer.content.decode()
    assert "<strong>€5.50</strong> deposit, kept as credit" in page
    answer = signed_in.post(reverse("hold_deposit_settle", args=[hold.pk]), {"how": "refund"}, follow=True)
    assert "any more" in answer.content.decode()
