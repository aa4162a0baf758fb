"""A stranger gets nowhere but to sign-in, and to the few pages that are made for others."""

import uuid
from datetime import timedelta

import pytest
from django.apps import apps
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse
from django.utils.timezone import localdate

from inventory.actions.hand_over import sell_now
from inventory.models import Availability
from propagation.actions.calendar_address import renew_calendar_address
from propagation.models import Preferences
from propagation.throttle import forget_guesses
from tests.factories import ContactFactory, HoldFactory, RackFactory, ReadyPlugFactory
from tests.inventory.sales import items_of
from tests.keeper_on_papers import keep_for_papers, tells_of_it

pytestmark = pytest.mark.django_db

# All there is for strangers, and what lets them in; any other address asks for sign-in.
SIGN_IN = {"sign_in", "sign_in_by_link", "sign_out"}
BY_THE_SWITCH_FOR_LINES = {"scan", "photo_screen", "photo_thumbnail"}
BY_THE_SWITCH_FOR_OFFERS = {"available"}
BY_A_SECRET = {"available_secret", "calendar_feed", "own_papers", "own_paper", "own_paper_of"}
OPEN = SIGN_IN | BY_THE_SWITCH_FOR_LINES | BY_THE_SWITCH_FOR_OFFERS | BY_A_SECRET

METHODS = ["get", "head", "post", "put", "patch", "delete", "options"]
SOME_VALUE = {"int": 1, "str": "AAAAAAAA", "slug": "some", "uuid": uuid.UUID(int=1), "path": "some/where"}


def every_pattern():
    """``(pattern, its whole route)`` of every address of the site."""
    waiting = [("", pattern) for pattern in get_resolver().url_patterns]
    while waiting:
        before, pattern = waiting.pop()
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLPattern):
            yield pattern, route
        else:
            waiting += [(route, inner) for inner in pattern.url_patterns]


def name_of(pattern):
    return pattern.name or pattern.callback.__name__


def every_route():
    """``(name, path)`` of every address of the site, with some value in each place."""
    for pattern, route in every_pattern():
        for key, converter in pattern.pattern.converters.items():
            kind = type(converter).__name__.removesuffix("Converter").lower().replace("string", "str")
            for written in (f"<{kind}:{key}>", f"<{key}>"):
                route = route.replace(written, str(SOME_VALUE[kind]))
        yield name_of(pattern), f"/{route}"


ROUTES = sorted(set(every_route()))
CLOSED = [route for route in ROUTES if route[0] not in OPEN]


@pytest.fixture(autouse=True)
def nobody_guessed():
    forget_guesses()
    yield
    forget_guesses()


@pytest.fixture
def sale():
    """There are records behind the addresses, and this sale: none is refused only because there is nothing."""
    day = localdate()
    ReadyPlugFactory(code=SOME_VALUE["str"], rack=RackFactory())
    HoldFactory(until=day + timedelta(days=3))
    return sell_now(contact=ContactFactory(), items=items_of(ReadyPlugFactory()), today=day)


def is_closed(answer) -> bool:
    """Sent to sign in, or told that there is nothing."""
    return answer.status_code == 404 or (answer.status_code == 302 and answer["Location"].startswith("/sign-in/?next="))


def test_every_route_is_walked():
    assert len(ROUTES) > 100
    assert not [path for _, path in ROUTES if "<" in path]
    assert {name for name, _ in ROUTES} >= OPEN


def test_no_other_view_is_open_to_strangers():
    """What Django's own middleware asks of a view decides, not what this file believes."""
    is_open = {
        name_of(pattern) for pattern, _ in every_pattern() if not getattr(pattern.callback, "login_required", True)
    }
    assert is_open == OPEN


@pytest.mark.parametrize(("name", "path"), CLOSED)
def test_a_stranger_is_sent_to_sign_in(name, path):
    client = Client()
    for method in METHODS:
        answer = getattr(client, method)(path)
        assert is_closed(answer), f"{method} {path}: {answer.status_code}"
        assert method == "head" or b"<nav" not in answer.content


def test_a_stranger_changes_nothing_wherever_they_send_a_form(sale):
    def numbers():
        ours = [model for model in apps.get_models() if model._meta.app_label in ("propagation", "inventory", "labels")]
        return {model: model._default_manager.count() for model in ours}

    before = numbers()
    for _, path in CLOSED:
        for method in ("post", "put", "delete"):
            assert is_closed(getattr(Client(), method)(path, {"confirmed": "on", "do": "save"}))
    assert numbers() == before


def test_a_page_brought_in_by_htmx_is_no_way_in(sale):
    for _, path in CLOSED:
        assert is_closed(Client().get(path, headers={"HX-Request": "true"}))


def test_with_every_switch_off_there_is_nothing_but_sign_in(sale):
    preferences = Preferences.current()
    preferences.public_pages = False
    preferences.save()
    assert Availability.current().visibility == Availability.Visibility.OFF
    for name, path in ROUTES:
        if name in OPEN - SIGN_IN:
            forget_guesses()
            assert Client().get(path).status_code == 404, path
    assert Client().get(reverse("available_secret", args=[Availability.current().secret])).status_code == 404


def test_with_every_switch_on_a_wrong_secret_opens_nothing(sale):
    preferences = Preferences.current()
    preferences.public_pages = True
    preferences.save()
    Availability.objects.create(pk=1, visibility=Availability.Visibility.SECRET)
    renew_calendar_address()
    for name, path in ROUTES:
        if name in BY_A_SECRET:
            forget_guesses()
            assert Client().get(path).status_code == 404, path
    assert Client().get(reverse("available")).status_code == 404  # with a secret link it is not for everybody
    assert Client().get(reverse("scan", args=["BBBBBBBB"])).status_code == 404


def test_the_right_secret_opens_its_own_page_and_no_other(sale):
    other = sell_now(contact=ContactFactory(), items=items_of(ReadyPlugFactory()), today=localdate())
    Availability.objects.create(pk=1, visibility=Availability.Visibility.SECRET)
    address = renew_calendar_address()
    secrets = {
        "available_secret": Availability.current().secret,
        "calendar_feed": address.secret,
        "own_papers": sale.secret,
    }
    for name, secret in secrets.items():
        assert Client().get(reverse(name, args=[secret])).status_code == 200
        for wrong in [each for each in secrets.values() if each != secret] + [secret[:-1], secret.swapcase()]:
            forget_guesses()
            assert Client().get(reverse(name, args=[wrong])).status_code == 404
    # A paper of a plug that went to somebody else is none of theirs.
    theirs = other.lines.get().plug.code
    assert Client().get(reverse("own_paper_of", args=[sale.secret, theirs, "certificate"])).status_code == 404
    assert Client().get(reverse("own_paper_of", args=[other.secret, theirs, "certificate"])).status_code == 200


def test_what_is_written_for_papers_stands_on_no_other_open_page(sale):
    keep_for_papers(display_name="The Backwater Bench", public_pages=True)
    Availability.objects.create(pk=1, visibility=Availability.Visibility.SECRET)
    secrets = {
        "scan": SOME_VALUE["str"],
        "available_secret": Availability.current().secret,
        "calendar_feed": renew_calendar_address().secret,
    }
    for name, secret in secrets.items():
        for accept in ("text/html", "application/ld+json"):
            answer = Client().get(reverse(name, args=[secret]), headers={"accept": accept})
            assert answer.status_code == 200
            assert not tells_of_it(answer.content), f"{name} as {accept}"
    for name, path in ROUTES:
        forget_guesses()
        assert not tells_of_it(Client().get(path, follow=True).content), name
    assert tells_of_it(Client().get(reverse("own_papers", args=[sale.secret])).content)


@pytest.mark.parametrize("name", sorted(OPEN - SIGN_IN))
def test_open_pages_take_nothing(name, sale):
    """Whoever reads them cannot send anything there."""
    for path in [path for each, path in ROUTES if each == name]:
        for method in ("post", "put", "patch", "delete"):
            assert getattr(Client(), method)(path).status_code in (404, 405), f"{method} {path}"


def test_signing_out_by_a_link_is_refused():
    assert Client().get(reverse("sign_out")).status_code == 405


@pytest.mark.parametrize(
    "path",
    [
        "/nothing/here/",
        "/static/../config/settings.py",
        "/static/%2e%2e/manage.py",
        "/static/propagation/",
        "/files/",
        "/files/photos/1.jpg",
        "/var/ramet.sqlite3",
        "/admin/",
    ],
)
def test_what_is_no_page_is_not_found(path):
    answer = Client().get(path)
    assert is_closed(answer), f"{path}: {answer.status_code}"
    assert b"<nav" not in answer.content


def test_static_files_are_open():
    assert Client().get("/static/propagation/ramet.css").status_code == 200


def test_a_stranger_at_the_front_page_is_asked_to_sign_in(client):
    assert client.get("/")["Location"] == "/sign-in/?next=/"
