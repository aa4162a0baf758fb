"""Plugs set aside as living insurance."""

from datetime import date

import pytest

from propagation.actions.set_insurance import set_insurance
from propagation.errors import PlugGone, PlugPromised
from propagation.models import Lineage, Plug
from propagation.readings.living_copies import short_of_copies, with_living_copies
from tests.factories import ColonyFactory, CutEventFactory, HoldFactory, LineageFactory, PlugFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


def test_what_is_set_aside_is_not_ready_and_comes_back_when_released(today, keeper):
    plug = ReadyPlugFactory()
    assert set_insurance(plugs=[plug], set_aside=True, by=keeper) == [plug]
    assert not Plug.objects.ready_on(today).exists()
    assert plug.history.first().history_user == keeper
    set_insurance(plugs=[plug], set_aside=False)
    assert Plug.objects.ready_on(today).get() == plug


def test_a_second_tap_changes_nothing():
    plug = PlugFactory(is_insurance=True)
    assert set_insurance(plugs=[plug], set_aside=True) == []
    assert plug.history.count() == 1


def test_a_promised_plug_is_not_set_aside():
    hold = HoldFactory(until=date(2126, 1, 1))
    with pytest.raises(PlugPromised, match=hold.plug.code_in_clear):
        set_insurance(plugs=[hold.plug], set_aside=True)


def test_with_one_gone_none_is_set_aside():
    plug, dead = PlugFactory(), PlugFactory(fate="dead", ended_on=date(2026, 6, 1))
    with pytest.raises(PlugGone):
        set_insurance(plugs=[plug, dead], set_aside=True)
    assert not Plug.objects.insurance().exists()


def test_living_copies_are_living_colonies_and_kept_insurance_plugs():
    mother = ColonyFactory(lineage__insurance_wanted=3)
    ColonyFactory(lineage=mother.lineage, ended_on=date(2026, 5, 1), end_reason="died")
    cut = CutEventFactory(mother=mother)
    PlugFactory(cut_event=cut, is_insurance=True)
    PlugFactory(cut_event=cut, is_insurance=True, fate="dead", ended_on=date(2026, 6, 1))
    PlugFactory(cut_event=cut)
    line = with_living_copies(Lineage.objects.all()).get(pk=mother.lineage_id)
    assert (line.living_colonies, line.insurance_plugs, line.living_copies) == (1, 1, 2)
    LineageFactory(insurance_wanted=0)
    assert list(short_of_copies(Lineage.objects.all())) == [line]
