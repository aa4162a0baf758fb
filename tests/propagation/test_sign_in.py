"""Signing in and out."""

import pytest
import sesame.utils
from django.urls import reverse

from propagation.visitor import NOWHERE, address_of_visitor

pytestmark = pytest.mark.django_db

PASSWORD = "a long enough password"


def is_signed_in(client):
    return "_auth_user_id" in client.session


def link_for(user):
    return reverse("sign_in_by_link") + sesame.utils.get_query_string(user)


def test_a_name_and_its_password_sign_in(client, keeper):
    answer = client.post(reverse("sign_in"), {"username": "keeper", "password": PASSWORD})
    assert answer.status_code == 302
    assert answer["Location"] == reverse("today")
    assert is_signed_in(client)


def test_after_signing_in_a_keeper_stands_where_they_wanted_to_go(client, keeper):
    wanted = client.get(reverse("trace"))
    answer = client.post(wanted["Location"], {"username": "keeper", "password": PASSWORD, "next": reverse("trace")})
    assert answer["Location"] == reverse("trace")


def test_an_address_elsewhere_is_not_followed(client, keeper):
    answer = client.post(
        reverse("sign_in"), {"username": "keeper", "password": PASSWORD, "next": "https://else.example/"}
    )
    assert answer["Location"] == reverse("today")


def test_a_wrong_password_is_named_and_the_name_is_kept(client, keeper):
    answer = client.post(reverse("sign_in"), {"username": "keeper", "password": "wrong"})
    assert answer.status_code == 422
    assert 'value="keeper"' in answer.content.decode()
    assert not is_signed_in(client)


def test_guessing_passwords_is_throttled_even_when_the_last_guess_is_right(client, keeper, settings):
    settings.AXES_FAILURE_LIMIT = 3
    for _ in range(3):
        client.post(reverse("sign_in"), {"username": "keeper", "password": "wrong"})
    answer = client.post(reverse("sign_in"), {"username": "keeper", "password": PASSWORD})
    assert answer.status_code == 429
    assert not is_signed_in(client)


def test_opening_a_link_shows_a_button_and_uses_nothing_up(client, keeper):
    link = link_for(keeper)
    for _ in range(3):
        answer = client.get(link)
        assert answer.status_code == 200
        assert not is_signed_in(client)
    secret = answer.context["secret"]
    assert f'value="{secret}"' in answer.content.decode()


def test_the_button_signs_in_once(client, keeper):
    secret = sesame.utils.get_token(keeper)
    answer = client.post(reverse("sign_in_by_link"), {"sesame": secret})
    assert answer["Location"] == reverse("today")
    assert is_signed_in(client)
    client.post(reverse("sign_out"))
    again = client.post(reverse("sign_in_by_link"), {"sesame": secret})
    assert again.status_code == 403
    assert "has been used" in again.content.decode()
    assert not is_signed_in(client)


def test_a_link_with_a_made_up_secret_does_not_sign_in(client, keeper):
    answer = client.post(reverse("sign_in_by_link"), {"sesame": "made-up"})
    assert answer.status_code == 403
    assert not is_signed_in(client)


def test_a_link_without_a_secret_says_so(client):
    answer = client.get(reverse("sign_in_by_link"))
    assert answer.status_code == 404
    assert "sign_in_link" in answer.content.decode()


def test_guessing_links_is_throttled(client, keeper, settings):
    settings.AXES_FAILURE_LIMIT = 3
    for _ in range(3):
        client.post(reverse("sign_in_by_link"), {"sesame": "made-up"})
    answer = client.post(reverse("sign_in_by_link"), {"sesame": sesame.utils.get_token(keeper)})
    assert answer.status_code == 429
    assert not is_signed_in(client)


def test_the_page_of_a_link_is_not_kept_by_browsers(client, keeper):
    assert "no-store" in client.get(link_for(keeper))["Cache-Control"]


def test_signing_out_only_takes_a_post(signed_in):
    assert signed_in.get(reverse("sign_out")).status_code == 405
    assert is_signed_in(signed_in)
    signed_in.post(reverse("sign_out"))
    assert not is_signed_in(signed_in)


@pytest.mark.parametrize(
    ("behind_proxy", "headers", "expected"),
    [
        (False, {"REMOTE_ADDR": "203.0.113.9", "HTTP_X_FORWARDED_FOR": "198.51.100.1"}, "203.0.113.9"),
        (True, {"REMOTE_ADDR": "127.0.0.1", "HTTP_X_FORWARDED_FOR": "6.6.6.6, 198.51.100.1"}, "198.51.100.1"),
        (True, {"REMOTE_ADDR": "127.0.0.1"}, "127.0.0.1"),
        (True, {"REMOTE_ADDR": "127.0.0.1", "HTTP_X_FORWARDED_FOR": "nonsense"}, NOWHERE),
        (False, {"REMOTE_ADDR": "2001:db8:1:2:aaaa::1"}, "2001:db8:1:2::"),
        (False, {"REMOTE_ADDR": "::ffff:203.0.113.9"}, "203.0.113.9"),
    ],
)
def test_a_visitor_is_counted_by_an_address_that_they_cannot_choose(rf, settings, behind_proxy, headers, expected):
    settings.BEHIND_PROXY = behind_proxy
    assert address_of_visitor(rf.get("/", **headers)) == expected
