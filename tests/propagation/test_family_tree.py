"""The family tree: what it shows, that knots never meet, and that it stays small."""

import xml.etree.ElementTree as ET
from collections import Counter
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from propagation.readings.family_tree import (
    HEIGHT,
    MARKS,
    MOST_DOWN,
    MOST_KNOTS,
    STYLE_ALONE,
    Knot,
    draw_legend,
    draw_tree,
    grow_tree,
    mark_of,
    said,
    stand_across,
    stand_down,
)
from propagation.readings.trace import Descent, Generation, Stem

pytestmark = pytest.mark.no_database

BEGIN = date(2020, 1, 1)
SVG = "{http://www.w3.org/2000/svg}"


def page(code):
    return f"/trace/{code}/"


def mother(**fields):
    """The own generation of a colony that was bought."""
    told = dict.fromkeys(Generation._fields) | {
        "depth": 0,
        "colony_code": "AAAAAAAA",
        "tag": "M1",
        "colony_began_on": BEGIN,
        "acquisition_id": 9,
        "acquired_on": BEGIN,
        "acquired_as": "bought",
    }
    return Generation(**(told | fields))


def row(stem=1, plug=None, cut=None, *, came_from=None, fate="kept", stage="fresh", on=10):
    """A frag, and the stem that bears it."""
    began_on = BEGIN + timedelta(days=on)
    bears = Stem(stem, None, came_from, f"C{stem:07d}", began_on - timedelta(days=5), None, f"M{stem}", None, 0)
    return bears, (stem, None, cut, plug, f"P{plug:07d}", began_on, None, fate, stage, None)


def tree(rows, generations=None, **options):
    stems = {stem.colony_id: stem for stem, _ in reversed(rows)}
    descent = Descent(list(stems.values()), [frag for _, frag in rows])
    return grow_tree(generations or [mother()], descent, address_of=page, fates_of_cuts={}, **options)


def titles(root, kind=None):
    return [knot.title for knot in root.walk() if kind in (None, knot.kind)]


def test_a_cut_is_one_knot_with_all_its_frags():
    rows = [row(plug=1, cut=5, fate="sold"), row(plug=2, cut=5, stage="healed"), row(plug=3, cut=5, fate="dead")]
    [cut] = [knot for knot in tree(rows).walk() if knot.kind == "cut"]
    assert cut.marks == Counter(left=1, healed=1, dead=1)
    assert said(cut.marks) == "3 frags: 1 healed, 1 left, 1 dead"


def test_a_colony_stands_on_the_cut_that_it_came_from():
    rows = [
        row(plug=1, cut=5, fate="grown_on"),
        row(plug=2, cut=6, on=20),
        row(stem=2, plug=3, cut=7, came_from=1, on=90),
    ]
    root = tree(rows)
    assert titles(root) == ["Bought", "M1", "Cut 11 Jan 2020", "M2", "Cut 31 Mar 2020", "Cut 21 Jan 2020"]


def test_the_trunk_leads_from_the_acquisition_to_what_was_asked_for():
    plug = mother(plug_id=3, plug_code="PPPPPPPP", plug_began_on=BEGIN, plug_fate="kept", cut_event_id=4)
    root = grow_tree([plug], Descent([], []), address_of=page, fates_of_cuts={4: Counter({("kept", "fresh"): 8})})
    assert titles(root) == ["Bought", "M1", "Cut 1 Jan 2020", "PPPP-PPPP"]
    asked_for = [knot for knot in root.walk() if knot.is_asked_for]
    assert [knot.title for knot in asked_for] == ["PPPP-PPPP"]
    assert next(knot for knot in root.walk() if knot.kind == "cut").marks == Counter(fresh=8)


def test_a_long_line_is_cut_short_with_a_way_further_up():
    generations = [
        mother(depth=n, plug_id=n, plug_code=f"P{n:07d}", plug_began_on=BEGIN, plug_fate="grown_on") for n in range(200)
    ]
    root = tree([], generations)
    assert root.kind == "more"
    assert root.title == "194 more generations"
    assert root.address == "/trace/P0000006/"


def many_cuts(number, frags=8):
    return [row(plug=cut * frags + frag, cut=cut, on=cut * 3) for cut in range(1, number + 1) for frag in range(frags)]


def test_a_mother_of_very_many_cuts_is_paged_through():
    root = tree(many_cuts(60))
    first_cuts, more = titles(root, "cut"), next(knot for knot in root.walk() if knot.kind == "more")
    assert more.title == f"{60 - len(first_cuts)} more cuts"
    assert more.address == f"/trace/AAAAAAAA/?skip={len(first_cuts)}"
    next_cuts = titles(tree(many_cuts(60), skip=len(first_cuts)), "cut")
    assert not set(first_cuts) & set(next_cuts)


def test_a_million_descendants_never_render():
    rows, plug = [], 0
    waiting = [(1, 0, None)]
    stem = 1
    while waiting and len(rows) < 20_000:
        own, depth, came_from = waiting.pop(0)
        for cut in range(4):
            for frag in range(8):
                plug += 1
                rows.append(row(own, plug, own * 10 + cut, came_from=came_from, fate="grown_on", on=depth * 50 + 9))
                if frag < 3:
                    stem += 1
                    waiting.append((stem, depth + 1, plug))
    knots = list(tree(rows).walk())
    assert len(knots) <= MOST_KNOTS
    assert any(knot.kind == "more" for knot in knots)
    assert all(knot.address for knot in knots if knot.kind == "more")
    assert max(knot.generation for knot in knots) <= MOST_DOWN


@st.composite
def trees(draw):
    """Any shape of up to sixty knots."""
    knots = [Knot("colony", "M0")]
    for number in range(draw(st.integers(0, 59))):
        child = Knot("cut", f"K{number}")
        knots[draw(st.integers(0, len(knots) - 1))].children.append(child)
        knots.append(child)
    return knots[0]


def meet(one, other):
    return (
        one.x < other.x + other.width
        and other.x < one.x + one.width
        and one.y < other.y + HEIGHT
        and other.y < one.y + HEIGHT
    )


@given(trees())
def test_knots_never_meet_and_lie_in_the_picture(root):
    for stand in (stand_across, stand_down):
        width, height = stand(root)
        knots = list(root.walk())
        for number, one in enumerate(knots):
            assert not any(meet(one, other) for other in knots[number + 1 :])
            assert one.x >= 0
            assert one.y >= 0
            assert one.y + HEIGHT <= height
            if stand is stand_across:
                assert one.x + one.width <= width


@given(trees())
def test_generations_stand_in_columns_and_parents_amid_their_children(root):
    stand_across(root)
    for knot in root.walk():
        assert all(child.x > knot.x + knot.width for child in knot.children)
        assert [a.y < b.y for a, b in pairwise(knot.children)] == [True] * max(len(knot.children) - 1, 0)
        if knot.children:
            assert knot.children[0].y <= knot.y <= knot.children[-1].y


def test_a_small_tree_is_even_and_a_tall_one_begins_at_the_top():
    small, tall = (Knot("colony", "M", children=[Knot("cut", str(n)) for n in range(number)]) for number in (3, 40))
    stand_across(small)
    assert small.y == small.children[1].y
    stand_across(tall)
    assert tall.y == tall.children[0].y


@pytest.mark.parametrize("across", [True, False])
def test_every_knot_has_a_title_and_its_link(across):
    svg = ET.fromstring(draw_tree(tree(many_cuts(3)), across=across, name="Family tree of M1"))  # noqa: S314 - our own
    assert svg.find(f"{SVG}title").text == "Family tree of M1"
    assert "2 colonies" not in svg.find(f"{SVG}desc").text
    knots = [one for one in svg.iter() if "knot " in f"{one.get('class', '')} "]
    assert len(knots) == 5
    assert all(one.find(f"{SVG}title").text for one in knots)


def test_a_name_is_written_and_not_obeyed():
    generations = [mother(tag="<script>alert(1)</script>")]
    drawn = draw_tree(tree([], generations), across=True, name="<b>")
    assert "<script>" not in drawn
    assert "<b>" not in drawn


def test_no_style_is_written_into_a_page_and_one_into_a_picture_that_stands_alone():
    root = tree(many_cuts(2))
    assert "style" not in draw_tree(root, across=True, name="T")
    assert STYLE_ALONE.strip()[:20] in draw_tree(root, across=True, name="T", style=STYLE_ALONE)


def test_very_many_frags_are_drawn_as_numbers():
    root = tree(many_cuts(1, frags=40))
    drawn = draw_tree(root, across=True, name="T")
    assert drawn.count('class="mark ') == 1
    assert ">40<" in drawn


@pytest.mark.parametrize(
    ("fate", "stage", "mark"),
    [
        ("kept", "sealed", "sealed"),
        ("sold", "healed", "left"),
        ("traded", "healed", "left"),
        ("given", "healed", "left"),
        ("dead", "fresh", "dead"),
        ("grown_on", "healed", "grown_on"),
    ],
)
def test_each_frag_has_a_mark(fate, stage, mark):
    assert mark_of(fate, stage) == mark


def test_marks_differ_in_shape_and_not_only_in_colour():
    shapes = [svg.split(">", 2)[2] for svg, _ in draw_legend(MARKS)]
    assert len(set(shapes)) == len(MARKS)
