"""Money paid for a hold: it counts in the sale, goes back, or is kept as credit; it never gets lost."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.begin_sale import begin_sale
from inventory.actions.hold_deposits import settle_hold_deposit, take_hold_deposit
from inventory.actions.hold_plugs import release_hold
from inventory.errors import BadAmount
from inventory.readings.holds import deposits_left_over
from inventory.readings.sales import credit_of, totals
from propagation.errors import AlreadyDone, BadValue
from tests.factories import HoldFactory
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


def test_an_ended_hold_takes_no_deposit(today):
    with pytest.raises(AlreadyDone, match="has ended"):
        take_hold_deposit(hold=HoldFactory(until=today - timedelta(days=1)), amount=Decimal(5), today=today)


@pytest.mark.parametrize(("how", "credit", "words"), [("refund", 0, "given back"), ("credit", 5, "kept as credit")])
def test_what_lies_on_a_released_hold_is_settled(today, how, credit, words):
    hold = HoldFactory(until=today, deposit=Decimal(5))
    release_hold(hold=hold, today=today)
    assert list(deposits_left_over(today)) == [hold]
    settled = settle_hold_deposit(hold=hold, how=how, today=today)
    assert settled.note == f"Deposit of €5.00 {words} on 15 Jun 2026"
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
    answer = signed_in.post(reverse("hold_deposit_settle", args=[hold.pk]), {"how": "refund"}, follow=True)
    assert "any more" in answer.content.decode()
