"""One address on every label: the keeper's own page, or a clean page for strangers."""

import pytest
from django.urls import reverse

from labels.contents import address_of
from propagation.throttle import forget_guesses
from tests.factories import ColonyFactory, PlugFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def no_guesses():
    forget_guesses()


def test_the_keeper_comes_to_the_page_of_the_plug(signed_in):
    plug = PlugFactory()
    assert signed_in.get(reverse("scan", args=[plug.code]))["Location"] == reverse("plug", args=[plug.code])


def test_the_keeper_comes_to_the_page_of_the_colony(signed_in):
    colony = ColonyFactory()
    assert signed_in.get(reverse("scan", args=[colony.code]))["Location"] == reverse("colony", args=[colony.tag])


@pytest.mark.parametrize("write", [str.upper, str.lower, lambda path: f"{path}/", str.swapcase])
def test_the_address_works_in_either_case(client, write):
    plug = PlugFactory()
    path = write(address_of("", plug.code))
    assert client.get(path).status_code == 200


def test_a_code_with_its_dash_works_too(client):
    plug = PlugFactory()
    assert client.get(f"/q/{plug.code_in_clear}").status_code == 200


def test_the_keeper_is_told_about_a_mistyped_code(signed_in):
    answer = signed_in.get(reverse("scan", args=["AAAAAAAA"]), follow=True)
    assert answer.redirect_chain[0][0] == f"{reverse('trace')}?q=AAAAAAAA"
    assert "Mistyped" in answer.content.decode() or "no plug" in answer.content.decode()


def test_a_scan_changes_nothing_so_it_only_answers_to_reading(client):
    assert client.post(reverse("scan", args=[PlugFactory().code])).status_code == 405
