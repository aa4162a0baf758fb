"""A form asks for what the answer before needs, and for nothing else; the stylesheet alone does it."""

import pytest
from django.urls import reverse
from django.utils.timezone import localdate
from playwright.sync_api import expect

from inventory.actions.claim import report_claim
from inventory.actions.hand_over import sell_now
from tests.factories import ContactFactory, ReadyPlugFactory
from tests.inventory.sales import items_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(params=[True, False], ids=["with scripts", "without"])
def phone(browser_page, request):
    return browser_page(360, 740, scripts=request.param)


@pytest.fixture
def claim():
    today = localdate()
    sale = sell_now(contact=ContactFactory(), items=items_of(ReadyPlugFactory()), today=today)
    return report_claim(line=sale.lines.get(), kind="dead", on=today, today=today)


def shows(page, *names):
    for name in ("plug", "amount", "method"):
        field = page.locator(f".field:has([name={name}])").first
        expect(field).to_be_visible() if name in names else expect(field).to_be_hidden()


def test_settling_a_claim_asks_for_the_plug_or_for_the_money(phone, claim):
    phone.goto(reverse("claim_settle", args=[claim.pk]))
    for words, names in (
        ("Another plug", ["plug"]),
        ("Credit", ["amount"]),
        ("Money back", ["amount", "method"]),
        ("Nothing, it is refused", []),
    ):
        phone.locator("label.chip", has_text=words).first.tap()
        shows(phone, *names)


def test_what_is_wrong_stays_to_be_seen(phone, claim):
    phone.goto(reverse("claim_settle", args=[claim.pk]))
    phone.locator("label.chip", has_text="Another plug").tap()
    phone.get_by_label("The plug that replaces it").fill("K7M4")
    phone.get_by_role("button", name="Settle it").tap()
    expect(phone.locator("#id_plug_error")).to_be_visible()
    phone.locator("label.chip", has_text="Credit").first.tap()
    expect(phone.locator("#id_plug_error")).to_be_visible()
    expect(phone.get_by_label("The plug that replaces it")).to_have_value("K7M4")


def test_a_line_of_a_trade_asks_for_a_tag_of_a_colony_alone(phone):
    phone.goto(reverse("trade_new"))
    count, tag = (phone.locator(f"[name=lines-0-{name}]") for name in ("count", "tag"))
    expect(count).to_be_visible()
    expect(tag).to_be_hidden()
    phone.locator("label.check", has_text="A colony").tap()
    expect(tag).to_be_visible()
    expect(count).to_be_hidden()


def test_a_pack_asks_for_a_tag_of_a_colony_alone(phone):
    phone.goto(reverse("acquire_pack"))
    tag = phone.locator("[name=lines-0-tag]")
    expect(tag).to_be_hidden()
    phone.locator("[name=lines-0-is_colony]").select_option("colony")
    expect(tag).to_be_visible()
