"""The line for a plug that somebody has: getting in, whose turn it is, getting it, giving up."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.hold_plugs import hold_plugs, release_hold
from inventory.actions.let_go import let_go
from inventory.actions.wait_in_line import give_up_waiting, hold_for_next, wait_for
from inventory.errors import NearlyTheSameName, PlugAlreadyPromised
from inventory.models import Contact, Hold, Waiting
from inventory.readings.waiting import places_in_line
from propagation.agenda import due_on
from propagation.errors import AlreadyDone, BadValue, PlugGone
from tests.factories import ContactFactory, HoldFactory, ReadyPlugFactory
from tests.inventory.sales import begun

pytestmark = pytest.mark.django_db
TODAY = localdate


def held(days=3):
    return HoldFactory(until=TODAY() + timedelta(days=days))


def in_line(hold, name):
    return wait_for(plug=hold.plug, contact_name=name, today=TODAY())


def next_ones(day=None):
    return [place.waiting.contact.name for place in places_in_line(day or TODAY()) if place.gets_it]


def sentences(day):
    return [due.sentence for due in due_on(day)]


# -- whose turn it is


def test_the_first_in_line_is_next_once_the_hold_is_released():
    hold = held()
    in_line(hold, "Mira"), in_line(hold, "Odo")
    assert next_ones() == []
    release_hold(hold=hold, today=TODAY())
    assert next_ones() == ["Mira"]
    assert "A plug is free again: next in line is Mira" in sentences(TODAY())


def test_a_hold_that_ends_by_itself_makes_the_first_in_line_next_the_day_after():
    hold = held(days=2)
    in_line(hold, "Mira")
    assert next_ones(hold.until) == []
    assert next_ones(hold.until + timedelta(days=1)) == ["Mira"]


def test_whoever_gives_up_makes_room_for_the_next(keeper):
    hold = held()
    first = in_line(hold, "Mira")
    in_line(hold, "Odo")
    release_hold(hold=hold, today=TODAY())
    give_up_waiting(waiting=first, today=TODAY(), by=keeper)
    assert next_ones() == ["Odo"]
    assert first.history.latest().history_user == keeper
    with pytest.raises(AlreadyDone, match="Mira has not waited"):
        give_up_waiting(waiting=first, today=TODAY())


def test_the_hold_for_the_next_ends_their_waiting_and_nobody_jumps_the_line(keeper):
    hold = held()
    first, second = in_line(hold, "Mira"), in_line(hold, "Odo")
    until = TODAY() + timedelta(days=7)
    with pytest.raises(PlugAlreadyPromised):
        hold_for_next(waiting=first, until=until, today=TODAY())
    release_hold(hold=hold, today=TODAY())
    with pytest.raises(BadValue, match="Mira came before Odo"):
        hold_for_next(waiting=second, until=until, today=TODAY())
    made = hold_for_next(waiting=first, until=until, today=TODAY(), by=keeper)
    assert (made.contact.name, made.until, made.made_by) == ("Mira", until, keeper)
    first.refresh_from_db()
    assert first.ended_on == TODAY()
    assert [(place.waiting.contact.name, place.place) for place in places_in_line(TODAY())] == [("Odo", 1)]
    with pytest.raises(AlreadyDone):
        hold_for_next(waiting=first, until=until, today=TODAY())
    assert Hold.objects.filter(released_on=None).count() == 1


def test_a_hold_made_in_another_way_ends_their_waiting_too():
    hold = held()
    waiting = in_line(hold, "Mira")
    release_hold(hold=hold, today=TODAY())
    hold_plugs(plugs=[hold.plug], contact=waiting.contact, until=TODAY(), today=TODAY())
    assert not places_in_line(TODAY())
    assert Waiting.history.latest().ended_on == TODAY()


def test_who_waits_for_a_plug_that_is_gone_is_to_be_told():
    hold = held()
    in_line(hold, "Mira")
    type(hold.plug).objects.filter(pk=hold.plug_id).update(fate="dead", ended_on=TODAY())
    (place,) = places_in_line(TODAY())
    assert (place.is_gone, place.gets_it) == (True, False)
    assert "Tell Mira: the plug waited for is gone" in sentences(TODAY())


# -- getting in


def test_one_may_wait_for_what_is_in_a_sale_but_not_for_what_one_has_or_nobody_has():
    sale = begun(today=TODAY(), plugs=1)
    plug = sale.lines.get().plug
    assert wait_for(plug=plug, contact_name="Mira", today=TODAY()).plug == plug
    with pytest.raises(BadValue, match="already and need not wait"):
        wait_for(plug=plug, contact_name=sale.contact.name, today=TODAY())
    hold = held()
    with pytest.raises(BadValue, match="already and need not wait"):
        in_line(hold, hold.contact.name)
    with pytest.raises(BadValue, match="hold it for them instead"):
        wait_for(plug=ReadyPlugFactory(), contact_name="Odo", today=TODAY())
    with pytest.raises(PlugGone):
        wait_for(plug=ReadyPlugFactory(fate="dead", ended_on=TODAY()), contact_name="Odo", today=TODAY())
    assert not Contact.objects.filter(name="Odo").exists()


def test_a_form_sent_twice_gives_one_place_and_a_slip_of_a_name_is_asked_about():
    hold = held()
    ContactFactory(name="Quay keeper")
    assert in_line(hold, "quay KEEPER") == in_line(hold, "Quay keeper")
    with pytest.raises(NearlyTheSameName):
        wait_for(plug=hold.plug, contact_name="Quay keepr", today=TODAY(), is_somebody_new=False)
    assert Waiting.objects.count() == 1


# -- the pages


def test_from_the_held_plug_to_the_hold_for_the_next_by_the_pages(signed_in, keeper):
    hold = held()
    address = reverse("hold", args=[hold.plug.code])
    page = signed_in.get(address).content.decode()
    assert "Nobody waits for it" in page
    assert reverse("plug_wait", args=[hold.plug.code]) in page
    sent = {"contact_name": "Mira", "note": "Any size"}
    assert signed_in.post(reverse("plug_wait", args=[hold.plug.code]), sent).url == address
    assert "Any size" in signed_in.get(address).content.decode()
    page = signed_in.get(reverse("holds")).content.decode()
    assert "Next in line" not in page
    assert "for what others have" in page
    signed_in.post(reverse("hold_release", args=[hold.pk]))
    waiting = Waiting.objects.get()
    one_tap = reverse("waiting_hold", args=[waiting.pk])
    for name in (reverse("holds"), address):
        assert one_tap in signed_in.get(name).content.decode()
    answer = signed_in.post(one_tap, follow=True)
    assert "is held for Mira until" in answer.content.decode()
    made = Hold.objects.get(released_on=None)
    assert (made.contact.name, made.note, made.made_by) == ("Mira", "Any size", keeper)
    assert made.until == TODAY() + timedelta(days=7)
    assert "not waited for" in signed_in.post(one_tap, follow=True).content.decode()


def test_giving_up_by_the_page_says_so(signed_in):
    waiting = in_line(held(), "Mira")
    answer = signed_in.post(reverse("waiting_end", args=[waiting.pk]), follow=True)
    assert "Mira waits for" in answer.content.decode()
    assert not places_in_line(TODAY())


def test_what_is_wrong_is_named_and_nothing_is_lost(signed_in):
    hold = held()
    ContactFactory(name="Quay keeper")
    address = reverse("plug_wait", args=[hold.plug.code])
    for name, words in (("", "Say for whom"), ("Quay keepr", "is a contact already"), (hold.contact.name, "need not")):
        answer = signed_in.post(address, {"contact_name": name, "note": "Any size"})
        assert answer.status_code == 422
        assert words in answer.content.decode()
        assert 'value="Any size"' in answer.content.decode()
    assert not Waiting.objects.exists()
    signed_in.post(address, {"contact_name": "Quay keepr", "somebody_new": "on"})
    assert Waiting.objects.get().contact.name == "Quay keepr"


def test_the_holds_page_costs_the_same_queries_however_many_wait(signed_in, django_assert_max_num_queries):
    hold = held()
    for number in range(2):
        in_line(hold, f"Waiter {'abcdefgh'[number] * 5}")
    with django_assert_max_num_queries(10):
        signed_in.get(reverse("holds"))
    for number in range(2, 8):
        in_line(hold, f"Waiter {'abcdefgh'[number] * 5}")
    with django_assert_max_num_queries(10):
        signed_in.get(reverse("holds"))


def test_the_page_of_a_plug_shows_its_line(signed_in):
    today, hold = localdate(), HoldFactory(until=localdate())
    here = reverse("plug", args=[hold.plug.code])
    assert "In line for it" not in signed_in.get(here).content.decode()
    for name in ("Sela", "Mira"):
        wait_for(plug=hold.plug, contact_name=name, today=today, is_somebody_new=True)
    answer = signed_in.get(here)
    assert [each.name for each in answer.context["in_line"]] == ["Sela", "Mira"]
    assert "See who has it and who is next" in answer.content.decode()
    release_hold(hold=hold, today=today)
    assert "Hold it for the next" in signed_in.get(here).content.decode()
    let_go(plugs=[hold.plug], fate="given", on=today, today=today)
    assert "tell them" in signed_in.get(here).content.decode()


def test_a_plug_is_left_with_somebody_from_its_page_unless_it_is_promised(signed_in):
    free, held = ReadyPlugFactory(), HoldFactory(until=localdate()).plug
    address = reverse("safekeeping_new")
    page = signed_in.get(reverse("plug", args=[free.code])).content.decode()
    assert f'href="{address}?plug={free.code}"' in page
    assert address not in signed_in.get(reverse("plug", args=[held.code])).content.decode()
    form = signed_in.get(address, {"plug": free.code}).content.decode()
    assert f'value="{free.code}"' in form
