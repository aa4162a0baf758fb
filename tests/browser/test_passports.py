"""A passport on a phone: chosen, looked at and brought in, without a script too; its pages for everybody."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from labels.passports.signing import canonical
from propagation.models import Acquisition
from tests.browser.accessibility import px_too_wide, violations
from tests.labels.passport_samples import chained, line, signed

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@pytest.fixture
def file(settings, tmp_path):
    settings.RAMET_HOME = tmp_path
    now = timezone.now()
    first = signed(line(cut=date(2025, 7, 1)), created=now - timedelta(days=9))
    path = tmp_path / "passport.jsonld"
    path.write_bytes(canonical(chained(first, came=date(2025, 8, 1), created=now - timedelta(days=2))))
    return path


def open_offer(page, file):
    page.goto(reverse("passports"))
    page.set_input_files("input[name=passport]", file)
    page.get_by_role("button", name="Read it").click()
    page.get_by_role("heading", name="Told by a keeper without a name", exact=True).wait_for()


@pytest.mark.parametrize("scripts", [True, False])
def test_a_passport_is_looked_at_and_brought_in_as_a_colony(browser_page, file, scripts):
    page = browser_page(360, 740, scripts=scripts)
    open_offer(page, file)
    page.locator("label.chip", has_text="A colony").click()
    page.locator("#id_tag").fill("HE7")
    page.locator("label.chip", has_text="Gift").click()
    page.get_by_role("button", name="Bring in").click()
    page.get_by_role("link", name="HE7").wait_for()
    acquisition = Acquisition.objects.get()
    assert (acquisition.kind, acquisition.colonies.get().tag) == ("gift", "HE7")
    assert acquisition.passport.text == file.read_text()


@pytest.mark.parametrize(("width", "dark"), [(360, False), (1280, True)])
def test_what_a_passport_says_is_fit_for_everybody(browser_page, file, width, dark):
    page = browser_page(width, 800, dark=dark)
    open_offer(page, file)
    assert px_too_wide(page) <= 0
    assert not violations(page, runOnly=TAGS)
