"""What comes from outside: colonies, plugs, packs."""

from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest

from propagation.actions.acquire import PackLine, acquire_colony, acquire_pack, acquire_plugs
from propagation.errors import AlreadyDone, BadDate, BadValue, RowErrors
from propagation.models import Acquisition, Colony, Lineage, Pack, Plug
from tests.factories import ColonyFactory, LineageFactory, PlugFactory, RackFactory, SpotFactory

pytestmark = pytest.mark.django_db

DAY = date(2026, 6, 1)


@pytest.fixture
def when(today):
    return {"on": DAY, "today": today}


def test_a_colony_that_came_has_a_code_an_origin_and_a_place(when):
    spot = SpotFactory()
    colony = acquire_colony(lineage=LineageFactory(), tag=" M  12 ", spot=spot, **when)
    assert (colony.tag, colony.began_on, colony.acquisition.acquired_on) == ("M 12", DAY, DAY)
    assert colony.placements.get().spot == spot


def test_a_used_tag_brings_nothing_in(when):
    ColonyFactory(tag="M12")
    with pytest.raises(AlreadyDone):
        acquire_colony(lineage=LineageFactory(), tag="m12", **when)


@pytest.mark.parametrize("day", [date(2026, 6, 16), date(1926, 6, 1)])
def test_nothing_comes_in_the_future_or_in_the_wrong_century(day, today):
    with pytest.raises(BadDate):
        acquire_plugs(lineage=LineageFactory(), count=1, on=day, today=today)


@pytest.mark.parametrize("count", [0, -1, 201])
def test_a_count_that_cannot_be_is_refused(count, when):
    with pytest.raises(BadValue):
        acquire_plugs(lineage=LineageFactory(), count=count, **when)


@pytest.mark.parametrize(
    "wrong", [{"size_mm": Decimal(-5)}, {"size_mm": Decimal(301)}, {"stage": "mended"}, {"kind": "x"}]
)
def test_plugs_that_cannot_be_are_refused(wrong, when):
    with pytest.raises(BadValue):
        acquire_plugs(lineage=LineageFactory(), count=1, **wrong, **when)
    assert not Acquisition.objects.exists()


def test_plugs_have_one_acquisition_and_stand_in_free_cells(when):
    rack = RackFactory(rack_rows=1, rack_columns=2)
    plugs = acquire_plugs(lineage=LineageFactory(), count=3, rack=rack, **when)
    assert len({plug.acquisition_id for plug in plugs}) == 1
    assert [plug.rack_column for plug in plugs] == [1, 2, None]
    assert all(plug.rack == rack for plug in plugs)


def test_what_came_back_names_the_plug_that_left(when):
    left = PlugFactory(fate="sold", ended_on=date(2026, 5, 1))
    plugs = acquire_plugs(lineage=left.lineage, count=1, kind="returned", returned_plug=left, **when)
    assert plugs[0].acquisition.returned_plug == left
    with pytest.raises(BadValue, match="Which plug came back"):
        acquire_plugs(lineage=left.lineage, count=1, kind="returned", **when)


def test_a_plug_that_never_left_cannot_come_back(when):
    kept = PlugFactory()
    with pytest.raises(BadValue, match="never left"):
        acquire_plugs(lineage=kept.lineage, count=1, kind="returned", returned_plug=kept, **when)


def test_nothing_comes_back_as_another_lineage_or_before_it_left(today):
    left = PlugFactory(fate="given", ended_on=date(2026, 5, 1))
    with pytest.raises(BadValue, match="is of another lineage"):
        acquire_plugs(lineage=LineageFactory(), count=1, kind="returned", returned_plug=left, on=DAY, today=today)
    with pytest.raises(BadDate, match="before it left on 1 May 2026"):
        acquire_plugs(
            lineage=left.lineage, count=1, kind="returned", returned_plug=left, on=date(2026, 4, 30), today=today
        )


def test_a_pack_brings_several_lines_old_and_new(when):
    known = LineageFactory(name="Pewter Ninepin")
    pack, acquisitions = acquire_pack(
        name="Spring pack",
        lines=[
            PackLine("pewter ninepin", count=3),
            PackLine("Zinc Harp", is_colony=True, tag="ZH1", growth_form="plating"),
        ],
        submission=uuid4(),
        **when,
    )
    assert [each.lineage.name for each in acquisitions] == ["Pewter Ninepin", "Zinc Harp"]
    assert known.plugs.count() == 3
    assert Colony.objects.get().tag == "ZH1"
    assert Lineage.objects.get(name="Zinc Harp").growth_form == "plating"
    assert set(pack.acquisitions.all()) == set(acquisitions)


def test_every_wrong_line_of_a_pack_is_named_and_nothing_is_saved(when):
    ColonyFactory(tag="M12")
    with pytest.raises(RowErrors) as refusal:
        acquire_pack(
            name="Spring pack",
            lines=[
                PackLine("Zinc Harp", count=3),
                PackLine("Amber Stair", is_colony=True, tag="m12"),
                PackLine("", count=1),
                PackLine("Amber Stair", count=0),
                PackLine("Amber Stair", is_colony=True, tag="A1", count=2),
                PackLine("Amber Stair", tag="A2", count=2),
                PackLine("Amber Stair", is_colony=True),
            ],
            **when,
        )
    assert [(row, column) for row, column, _ in refusal.value.errors] == [
        (2, "tag"),
        (3, "lineage"),
        (4, "count"),
        (5, "count"),
        (6, "tag"),
        (7, "tag"),
    ]
    assert not Pack.objects.exists()
    assert not Plug.objects.exists()
    assert not Lineage.objects.filter(name="Zinc Harp").exists()


def test_one_tag_twice_in_a_pack_is_noticed(when):
    lines = [PackLine("Zinc Harp", is_colony=True, tag="Z1"), PackLine("Zinc Harp", is_colony=True, tag="z1")]
    with pytest.raises(RowErrors, match="stands in this pack twice"):
        acquire_pack(name="Spring pack", lines=lines, **when)


def test_a_pack_has_a_name_and_a_line(when):
    with pytest.raises(BadValue):
        acquire_pack(name=" ", lines=[PackLine("Zinc Harp")], **when)
    with pytest.raises(RowErrors):
        acquire_pack(name="Spring pack", lines=[], **when)
