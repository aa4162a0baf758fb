"""What the frags of a mother fetched, as the yield record asks for it."""

from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.models import Payment, Sale, SaleLine
from propagation.earnings import earned_by
from tests.factories import ColonyFactory, ContactFactory, CutEventFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db

DAY = date(2026, 6, 1)


@pytest.fixture
def mother():
    return ColonyFactory()


def frag_of(mother):
    event = mother.cut_events.first() or CutEventFactory(mother=mother)
    return ReadyPlugFactory(cut_event=event)


def sold(*plugs_and_prices, paid=None, refunded=None, currency="EUR", **fields):
    """A sale of plugs at prices, of which so much was paid; all of it when nothing else is said."""
    sale = Sale.objects.create(contact=ContactFactory(), currency=currency, begun_on=DAY, agreed_on=DAY, **fields)
    for plug, price in plugs_and_prices:
        SaleLine.objects.create(sale=sale, plug=plug, price=price)
    due = sum(price for _, price in plugs_and_prices) - sale.discount + sale.shipping
    paid = due if paid is None else paid
    if paid:
        Payment.objects.create(sale=sale, amount=paid, paid_on=DAY)
    if refunded:
        Payment.objects.create(sale=sale, amount=refunded, paid_on=DAY, kind=Payment.Kind.REFUND)
    return sale


def fetched(mother):
    found = earned_by([mother.pk])
    return found[mother.pk].amount if mother.pk in found else None


def test_frags_fetched_what_was_paid_for_them(mother):
    sold((frag_of(mother), 30), (frag_of(mother), 20))
    assert earned_by([mother.pk])[mother.pk].words == "€50.00"


def test_what_is_not_paid_yet_was_not_fetched(mother):
    sold((frag_of(mother), 30), paid=0)
    assert fetched(mother) is None


def test_a_discount_on_all_falls_on_each_line_by_what_it_costs(mother):
    other = ColonyFactory()
    sold((frag_of(mother), 60), (frag_of(other), 40), discount=Decimal(10))
    assert fetched(mother) == 54
    assert fetched(other) == 36


def test_shipping_is_no_earning_and_money_given_back_is_none_either(mother):
    sold((frag_of(mother), 40), shipping=Decimal(15))
    assert fetched(mother) == 40
    sold((frag_of(mother), 20), refunded=20)
    assert fetched(mother) == 40


def test_what_was_paid_too_much_is_not_earned(mother):
    sold((frag_of(mother), 40), paid=100)
    assert fetched(mother) == 40


def test_cancelled_lines_and_other_currencies_are_left_out(mother):
    plug = frag_of(mother)
    sold((plug, 40))
    SaleLine.objects.update(cancelled_on=DAY)
    sold((frag_of(mother), 40), currency="USD")
    assert fetched(mother) is None


def test_the_yield_record_ranks_by_it(signed_in, mother):
    sold((frag_of(mother), 40))
    page = signed_in.get(reverse("yield_record"), {"by": "money"}).content.decode()
    assert "€40.00" in page
    assert "trades bring none" in page
