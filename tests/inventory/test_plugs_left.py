"""Plugs that leave: sold, traded or given away, to whom, and what became of their holds."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.let_go import let_go
from inventory.errors import LeavingToConfirm
from inventory.models import Contact, Hold
from propagation.errors import BadDate, BadValue, PlugGone
from tests.factories import AcquisitionFactory, ContactFactory, HoldFactory, PlugFactory, RackFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


def test_a_plug_that_left_is_no_longer_kept_and_its_cell_is_free(today):
    plug = ReadyPlugFactory(rack=RackFactory(), rack_row=1, rack_column=1)
    let_go(plugs=[plug], fate="given", on=today, today=today)
    plug.refresh_from_db()
    assert (plug.fate, plug.ended_on, plug.rack) == ("given", today, None)


def test_whoever_it_goes_to_stands_in_the_place_of_a_hold(today):
    plug, contact = ReadyPlugFactory(), ContactFactory()
    let_go(plugs=[plug], fate="sold", on=today, today=today, contact=contact)
    hold = Hold.objects.get(plug=plug)
    assert (hold.contact, hold.released_on) == (contact, today)
    assert hold.note == "Sold to them on 15 Jun 2026"


def test_the_hold_of_whom_it_goes_to_ends_with_a_note(today):
    hold = HoldFactory(until=today + timedelta(days=5), note="the red one")
    let_go(plugs=[hold.plug], fate="sold", on=today, today=today, contact=hold.contact, confirmed=False)
    hold.refresh_from_db()
    assert (hold.released_on, hold.note) == (today, "the red one. Sold to them on 15 Jun 2026")
    assert Hold.objects.count() == 1


def test_a_plug_held_for_somebody_else_is_asked_about(today):
    hold, contact = HoldFactory(until=today), ContactFactory()
    with pytest.raises(LeavingToConfirm, match=str(hold.contact)):
        let_go(plugs=[hold.plug], fate="sold", on=today, today=today, contact=contact, confirmed=False)
    assert hold.plug.__class__.objects.get(pk=hold.plug.pk).is_kept
    let_go(plugs=[hold.plug], fate="sold", on=today, today=today, contact=contact, confirmed=True)
    hold.refresh_from_db()
    assert hold.note == f"Sold to {contact} on 15 Jun 2026"
    assert Hold.objects.filter(plug=hold.plug, contact=contact, released_on=today).exists()


@pytest.mark.parametrize(
    ("make", "words"),
    [(lambda: ReadyPlugFactory(is_insurance=True), "set aside as insurance"), (PlugFactory, "is fresh, not healed")],
)
def test_what_should_stay_is_asked_about_and_can_leave(today, make, words):
    plug = make()
    with pytest.raises(LeavingToConfirm, match=words):
        let_go(plugs=[plug], fate="given", on=today, today=today, confirmed=False)
    let_go(plugs=[plug], fate="given", on=today, today=today, contact=ContactFactory(), confirmed=True)
    plug.refresh_from_db()
    assert plug.fate == "given"


def test_all_leave_or_none(today):
    plug, gone = ReadyPlugFactory(), ReadyPlugFactory(fate="dead", ended_on=date(2026, 6, 1))
    with pytest.raises(PlugGone):
        let_go(plugs=[plug, gone], fate="sold", on=today, today=today, contact=ContactFactory())
    plug.refresh_from_db()
    assert plug.is_kept
    assert not Hold.objects.exists()


def test_what_cannot_be_is_refused(today):
    plug = ReadyPlugFactory()
    with pytest.raises(BadDate):
        let_go(plugs=[plug], fate="sold", on=today + timedelta(days=1), today=today, contact=ContactFactory())
    with pytest.raises(BadValue):
        let_go(plugs=[plug], fate="dead", on=today, today=today, contact=ContactFactory())
    with pytest.raises(BadValue):
        let_go(plugs=[], fate="sold", on=today, today=today)
    assert not Hold.objects.exists()


def test_a_long_note_is_cut_to_make_room(today):
    hold = HoldFactory(until=today, note="n" * 200)
    let_go(plugs=[hold.plug], fate="traded", on=today, today=today, contact=hold.contact)
    hold.refresh_from_db()
    assert len(hold.note) <= 200
    assert hold.note.endswith("Traded to them on 15 Jun 2026")


# -- the pages


def test_the_page_of_a_plug_leads_there(signed_in):
    plug = ReadyPlugFactory()
    assert reverse("plug_left", args=[plug.code]) in signed_in.get(reverse("plug", args=[plug.code])).content.decode()


def test_it_is_recorded_from_the_page(signed_in):
    plug = ReadyPlugFactory()
    address = reverse("plug_left", args=[plug.code])
    assert signed_in.get(address).status_code == 200
    answer = signed_in.post(
        address, {"fate": "traded", "day": localdate().isoformat(), "contact_name": "Quay keeper"}, follow=True
    )
    assert f"{plug.code_in_clear} is traded to Quay keeper." in answer.content.decode()
    plug.refresh_from_db()
    assert plug.fate == "traded"
    assert Contact.objects.get().holds.get().plug == plug


def test_who_has_it_held_is_proposed(signed_in):
    hold = HoldFactory(until=localdate())
    page = signed_in.get(reverse("plug_left", args=[hold.plug.code])).content.decode()
    assert f'value="{hold.contact}"' in page


def test_a_hold_of_somebody_else_is_said_and_asked_about(signed_in):
    hold = HoldFactory(until=localdate())
    address = reverse("plug_left", args=[hold.plug.code])
    told = {"fate": "sold", "day": localdate().isoformat(), "contact_name": "Quay keeper"}
    answer = signed_in.post(address, told)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f"is held for {hold.contact}" in page
    assert 'name="confirmed"' in page
    assert 'value="Quay keeper"' in page
    assert not Contact.objects.filter(name="Quay keeper").exists()
    signed_in.post(address, told | {"confirmed": "on"})
    hold.plug.refresh_from_db()
    assert hold.plug.fate == "sold"


def test_several_leave_together(signed_in):
    plugs = ReadyPlugFactory.create_batch(3)
    codes = [plug.code for plug in plugs]
    assert signed_in.get(reverse("plugs_left"), {"plugs": codes}).content.decode().count('name="plugs"') == 3
    answer = signed_in.post(
        reverse("plugs_left"),
        {"plugs": codes[:2], "offered": codes, "fate": "given", "day": localdate().isoformat(), "contact_name": ""},
        follow=True,
    )
    assert "2 plugs are given away." in answer.content.decode()
    plugs[2].refresh_from_db()
    assert plugs[2].is_kept


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"fate": "", "day": "2026-06-01"}, "Say whether it was sold, traded or given away."),
        ({"fate": "eaten", "day": "2026-06-01"}, "Say whether it was sold, traded or given away."),
        ({"fate": "sold", "day": "soon"}, "This is no day."),
        ({"fate": "sold", "day": "2025-01-01"}, "before it came"),
    ],
)
def test_what_cannot_be_is_named_and_kept(signed_in, told, words):
    plug = ReadyPlugFactory()
    answer = signed_in.post(reverse("plug_left", args=[plug.code]), told | {"contact_name": "Quay keeper"})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert 'value="Quay keeper"' in answer.content.decode()
    plug.refresh_from_db()
    assert plug.is_kept
    assert not Contact.objects.exists()


def test_one_that_left_before_shows_to_whom_and_is_not_parted_with_again(signed_in):
    plug = ReadyPlugFactory()
    let_go(plugs=[plug], fate="sold", on=localdate(), today=localdate(), contact=ContactFactory(name="Quay keeper"))
    address = reverse("plug_left", args=[plug.code])
    assert "Quay keeper" in signed_in.get(address).content.decode()
    answer = signed_in.post(address, {"fate": "sold", "day": localdate().isoformat()})
    assert answer.status_code == 422
    assert "is sold" in answer.content.decode()


def test_a_dead_plug_cannot_leave(signed_in):
    plug = ReadyPlugFactory(fate="dead", ended_on="2026-06-01")
    answer = signed_in.get(reverse("plug_left", args=[plug.code]), follow=True)
    assert "is dead" in answer.content.decode()


def test_what_was_written_by_mistake_is_taken_back_and_its_trace_stays(signed_in, keeper):
    plug = ReadyPlugFactory()
    let_go(plugs=[plug], fate="sold", on=localdate(), today=localdate())
    address = reverse("plug_left_take_back", args=[plug.code])
    assert signed_in.get(address).status_code == 405
    signed_in.post(address)
    plug.refresh_from_db()
    assert (plug.fate, plug.ended_on) == ("kept", None)
    assert [each.fate for each in plug.history.all()[:2]] == ["kept", "sold"]
    assert plug.history.first().history_user == keeper
    assert "nothing to undo" in signed_in.post(address, follow=True).content.decode()


def test_what_came_back_stays_gone(signed_in):
    plug = ReadyPlugFactory(fate="given", ended_on="2026-05-10")
    AcquisitionFactory(lineage=plug.lineage, kind="returned", returned_plug=plug, acquired_on="2026-06-01")
    answer = signed_in.post(reverse("plug_left_take_back", args=[plug.code]), follow=True)
    assert "came back" in answer.content.decode()
    plug.refresh_from_db()
    assert plug.fate == "given"
