"""Promising plugs: never one frag to two people."""

import threading
from datetime import date, timedelta

import pytest
from django.db import connection
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


@pytest.mark.django_db(transaction=True)
def test_of_many_who_want_the_same_plugs_at_once_one_wins_each_and_the_others_are_told(today):
    plugs = ReadyPlugFactory.create_batch(5)
    contacts = ContactFactory.create_batch(12)
    start, answers = threading.Barrier(len(contacts)), []

    def want(contact):
        try:
            start.wait()
            for plug in plugs:
                try:
                    hold_plugs(plugs=[plug], contact=contact, until=today, today=today)
                    answers.append((plug.pk, contact.pk, None))
                except PlugAlreadyPromised as error:
                    answers.append((plug.pk, contact.pk, str(error)))
        finally:
            connection.close()

    threads = [threading.Thread(target=want, args=[contact]) for contact in contacts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(answers) == len(plugs) * len(contacts)  # nobody met a locked database
    won = {plug: contact for plug, contact, refusal in answers if refusal is None}
    assert won == dict(Hold.objects.values_list("plug", "contact"))
    assert len(won) == len(plugs)
    assert all("is held for" in refusal for _, _, refusal in answers if refusal)
