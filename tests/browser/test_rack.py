"""Checking a rack with one thumb on a phone."""

import re

import pytest
from django.utils.timezone import localdate
from playwright.sync_api import expect

from propagation.models import Fate, HealingCheck, Plug
from tests.factories import CutEventFactory, PlugFactory, RackFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def rack():
    return RackFactory(name="Rack A", rack_rows=3, rack_columns=8)


@pytest.fixture
def plugs(rack):
    """Six fresh plugs in the first row, and a sealed one in the second."""
    cut = CutEventFactory()
    fresh = [PlugFactory(cut_event=cut, rack=rack, rack_row=1, rack_column=column) for column in range(1, 7)]
    return [*fresh, PlugFactory(cut_event=cut, rack=rack, rack_row=2, rack_column=1, stage="sealed")]


def cell(page, plug):
    return page.locator(f"label.cell:has(input[value='{plug.pk}'])")


def stages():
    return list(Plug.objects.order_by("id").values_list("stage", flat=True))


def test_six_fresh_plugs_are_sealed_in_two_taps_and_undone_in_one(browser_page, taps, rack, plugs):
    page = browser_page()
    page.goto(f"/racks/{rack.pk}/")
    hand = taps(page)
    hand.tap(page.get_by_role("button", name="All fresh"))
    go = page.locator("[data-next-stage]")
    expect(go).to_have_text("Mark 6 as sealed")
    hand.tap(go)
    page.get_by_text("6 plugs marked as sealed.").wait_for()
    assert hand.count == 2
    assert stages() == ["sealed"] * 7
    hand.tap(page.get_by_role("button", name="Undo"))
    page.get_by_text("6 plugs as before").wait_for()
    assert stages() == ["fresh"] * 6 + ["sealed"]


def test_the_button_says_what_it_will_do(browser_page, rack, plugs):
    page = browser_page()
    page.goto(f"/racks/{rack.pk}/")
    go = page.locator("[data-next-stage]")
    expect(go).to_be_disabled()
    cell(page, plugs[0]).tap()
    expect(go).to_have_text("Mark 1 as sealed")
    cell(page, plugs[6]).tap()
    expect(go).to_have_text("Move 2 to the next stage")
    cell(page, plugs[0]).tap()
    expect(go).to_have_text("Mark 1 as encrusting")


def test_a_plug_moves_to_another_cell_in_two_taps(browser_page, taps, rack, plugs):
    page = browser_page()
    page.goto(f"/racks/{rack.pk}/")
    hand = taps(page)
    hand.tap(cell(page, plugs[0]))
    hand.tap(page.get_by_role("button", name="B 2: free"))
    page.get_by_text("1 plug moved to Rack A, B 2.").wait_for()
    assert hand.count == 2
    moved = Plug.objects.get(pk=plugs[0].pk)
    assert (moved.rack_row, moved.rack_column) == (2, 2)


def test_a_tap_on_a_free_cell_with_no_plug_chosen_asks_for_one(browser_page, rack, plugs):
    page = browser_page()
    page.goto(f"/racks/{rack.pk}/")
    page.get_by_role("button", name="B 2: free").tap()
    page.get_by_text("Choose a plug first").wait_for()


def test_dead_plugs_are_marked_with_their_reason(browser_page, rack, plugs):
    page = browser_page()
    page.goto(f"/racks/{rack.pk}/")
    for plug in plugs[:2]:
        cell(page, plug).tap()
    page.locator("summary", has_text="Found dead").tap()
    page.locator("label.chip", has_text="Tissue loss").tap()
    page.get_by_role("button", name="Mark 2 dead").tap()
    page.get_by_text("2 plugs marked dead.").wait_for()
    assert Plug.objects.filter(fate=Fate.DEAD, loss_reason="tissue_loss", ended_on=localdate()).count() == 2


def test_enter_in_the_day_moves_nothing(browser_page, rack, plugs):
    page = browser_page()
    page.goto(f"/racks/{rack.pk}/")
    cell(page, plugs[0]).tap()
    page.locator("[name=note]").fill("seen in the morning")
    page.locator("[name=note]").press("Enter")
    expect(page).to_have_url(re.compile(f"/racks/{rack.pk}/$"))
    cell(page, plugs[1]).tap()
    page.locator("[data-next-stage]").tap()
    page.get_by_text("2 plugs marked as sealed.").wait_for()
    assert set(Plug.objects.filter(rack_row=1).values_list("rack_column", flat=True)) == set(range(1, 7))
    assert set(HealingCheck.objects.values_list("note", flat=True)) == {"seen in the morning"}


def test_it_works_without_scripts(browser_page, rack, plugs):
    page = browser_page(scripts=False)
    page.goto(f"/racks/{rack.pk}/")
    cell(page, plugs[0]).tap()
    page.get_by_role("button", name="Next stage").tap()
    page.get_by_text("1 plug marked as sealed.").wait_for()
    assert stages()[0] == "sealed"
    page.get_by_role("button", name="Undo").tap()
    page.get_by_text("1 plug as before").wait_for()


def test_the_grid_scrolls_in_its_own_region_and_cells_are_as_large_as_a_finger(browser_page, rack, plugs):
    page = browser_page(360, 740)
    page.goto(f"/racks/{rack.pk}/")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    region = page.locator(".rack-region")
    assert region.evaluate("each => each.scrollWidth > each.clientWidth")
    box = cell(page, plugs[0]).bounding_box()
    assert box["width"] >= 44
    assert box["height"] >= 44
    free = page.get_by_role("button", name="B 2: free").bounding_box()
    assert free["width"] >= 44
    assert free["height"] >= 44
