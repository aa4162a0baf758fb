"""The ready list on a phone: ticked, held and handed on with one thumb; and its pages for everybody."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate
from playwright.sync_api import expect

from inventory.models import Hold, LineagePrice
from tests.browser.accessibility import OTHER_GLASSES, px_too_wide, violations
from tests.factories import AcquisitionFactory, ContactFactory, HoldFactory, PlugFactory, RackFactory, ReadyPlugFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def plugs():
    """Five ready plugs of one lineage on a rack, one of them without a size."""
    rack = RackFactory(name="Frag shelf")
    arrival = AcquisitionFactory()
    LineagePrice.objects.create(lineage=arrival.lineage, amount=20)
    made = [
        ReadyPlugFactory(
            acquisition=arrival, rack=rack, rack_row=1, rack_column=column, size_mm=None if column == 5 else 25
        )
        for column in range(1, 6)
    ]
    ReadyPlugFactory()
    return made


def tick(page, plug):
    return page.get_by_label(f"Choose {plug.code_in_clear}")


def test_three_plugs_are_held_for_a_known_contact_in_four_taps(browser_page, plugs, taps):
    contact = ContactFactory(name="Alexandra")
    page = browser_page(360, 740)
    page.goto(reverse("hold", args=[plugs[4].code]))
    page.get_by_label("For", exact=True).fill(contact.name)
    page.get_by_role("button", name="Hold", exact=True).click()
    page.wait_for_url(lambda address: "/hold/" not in address)

    page.goto(reverse("ready"))
    hand = taps(page)
    for plug in plugs[:3]:
        hand.tap(tick(page, plug))
    hand.tap(page.get_by_role("button", name=re.compile("Hold 3 for Alexandra until")))
    page.get_by_text("3 plugs are held for Alexandra").wait_for()
    assert hand.count == 4
    holds = Hold.objects.filter(contact=contact)
    assert {hold.plug_id for hold in holds} == {plug.pk for plug in [*plugs[:3], plugs[4]]}
    assert {hold.until for hold in holds} == {localdate() + timedelta(days=7)}


def test_what_somebody_else_took_meanwhile_is_named_and_the_rest_is_held_by_the_next_tap(browser_page, plugs):
    page = browser_page(360, 740)
    page.goto(reverse("ready"))
    for plug in plugs[:2]:
        tick(page, plug).tap()
    page.get_by_role("button", name="Hold 2 for somebody").tap()
    page.get_by_label("For", exact=True).fill("Somebody at the market")
    other = HoldFactory(plug=plugs[0], until=localdate() + timedelta(days=3))
    page.get_by_role("button", name="Hold", exact=True).tap()
    page.get_by_text(f"is held for {other.contact}").first.wait_for()
    expect(page.get_by_label("For", exact=True)).to_have_value("Somebody at the market")
    page.locator(".action-bar button").tap()
    page.get_by_text("held for Somebody at the market until").wait_for()
    assert Hold.objects.get(contact__name="Somebody at the market").plug == plugs[1]


def test_what_can_be_done_shows_once_something_is_ticked(browser_page, plugs):
    page = browser_page(360, 740)
    page.goto(reverse("ready"))
    act = page.locator(".bulk-actions")
    expect(act).to_be_hidden()
    tick(page, plugs[0]).tap()
    expect(act).to_be_visible()


def test_on_a_low_window_every_field_of_the_filter_comes_into_view_by_the_keyboard(browser_page, plugs):
    page = browser_page(1280, 500, touch=False)
    page.goto(reverse("ready"))
    fields = page.locator("details.filters").locator("input:not([type=hidden]), select, button")
    expect(fields.first).to_be_in_viewport()
    fields.first.focus()
    for place in range(fields.count()):
        expect(fields.nth(place)).to_be_focused()
        expect(fields.nth(place)).to_be_in_viewport(ratio=0.9)
        page.keyboard.press("Tab")


def test_without_scripts_the_list_is_filtered_sorted_and_held_from(browser_page, plugs):
    page = browser_page(360, 740, scripts=False)
    page.goto(reverse("ready"))
    page.locator("select[name=lineage]").select_option(label=plugs[0].lineage.name)
    page.get_by_role("button", name="Show", exact=True).click()
    expect(page.locator("[data-choose]")).to_have_count(5)  # the sixth is of another line
    page.get_by_role("link", name="Size").click()
    expect(page).to_have_url(re.compile("sort="))
    expect(page.locator("[data-choose]")).to_have_count(5)
    tick(page, plugs[1]).check()
    page.get_by_role("button", name="Hold for somebody").click()
    page.get_by_label("For", exact=True).fill("Rook")
    page.get_by_role("button", name="Hold", exact=True).click()
    page.get_by_text("held for Rook until").wait_for()
    assert Hold.objects.get().plug == plugs[1]


def test_boxes_of_the_list_are_large_enough_for_a_wet_thumb(browser_page, plugs):
    page = browser_page(360, 740)
    page.goto(reverse("ready"))
    box = page.locator(".choose-box").first.bounding_box()
    assert min(box["width"], box["height"]) >= 44  # WCAG 2.2, 2.5.5 Target Size (Enhanced)


@pytest.mark.parametrize(("width", "dark"), OTHER_GLASSES)
def test_every_page_of_the_inventory_is_fit_for_everybody(browser_page, plugs, width, dark):
    today = localdate()
    hold = HoldFactory(until=today)
    broken = HoldFactory(until=today)
    broken.plug.fate, broken.plug.ended_on = "dead", today
    broken.plug.save()
    HoldFactory(contact=hold.contact, until=today - timedelta(days=1))
    PlugFactory()
    page = browser_page(width, 800, dark=dark, touch=width < 700)
    found = []
    for path in (
        reverse("ready"),
        f"{reverse('ready')}?growth_form=branching&sort=-price&size_min=many",
        f"{reverse('ready')}?q=nothing+such",
        reverse("ready_lines"),
        reverse("ready_print"),
        reverse("hold", args=[plugs[0].code]),
        reverse("hold", args=[hold.plug.code]),
        f"{reverse('hold_many')}?plugs={plugs[0].code}&plugs={hold.plug.code}",
        reverse("holds"),
        f"{reverse('holds')}?which=past",
        reverse("prices"),
        reverse("plug_price", args=[plugs[0].code]),
        f"{reverse('plugs_price')}?plugs={plugs[0].code}&plugs={plugs[1].code}",
        reverse("book_currency"),
        reverse("contacts"),
        reverse("contact", args=[hold.contact_id]),
        reverse("contact_new"),
        reverse("contact_edit", args=[hold.contact_id]),
        reverse("plug_left", args=[plugs[0].code]),
    ):
        page.goto(path)
        found += violations(page)
        beyond = px_too_wide(page)
        if beyond > 0:
            found.append(f"{path} is {beyond} px too wide")
    assert found == []
