"""Correcting a plug, and taking out one that was never there."""

from datetime import date
from decimal import Decimal

import pytest

from propagation.actions.acquire import acquire_plugs
from propagation.actions.changes import last_change
from propagation.actions.correct_plug import correct_plug, void_plug
from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.errors import BadValue, ChangedMeanwhile, PlugGone, PlugPromised
from propagation.models import Plug
from tests.factories import ColonyFactory, HoldFactory, LineageFactory, PlugFactory, RackFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def plug():
    return PlugFactory()


def test_size_and_note_are_put_right_with_a_trace(plug, keeper):
    correct_plug(plug=plug, size_mm=Decimal(18), note="  chipped ", by=keeper)
    plug.refresh_from_db()
    assert (plug.size_mm, plug.note) == (18, "chipped")
    now, before = plug.history.all()
    assert (before.size_mm, now.size_mm, now.history_user) == (25, 18, keeper)


def test_saving_it_unchanged_leaves_no_trace(plug):
    correct_plug(plug=plug, size_mm=Decimal(25), note="")
    assert plug.history.count() == 1


def test_two_people_correcting_one_plug_the_second_is_told(plug):
    opened = last_change(plug)
    correct_plug(plug=plug, size_mm=Decimal(18), note="", based_on=opened)
    with pytest.raises(ChangedMeanwhile):
        correct_plug(plug=plug, size_mm=Decimal(30), note="", based_on=opened)
    plug.refresh_from_db()
    assert plug.size_mm == 18


@pytest.mark.parametrize("size", [-1, 0, 2, 900])
def test_an_absurd_size_is_refused(plug, size):
    with pytest.raises(BadValue, match="cannot be right"):
        correct_plug(plug=plug, size_mm=Decimal(size), note="")


def test_a_plug_that_was_never_there_is_void_and_its_cut_counts_one_fewer(today, keeper):
    session = record_cutting(cuts=[MotherCut(ColonyFactory(), 3)], cut_on=today, today=today, rack=RackFactory())
    plug = Plug.objects.first()
    void_plug(plug=plug, reason="counted twice", today=today, by=keeper)
    plug.refresh_from_db()
    assert (plug.fate, plug.ended_on, plug.rack) == ("void", today, None)
    assert session.cut_events.get().frags == 2
    assert Plug.objects.kept().count() == 2
    trace = plug.history.first()
    assert (trace.history_user, trace.history_change_reason) == (keeper, "counted twice")


def test_the_last_frag_of_a_cut_can_be_void(today):
    session = record_cutting(cuts=[MotherCut(ColonyFactory(), 1)], cut_on=today, today=today)
    void_plug(plug=Plug.objects.get(), reason="none came off", today=today)
    assert session.cut_events.get().frags == 0


def test_a_labelled_plug_that_was_never_there_is_void(today):
    record_cutting(cuts=[MotherCut(ColonyFactory(), 2)], cut_on=today, today=today)
    plug = Plug.objects.first()
    Plug.objects.update(labelled_at="2026-06-15T20:00Z")
    void_plug(plug=plug, reason="counted twice", today=today)
    assert Plug.objects.get(pk=plug.pk).fate == "void"


def test_one_that_came_from_outside_is_void(today):
    plug = acquire_plugs(lineage=LineageFactory(), count=2, on=today, today=today)[0]
    void_plug(plug=plug, reason="only one came", today=today)
    assert Plug.objects.get(pk=plug.pk).fate == "void"


def test_void_needs_a_reason(plug, today):
    with pytest.raises(BadValue, match="why"):
        void_plug(plug=plug, reason="  ", today=today)


def test_a_promised_plug_is_not_void(today):
    hold = HoldFactory(until=date(2126, 1, 1))
    with pytest.raises(PlugPromised):
        void_plug(plug=hold.plug, reason="counted twice", today=today)


def test_a_plug_that_left_is_not_void(today):
    with pytest.raises(PlugGone, match="sold"):
        void_plug(plug=PlugFactory(fate="sold", ended_on=today), reason="counted twice", today=today)


def test_the_page_saves_in_the_keepers_unit_and_says_who_changed_what(signed_in, plug):
    address = f"/plugs/{plug.code}/correct/"
    page = signed_in.get(address)
    form = page.context["form"]
    answer = signed_in.post(address, {"size_mm": "18", "note": "chipped", "based_on": form["based_on"].value()})
    assert answer.url == f"/plugs/{plug.code}/"
    shown = signed_in.get(answer.url).content.decode()
    assert "Size: from 25 mm to 18 mm." in shown
    assert "by keeper" in shown


def test_the_page_voids_only_with_a_reason(signed_in, plug):
    answer = signed_in.post(f"/plugs/{plug.code}/void/", {"reason": ""})
    assert answer.status_code == 422
    assert "recorded by mistake" in answer.content.decode()
    signed_in.post(f"/plugs/{plug.code}/void/", {"reason": "counted twice"})
    plug.refresh_from_db()
    assert plug.fate == "void"
    assert "never used again" in signed_in.get(f"/plugs/{plug.code}/").content.decode()
