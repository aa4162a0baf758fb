"""What the inventory floor puts on the agenda."""

from datetime import timedelta

import pytest

from inventory.models import LineagePrice, PlugPrice
from propagation.agenda import due_on
from tests.factories import HoldFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


def sentences(day):
    return [due.sentence for due in due_on(day)]


def test_a_hold_that_ends_today_says_whom_to_ask(today):
    hold = HoldFactory(until=today)
    HoldFactory(until=today - timedelta(days=1))
    assert f"A hold ends today: ask {hold.contact}" in sentences(today)


def test_holds_that_end_in_the_next_days_are_counted(today):
    one, two = HoldFactory(until=today + timedelta(days=1)), HoldFactory(until=today + timedelta(days=3))
    HoldFactory(until=today + timedelta(days=4))
    assert f"2 holds end by 18 Jun: {one.contact} and {two.contact}" in sentences(today)


@pytest.mark.parametrize(
    "change", [{"fate": "dead"}, {"stage": "encrusting", "healed_on": None}, {"is_insurance": True}]
)
def test_who_was_promised_a_plug_that_cannot_be_handed_over_is_to_be_told(today, change):
    hold = HoldFactory(until=today + timedelta(days=2))
    for name, value in change.items():
        setattr(hold.plug, name, value)
    hold.plug.ended_on = today if "fate" in change else None
    hold.plug.save()
    assert f"Tell {hold.contact}: the plug promised cannot be handed over" in sentences(today)
    assert not [words for words in sentences(today) if "hold ends" in words]


def test_a_broken_promise_is_off_the_agenda_once_the_hold_is_released(today):
    HoldFactory(plug__fate="kept", until=today, released_on=today)
    assert not [words for words in sentences(today) if "Tell" in words]


def test_ready_frags_without_a_price_are_named(today):
    unpriced, priced, own = ReadyPlugFactory.create_batch(3)
    LineagePrice.objects.create(lineage=priced.lineage, amount=10)
    PlugPrice.objects.create(plug=own, amount=10)
    assert f"Set a price for {unpriced.lineage}: ready to leave without one" in sentences(today)


def test_what_is_many_is_named_in_part(today):
    ReadyPlugFactory.create_batch(5)
    (words,) = [words for words in sentences(today) if words.startswith("Set a price")]
    assert "and 2 more" in words
