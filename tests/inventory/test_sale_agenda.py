"""What sales have due stands on the page of the day, and is gone once it is done."""

import pytest
from django.urls import reverse

from inventory.actions.begin_sale import agree_sale, begin_sale, close_sale
from inventory.actions.hand_over import hand_over
from inventory.actions.pay_sale import take_payment
from inventory.agenda_items import holds_that_end
from inventory.readings.holds import current_holds
from inventory.sale_agenda import sales_not_paid, sales_to_hand_over, sold_plugs_that_cannot_be_handed_over
from propagation.actions.check_healing import find_dead
from tests.factories import HoldFactory
from tests.inventory.sales import begun, items_of

pytestmark = pytest.mark.django_db


def test_a_buyer_whose_plug_died_is_to_be_told(today):
    sale = begun(today=today)
    assert not list(sold_plugs_that_cannot_be_handed_over(today))
    find_dead(plugs=[sale.lines.first().plug], on=today, today=today, reason="broken")
    (due,) = sold_plugs_that_cannot_be_handed_over(today)
    assert due.sentence == f"Tell {sale.contact}: what they bought cannot be handed over"
    assert due.address == reverse("sale", args=[sale.pk])


def test_what_is_paid_is_to_be_handed_over(today):
    sales = [agree_sale(sale=begun(today=today, plugs=1), today=today) for _ in range(2)]
    assert not list(sales_to_hand_over(today))
    for sale in sales:
        take_payment(sale=sale, amount=25, today=today)
    (due,) = sales_to_hand_over(today)
    assert due.sentence == f"Hand over what is paid: {sales[0].contact} and {sales[1].contact}"
    assert (due.count, due.since, due.address) == (2, today, f"{reverse('sales')}?state=paid")
    for sale in sales:
        hand_over(sale=sale, today=today)
    assert not list(sales_to_hand_over(today))


def test_what_left_and_is_not_paid_is_to_be_asked_for(today):
    sale = agree_sale(sale=begun(today=today), today=today)
    assert not list(sales_not_paid(today))
    hand_over(sale=sale, today=today)
    (due,) = sales_not_paid(today)
    assert due.sentence == f"Ask {sale.contact} for the money: it left and is not paid"
    close_sale(sale=sale, today=today)
    assert not list(sales_not_paid(today))


def test_a_hold_whose_plug_is_in_their_sale_waits_for_nothing_more(today):
    hold = HoldFactory(until=today)
    assert list(current_holds(today)) == [hold]
    begin_sale(contact=hold.contact, items=items_of(hold.plug), today=today)
    assert not current_holds(today).exists()
    assert not list(holds_that_end(today))
