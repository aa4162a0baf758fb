"""A season in the trade, on a phone: held at the rack, sold at the table, swapped, claimed and replaced, lent and come
home after a loss, so that the line goes on.
"""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.models import Claim, Contact, Hold, LineagePrice, Safekeeping, Sale, SaleState, Trade
from propagation.actions.end_colony import end_colony
from propagation.models import Acquisition, Colony, Fate, Plug
from tests.factories import (
    ColonyFactory,
    CutEventFactory,
    LineageFactory,
    PlacementFactory,
    RackFactory,
    ReadyPlugFactory,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def rack():
    return RackFactory(name="Frag shelf")


@pytest.fixture
def mother(rack):
    mother = ColonyFactory(tag="PW1", lineage=LineageFactory(name="Pinwheel Orchard"))
    PlacementFactory(colony=mother, spot__system=rack.system)
    LineagePrice.objects.create(lineage=mother.lineage, amount=25)
    return mother


@pytest.fixture
def plugs(mother, rack):
    """Five healed frags of one cut, in a row on the rack."""
    cut = CutEventFactory(mother=mother, frags=5)
    return [ReadyPlugFactory(cut_event=cut, rack=rack, rack_row=1, rack_column=column) for column in range(1, 6)]


def fate_of(plug):
    plug.refresh_from_db()
    return plug.fate


def test_a_season_in_the_trade(browser_page, mother, plugs, rack):
    page = browser_page(360, 740)
    held, swapped, replacement, lent, kept = plugs

    def press(name):
        page.get_by_role("button", name=name).first.tap()

    def follow(name):
        page.get_by_role("link", name=name).first.tap()

    # Held at the rack, its label scanned, for somebody new.
    page.goto(reverse("scan", args=[held.code]))
    follow(re.compile(r"^Hold"))
    page.get_by_label("For", exact=True).fill("Odile from the ferry")
    press("Hold")
    page.get_by_text("held for Odile from the ferry until").first.wait_for()
    odile = Contact.objects.get(name="Odile from the ferry")
    assert Hold.objects.get(plug=held).contact == odile

    # Sold to her at the table, for cash.
    page.goto(reverse("market"))
    page.locator("#market-code").fill(held.code_in_clear)
    page.keyboard.press("Enter")
    page.get_by_text("Odile from the ferry").first.wait_for()
    press(re.compile("Sell .*€25.00"))
    press(re.compile("Cash taken"))
    page.locator(".market-sold").get_by_text("Sold for €25.00", exact=True).wait_for()
    sale = Sale.objects.get()
    assert (sale.contact, fate_of(held)) == (odile, Fate.SOLD)
    assert sale.state in (SaleState.HANDED_OVER, SaleState.CLOSED)

    # Swapped for a frag that enters the records, with a code of its own.
    page.goto(f"{reverse('trade_new')}?plugs={swapped.code}")
    page.get_by_label("With whom").fill("Wim with the long tank")
    page.get_by_label("Lineage").first.fill("Towpath Ember")
    press("Record the trade")
    page.get_by_text("Towpath Ember").first.wait_for()
    assert fate_of(swapped) == Fate.TRADED
    came = Plug.objects.get(lineage__name="Towpath Ember")
    assert came.acquisition.kind == Acquisition.Kind.TRADE
    assert came.acquisition.terms.contact == Trade.objects.get().contact
    page.goto(reverse("trace_plug", args=[came.code]))
    page.get_by_text("Towpath Ember").first.wait_for()

    # What she bought died: she says so, and gets another.
    page.goto(reverse("sale", args=[sale.pk]))
    follow("Reported dead or damaged")
    page.get_by_label("Dead on arrival").tap()
    page.get_by_label("What they wrote").fill("Nothing was left of it on the second morning.")
    press("Record the claim")
    page.get_by_text("The claim is recorded").wait_for()
    follow("Settle it")
    page.get_by_label("Another plug", exact=True).tap()
    page.get_by_label("The plug that replaces it").fill(replacement.code_in_clear)
    press("Settle it")
    page.get_by_text("Replaced").first.wait_for()
    claim = Claim.objects.get()
    assert claim.replaced_by.plug == replacement
    page.goto(reverse("sale", args=[claim.replaced_by.sale_id]))
    follow("Hand over or send")
    press("It left")
    page.get_by_text("Handed over").first.wait_for()
    assert fate_of(replacement) == Fate.SOLD

    # A living copy goes to a friend; the mother dies; the copy comes home and is cut again.
    page.goto(f"{reverse('safekeeping_new')}?plug={lent.code}")
    page.get_by_label("The plug", exact=True).fill(lent.code_in_clear)
    page.get_by_label("Who keeps it").fill("The school tank")
    press("It is with them")
    page.get_by_text("The school tank").first.wait_for()
    safekeeping = Safekeeping.objects.get()
    assert fate_of(lent) == Fate.GIVEN
    end_colony(colony=mother, reason="died", on=localdate(), today=localdate())
    page.goto(reverse("safekeeping_one", args=[safekeeping.pk]))
    press("Still alive today")
    page.get_by_text(f"{lent.code_in_clear} is alive at The school tank’s.").wait_for()
    follow("It came back")
    page.get_by_label("Tag, if it is a colony by now").fill("PW2")
    press("It came back")
    follow("What came back")
    page.get_by_text("PW2").first.wait_for()
    home = Colony.objects.get(tag="PW2")
    assert home.acquisition.returned_plug == lent
    assert home.lineage == mother.lineage

    # From a frag of what came home the thread runs through the friend to the mother that is no more.
    frag = ReadyPlugFactory(
        cut_event=CutEventFactory(mother=home, session__cut_on=localdate() + timedelta(days=40), frags=1)
    )
    page.goto(reverse("trace_plug", args=[frag.code]))
    for step in ("PW2", lent.code_in_clear, "PW1"):
        page.get_by_text(step).first.wait_for()
    assert fate_of(kept) == Fate.KEPT
