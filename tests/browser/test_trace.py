"""Tracing on a phone: from the label to the acquisition, and through the family tree by key."""

import re

import pytest
import qrcode
from django.urls import reverse
from PIL import Image
from playwright.sync_api import expect

from propagation.models import Colony, Plug
from tests.browser.accessibility import OTHER_GLASSES, violations
from tests.factories import ColonyFactory, CutEventFactory, PlugFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def line():
    """M-OLD was cut for eight; the first was grown on as M-NEW, which was cut for three."""
    event = CutEventFactory(mother__tag="M-OLD", frags=8)
    first, *_ = PlugFactory.create_batch(8, cut_event=event)
    Plug.objects.filter(pk=first.pk).update(fate="grown_on", ended_on="2026-05-01")
    child = ColonyFactory(tag="M-NEW", grown_from=first, lineage=first.lineage, began_on="2026-05-01")
    return PlugFactory.create_batch(3, cut_event=CutEventFactory(mother=child, session__cut_on="2026-06-01"))


def test_a_keeper_traces_a_typed_code_to_the_acquisition(browser_page, line):
    page = browser_page(360, 740)
    page.goto(reverse("trace"))
    page.get_by_role("main").get_by_label("Code, tag or name").fill(line[0].code_in_clear.lower())
    page.get_by_role("main").get_by_role("button", name="Trace", exact=True).click()
    page.wait_for_url(re.compile(re.escape(reverse("trace_plug", args=[line[0].code]))))
    thread = page.get_by_label("Line of descent, nearest first")
    expect(thread.locator(".timeline-title")).to_have_text(
        [
            "Cut",
            "Colony M-NEW",
            f"Plug {Plug.objects.get(colony__tag='M-NEW').code_in_clear}",
            "Cut",
            "Colony M-OLD",
            "Bought",
        ]
    )


def test_a_picture_of_a_label_is_enough(browser_page, line, tmp_path):
    bench = Image.new("L", (900, 700), 150)
    bench.paste(qrcode.make(f"HTTPS://REEF.EXAMPLE/Q/{line[0].code}", box_size=6).convert("L"), (80, 80))
    bench.save(tmp_path / "label.jpg")
    page = browser_page(360, 740)
    page.goto(reverse("trace"))
    page.locator("input[type=file]").set_input_files(tmp_path / "label.jpg")
    page.wait_for_url(re.compile(re.escape(reverse("trace_plug", args=[line[0].code]))))


def test_the_tree_is_walked_by_key(browser_page, line):
    page = browser_page(1280, 900, touch=False)
    page.goto(reverse("trace_plug", args=[line[0].code]))
    tree = page.locator(".tree-across svg")
    tree.locator("a", has_text="M-OLD").focus()
    page.keyboard.press("Enter")
    oldest = Colony.objects.get(tag="M-OLD")
    page.wait_for_url(re.compile(re.escape(reverse("trace_plug", args=[oldest.code]))))
    expect(page.locator(".tree-across .knot-asked-for")).to_contain_text("M-OLD")


@pytest.mark.parametrize(("width", "dark"), OTHER_GLASSES)
def test_every_page_of_tracing_is_fit_for_everybody(browser_page, line, width, dark):
    page = browser_page(width, 800, dark=dark, touch=width < 700)
    for path in (
        reverse("today"),
        reverse("trace"),
        f"{reverse('trace')}?q=M-OLE",
        reverse("trace_plug", args=[line[0].code]),
        reverse("trace_plug", args=["M-OLD"]),
    ):
        page.goto(path)
        assert violations(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


@pytest.mark.parametrize("width", [360, 1280])
def test_every_page_for_strangers_is_fit_for_everybody(browser_page, line, width):
    page = browser_page(width, 800, touch=width < 700, signed_in=False)
    for path in (
        reverse("scan", args=[line[0].code]),
        reverse("scan", args=["AAAAAAAA"]),
        reverse("sign_in"),
        f"{reverse('sign_in_by_link')}?sesame=some",
    ):
        page.goto(path)
        assert violations(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


@pytest.mark.parametrize("width", [360, 1280])
def test_the_first_steps_are_fit_for_everybody(browser_page, width):
    page = browser_page(width, 800, touch=width < 700)
    for path in (reverse("today"), reverse("trace")):
        page.goto(path)
        assert violations(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_it_all_works_without_scripts(browser_page, line):
    page = browser_page(360, 740, scripts=False)
    page.goto(reverse("trace_plug", args=["M-OLD"]))
    page.get_by_text("As a table").click()
    expect(page.get_by_role("rowheader", name="Cut 1 Apr 2026")).to_be_visible()
