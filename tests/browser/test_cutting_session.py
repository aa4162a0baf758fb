"""The bench job on a phone: five mothers, eight frags each, one thumb."""

from datetime import timedelta

import pytest
from django.utils.timezone import localdate
from playwright.sync_api import expect

from propagation.models import CutEvent, CuttingSession, Plug
from tests.factories import ColonyFactory, CutEventFactory, LineageFactory, RackFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
MOST_TOUCHES = 25


def tick(page, tag):
    return page.locator(f"[data-mother='{tag}'] label.mother-head")


def frags(page, tag):
    return page.locator(f"[data-mother='{tag}'] [name$=-frags]")


def save(page):
    return page.locator("button[name=do][value=save]")


def mothers(count=5, **fields):
    return [ColonyFactory(tag=f"M{number:03d}", **fields) for number in range(1, count + 1)]


def counts():
    return list(CutEvent.objects.order_by("mother__tag").values_list("mother__tag", "frags"))


FIVE_TIMES_EIGHT = [(f"M{number:03d}", 8) for number in range(1, 6)]


def test_five_mothers_with_eight_frags_each_take_at_most_twenty_five_touches(browser_page, taps):
    mothers()
    page = browser_page(360, 740, touch=True)
    page.goto("/cut/")
    hand = taps(page)
    hand.tap(tick(page, "M001"))
    hand.tap(page.locator("[data-mother='M001'] [data-preset='8']").first)
    for tag in ("M002", "M003", "M004", "M005"):
        hand.tap(tick(page, tag))
    expect(save(page)).to_have_text("Save sitting · 40 frags")
    hand.tap(save(page))
    page.wait_for_url("**/sessions/*/")
    print(f"\n{hand.count} touches for lines that were never cut")
    assert hand.count <= MOST_TOUCHES
    assert counts() == FIVE_TIMES_EIGHT
    assert Plug.objects.count() == 40


def test_lines_that_are_remembered_take_a_touch_each_and_one_to_save(browser_page, taps):
    mothers(lineage__frags_per_cut=8)
    page = browser_page(360, 740, touch=True)
    page.goto("/cut/")
    hand = taps(page)
    for tag, _ in FIVE_TIMES_EIGHT:
        hand.tap(tick(page, tag))
    hand.tap(save(page))
    page.wait_for_url("**/sessions/*/")
    assert hand.count == 6
    assert counts() == FIVE_TIMES_EIGHT


def test_what_was_cut_with_takes_one_touch_at_the_first_sitting_and_none_at_the_next(browser_page, taps):
    mothers(lineage__frags_per_cut=8)
    page = browser_page(360, 740, touch=True)
    page.goto("/cut/")
    hand = taps(page)
    for tag in ("M001", "M002"):
        hand.tap(tick(page, tag))
    hand.tap(page.locator("label.chip", has_text="Band saw"))
    page.reload()  # what was begun is kept
    expect(page.locator("[name=cut_with]:checked")).to_have_value("band_saw")
    hand.tap(save(page))
    page.wait_for_url("**/sessions/*/")
    assert hand.count == 4
    page.goto("/cut/")
    for tag in ("M003", "M004"):
        hand.tap(tick(page, tag))
    hand.tap(save(page))
    page.wait_for_url("**/sessions/*/")
    assert hand.count == 7
    assert list(CutEvent.objects.values_list("cut_with", flat=True)) == ["band_saw"] * 4


def test_the_stepper_alone_is_quick_enough(browser_page, taps):
    mothers()
    page = browser_page(360, 740, touch=True)
    page.goto("/cut/")
    hand = taps(page)
    hand.tap(tick(page, "M001"))
    for _ in range(7):
        hand.tap(page.locator("[data-mother='M001'] [data-step='1']").first)
    for tag in ("M002", "M003", "M004", "M005"):
        hand.tap(tick(page, tag))
    hand.tap(save(page))
    page.wait_for_url("**/sessions/*/")
    assert hand.count <= MOST_TOUCHES
    assert counts() == FIVE_TIMES_EIGHT


def test_the_keyboard_alone_does_it(browser_page, taps):
    mothers(2)
    page = browser_page(1280, 800, touch=False)
    page.goto("/cut/")
    hand = taps(page)
    page.locator("#mother-1, [data-mother='M001'] .mother-tick").first.focus()
    hand.press("Space")
    hand.press("Tab")
    hand.type("8")
    while not page.evaluate("document.activeElement.matches('[data-mother=M002] .mother-tick')"):
        hand.press("Tab")
    hand.press("Space")
    while not page.evaluate("document.activeElement.matches('[value=save]')"):
        hand.press("Tab")
    hand.press("Enter")
    page.wait_for_url("**/sessions/*/")
    assert counts() == [("M001", 8), ("M002", 8)]


def test_a_double_tap_on_save_makes_one_session(browser_page):
    mothers(1, lineage__frags_per_cut=8)
    page = browser_page(360, 740, touch=True)
    page.goto("/cut/")
    tick(page, "M001").tap()
    save(page).dblclick()
    page.wait_for_url("**/sessions/*/")
    assert CuttingSession.objects.count() == 1
    assert Plug.objects.count() == 8


def test_a_double_click_on_save_without_scripts_makes_one_session(browser_page):
    mothers(1, lineage__frags_per_cut=8)
    page = browser_page(1280, 800, touch=False, scripts=False)
    page.goto("/cut/")
    tick(page, "M001").click()
    save(page).dblclick()
    page.wait_for_url("**/sessions/*/")
    assert CuttingSession.objects.count() == 1


def test_without_scripts_a_tick_opens_the_fields_and_the_form_saves(browser_page):
    mothers(2)
    page = browser_page(360, 740, scripts=False)
    page.goto("/cut/")
    expect(frags(page, "M001")).to_be_hidden()
    tick(page, "M001").tap()
    frags(page, "M001").fill("5")
    page.locator("#mother-find").fill("M002")
    page.locator("button[value=find]").tap()
    expect(page.locator("[data-mother='M002']")).to_be_visible()
    expect(frags(page, "M001")).to_have_value("5")
    frags(page, "M002").fill("6")
    save(page).tap()
    page.wait_for_url("**/sessions/*/")
    assert counts() == [("M001", 5), ("M002", 6)]


def test_a_search_keeps_what_was_chosen_before(browser_page):
    mothers(3)
    ColonyFactory(tag="Z100", lineage=LineageFactory(name="Low Tide Glass"))
    page = browser_page(360, 740)
    page.goto("/cut/")
    tick(page, "M002").tap()
    frags(page, "M002").fill("5")
    with page.expect_response("**/cut/mothers/**"):
        page.locator("#mother-find").press_sequentially("tide")
    page.locator("#offered [data-mother='Z100']").wait_for()
    page.locator("#offered [data-mother='M001']").wait_for(state="detached")
    expect(frags(page, "M002")).to_have_value("5")
    tick(page, "Z100").tap()
    expect(frags(page, "Z100")).to_have_value("5")
    save(page).tap()
    page.wait_for_url("**/sessions/*/")
    assert counts() == [("M002", 5), ("Z100", 5)]


def test_enter_after_a_tag_chooses_that_mother(browser_page):
    mothers(2)
    page = browser_page(360, 740)
    page.goto("/cut/")
    page.locator("#mother-find").fill("m002")
    page.keyboard.press("Enter")
    page.locator("#chosen [data-mother='M002']").wait_for()
    assert not CuttingSession.objects.exists()


def test_insurance_is_suggested_for_what_the_line_lacks_until_the_keeper_says_otherwise(browser_page):
    mothers(1, lineage__insurance_wanted=4)
    page = browser_page(360, 740)
    page.goto("/cut/")
    tick(page, "M001").tap()
    insurance = page.locator("[data-mother='M001'] [name$=-insurance]")
    page.locator("[data-mother='M001'] [data-preset='8']").tap()
    expect(insurance).to_have_value("3")
    insurance.fill("1")
    page.locator("[data-mother='M001'] [data-preset='12']").tap()
    expect(insurance).to_have_value("1")


def test_a_refused_form_leads_to_the_field_and_keeps_what_was_typed(browser_page):
    (mother,) = mothers(1)
    CutEventFactory(mother=mother, session__cut_on=localdate() - timedelta(days=3))
    page = browser_page(360, 740)
    page.goto("/cut/")
    tick(page, "M001").tap()
    frags(page, "M001").fill("5")
    save(page).tap()
    page.locator("[data-errors]").wait_for()
    expect(page.locator("[data-errors]")).to_be_focused()
    page.locator("[data-errors] a").first.tap()
    page.keyboard.type("it broke anyway")
    expect(frags(page, "M001")).to_have_value("5")
    save(page).tap()
    page.wait_for_url("**/sessions/*/")
    assert CutEvent.objects.latest("pk").reason == "it broke anyway"


def test_a_reload_keeps_the_sitting_that_was_being_entered(browser_page):
    mothers(2)
    RackFactory()
    page = browser_page(360, 740)
    page.goto("/cut/")
    tick(page, "M001").tap()
    frags(page, "M001").fill("5")
    page.reload()
    expect(frags(page, "M001")).to_have_value("5")
    save(page).tap()
    page.wait_for_url("**/sessions/*/")
    assert counts() == [("M001", 5)]


@pytest.mark.parametrize("width", [360, 1280])
def test_every_target_is_large_enough_and_nothing_runs_out_of_the_page(browser_page, width):
    mothers(5, lineage__frags_per_cut=8)
    page = browser_page(width, 740, touch=width == 360)
    page.goto("/cut/")
    tick(page, "M001").click()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    small = page.evaluate(
        """() => [...document.querySelectorAll("main button, main .mother-head, main summary, main select, main input")]
            .filter((each) => each.checkVisibility() && !each.matches(".mother-tick, [type=hidden], [type=file]"))
            .map((each) => [each.outerHTML.slice(0, 80), each.getBoundingClientRect().height])
            .filter(([, height]) => height < 44)"""
    )
    assert small == []
