"""Promising plugs: never one frag to two people."""

import random
from datetime import date, timedelta

import pytest
from django.utils.timezone import localdate

from inventory.actions.hold_plugs import extend_hold, hold_plugs, release_hold
from inventory.errors import PlugAlreadyPromised, PlugNotReady
from inventory.models import Hold
from inventory.readings.availability import available_on
from propagation.errors import AlreadyDone, BadDate, BadValue, PlugGone
from propagation.promises import promises_of
from tests.factories import ContactFactory, HoldFactory, PlugFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


def test_a_held_plug_is_not_available_until_the_day_after_its_last(today):
    plug, until = ReadyPlugFactory(), today + timedelta(days=7)
    hold_plugs(plugs=[plug], contact=ContactFactory(), until=until, today=today)
    assert not available_on(today).exists()
    assert not available_on(until).exists()
    assert available_on(until + timedelta(days=1)).get() == plug


def test_two_people_cannot_hold_one_plug(today):
    hold = HoldFactory(until=today + timedelta(days=3))
    with pytest.raises(PlugAlreadyPromised) as refusal:
        hold_plugs(plugs=[hold.plug], contact=ContactFactory(), until=today, today=today)
    assert hold.contact.name in str(refusal.value)
    assert "18 Jun 2026" in str(refusal.value)


def test_a_hold_that_ran_out_gives_way_to_the_next(today):
    old = HoldFactory(until=today - timedelta(days=1))
    (new,) = hold_plugs(plugs=[old.plug], contact=ContactFactory(), until=today, today=today)
    old.refresh_from_db()
    assert old.released_on == today
    assert Hold.objects.active_on(today).get() == new


def test_the_same_form_sent_twice_promises_once(today):
    plug, contact = ReadyPlugFactory(), ContactFactory()
    for _ in range(2):
        hold_plugs(plugs=[plug], contact=contact, until=today, today=today)
    assert Hold.objects.count() == 1


def test_who_has_a_plug_already_keeps_it_until_the_later_day(today):
    hold = HoldFactory(until=today + timedelta(days=10))
    for days, kept in ((3, 10), (20, 20)):
        hold_plugs(plugs=[hold.plug], contact=hold.contact, until=today + timedelta(days=days), today=today)
        hold.refresh_from_db()
        assert hold.until == today + timedelta(days=kept)


def test_all_who_stand_in_the_way_are_named(today):
    holds = HoldFactory.create_batch(2, until=today)
    with pytest.raises(PlugAlreadyPromised) as refusal:
        hold_plugs(plugs=[hold.plug for hold in holds], contact=ContactFactory(), until=today, today=today)
    assert all(hold.plug.code_in_clear in str(refusal.value) for hold in holds)
    assert all(hold.contact.name in str(refusal.value) for hold in holds)


def test_a_hold_keeps_who_did_what(today, keeper):
    (hold,) = hold_plugs(plugs=[ReadyPlugFactory()], contact=ContactFactory(), until=today, today=today, by=keeper)
    extend_hold(hold=hold, until=today + timedelta(days=2), today=today, by=keeper)
    release_hold(hold=hold, today=today, by=keeper)
    rows = hold.history.order_by("history_id").values_list("until", "released_on", "history_user")
    later = today + timedelta(days=2)
    assert list(rows) == [(today, None, keeper.pk), (later, None, keeper.pk), (later, today, keeper.pk)]


@pytest.mark.parametrize("plugs", [1, 40])
def test_holding_takes_as_many_queries_whatever_the_count(today, plugs, django_assert_max_num_queries):
    chosen = ReadyPlugFactory.create_batch(plugs)
    contact = ContactFactory()
    with django_assert_max_num_queries(9):
        hold_plugs(plugs=chosen, contact=contact, until=today, today=today)
    assert Hold.objects.count() == plugs


def test_several_plugs_are_held_all_or_none(today):
    free, taken = ReadyPlugFactory(), HoldFactory(until=today).plug
    with pytest.raises(PlugAlreadyPromised):
        hold_plugs(plugs=[free, taken], contact=ContactFactory(), until=today, today=today)
    assert not Hold.objects.filter(plug=free).exists()


@pytest.mark.parametrize(
    ("make", "error"),
    [
        (lambda: PlugFactory(), PlugNotReady),
        (lambda: ReadyPlugFactory(is_insurance=True), PlugNotReady),
        (lambda: ReadyPlugFactory(fate="dead", ended_on=date(2026, 6, 14)), PlugGone),
        (lambda: ReadyPlugFactory(fate="sold", ended_on=date(2026, 6, 14)), PlugGone),
        (lambda: ReadyPlugFactory(fate="grown_on", ended_on=date(2026, 6, 14)), PlugGone),
    ],
)
def test_a_plug_that_is_not_fit_to_leave_is_not_held(today, make, error):
    plug = make()
    with pytest.raises(error, match=plug.code_in_clear):
        hold_plugs(plugs=[plug], contact=ContactFactory(), until=today, today=today)


@pytest.mark.parametrize("days", [-1, 800])
def test_a_day_that_cannot_be_is_refused(today, days):
    with pytest.raises(BadDate):
        hold_plugs(
            plugs=[ReadyPlugFactory()], contact=ContactFactory(), until=today + timedelta(days=days), today=today
        )


def test_nothing_chosen_is_said(today):
    with pytest.raises(BadValue, match="at least one"):
        hold_plugs(plugs=[], contact=ContactFactory(), until=today, today=today)


def test_releasing_frees_the_plug_once(today):
    hold = HoldFactory(until=today)
    release_hold(hold=hold, today=today)
    assert available_on(today).get() == hold.plug
    with pytest.raises(AlreadyDone):
        release_hold(hold=hold, today=today)


def test_a_hold_can_be_extended_but_not_into_the_past(today):
    hold = HoldFactory(until=today)
    assert extend_hold(hold=hold, until=today + timedelta(days=5), today=today).until == today + timedelta(days=5)
    with pytest.raises(BadDate):
        extend_hold(hold=hold, until=today - timedelta(days=1), today=today)


def test_the_floor_below_is_told_who_has_it():
    hold = HoldFactory(until=localdate() + timedelta(days=2))
    free = ReadyPlugFactory()
    assert list(promises_of([hold.plug, free])) == [hold.plug.pk]
    assert hold.contact.name in promises_of([hold.plug])[hold.plug.pk]


def wants(plugs, contact, today):
    """An act of a thread: hold these plugs for this contact."""
    return lambda: len(hold_plugs(plugs=plugs, contact=contact, until=today, today=today))


def open_holds():
    return list(Hold.objects.filter(released_on=None).values_list("plug", "contact__name"))


def test_of_twelve_who_want_the_same_plugs_at_once_one_wins_and_the_others_are_told_who(today, at_once):
    plugs = ReadyPlugFactory.create_batch(5)
    contacts = ContactFactory.create_batch(12)
    answers = at_once([wants(plugs, contact, today) for contact in contacts])
    winners = [contact for contact, answer in zip(contacts, answers, strict=True) if answer == 5]
    refusals = [answer for answer in answers if answer != 5]
    assert len(winners) == 1
    assert len(refusals) == 11
    for refusal in refusals:  # nobody met a locked database
        assert isinstance(refusal, PlugAlreadyPromised), refusal
        assert f"is held for {winners[0].name} until 15 Jun 2026" in str(refusal)
    (held,) = at_once([open_holds])
    assert sorted(held) == sorted((plug.pk, winners[0].name) for plug in plugs)


def test_twelve_who_want_plugs_in_other_orders_neither_wait_for_ever_nor_share_one(today, at_once):
    plugs = ReadyPlugFactory.create_batch(5)
    contacts = ContactFactory.create_batch(12)
    chance = random.Random(5)
    wishes = [chance.sample(plugs, 3) for _ in contacts]
    answers = at_once([wants(wish, contact, today) for wish, contact in zip(wishes, contacts, strict=True)])
    assert {type(answer) for answer in answers} <= {int, PlugAlreadyPromised}
    (held,) = at_once([open_holds])
    assert len({plug for plug, _ in held}) == len(held)
    expected = {
        (plug.pk, contact.name)
        for wish, contact, answer in zip(wishes, contacts, answers, strict=True)
        if answer == 3
        for plug in wish
    }
    assert expected
    assert set(held) == expected


def test_a_hold_released_and_extended_at_once_is_either(today, at_once):
    hold = HoldFactory(until=today)
    later = today + timedelta(days=7)
    released, extended = at_once(
        [
            lambda: release_hold(hold=hold, today=today),
            lambda: extend_hold(hold=hold, until=later, today=today),
        ]
    )
    assert isinstance(released, Hold)  # it can be released before or after it was extended
    assert isinstance(extended, Hold | AlreadyDone)
    (held,) = at_once([open_holds])
    assert held == []
