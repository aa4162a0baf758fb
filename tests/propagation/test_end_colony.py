"""A colony is no longer kept."""

from datetime import date
from decimal import Decimal

import pytest

from propagation.actions.end_colony import bring_back_colony, end_colony
from propagation.actions.take_size import take_size
from propagation.errors import AlreadyDone, BadDate, BadValue
from propagation.models import EndReason
from tests.factories import ColonyFactory, CutEventFactory, IncidentFactory, PlacementFactory

pytestmark = pytest.mark.django_db


def test_its_placement_and_its_incidents_end_with_it(today):
    placement = PlacementFactory()
    incident = IncidentFactory(colony=placement.colony)
    end_colony(colony=placement.colony, reason="died", on=today, today=today)
    placement.refresh_from_db()
    incident.refresh_from_db()
    assert placement.until == incident.closed_on == today


def test_it_ends_once(today):
    colony = ColonyFactory()
    end_colony(colony=colony, reason="sold", on=today, today=today)
    with pytest.raises(AlreadyDone, match="ended on"):
        end_colony(colony=colony, reason="died", on=today, today=today)


def test_it_does_not_end_before_it_was_cut(today):
    cut = CutEventFactory()
    with pytest.raises(BadDate, match="comes before it was cut on 1 Apr 2026"):
        end_colony(colony=cut.mother, reason="died", on=date(2026, 3, 1), today=today)


def test_it_does_not_end_before_it_was_measured(today):
    colony = ColonyFactory()
    take_size(colony=colony, value=Decimal(40), measure="diameter_mm", on=date(2026, 6, 1), today=today)
    with pytest.raises(BadDate, match="it was measured on 1 Jun 2026"):
        end_colony(colony=colony, reason="died", on=date(2026, 5, 1), today=today)


def test_no_placement_outlives_it(today):
    placement = PlacementFactory(until=date(2026, 6, 1))
    end_colony(colony=placement.colony, reason="died", on=date(2026, 5, 1), today=today)
    placement.refresh_from_db()
    assert placement.until == date(2026, 5, 1)


def test_a_reason_is_one_of_the_known(today):
    with pytest.raises(BadValue, match="is no reason"):
        end_colony(colony=ColonyFactory(), reason="bored", on=today, today=today)


def test_an_end_entered_by_mistake_is_taken_back_with_a_trace(today, keeper):
    colony = ColonyFactory()
    end_colony(colony=colony, reason="died", on=today, today=today, by=keeper)
    bring_back_colony(colony=colony, by=keeper)
    colony.refresh_from_db()
    assert colony.is_alive
    assert EndReason.DIED in colony.history.values_list("end_reason", flat=True)
    with pytest.raises(AlreadyDone):
        bring_back_colony(colony=colony)


def test_the_page_asks_why_and_keeps_the_day(signed_in):
    colony = ColonyFactory()
    answer = signed_in.post(f"/colonies/{colony.tag}/end/", {"day": "2026-06-01"})
    assert "Say what became of it." in answer.content.decode()
    assert 'value="2026-06-01"' in answer.content.decode()


def test_an_ended_colony_stays_readable(signed_in):
    colony = ColonyFactory()
    signed_in.post(f"/colonies/{colony.tag}/end/", {"day": "2026-06-01", "reason": "gifted"})
    colony.refresh_from_db()
    assert colony.is_alive
    signed_in.post(f"/colonies/{colony.tag}/end/", {"day": "2026-06-01", "reason": "given"})
    page = signed_in.get(f"/colonies/{colony.tag}/").content.decode()
    assert "Given away 1 Jun 2026" in page
    assert f"/colonies/{colony.tag}/move/" not in page


def test_the_page_takes_an_end_back(signed_in):
    colony = ColonyFactory(ended_on=date(2026, 6, 1), end_reason="died")
    assert signed_in.get(f"/colonies/{colony.tag}/bring-back/").status_code == 405
    signed_in.post(f"/colonies/{colony.tag}/bring-back/")
    colony.refresh_from_db()
    assert colony.is_alive
