"""What did not leave after all goes back to the place on its rack that it had."""

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.hand_over import sell_now, undo_selling_now
from inventory.actions.let_go import let_go, take_back_leaving
from inventory.actions.trade import cancel_trade, trade
from propagation.actions.acquire import PackLine
from propagation.actions.put_on_rack import put_on_rack
from propagation.models import Plug
from propagation.readings.rack import back_in_words
from tests.factories import ContactFactory, RackFactory, ReadyPlugFactory
from tests.inventory.sales import items_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def rack():
    return RackFactory(name="Frag shelf")


@pytest.fixture
def plug(rack):
    return ReadyPlugFactory(rack=rack, rack_row=2, rack_column=3)


def where(plug):
    return Plug.objects.values_list("rack", "rack_row", "rack_column").get(pk=plug.pk)


def test_an_undone_sale_puts_it_back(plug, rack, today):
    sale = sell_now(contact=ContactFactory(), items=items_of(plug), today=today)
    assert where(plug) == (None, None, None)
    undo_selling_now(sale=sale, today=today)
    assert where(plug) == (rack.pk, 2, 3)


def test_a_trade_that_was_taken_back_puts_it_back(plug, rack):
    day = localdate()
    made = trade(contact=ContactFactory(), plugs=[plug], lines=[PackLine(lineage="Given For It")], on=day, today=day)
    cancel_trade(trade=made, today=day)
    assert where(plug) == (rack.pk, 2, 3)


def test_a_cell_in_which_another_stands_by_now_stays_with_that_one(plug, rack, today):
    let_go(plugs=[plug], fate="given", on=today, today=today)
    other = ReadyPlugFactory()
    put_on_rack(plugs=[other], rack=rack, row=2, column=3)
    take_back_leaving(plug=plug)
    assert where(plug) == (None, None, None)
    assert where(other) == (rack.pk, 2, 3)


@pytest.mark.parametrize("change", [{"rack_rows": 1}, {"rack_columns": 2}, {"rack_rows": None, "rack_columns": None}])
def test_a_cell_that_is_no_more_is_not_gone_back_to(plug, rack, today, change):
    let_go(plugs=[plug], fate="given", on=today, today=today)
    for name, value in change.items():
        setattr(rack, name, value)
    rack.save()
    take_back_leaving(plug=plug)
    assert where(plug) == (None, None, None)


def test_a_rack_of_a_system_that_was_taken_down_is_not_gone_back_to(plug, rack, today):
    let_go(plugs=[plug], fate="given", on=today, today=today)
    rack.system.ended_on = today
    rack.system.save()
    take_back_leaving(plug=plug)
    assert where(plug) == (None, None, None)


def test_one_that_stood_on_a_rack_without_a_cell_does_so_again(rack, today):
    plug = ReadyPlugFactory(rack=rack)
    let_go(plugs=[plug], fate="given", on=today, today=today)
    take_back_leaving(plug=plug)
    assert where(plug) == (rack.pk, None, None)


def test_it_is_said_where_they_stand(rack, plug):
    loose, other = ReadyPlugFactory(), ReadyPlugFactory(rack=rack, rack_row=1, rack_column=1)
    assert back_in_words([plug]) == "Its place is Frag shelf, B\u00a03, as before."
    assert back_in_words([loose]) == "It is on no rack; stand it on one."
    assert back_in_words([plug, other]) == "Each has the place on its rack that it had before."
    assert back_in_words([plug, loose]).startswith(f"{loose.code_in_clear} stands on no rack; the others")
    assert back_in_words([]) == ""


def test_the_page_says_so(signed_in, plug):
    day = localdate()
    let_go(plugs=[plug], fate="given", on=day, today=day)
    answer = signed_in.post(reverse("plug_left_take_back", args=[plug.code]), follow=True)
    assert "Its place is Frag shelf, B\u00a03, as before." in answer.text
