"""Moving a colony, and putting right where it stood."""

from datetime import date, timedelta

import pytest

from propagation.actions.changes import last_change
from propagation.actions.move_colony import correct_placement, move_colony
from propagation.errors import BadDate, BadValue, ChangedMeanwhile
from propagation.models import Placement
from tests.factories import ColonyFactory, PlacementFactory, SpotFactory, SystemFactory

pytestmark = pytest.mark.django_db


def test_moving_ends_the_old_placement_on_the_day_of_the_new(today):
    old = PlacementFactory()
    new = move_colony(colony=old.colony, spot=SpotFactory(), on=today, today=today)
    old.refresh_from_db()
    assert (old.until, new.since, new.until) == (today, today, None)


def test_a_colony_is_not_moved_to_where_it_stands(today):
    placement = PlacementFactory()
    with pytest.raises(BadValue, match="already, since"):
        move_colony(colony=placement.colony, spot=placement.spot, on=today, today=today)


def test_a_move_before_the_last_one_is_refused_with_its_day(today):
    placement = PlacementFactory(since=date(2026, 5, 1))
    with pytest.raises(BadDate, match="comes before it last moved on 1 May 2026"):
        move_colony(colony=placement.colony, spot=SpotFactory(), on=date(2026, 4, 1), today=today)


def test_a_move_into_the_days_of_an_earlier_placement_is_refused(today):
    placement = PlacementFactory(until=date(2026, 5, 1))
    with pytest.raises(BadDate, match="it left its last spot on 1 May 2026"):
        move_colony(colony=placement.colony, spot=SpotFactory(), on=date(2026, 4, 1), today=today)


@pytest.mark.parametrize(
    ("day", "sentence"),
    [
        (date(2026, 6, 16), "lies in the future"),
        (date(1926, 6, 1), "is the year right"),
        (date(2023, 6, 1), "comes before it began"),
    ],
)
def test_a_day_that_cannot_be_is_named(day, sentence, today):
    with pytest.raises(BadDate, match=sentence):
        move_colony(colony=ColonyFactory(), spot=SpotFactory(), on=day, today=today)


def test_a_colony_cannot_move_into_a_system_that_did_not_run(today):
    ended = SpotFactory(system=SystemFactory(ended_on=date(2024, 12, 1)))
    with pytest.raises(BadDate, match="did not run on"):
        move_colony(colony=ColonyFactory(), spot=ended, on=today, today=today)


def test_a_move_entered_late_into_an_ended_system_ends_with_it(today):
    spot = SpotFactory(system=SystemFactory(ended_on=date(2024, 12, 1)))
    colony = ColonyFactory()
    move_colony(colony=colony, spot=spot, on=date(2024, 6, 1), today=today)
    assert colony.placements.get().until == date(2024, 12, 1)
    assert not colony.placements.current().exists()


def test_what_is_no_longer_kept_is_not_moved(today):
    colony = ColonyFactory(ended_on=date(2026, 1, 1), end_reason="died")
    with pytest.raises(BadValue, match="no longer kept since 1 Jan 2026"):
        move_colony(colony=colony, spot=SpotFactory(), on=today, today=today)


def test_a_wrong_spot_is_put_right_and_its_history_keeps_both(keeper):
    placement = PlacementFactory()
    wrong, right = placement.spot, SpotFactory()
    correct_placement(placement=placement, spot=right, by=keeper)
    placement.refresh_from_db()
    assert placement.spot == right
    assert [row.spot_id for row in placement.history.order_by("history_id")] == [wrong.pk, right.pk]
    assert placement.history.latest().history_user == keeper


def test_a_placement_is_not_put_right_into_a_system_of_other_days():
    placement = PlacementFactory()
    later = SpotFactory(system=SystemFactory(started_on=placement.since + timedelta(days=1)))
    with pytest.raises(BadDate):
        correct_placement(placement=placement, spot=later)


def test_two_people_putting_one_place_right_are_told():
    placement = PlacementFactory()
    opened = last_change(placement)
    correct_placement(placement=placement, spot=SpotFactory(), based_on=opened)
    with pytest.raises(ChangedMeanwhile):
        correct_placement(placement=placement, spot=SpotFactory(), based_on=opened)


def test_the_page_moves_a_colony(signed_in):
    placement, spot = PlacementFactory(), SpotFactory()
    day = date(2026, 6, 1)
    answer = signed_in.post(f"/colonies/{placement.colony.tag}/move/", {"spot": spot.pk, "day": day})
    assert answer.status_code == 302
    assert placement.colony.placements.current().get().spot == spot


def test_a_refused_move_keeps_what_was_typed(signed_in):
    placement, spot = PlacementFactory(), SpotFactory()
    answer = signed_in.post(f"/colonies/{placement.colony.tag}/move/", {"spot": spot.pk, "day": "2123-01-01"})
    assert "lies in the future" in answer.content.decode()
    assert 'value="2123-01-01"' in answer.content.decode()
    assert Placement.objects.count() == 1
