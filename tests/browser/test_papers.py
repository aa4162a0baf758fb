"""The other side's page of papers on a phone: its link is shared, or copied, or there to be read."""

import pytest
from django.urls import reverse
from django.utils.timezone import localdate
from playwright.sync_api import expect

from inventory.actions.hand_over import sell_now
from tests.browser.accessibility import px_too_wide
from tests.factories import ContactFactory, ReadyPlugFactory
from tests.inventory.sales import items_of
from tests.keeper_on_papers import keep_for_papers

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LIST_OF_WAYS = """
navigator.share = async (what) => {
  document.body.append(`Shared ${what.url}`);
  if (%s) throw new DOMException("", "%s");
};
"""


@pytest.fixture
def address():
    keep_for_papers(postal_address="W" * 300)
    sale = sell_now(contact=ContactFactory(), items=items_of(ReadyPlugFactory()), today=localdate())
    return reverse("own_papers", args=[sale.secret])


@pytest.fixture
def phone(browser_page, address):
    def open_page(script="delete Navigator.prototype.share;", **told):
        page = browser_page(360, 740, signed_in=False, **told)
        page.add_init_script(script)
        page.goto(address)
        return page

    return open_page


@pytest.mark.parametrize(
    ("fails", "error", "button"),
    [("false", "", "Share"), ("true", "AbortError", "Share"), ("true", "NotAllowedError", "Copied")],
)
def test_a_phone_that_shares_is_handed_the_link(phone, live_server, address, fails, error, button):
    page = phone(LIST_OF_WAYS % (fails, error))
    page.get_by_role("button", name="Share").tap()
    expect(page.get_by_text(f"Shared {live_server.url}{address}")).to_be_visible()
    expect(page.locator("[data-share]")).to_have_text(button)


def test_where_there_is_nothing_to_share_with_the_link_is_copied(phone):
    page = phone()
    page.get_by_role("button", name="Share").tap()
    expect(page.get_by_role("button", name="Copied")).to_be_visible()


def test_without_scripts_the_link_is_there_to_be_read(phone, live_server, address):
    page = phone(scripts=False)
    expect(page.get_by_label("Link of this page")).to_have_value(f"{live_server.url}{address}")
    expect(page.locator("[data-share]")).to_be_hidden()


def test_the_longest_address_is_no_wider_than_the_glass(phone):
    page = phone()
    expect(page.get_by_text("W" * 300)).to_be_visible()
    assert px_too_wide(page) <= 0
