"""Where plugs stand."""

from datetime import date

import pytest

from propagation.actions.put_on_rack import Place, put_back, put_on_rack
from propagation.errors import BadValue, CellTaken, PlugGone
from propagation.models import Plug
from tests.factories import PlugFactory, RackFactory, SpotFactory, SystemFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def rack():
    return RackFactory(rack_rows=2, rack_columns=3)


def cell(plug):
    plug.refresh_from_db()
    return plug.rack_row, plug.rack_column


def test_one_plug_goes_into_a_given_cell(rack, keeper):
    plug = PlugFactory()
    put_on_rack(plugs=[plug], rack=rack, row=2, column=3, by=keeper)
    assert cell(plug) == (2, 3)
    assert plug.history.first().history_user == keeper


def test_several_go_into_a_given_cell_and_the_next_free_ones(rack):
    PlugFactory(rack=rack, rack_row=2, rack_column=1)
    plugs = PlugFactory.create_batch(4)
    put_on_rack(plugs=plugs, rack=rack, row=1, column=3)
    assert [cell(plug) for plug in plugs] == [(1, 3), (2, 2), (2, 3), (1, 1)]


def test_without_a_cell_those_with_one_keep_it_and_the_rest_take_free_ones(rack):
    standing = PlugFactory(rack=rack, rack_row=1, rack_column=1)
    coming = PlugFactory()
    moved = put_on_rack(plugs=[standing, coming], rack=rack)
    assert moved == [coming]
    assert (cell(standing), cell(coming)) == ((1, 1), (1, 2))


def test_with_no_room_left_they_stand_on_the_rack_without_a_cell(rack):
    plugs = PlugFactory.create_batch(7)
    put_on_rack(plugs=plugs, rack=rack)
    assert cell(plugs[-1]) == (None, None)
    assert Plug.objects.filter(rack=rack).count() == 7


def test_two_plugs_do_not_fit_into_one_cell(rack):
    there = PlugFactory(rack=rack, rack_row=1, rack_column=1)
    plug = PlugFactory()
    with pytest.raises(CellTaken, match=there.code_in_clear):
        put_on_rack(plugs=[plug], rack=rack, row=1, column=1)
    assert cell(plug) == (None, None)


def test_plugs_can_take_each_others_cells(rack):
    first = PlugFactory(rack=rack, rack_row=1, rack_column=1)
    second = PlugFactory(rack=rack, rack_row=1, rack_column=2)
    put_on_rack(plugs=[first, second], rack=rack, row=1, column=2)
    assert (cell(first), cell(second)) == ((1, 2), (1, 3))
    put_back(places=[Place(first.pk, rack.pk, 1, 1), Place(second.pk, rack.pk, 1, 2)])
    assert (cell(first), cell(second)) == ((1, 1), (1, 2))


def test_without_a_rack_they_stand_nowhere(rack):
    plug = PlugFactory(rack=rack, rack_row=1, rack_column=1)
    put_on_rack(plugs=[plug], rack=None)
    assert cell(plug) == (None, None)
    assert plug.rack is None


def test_moving_where_it_stands_writes_no_history(rack):
    plug = PlugFactory(rack=rack, rack_row=1, rack_column=1)
    assert put_on_rack(plugs=[plug], rack=rack, row=1, column=1) == []
    assert plug.history.count() == 1
    assert cell(plug) == (1, 1)


def test_going_back_to_a_cell_that_was_given_away_is_refused(rack):
    plug = PlugFactory()
    PlugFactory(rack=rack, rack_row=1, rack_column=1)
    with pytest.raises(CellTaken, match="nothing was moved"):
        put_back(places=[Place(plug.pk, rack.pk, 1, 1)])
    assert cell(plug) == (None, None)


def test_a_cell_outside_of_the_rack_is_named(rack):
    with pytest.raises(BadValue, match="2 rows and 3 columns; there is no row 3, column 1"):
        put_on_rack(plugs=[PlugFactory()], rack=rack, row=3, column=1)


def test_a_ledge_is_no_rack():
    with pytest.raises(BadValue, match="is not a rack"):
        put_on_rack(plugs=[PlugFactory()], rack=SpotFactory())


def test_a_system_that_was_taken_down_takes_no_plugs():
    rack = RackFactory(system=SystemFactory(ended_on=date(2026, 5, 1)))
    with pytest.raises(BadValue, match="was taken down on 1 May 2026"):
        put_on_rack(plugs=[PlugFactory()], rack=rack)


def test_what_left_is_not_moved(rack):
    sold = PlugFactory(fate="sold", ended_on=date(2026, 6, 1))
    with pytest.raises(PlugGone, match="cannot be moved"):
        put_on_rack(plugs=[sold], rack=rack)
