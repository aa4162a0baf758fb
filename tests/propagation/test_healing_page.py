"""Where ready windows are shown: the page of how lines heal, a plug's page, the racks."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localdate

from propagation.readings.healing_outlook import learned_healing, ready_windows
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
    # session, keeper, what was learned, what heals, lines
    with django_assert_num_queries(5):
        signed_in.get(reverse("healing"))
    for _ in range(5):
        ReadyPlugFactory()
        PlugFactory()
    with django_assert_num_queries(5):
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
