"""Plugs found dead."""

from datetime import timedelta

import pytest

from propagation.actions.check_healing import check_healing, find_dead, take_back_checks
from propagation.errors import BadDate, BadValue, PlugGone
from propagation.models import HealingCheck, Plug
from tests.factories import PlugFactory, RackFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def plug():
    return PlugFactory(stage="sealed", rack=RackFactory(), rack_row=1, rack_column=2)


def test_a_dead_plug_has_its_day_its_reason_and_a_check(plug, today, keeper):
    find_dead(plugs=[plug], reason="tissue_loss", on=today, today=today, by=keeper)
    plug.refresh_from_db()
    assert (plug.fate, plug.ended_on, plug.loss_reason) == ("dead", today, "tissue_loss")
    check = plug.healing_checks.get()
    assert (check.found_dead, check.stage, check.recorded_by) == (True, "sealed", keeper)


def test_its_cell_is_free_for_another(plug, today):
    find_dead(plugs=[plug], reason="broken", on=today, today=today)
    other = PlugFactory(rack=plug.rack, rack_row=1, rack_column=2)
    assert other.pk


def test_a_plug_dies_once(plug, today):
    find_dead(plugs=[plug], reason="broken", on=today, today=today)
    assert find_dead(plugs=[plug], reason="pest", on=today, today=today) == []
    plug.refresh_from_db()
    assert plug.loss_reason == "broken"
    assert HealingCheck.objects.count() == 1


def test_a_plug_that_was_seen_alive_later_was_not_dead_then(plug, today):
    check_healing(plugs=[plug], stage="encrusting", on=today, today=today)
    with pytest.raises(BadDate, match="was seen encrusting on 15 Jun 2026"):
        find_dead(plugs=[plug], reason="broken", on=today - timedelta(days=3), today=today)
    plug.refresh_from_db()
    assert plug.is_kept


def test_a_reason_that_does_not_exist_is_refused(plug, today):
    with pytest.raises(BadValue, match="“boredom” is no reason"):
        find_dead(plugs=[plug], reason="boredom", on=today, today=today)


def test_a_plug_that_was_sold_is_not_found_dead(plug, today):
    Plug.objects.filter(pk=plug.pk).update(fate="sold", ended_on=today)
    with pytest.raises(PlugGone, match="is sold since"):
        find_dead(plugs=[plug], reason="broken", on=today, today=today)


def test_a_wrong_death_is_taken_back_with_a_trace(plug, today, keeper):
    find_dead(plugs=[plug], reason="broken", on=today, today=today)
    take_back_checks(checks=list(plug.healing_checks.all()), by=keeper)
    plug.refresh_from_db()
    assert (plug.fate, plug.ended_on, plug.loss_reason, plug.stage) == ("kept", None, "", "sealed")
    assert (plug.rack_row, plug.rack_column) == (1, 2)
    check = plug.healing_checks.get()
    assert (check.withdrawn_by, check.found_dead) == (keeper, True)
    assert [row.fate for row in plug.history.all()] == ["kept", "dead", "kept"]


def test_one_that_lives_again_gives_way_to_the_plug_in_its_cell(plug, today):
    find_dead(plugs=[plug], reason="broken", on=today, today=today)
    PlugFactory(rack=plug.rack, rack_row=1, rack_column=2)
    take_back_checks(checks=list(plug.healing_checks.all()))
    plug.refresh_from_db()
    assert plug.is_kept
    assert (plug.rack, plug.rack_row, plug.rack_column) == (plug.rack, None, None)


def test_one_that_lives_again_on_a_rack_that_shrank_stands_without_a_cell(plug, today):
    find_dead(plugs=[plug], reason="broken", on=today, today=today)
    plug.rack.rack_columns = 1
    plug.rack.save()
    take_back_checks(checks=list(plug.healing_checks.all()))
    plug.refresh_from_db()
    assert plug.is_kept
    assert plug.rack_column is None
