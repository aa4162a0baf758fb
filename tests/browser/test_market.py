"""The market table on a phone: two taps from a code to sold, undone there, the next one at once."""

import io
import re
from datetime import timedelta

import pytest
import zxingcpp
from django.urls import reverse
from django.utils.timezone import localdate
from PIL import Image
from playwright.sync_api import expect

from inventory.models import LineagePrice, Sale
from propagation.models import Fate
from tests.browser.accessibility import OTHER_GLASSES, px_too_wide, violations
from tests.factories import ColonyFactory, CutEventFactory, HoldFactory, PlugFactory, RackFactory, ReadyPlugFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def plugs():
    cut = CutEventFactory(mother=ColonyFactory(), frags=3)
    LineagePrice.objects.create(lineage=cut.mother.lineage, amount=25)
    rack = RackFactory(name="Frag shelf")
    return [ReadyPlugFactory(cut_event=cut, rack=rack, rack_row=1, rack_column=column) for column in (1, 2, 3)]


def scan(page, text):
    """As a scanner that types: the code and Enter, wherever the focus is; no tap."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def has_focus(page):
    expect(page.locator("#market-code")).to_be_focused()


def sold_for(page, amount):
    return page.locator(".market-sold").get_by_text(f"Sold for {amount}", exact=True)


def fate_of(plug):
    plug.refresh_from_db()
    return plug.fate


def test_from_a_code_to_sold_is_two_taps_and_undo_is_one(browser_page, plugs, taps):
    page = browser_page(360, 740)
    page.goto(reverse("market"))
    has_focus(page)
    hand = taps(page)
    scan(page, plugs[0].code_in_clear)
    hand.tap(page.get_by_role("button", name="Sell for €25.00"))
    hand.tap(page.get_by_role("button", name="Cash taken · €25.00"))
    sold_for(page, "€25.00").wait_for()
    assert hand.count == 2
    assert fate_of(plugs[0]) == Fate.SOLD
    has_focus(page)
    hand.tap(page.get_by_role("button", name="Undo", exact=True))
    page.get_by_text("is undone. The plug is yours again").wait_for()
    assert hand.count == 3
    assert fate_of(plugs[0]) == Fate.KEPT
    assert (plugs[0].rack_row, plugs[0].rack_column) == (1, 1)
    has_focus(page)


def test_their_phone_scans_their_papers_off_the_table(browser_page, plugs, live_server):
    page = browser_page(360, 740)
    page.goto(reverse("market"))
    scan(page, plugs[0].code_in_clear)
    page.get_by_role("button", name="Sell for €25.00").tap()
    page.get_by_role("button", name="Cash taken · €25.00").tap()
    page.get_by_text("Their papers, for their phone").tap()
    seen = page.get_by_role("img", name="QR code of the link for them").screenshot()
    (read,) = zxingcpp.read_barcodes(Image.open(io.BytesIO(seen)))  # it did not draw the code
    assert read.text == live_server.url + reverse("own_papers", args=[Sale.objects.get().secret])


def test_a_scanner_goes_on_without_a_tap_into_the_field(browser_page, plugs, taps):
    page = browser_page(360, 740)
    page.goto(reverse("market"))
    hand = taps(page)
    scan(page, plugs[0].code)
    page.get_by_role("button", name="Sell for €25.00").wait_for()
    scan(page, plugs[1].code)  # looked at only: Enter must not have sold the first one
    page.get_by_text(plugs[1].code_in_clear).first.wait_for()
    hand.tap(page.get_by_role("button", name="Sell for €25.00"))
    page.get_by_text("1 plug in the basket").wait_for()
    scan(page, plugs[2].code)
    hand.tap(page.get_by_role("button", name="Sell for €25.00"))
    page.get_by_text("2 plugs in the basket").wait_for()
    hand.tap(page.get_by_role("button", name="Cash taken · €50.00"))
    sold_for(page, "€50.00").wait_for()
    assert hand.count == 3
    assert [fate_of(plug) for plug in plugs] == [Fate.KEPT, Fate.SOLD, Fate.SOLD]
    assert Sale.objects.count() == 1


def test_what_is_typed_as_a_price_stands_on_the_button(browser_page, plugs):
    page = browser_page(360, 740)
    page.goto(f"{reverse('market')}?code={plugs[0].code}")
    page.get_by_label("Price (EUR)").fill("19,5")
    page.get_by_role("button", name="Sell for €19.50").tap()
    has_focus(page)  # the field for the next code has it once the basket is there
    page.get_by_label(re.compile("Price of")).fill("18")
    page.get_by_role("button", name="Cash taken · €18.00").tap()
    sold_for(page, "€18.00").wait_for()


def test_two_quick_taps_sell_once_and_a_reload_sells_nothing(browser_page, plugs):
    page = browser_page(360, 740)
    page.goto(f"{reverse('market')}?code={plugs[0].code}")
    page.get_by_role("button", name="Sell for €25.00").tap()
    button = page.get_by_role("button", name="Cash taken")
    button.wait_for()
    button.evaluate("button => { button.click(); button.click(); }")
    sold_for(page, "€25.00").wait_for()
    page.reload()
    sold_for(page, "€25.00").wait_for()
    assert Sale.objects.count() == 1


def test_a_tap_that_did_not_get_through_says_so_and_may_be_tapped_again(browser_page, plugs):
    page = browser_page(360, 740, connected=False)
    page.goto(f"{reverse('market')}?code={plugs[0].code}")
    page.get_by_role("button", name="Sell for €25.00").tap()
    page.get_by_role("button", name="Cash taken").wait_for()
    # The sale arrives, its answer does not.
    page.route("**/market/sell/", lambda route: (route.fetch(), route.abort()))
    page.get_by_role("button", name="Cash taken").tap()
    page.get_by_text("That did not get through").wait_for()
    assert Sale.objects.count() == 1
    page.unroute("**/market/sell/")
    page.get_by_role("button", name="Cash taken").tap()
    sold_for(page, "€25.00").wait_for()
    assert Sale.objects.count() == 1


def test_without_scripts_it_sells_and_undoes(browser_page, plugs):
    page = browser_page(360, 740, scripts=False)
    page.goto(reverse("market"))
    page.get_by_label("Code on the label").fill(plugs[0].code)
    page.get_by_role("button", name="Look up").click()
    page.get_by_role("button", name="Sell for €25.00").click()
    page.get_by_role("button", name="Cash taken · €25.00").click()
    sold_for(page, "€25.00").wait_for()
    assert fate_of(plugs[0]) == Fate.SOLD
    page.get_by_role("button", name="Undo", exact=True).click()
    page.get_by_text("is undone").wait_for()
    assert fate_of(plugs[0]) == Fate.KEPT


def test_a_held_plug_names_who_holds_it_and_goes_to_another_only_after_a_yes(browser_page, plugs):
    hold = HoldFactory(plug=plugs[0], until=localdate() + timedelta(days=3))
    page = browser_page(360, 740)
    page.goto(f"{reverse('market')}?code={plugs[0].code}")
    expect(page.get_by_role("button", name=f"Sell to {hold.contact} for €25.00")).to_be_visible()
    other = page.get_by_role("button", name="Sell it to somebody else")
    expect(other).to_be_hidden()
    page.get_by_text("Somebody else wants it").tap()
    other.tap()
    page.get_by_role("button", name="Cash taken").tap()
    sold_for(page, "€25.00").wait_for()
    assert Sale.objects.get().contact != hold.contact


def test_every_target_is_large_enough_for_a_wet_thumb(browser_page, plugs):
    page = browser_page(360, 740)
    page.goto(f"{reverse('market')}?code={plugs[0].code}")
    page.get_by_role("button", name="Sell for €25.00").tap()
    page.get_by_role("button", name="Cash taken").wait_for()
    for target in page.locator(
        "#market button:not([aria-hidden]):visible, #market input:visible, #market summary:visible"
    ).all():
        box = target.bounding_box()
        assert box["height"] >= 44, target.evaluate("each => each.outerHTML")  # WCAG 2.2, 2.5.5
        assert box["width"] >= 44


@pytest.mark.parametrize(("width", "dark"), OTHER_GLASSES)
def test_the_table_is_fit_for_everybody(browser_page, plugs, width, dark):
    hold = HoldFactory(plug=plugs[0], until=localdate())
    page = browser_page(width, 800, dark=dark, touch=width < 700)
    page.goto(f"{reverse('market')}?code={plugs[1].code}")
    page.get_by_role("button", name="Sell for €25.00").click()
    page.get_by_role("button", name="Cash taken").click()
    sold_for(page, "€25.00").wait_for()
    page.goto(f"{reverse('market')}?code={plugs[2].code}")
    page.get_by_role("button", name="Sell for €25.00").click()
    page.get_by_role("button", name="Cash taken").wait_for()
    found = []
    for code in (hold.plug.code, plugs[1].code, PlugFactory().code, "K7M42QXX"):
        path = f"{reverse('market')}?code={code}"
        page.goto(path)
        found += violations(page)
        beyond = px_too_wide(page)
        if beyond > 0:
            found.append(f"{path} is {beyond} px too wide")
    assert found == []
