"""Lines of descent, up and down."""

import json
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from propagation.actions.acquire import acquire_colony, acquire_plugs
from propagation.actions.grow_on import grow_on
from propagation.actions.part_with import part_with
from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.models import Plug
from propagation.readings.trace import (
    ancestry_of,
    as_day,
    descent_of,
    fates_of_cuts,
    told_ancestors,
    told_descendants,
    told_trace,
)
from tests.factories import ColonyFactory, CutEventFactory, LineageFactory, PlugFactory

pytestmark = pytest.mark.django_db

BEGIN = date(2020, 1, 1)


def day(number):
    return BEGIN + timedelta(days=number)


def cut(mother, frags, on, today):
    session = record_cutting(cuts=[MotherCut(mother, frags, reason="a test")], cut_on=on, today=today)
    return list(Plug.objects.filter(cut_event__session=session).order_by("id"))


@pytest.fixture
def line(today):
    """A mother acquired, cut for three; the first grown on as M2 and cut for two; the second sold, and a part of it
    came back as the colony M3, which was cut for one."""
    lineage = LineageFactory(name="Harbour Ember")
    mother = acquire_colony(lineage=lineage, tag="M1", on=day(0), today=today)
    first, second, third = cut(mother, 3, day(10), today)
    child = grow_on(plug=first, tag="M2", on=day(60), today=today)
    grandchildren = cut(child, 2, day(100), today)
    part_with(plugs=[second], fate="sold", on=day(70), today=today)
    second.refresh_from_db()
    back = acquire_colony(lineage=lineage, tag="M3", on=day(400), today=today, kind="returned", returned_plug=second)
    [last] = cut(back, 1, day(500), today)
    return {
        "mother": mother,
        "plugs": [first, second, third],
        "child": child,
        "grandchildren": grandchildren,
        "back": back,
        "last": last,
    }


def kinds(steps):
    return [step["kind"] for step in steps]


def test_a_plug_is_traced_through_cuts_and_mothers_to_the_acquisition(line):
    steps = list(told_ancestors(ancestry_of(line["grandchildren"][0])))
    assert kinds(steps) == ["cut", "colony", "plug", "cut", "colony", "acquisition"]
    assert [step["date"] for step in steps] == [day(100), day(60), day(10), day(10), day(0), day(0)]
    assert [step.get("tag") for step in steps if step["kind"] == "colony"] == ["M2", "M1"]
    assert steps[2]["code"] == line["plugs"][0].code_in_clear
    assert steps[-1]["as"] == "bought"


def test_a_line_goes_on_through_what_left_and_came_back(line):
    steps = list(told_ancestors(ancestry_of(line["last"])))
    assert kinds(steps) == ["cut", "colony", "acquisition", "plug", "cut", "colony", "acquisition"]
    assert steps[2]["as"] == "returned"
    assert steps[3] == {
        "kind": "plug",
        "code": line["plugs"][1].code_in_clear,
        "date": day(10),
        "fate": "sold",
    }


def test_a_colony_is_traced_from_the_plug_it_grew_from(line):
    steps = list(told_ancestors(ancestry_of(line["child"])))
    assert kinds(steps) == ["plug", "cut", "colony", "acquisition"]


def test_an_acquired_colony_has_its_acquisition_above_it_and_nothing_else(line):
    assert kinds(told_ancestors(ancestry_of(line["mother"]))) == ["acquisition"]


def test_an_acquired_plug_has_its_acquisition_above_it(today):
    [plug] = acquire_plugs(lineage=LineageFactory(), count=1, on=day(3), today=today)
    steps = list(told_ancestors(ancestry_of(plug)))
    assert [(step["kind"], step["date"]) for step in steps] == [("acquisition", day(3))]


def test_everything_that_came_of_a_mother_is_found_with_its_depth_and_parent(line):
    told = list(told_descendants(line["mother"], descent_of(line["mother"])))
    mother = {"kind": "colony", "code": line["mother"].code_in_clear, "tag": "M1"}
    by_kind = {kind: [step for step in told if step["kind"] == kind] for kind in kinds(told)}
    assert {kind: len(steps) for kind, steps in by_kind.items()} == {"cut": 3, "plug": 6, "colony": 2, "acquisition": 1}
    assert (told[0]["kind"], told[0]["depth"], told[0]["parent"]) == ("cut", 1, mother)
    depth_of = {step["tag"]: (step["depth"], step["parent"]) for step in by_kind["colony"]}
    assert depth_of["M2"] == (3, {"kind": "plug", "code": line["plugs"][0].code_in_clear})
    assert depth_of["M3"] == (4, {"kind": "acquisition", "id": line["back"].acquisition_id})
    assert by_kind["acquisition"][0]["parent"] == {"kind": "plug", "code": line["plugs"][1].code_in_clear}
    [deepest] = [step for step in told if step.get("code") == line["last"].code_in_clear]
    assert deepest["depth"] == 6


def test_what_came_of_a_plug_that_grew_on_or_came_back_is_found_from_the_plug(line):
    first, second, third = line["plugs"]
    assert kinds(told_descendants(first, descent_of(first))) == ["colony", "cut", "plug", "plug"]
    assert kinds(told_descendants(second, descent_of(second))) == ["acquisition", "colony", "cut", "plug"]
    assert kinds(told_descendants(third, descent_of(third))) == []


def test_plugs_that_came_back_are_found_too(line, today):
    second = line["plugs"][1]
    came = acquire_plugs(
        lineage=second.lineage, count=2, on=day(420), today=today, kind="returned", returned_plug=second
    )
    told = list(told_descendants(second, descent_of(second)))
    codes = {step["code"] for step in told if step["kind"] == "plug"}
    assert codes == {plug.code_in_clear for plug in [*came, line["last"]]}
    assert kinds(told_ancestors(ancestry_of(came[0]))) == ["acquisition", "plug", "cut", "colony", "acquisition"]
    grown = grow_on(plug=came[0], tag="M4", on=day(430), today=today)
    assert "M4" in [step.get("tag") for step in told_descendants(second, descent_of(second))]
    assert kinds(told_ancestors(ancestry_of(grown)))[:2] == ["plug", "acquisition"]


def test_what_was_recorded_by_mistake_is_no_descendant(line, today):
    third = line["plugs"][2]
    Plug.objects.filter(pk=third.pk).update(fate="void", ended_on=today)
    codes = [step.get("code") for step in told_descendants(line["mother"], descent_of(line["mother"]))]
    assert third.code_in_clear not in codes


def test_another_line_is_not_mixed_in(line):
    other = PlugFactory()
    codes = [step.get("code") for step in told_descendants(line["mother"], descent_of(line["mother"]))]
    assert other.code_in_clear not in codes


def test_one_query_up_and_one_down(line, django_assert_num_queries):
    with django_assert_num_queries(1):
        ancestry_of(line["last"])
    with django_assert_num_queries(1):
        descent_of(line["mother"])


def test_the_whole_line_is_plain_json(line):
    told = json.loads(json.dumps(told_trace(line["mother"]), default=str))
    assert told["code"] == line["mother"].code_in_clear
    assert told["tag"] == "M1"
    assert set(told["lineage"]) == {"name", "sold_as", "identity", "genus", "species", "growth_form", "origin"}
    assert told["ancestors"][0]["date"] == "2020-01-01"
    assert all({"kind", "date", "depth", "parent"} <= set(step) for step in told["descendants"])


def test_no_more_generations_are_looked_at_than_were_asked_for(line):
    descent = descent_of(line["mother"], generations=0)
    assert [stem.tag for stem in descent.stems] == ["M1"]
    assert len(descent.frags) == 3


def test_the_nearest_generation_comes_first(line):
    assert [(stem.tag, stem.depth) for stem in descent_of(line["mother"]).stems] == [("M1", 0), ("M2", 1), ("M3", 1)]


def test_two_hundred_generations_are_followed(today):
    lineage = LineageFactory()
    mother = ColonyFactory(lineage=lineage, acquired_on=day(0))
    for generation in range(200):
        event = CutEventFactory(mother=mother, session__cut_on=day(2 * generation + 1), frags=1)
        plug = PlugFactory(cut_event=event)
        if generation < 199:
            Plug.objects.filter(pk=plug.pk).update(fate="grown_on", ended_on=day(2 * generation + 2))
            mother = ColonyFactory(grown_from=plug, lineage=lineage, began_on=day(2 * generation + 2))
    rows = ancestry_of(plug)
    assert len(rows) == 200
    assert as_day(rows[-1].acquired_on) == day(0)


def test_what_became_of_the_frags_of_a_cut_is_counted(line, django_assert_num_queries):
    event = line["plugs"][0].cut_event_id
    with django_assert_num_queries(1):
        fates = fates_of_cuts([event])
    assert fates == {event: {("grown_on", "fresh"): 1, ("sold", "fresh"): 1, ("kept", "fresh"): 1}}


@settings(max_examples=25, deadline=None)
@given(choices=st.lists(st.tuples(st.integers(0, 30), st.integers(1, 3)), min_size=1, max_size=7))
def test_whatever_is_below_has_what_it_came_from_above_it(choices):
    """Up and down tell the same line: of any descendant of the first mother, that mother is an ancestor."""
    mothers, plugs = [ColonyFactory(acquired_on=day(0))], []
    for number, (choice, frags) in enumerate(choices):
        mother = mothers[choice % len(mothers)]
        event = CutEventFactory(mother=mother, session__cut_on=day(10 * number + 5), frags=frags)
        cut_now = PlugFactory.create_batch(frags, cut_event=event)
        plugs += cut_now
        Plug.objects.filter(pk=cut_now[0].pk).update(fate="grown_on", ended_on=day(10 * number + 7))
        mothers.append(ColonyFactory(grown_from=cut_now[0], lineage=mother.lineage, began_on=day(10 * number + 7)))
    below = {frag[3] for frag in descent_of(mothers[0]).frags}
    assert below == {plug.pk for plug in plugs}
    for plug in plugs:
        rows = ancestry_of(plug)
        assert rows[-1].tag == mothers[0].tag
        days = [as_day(row.plug_began_on) for row in rows]
        assert days == sorted(days, reverse=True)
