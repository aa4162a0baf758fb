"""A form that is refused says so by its status, also when nothing at all was sent with it."""

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from tests.factories import ContactFactory, HoldFactory, ReadyPlugFactory
from tests.inventory.sales import begun

pytestmark = pytest.mark.django_db

FORMS = {
    "acquire_colony": lambda: (),
    "acquire_plugs": lambda: (),
    "acquire_pack": lambda: (),
    "contact_new": lambda: (),
    "contact_same": lambda: (ContactFactory().pk,),
    "hold": lambda: (ReadyPlugFactory().code,),
    "hold_deposit": lambda: (HoldFactory().pk,),
    "market_brought": lambda: (),
    "offers": lambda: (),
    "pack_new": lambda: (),
    "plug_left": lambda: (ReadyPlugFactory().code,),
    "plug_offer": lambda: (ReadyPlugFactory().code,),
    "plug_wait": lambda: (ReadyPlugFactory().code,),
    "book_currency": lambda: (),
    "safekeeping_new": lambda: (),
    "sale_hand_over": lambda: (begun(today=localdate()).pk,),
    "sale_pay": lambda: (begun(today=localdate()).pk,),
    "stock_new": lambda: (),
    "trade_new": lambda: (),
}


@pytest.mark.parametrize("name", FORMS)
def test_an_empty_form_that_was_sent_is_refused(signed_in, name):
    answer = signed_in.post(reverse(name, args=FORMS[name]()))
    assert answer.status_code == 422
    assert "data-refused" in answer.text


def test_a_box_that_was_ticked_stays_while_something_else_is_put_right(signed_in):
    ContactFactory(name="Quay keeper")
    address = reverse("hold", args=[ReadyPlugFactory().code])
    box = '<input type="checkbox" name="somebody_new"'
    told = {"contact_name": "Quay keepr", "days": "7"}
    assert box not in signed_in.get(address).text
    assert box in signed_in.post(address, told).text
    page = signed_in.post(address, told | {"somebody_new": "on", "days": "", "until": "soon"}).text
    assert box in page
    assert "This is no day" in page
