"""Where ready windows are shown: the page of how lines heal, a plug's page, the racks."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localdate

from propagation.models import CutTool, Fate
from propagation.readings.healing_outlook import learned_healing, ready_windows
from propagation.yield_model.healing import share_of_healed
from tests.factories import (
    AcquisitionFactory,
    CutEventFactory,
    CuttingSessionFactory,
    LineageFactory,
    PlugFactory,
    RackFactory,
    ReadyPlugFactory,
)

pytestmark = pytest.mark.django_db


def cut_days_ago(days, **given):
    session = CuttingSessionFactory(cut_on=localdate() - timedelta(days=days))
    return PlugFactory(cut_event=CutEventFactory(session=session), **given)


def text_of(answer):
    return " ".join(answer.content.decode().split())


def test_without_plugs_the_page_says_what_to_do(signed_in):
    page = text_of(signed_in.get(reverse("healing")))
    assert "Nothing has healed yet" in page
    assert reverse("cut") in page


def test_a_line_shows_its_days_its_share_and_how_many_plugs_they_rest_on(signed_in):
    event = CutEventFactory()
    for _ in range(12):
        ReadyPlugFactory(cut_event=event)
    few = ReadyPlugFactory()
    page = text_of(signed_in.get(reverse("healing")))
    lineage = event.mother.lineage
    figures = learned_healing(localdate()).of(str(lineage.pk))
    row = page[page.index(reverse("lineage", args=[lineage.pk])) :].split("</tr>")[0]
    assert f"{figures.median_days:.0f} days" in row
    assert f"{figures.healed_share * 100:.0f} %" in row
    assert "12 plugs" in row
    assert "leans on the others" not in row
    other = page[page.index(reverse("lineage", args=[few.lineage_id])) :].split("</tr>")[0]
    assert "leans on the others" in other


def test_the_page_costs_the_same_queries_for_any_number_of_lines(signed_in, django_assert_num_queries):
    ReadyPlugFactory()
    learned_healing(localdate())
    # session, keeper, what was learned, what heals, lines, losses of sold plugs, plugs by what they were cut with
    with django_assert_num_queries(7):
        signed_in.get(reverse("healing"))
    for _ in range(5):
        ReadyPlugFactory()
        PlugFactory()
    with django_assert_num_queries(7):
        signed_in.get(reverse("healing"))
    for tool in CutTool:
        ReadyPlugFactory(cut_event=CutEventFactory(cut_with=tool))
    with django_assert_num_queries(8):  # and what was lost after it left, by tool
        signed_in.get(reverse("healing"))


@pytest.mark.parametrize("sort", ["lineage", "-days", "share", "-plugs", "healing", "no", "-"])
def test_it_can_be_sorted_by_any_column_and_by_nonsense(signed_in, sort):
    ReadyPlugFactory()
    PlugFactory()
    assert signed_in.get(reverse("healing"), {"sort": sort}).status_code == 200


def test_a_plug_says_when_it_is_likely_healed(signed_in):
    plug = cut_days_ago(3)
    page = text_of(signed_in.get(reverse("plug", args=[plug.code])))
    window = ready_windows([plug], localdate())[plug.pk]
    assert "Likely healed by" in page
    assert date_format(window.likely, "j M Y") in page
    assert "9 in 10 make it" in page


def test_a_plug_that_should_be_healed_asks_for_a_look(signed_in):
    page = text_of(signed_in.get(reverse("plug", args=[cut_days_ago(300).code])))
    assert "It should be healed by now" in page


def test_a_healed_or_acquired_plug_says_nothing_of_it(signed_in):
    for plug in (ReadyPlugFactory(), PlugFactory(acquisition=AcquisitionFactory())):
        page = text_of(signed_in.get(reverse("plug", args=[plug.code])))
        assert "ealed by" not in page


def test_a_cell_shows_the_day_of_a_healing_plug_only(signed_in):
    rack = RackFactory()
    plug = cut_days_ago(3, rack=rack, rack_row=1, rack_column=1)
    ReadyPlugFactory(rack=rack, rack_row=1, rack_column=2)
    page = text_of(signed_in.get(reverse("rack_grid", args=[rack.pk])))
    likely = ready_windows([plug], localdate())[plug.pk].likely
    assert page.count("cell-ready") == 1
    assert f'ready about </span><span aria-hidden="true">~</span>{date_format(likely, "j M")}' in page


def test_a_day_that_has_passed_is_shown_as_today(signed_in):
    rack = RackFactory()
    cut_days_ago(300, rack=rack, rack_row=1, rack_column=1)
    page = text_of(signed_in.get(reverse("rack_grid", args=[rack.pk])))
    assert f"</span>{date_format(localdate(), 'j M')}</span>" in page


def test_a_line_without_plugs_is_not_on_the_page(signed_in):
    lineage = LineageFactory(name="Never cut")
    ReadyPlugFactory()
    assert lineage.name not in text_of(signed_in.get(reverse("healing")))


def test_the_curve_is_that_of_the_line_asked_for(signed_in):
    plug = ReadyPlugFactory()
    page = text_of(signed_in.get(reverse("healing")))
    assert "Any line: share healed" in page
    assert f"?lineage={plug.lineage_id}#curve" in page
    page = text_of(signed_in.get(reverse("healing"), {"lineage": plug.lineage_id}))
    assert f"{plug.lineage.name}: share healed" in page


def by_tool(signed_in):
    """The text of the rows of the last table, by what plugs were cut with."""
    page = text_of(signed_in.get(reverse("healing")))
    assert "By what they were cut with" in page
    rows = page[page.index("By what they were cut with") :].split("<tr")[2:]
    words = [
        " ".join(re.sub(r"<[^>]+>", " ", f"<tr{row}".split("</tr>")[0]).replace("\xa0", " ").split()) for row in rows
    ]
    return words, page


def plugs_cut_with(tool, *, healed=0, lost=0, healing=0):
    event = CutEventFactory(session=CuttingSessionFactory(cut_on=localdate() - timedelta(days=40)), cut_with=tool)
    ReadyPlugFactory.create_batch(healed, cut_event=event)
    ended = {"fate": Fate.DEAD, "ended_on": localdate() - timedelta(days=20), "loss_reason": "tissue_loss"}
    PlugFactory.create_batch(lost, cut_event=event, **ended)
    PlugFactory.create_batch(healing, cut_event=event)
    return event


def test_before_any_tool_is_noted_the_page_says_where_to_note_it(signed_in):
    ReadyPlugFactory()
    page = text_of(signed_in.get(reverse("healing")))
    assert "No cut says yet what it was made with" in page
    assert "Not noted" not in page


def test_each_tool_has_its_own_row_and_what_was_not_noted_stands_last(signed_in):
    plugs_cut_with("band_saw", healed=9, lost=3)
    plugs_cut_with("bone_cutters", healed=12, healing=2)
    plugs_cut_with("", healed=2, lost=1)
    (cutters, saw, unknown), page = by_tool(signed_in)
    assert cutters.startswith("Bone cutters")
    assert cutters.endswith("14 plugs 2 healing now none")
    assert saw.startswith("Band saw")
    assert saw.endswith("12 plugs 3")
    assert unknown.startswith("Not noted few plugs: leans on the others")
    assert unknown.endswith("3 plugs 1")
    assert "few plugs" not in cutters + saw
    assert "Lost after it left" not in page


def test_the_share_of_a_tool_is_that_of_its_own_plugs_leaning_on_the_collection(signed_in):
    plugs_cut_with("band_saw", healed=15, lost=5, healing=3)
    plugs_cut_with("bone_cutters", healed=40)
    (cutters, saw), _ = by_tool(signed_in)
    # Those that heal were not looked at since the cut, so they say nothing either way.
    for row, healed, lost in ((saw, 15, 5), (cutters, 40, 0)):
        share, low, high = (100 * each for each in share_of_healed(learned_healing(localdate()), healed, lost))
        assert f"{share:.0f} % {low:.0f} to {high:.0f}" in row


def test_a_plug_that_died_after_it_had_healed_made_it(signed_in):
    event = plugs_cut_with("blade", healed=9)
    ReadyPlugFactory(cut_event=event, fate=Fate.DEAD, ended_on=localdate(), loss_reason="pest")
    (blade,), _ = by_tool(signed_in)
    assert blade.endswith("10 plugs none")


def test_voided_and_acquired_plugs_are_not_counted(signed_in):
    event = plugs_cut_with("blade", healed=9)
    PlugFactory(cut_event=event, fate=Fate.VOID, ended_on=localdate())
    PlugFactory(acquisition=AcquisitionFactory())
    rows, _ = by_tool(signed_in)
    assert len(rows) == 1
    assert rows[0].endswith("9 plugs none")
