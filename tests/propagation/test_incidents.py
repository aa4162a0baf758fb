"""Something wrong, opened and closed."""

from datetime import date

import pytest

from propagation.actions.incidents import close_incident, open_incident
from propagation.errors import AlreadyDone, BadDate, BadValue
from propagation.models import Incident
from tests.factories import ColonyFactory, IncidentFactory, SystemFactory

pytestmark = pytest.mark.django_db


def test_one_kind_is_open_once_for_a_colony(today):
    incident = IncidentFactory(kind="pest")
    with pytest.raises(AlreadyDone, match="has pest open since"):
        open_incident(kind="pest", colony=incident.colony, on=today, today=today)
    open_incident(kind="browning", colony=incident.colony, on=today, today=today)


def test_it_concerns_one_colony_or_one_system(today):
    with pytest.raises(BadValue):
        open_incident(kind="outage", on=today, today=today)
    with pytest.raises(BadValue):
        open_incident(kind="outage", colony=ColonyFactory(), system=SystemFactory(), on=today, today=today)


def test_it_is_not_before_what_it_concerns_began(today):
    with pytest.raises(BadDate, match="comes before it began"):
        open_incident(kind="outage", system=SystemFactory(), on=date(2022, 1, 1), today=today)


def test_nothing_stays_open_on_what_is_no_longer_kept(today):
    colony = ColonyFactory(ended_on=date(2026, 6, 1), end_reason="died")
    incident = open_incident(kind="pest", colony=colony, on=date(2026, 5, 20), today=today)
    assert incident.closed_on == date(2026, 6, 1)
    with pytest.raises(BadValue, match="ended on 1 Jun 2026"):
        open_incident(kind="pest", colony=colony, on=today, today=today)


def test_it_closes_once_and_not_before_it_opened(today):
    incident = IncidentFactory(opened_on=date(2026, 6, 1))
    with pytest.raises(BadDate, match="before it was opened"):
        close_incident(incident=incident, on=date(2026, 5, 1), today=today)
    close_incident(incident=incident, on=today, today=today, note="Fresh water dip")
    with pytest.raises(AlreadyDone):
        close_incident(incident=incident, on=today, today=today)


def test_the_list_shows_what_is_open_and_what_is_over(signed_in):
    IncidentFactory(kind="pest", note="Spots on the underside")
    IncidentFactory(kind="bleaching", closed_on=date(2026, 6, 5))
    page = signed_in.get("/incidents/").content.decode()
    assert "Spots on the underside" in page
    assert "bleaching, 1 Jun 2026 to 5 Jun 2026" in page


def test_an_empty_list_says_so(signed_in):
    assert "Nothing is wrong as far as the records know." in signed_in.get("/incidents/").content.decode()


def test_the_page_opens_one_by_the_tag_of_the_colony(signed_in, keeper):
    colony = ColonyFactory(tag="M12")
    signed_in.post("/incidents/new/", {"colony": "m12", "kind": "browning", "day": "2026-06-01"})
    incident = Incident.objects.get()
    assert (incident.colony, incident.kind) == (colony, "browning")
    assert incident.history.get().history_user == keeper


def test_an_unknown_tag_is_answered_with_near_ones_and_nothing_is_lost(signed_in):
    ColonyFactory(tag="HF1")
    answer = signed_in.post(
        "/incidents/new/", {"colony": "HF2", "kind": "pest", "day": "2026-06-01", "note": "On the left"}
    )
    page = answer.content.decode()
    assert "Did you mean HF1?" in page
    assert "On the left" in page
    assert not Incident.objects.exists()


def test_neither_colony_nor_system_is_asked_for(signed_in):
    answer = signed_in.post("/incidents/new/", {"kind": "pest", "day": "2026-06-01"})
    assert "Name one colony or one whole system." in answer.content.decode()


def test_the_page_closes_one(signed_in):
    incident = IncidentFactory()
    signed_in.post(f"/incidents/{incident.pk}/close/", {"day": "2026-06-10", "note": "Iodine"})
    incident.refresh_from_db()
    assert (incident.closed_on, incident.note) == (date(2026, 6, 10), "Iodine")


def test_the_list_costs_the_same_for_few_and_many(signed_in, django_assert_num_queries):
    for _ in range(3):
        IncidentFactory()
    with django_assert_num_queries(4):
        signed_in.get("/incidents/")
    for _ in range(9):
        IncidentFactory(closed_on=date(2026, 6, 3))
        IncidentFactory()
    with django_assert_num_queries(4):
        signed_in.get("/incidents/")
