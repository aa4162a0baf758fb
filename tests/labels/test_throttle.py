"""Guessing codes is throttled; scanning labels is not."""

import pytest
from django.test import RequestFactory
from django.urls import reverse

from propagation.throttle import count_wrong_guess, forget_guesses, seconds_to_wait
from tests.factories import PlugFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def limits(settings):
    settings.CODE_GUESSES_BY_STRANGERS = "3/minute;200/day"
    forget_guesses()
    yield
    forget_guesses()


def scan(client, code, **headers):
    return client.get(reverse("scan", args=[code]), **headers)


def test_whoever_guesses_too_often_has_to_wait(client):
    for guess in ("AAAAAAAA", "BBBBBBBB", "CCCCCCCC"):
        assert scan(client, guess).status_code == 404
    answer = scan(client, "DDDDDDDD")
    assert answer.status_code == 429
    assert 0 < int(answer["Retry-After"]) <= 60
    assert "Wait 1 minute" in answer.content.decode()


def test_while_they_wait_a_right_code_tells_nothing_either(client):
    plug = PlugFactory()
    for _ in range(3):
        scan(client, "AAAAAAAA")
    assert scan(client, plug.code).status_code == 429


def test_a_label_that_is_there_may_be_scanned_as_often_as_one_likes(client):
    plug = PlugFactory()
    assert {scan(client, plug.code).status_code for _ in range(10)} == {200}


def test_each_visitor_is_counted_alone(client):
    for _ in range(4):
        scan(client, "AAAAAAAA", REMOTE_ADDR="203.0.113.1")
    assert scan(client, "AAAAAAAA", REMOTE_ADDR="203.0.113.1").status_code == 429
    assert scan(client, "AAAAAAAA", REMOTE_ADDR="203.0.113.2").status_code == 404


def test_a_made_up_header_does_not_make_a_new_visitor(client):
    answers = [scan(client, "AAAAAAAA", HTTP_X_FORWARDED_FOR=f"198.51.100.{n}").status_code for n in range(5)]
    assert answers == [404, 404, 404, 429, 429]


def test_behind_a_proxy_visitors_are_told_apart(client, settings):
    settings.BEHIND_PROXY = True
    answers = [scan(client, "AAAAAAAA", HTTP_X_FORWARDED_FOR=f"198.51.100.{n}").status_code for n in range(5)]
    assert answers == [404] * 5


def test_one_household_cannot_walk_through_its_addresses(client):
    answers = [scan(client, "AAAAAAAA", REMOTE_ADDR=f"2001:db8:1:2::{n:x}").status_code for n in range(1, 6)]
    assert answers == [404, 404, 404, 429, 429]


def test_the_keeper_is_never_stopped(signed_in):
    assert {scan(signed_in, "AAAAAAAA").status_code for _ in range(6)} == {302}


def test_the_longest_of_several_limits_says_how_long_to_wait(settings):
    settings.CODE_GUESSES_BY_STRANGERS = "2/minute;2/hour"
    request = RequestFactory().get("/")
    count_wrong_guess(request)
    count_wrong_guess(request)
    assert 3500 < seconds_to_wait(request) <= 3600
