"""A stranger gets nowhere but to sign-in and to the page that a label opens."""

import uuid

import pytest
from django.test import Client
from django.urls import URLPattern, get_resolver

pytestmark = pytest.mark.django_db

OPEN = {"sign_in", "sign_in_by_link", "sign_out", "scan", "calendar_feed", "available", "available_secret"}
SOME_VALUE = {"int": 1, "str": "AAAAAAAA", "slug": "some", "uuid": uuid.UUID(int=1), "path": "some/where"}


def every_route():
    """``(name, path)`` of every address of the site, with some value in each place."""
    waiting = [("", pattern) for pattern in get_resolver().url_patterns]
    while waiting:
        before, pattern = waiting.pop()
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLPattern):
            for key, converter in pattern.pattern.converters.items():
                kind = type(converter).__name__.removesuffix("Converter").lower().replace("string", "str")
                for written in (f"<{kind}:{key}>", f"<{key}>"):
                    route = route.replace(written, str(SOME_VALUE[kind]))
            yield pattern.name or pattern.callback.__name__, f"/{route}"
        else:
            waiting += [(route, inner) for inner in pattern.url_patterns]


ROUTES = sorted(set(every_route()))


def test_every_route_is_walked():
    assert len(ROUTES) > 30
    assert not [path for _, path in ROUTES if "<" in path]
    assert {name for name, _ in ROUTES} >= OPEN


@pytest.mark.parametrize(("name", "path"), [route for route in ROUTES if route[0] not in OPEN])
def test_a_stranger_is_sent_to_sign_in(name, path):
    for method in ("get", "post"):
        answer = getattr(Client(), method)(path)
        is_sent_to_sign_in = answer.status_code == 302 and answer["Location"].startswith("/sign-in/?next=")
        assert is_sent_to_sign_in or answer.status_code == 404, f"{method} {path}: {answer.status_code}"


def test_a_stranger_at_the_front_page_is_asked_to_sign_in(client):
    assert client.get("/")["Location"] == "/sign-in/?next=/"
