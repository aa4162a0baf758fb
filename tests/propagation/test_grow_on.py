"""A plug becomes a colony."""

from datetime import date, timedelta

import pytest

from propagation.actions.check_healing import check_healing
from propagation.actions.grow_on import grow_on
from propagation.errors import AlreadyDone, BadDate, PlugGone, PlugPromised
from propagation.models import Colony
from propagation.readings.tags import next_tag
from tests.factories import (
    ColonyFactory,
    CutEventFactory,
    HoldFactory,
    LineageFactory,
    PlugFactory,
    RackFactory,
    ReadyPlugFactory,
    SpotFactory,
)

pytestmark = pytest.mark.django_db


def test_the_thread_goes_on_through_the_plug(today, keeper):
    plug = ReadyPlugFactory(rack=RackFactory(), rack_row=1, rack_column=1)
    spot = SpotFactory()
    colony = grow_on(plug=plug, tag="G7", on=today, today=today, spot=spot, note="strong base", by=keeper)
    plug.refresh_from_db()
    assert (plug.fate, plug.ended_on, plug.rack) == ("grown_on", today, None)
    assert (colony.grown_from, colony.lineage, colony.began_on, colony.note) == (
        plug,
        plug.lineage,
        today,
        "strong base",
    )
    assert colony.code != plug.code
    assert colony.placements.get().spot == spot
    assert plug.history.first().history_user == keeper


def test_a_promised_plug_is_refused(today):
    hold = HoldFactory(until=date(2126, 1, 1))
    with pytest.raises(PlugPromised, match="Release it first"):
        grow_on(plug=hold.plug, tag="G7", on=today, today=today)
    assert not Colony.objects.filter(tag="G7").exists()


@pytest.mark.parametrize("fate", ["dead", "sold", "grown_on", "void"])
def test_what_is_gone_is_refused(today, fate):
    plug = PlugFactory(fate=fate, ended_on=today)
    with pytest.raises(PlugGone):
        grow_on(plug=plug, tag="G7", on=today, today=today)


def test_a_tag_that_was_ever_used_is_refused_and_the_plug_stays(today):
    ColonyFactory(tag="G7", ended_on=date(2025, 1, 1), end_reason="died")
    plug = PlugFactory()
    with pytest.raises(AlreadyDone, match="g7"):
        grow_on(plug=plug, tag="g7", on=today, today=today)
    plug.refresh_from_db()
    assert plug.is_kept


def test_a_day_in_the_future_or_not_after_the_cut_is_refused(today):
    plug = PlugFactory()
    for day in (today + timedelta(days=1), plug.began_on, plug.began_on - timedelta(days=1)):
        with pytest.raises(BadDate):
            grow_on(plug=plug, tag="G7", on=day, today=today)


def test_a_day_before_its_last_check_is_refused(today):
    plug = PlugFactory()
    check_healing(plugs=[plug], stage="healed", on=today, today=today)
    with pytest.raises(BadDate, match="it was checked on 15 Jun 2026"):
        grow_on(plug=plug, tag="G7", on=today - timedelta(days=2), today=today)


def test_the_next_tag_follows_the_tags_of_the_lineage():
    mother = ColonyFactory(tag="EM08", lineage__name="Ember Moss")
    ColonyFactory(tag="em09", ended_on=date(2025, 1, 1), end_reason="died")
    assert next_tag(mother.lineage) == "EM10"


def test_a_tag_that_a_colony_had_before_it_was_renamed_is_not_suggested():
    mother = ColonyFactory(tag="EM1")
    mother.tag = "EM2"
    mother.save()
    mother.tag = "EM1"
    mother.save()
    assert next_tag(mother.lineage) == "EM3"


def test_a_lineage_without_tags_begins_a_row_by_its_initials():
    assert next_tag(LineageFactory(name="Harbour Ember no. 4")) == "HEN1"


def test_the_page_fills_in_the_next_tag_and_grows_on(signed_in, today):
    mother = ColonyFactory(tag="M7")
    plug = PlugFactory(cut_event=CutEventFactory(mother=mother))
    address = f"/plugs/{plug.code}/grow-on/"
    assert 'value="M8"' in signed_in.get(address).content.decode()
    answer = signed_in.post(address, {"tag": "M8", "on": "2026-06-10"})
    assert answer.url == "/colonies/M8/"
    assert Colony.objects.get(tag="M8").grown_from == plug


def test_the_page_keeps_what_was_typed_when_refused(signed_in):
    ColonyFactory(tag="G7")
    plug = PlugFactory()
    answer = signed_in.post(f"/plugs/{plug.code}/grow-on/", {"tag": "G7", "on": "2026-06-10", "note": "keep this"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "tags are never reused" in page
    assert "keep this" in page


def test_the_page_of_a_promised_plug_says_whose_it_is(signed_in):
    hold = HoldFactory(until=date(2126, 1, 1))
    page = signed_in.get(f"/plugs/{hold.plug.code}/grow-on/").content.decode()
    assert f"promised to {hold.contact}" in page
    assert "<form class" not in page.split("page-body")[1]
