"""Colonies: the list, the page, tag and note."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils.timezone import localdate

from propagation.actions.changes import last_change
from propagation.actions.keep_colony import keep_colony, tidy_tag
from propagation.errors import AlreadyDone, BadValue, ChangedMeanwhile
from propagation.models import Colony, SizeReading
from tests.factories import (
    ColonyFactory,
    CutEventFactory,
    IncidentFactory,
    LineageFactory,
    PlacementFactory,
    PlugFactory,
    ReadyPlugFactory,
    SpotFactory,
)

pytestmark = pytest.mark.django_db


def tags(client, query=""):
    return [row.record.tag for row in client.get(f"/colonies/?{query}").context["table"].rows]


def measured(colony, value, day, **more):
    return SizeReading.objects.create(colony=colony, taken_on=day, measure="diameter_mm", value=value, **more)


# -- the act


@pytest.mark.parametrize("tag", ["", "   ", "A/1", "A\\1", "..", "x" * 25])
def test_a_tag_that_cannot_stand_in_an_address_or_on_a_label_is_refused(tag):
    with pytest.raises(BadValue):
        tidy_tag(tag)


def test_a_tag_is_never_used_twice_not_even_one_that_was_given_up():
    colony, other = ColonyFactory(tag="M1"), ColonyFactory(tag="M2")
    keep_colony(colony=colony, tag="M9", note="")
    for taken in ("m9", "M1"):
        with pytest.raises(AlreadyDone, match="has or had the tag"):
            keep_colony(colony=other, tag=taken, note="")


def test_a_colony_may_have_its_own_old_tag_again():
    colony = ColonyFactory(tag="M1")
    keep_colony(colony=colony, tag="M9", note="")
    keep_colony(colony=colony, tag="M1", note="")
    assert Colony.objects.get().tag == "M1"


def test_two_people_changing_one_colony_are_told():
    colony = ColonyFactory()
    opened = last_change(colony)
    keep_colony(colony=colony, tag=colony.tag, note="one", based_on=opened)
    with pytest.raises(ChangedMeanwhile):
        keep_colony(colony=colony, tag=colony.tag, note="two", based_on=opened)


# -- the list


def test_an_empty_list_shows_the_way_on(signed_in):
    page = signed_in.get("/colonies/").content.decode()
    assert "No colony yet" in page
    assert "/acquire/" in page


def test_the_list_shows_the_living_unless_asked(signed_in):
    ColonyFactory(tag="A1")
    ColonyFactory(tag="Z9", ended_on=date(2026, 1, 1), end_reason="died")
    assert tags(signed_in) == ["A1"]
    assert tags(signed_in, "state=ended") == ["Z9"]
    assert tags(signed_in, "state=all&sort=-tag") == ["Z9", "A1"]


def test_the_list_is_searched_by_tag_code_and_name(signed_in):
    colony = ColonyFactory(tag="A1", lineage=LineageFactory(name="Pewter Ninepin", sold_as="Green tips"))
    ColonyFactory(tag="B1")
    for text in ("a1", "pewter", "green", colony.code, colony.code_in_clear.lower()):
        assert tags(signed_in, f"q={text}") == ["A1"]
    assert "No colony fits" in signed_in.get("/colonies/?q=nothing").content.decode()


def test_the_list_is_filtered_by_lineage_system_and_incident(signed_in):
    one, two = PlacementFactory(), PlacementFactory()
    IncidentFactory(colony=two.colony)
    IncidentFactory(colony=one.colony, closed_on=date(2026, 6, 2))
    assert tags(signed_in, f"lineage={one.colony.lineage_id}") == [one.colony.tag]
    assert tags(signed_in, f"system={two.spot.system_id}") == [two.colony.tag]
    assert tags(signed_in, "incident=on") == [two.colony.tag]


def test_a_colony_is_long_unmeasured_after_the_days_of_the_preferences(signed_in):
    today = localdate()
    fresh, old, never, young = (ColonyFactory(tag=tag) for tag in ("FRESH", "OLD", "NEVER", "YOUNG"))
    measured(fresh, 50, today - timedelta(days=30))
    measured(old, 50, today - timedelta(days=31))
    Colony.objects.filter(pk=young.pk).update(began_on=today - timedelta(days=5))
    assert tags(signed_in, "unmeasured=on") == sorted([old.tag, never.tag])


def test_a_page_holds_25_and_the_next_one_is_offered_without_counting(signed_in, django_assert_num_queries):
    lineage = LineageFactory()
    for _ in range(27):
        PlacementFactory(colony=ColonyFactory(lineage=lineage))
    with django_assert_num_queries(7):
        page = signed_in.get("/colonies/")
    assert len(page.context["table"].paginated_rows) == 25
    assert 'rel="next"' in page.content.decode()
    with django_assert_num_queries(7):
        page = signed_in.get("/colonies/?page=2")
    assert len(page.context["table"].paginated_rows) == 2


def test_the_list_costs_the_same_for_few_and_many(signed_in, django_assert_num_queries):
    PlacementFactory()
    with django_assert_num_queries(7):
        signed_in.get("/colonies/")
    for _ in range(12):
        IncidentFactory(colony=PlacementFactory().colony)
    with django_assert_num_queries(7):
        signed_in.get("/colonies/")


# -- the page


def test_the_page_tells_where_it_stands_with_what_light_and_since_when(signed_in):
    placement = PlacementFactory(spot=SpotFactory(name="Ledge", par=310), since=date(2026, 2, 3))
    page = signed_in.get(f"/colonies/{placement.colony.tag}/").content.decode()
    for words in ("Ledge", "310 PAR", "since 3 Feb 2026", placement.colony.code_in_clear[-4:], "Alive"):
        assert words in page


def test_a_tag_is_found_in_either_case_and_by_its_code(signed_in):
    colony = ColonyFactory(tag="M12")
    assert signed_in.get("/colonies/m12/").context["colony"] == colony
    assert signed_in.get(f"/colonies/{colony.code}/").context["colony"] == colony
    assert signed_in.get("/colonies/M99/").status_code == 404


def test_a_tag_with_a_space_and_another_script_has_its_page(signed_in):
    colony = ColonyFactory(tag="Å 12#b?")
    page = signed_in.get("/colonies/").content.decode()
    assert "/colonies/%C3%85%2012%23b%3F/" in page
    assert signed_in.get("/colonies/%C3%85%2012%23b%3F/").context["colony"] == colony


def test_the_page_counts_what_became_of_its_frags(signed_in):
    cut = CutEventFactory(frags=7)
    gone = {"ended_on": date(2026, 6, 1)}
    PlugFactory.create_batch(2, cut_event=cut)
    ReadyPlugFactory(cut_event=cut)
    PlugFactory(cut_event=cut, fate="sold", **gone)
    PlugFactory(cut_event=cut, fate="given", **gone)
    PlugFactory(cut_event=cut, fate="dead", **gone)
    ColonyFactory(
        grown_from=PlugFactory(cut_event=cut, fate="grown_on", **gone), lineage=cut.mother.lineage, tag="CHILD"
    )
    answer = signed_in.get(f"/colonies/{cut.mother.tag}/")
    fates = answer.context["fates"]
    assert (fates.healing, fates.ready, fates.sold, fates.left, fates.dead, fates.grown_on) == (2, 1, 1, 1, 1, 1)
    assert "/colonies/CHILD/" in answer.content.decode()


def test_a_frag_recorded_by_mistake_is_not_counted(signed_in):
    cut = CutEventFactory(frags=1)
    PlugFactory(cut_event=cut, fate="void", ended_on=date(2026, 6, 1))
    assert signed_in.get(f"/colonies/{cut.mother.tag}/").context["fates"].all == 0


def test_the_life_line_runs_from_the_last_thing_to_the_first(signed_in):
    colony = ColonyFactory()
    CutEventFactory(mother=colony)
    IncidentFactory(colony=colony, kind="pest", opened_on=date(2026, 5, 1), closed_on=date(2026, 5, 9))
    PlacementFactory(colony=colony, spot=SpotFactory(name="Ledge"))
    life = signed_in.get(f"/colonies/{colony.tag}/").context["life"]
    assert [event["title"] for event in life][:3] == ["Pest is over", "Pest", "Cut: 4 frags"]
    assert life[-1]["day"] == colony.began_on


def test_the_page_offers_what_can_be_done_next(signed_in):
    colony = ColonyFactory(tag="M12")
    page = signed_in.get("/colonies/M12/").content.decode()
    for address in (
        "/cut/?mother=M12",
        "/colonies/M12/measure/",
        "/colonies/M12/move/",
        "/incidents/new/?colony=M12",
        f"/labels/?colonies={colony.code}",
        f"/trace/{colony.code}/",
    ):
        assert address in page


def test_an_open_incident_stands_on_top_with_its_way_out(signed_in):
    incident = IncidentFactory(kind="pest")
    page = signed_in.get(f"/colonies/{incident.colony.tag}/").content.decode()
    assert f"/incidents/{incident.pk}/close/" in page


def test_growth_is_a_picture_with_its_words_and_its_table(signed_in):
    colony = ColonyFactory(tag="M12")
    measured(colony, Decimal(40), date(2026, 1, 1))
    assert "40 mm on 1 Jan 2026, the only size." in signed_in.get("/colonies/M12/").content.decode()
    measured(colony, Decimal("55.5"), date(2026, 3, 1))
    page = signed_in.get("/colonies/M12/").content.decode()
    assert "From 40 mm on 1 Jan 2026 to 55.5 mm on 1 Mar 2026, 2 sizes." in page
    assert page.count("pic-readings") > 1
    assert '<th scope="row">1 Mar 2026</th><td>55.5</td>' in page


def test_the_page_costs_the_same_for_a_short_and_a_long_life(signed_in, django_assert_max_num_queries):
    colony = ColonyFactory()
    CutEventFactory(mother=colony)
    measured(colony, 40, date(2024, 6, 1))
    IncidentFactory(colony=colony)
    PlacementFactory(colony=colony, since=date(2026, 1, 1))
    signed_in.get(f"/colonies/{colony.tag}/")  # works out the next cut, which is then kept
    with django_assert_max_num_queries(23) as short:
        signed_in.get(f"/colonies/{colony.tag}/")
    for month in range(1, 6):
        CutEventFactory(mother=colony, session__cut_on=date(2025, month, 1))
        measured(colony, 40 + month, date(2025, month, 1))
        IncidentFactory(colony=colony, closed_on=date(2026, 6, 2))
        PlacementFactory(colony=colony, since=date(2025, month, 1), until=date(2025, month, 20))
    signed_in.get(f"/colonies/{colony.tag}/")
    with django_assert_max_num_queries(23) as long:
        signed_in.get(f"/colonies/{colony.tag}/")
    assert len(long) == len(short)


def test_changing_tag_and_note_says_who_and_when(signed_in):
    colony = ColonyFactory(tag="M12", note="")
    told = {"tag": "M13", "note": "From the raft", "based_on": last_change(colony)}
    answer = signed_in.post("/colonies/M12/edit/", told)
    assert answer.url == "/colonies/M13/"
    page = signed_in.get("/colonies/M13/").content.decode()
    assert "Tag: from “M12” to “M13”." in page
    assert "by keeper" in page


def test_a_used_tag_is_refused_and_the_note_is_kept(signed_in):
    colony = ColonyFactory(tag="M12")
    ColonyFactory(tag="M13")
    told = {"tag": "m13", "note": "From the raft", "based_on": last_change(colony)}
    page = signed_in.post("/colonies/M12/edit/", told).content.decode()
    assert "has or had the tag m13" in page
    assert "From the raft" in page
