"""Fixtures that every test may use."""

import contextlib
import os
import random
import sqlite3
from datetime import date
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test import override_settings
from factory.base import BaseFactory
from hypothesis import settings

from propagation import codes

# A run draws the same codes, names and examples as the run before it; another word here draws others.
DRAW = os.environ.get("TEST_DRAW", "")

# How long an example takes is no matter of right or wrong, and machines are busy.
settings.register_profile("ramet", deadline=None, derandomize=not DRAW)
settings.load_profile("ramet")


def draw_codes_for(what):
    """From here on this process draws its codes from a row that belongs to *what*, not out of the blue."""
    codes.secrets = SimpleNamespace(choice=random.Random(f"{DRAW} {what}").choice)


draw_codes_for("what modules hold")


def every_factory(of=BaseFactory):
    for kind in of.__subclasses__():
        yield kind
        yield from every_factory(kind)


@pytest.fixture(autouse=True)
def the_same_draw_each_time(request):
    """A test meets the same codes and numbered names whichever tests ran before it, and in whichever process."""
    draw_codes_for(request.node.nodeid)
    for kind in every_factory():
        if kind._meta.model and not kind._meta.abstract:
            kind.reset_sequence(force=True)


@pytest.fixture
def today():
    """The day the tests play on: actions take it as an argument."""
    return date(2026, 6, 15)


@pytest.fixture
def files(settings, tmp_path):
    """The folder that the files of a test go into."""
    settings.MEDIA_ROOT = tmp_path / "files"
    return settings.MEDIA_ROOT


@pytest.fixture
def keeper(django_user_model):
    return django_user_model.objects.create_user("keeper", password="a long enough password")


@pytest.fixture
def signed_in(client, keeper):
    """A test client signed in as the keeper."""
    client.force_login(keeper)
    return client


@pytest.fixture(autouse=True, scope="session")
def quick_passwords():
    """Passwords are hashed slowly on purpose; tests sign in hundreds of times."""
    with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
        yield


@pytest.fixture(autouse=True, scope="session")
def work_at_once():
    """Background work is done where it is asked for; `tests/test_background_work.py` has a real worker."""
    at_once = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    # Forecasts are tested by themselves: elsewhere a saved form need not wait for them.
    with override_settings(TASKS=at_once, OUTLOOKS_FOLLOW_RECORDS=False):
        yield


@pytest.fixture(autouse=True, scope="session")
def pictures_are_looked_at_once(work_at_once):
    """A picture that many tests start from costs its second of processor time once a worker."""
    from tests.looked_once import looked_once  # imports OpenCV

    with looked_once():
        yield


# They start processes with a SQLite database of their own, whatever the tests run on.
OWN_DATABASE = ("test_background_work.py", "test_bootstrap.py", "test_demo.py", "test_serving.py")


def pytest_collection_modifyitems(items):
    """Mark what touches no database, or only one of its own, so that a second database need not run it again."""
    for item in items:
        fixtures = set(getattr(item, "fixturenames", ()))
        touches = item.get_closest_marker("django_db") or fixtures & {"db", "transactional_db", "live_server"}
        if not touches or item.path.name in OWN_DATABASE:
            item.add_marker(pytest.mark.no_database)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    from tests.scheduling import DemoTogether

    return DemoTogether(config, log)


@pytest.fixture
def migrated_home(django_db_setup, django_db_blocker):
    """Make a home with an empty, migrated database for a process of its own: ``migrated_home(path)``.

    Migrating takes ten seconds, which `tests/test_serving.py` and the demo spend for all. On PostgreSQL the process
    migrates for itself.
    """

    def make(home):
        home.mkdir(exist_ok=True)
        if connection.vendor == "sqlite":
            with django_db_blocker.unblock():
                name = str(connection.settings_dict["NAME"])
            with (
                contextlib.closing(sqlite3.connect(name)) as ours,
                contextlib.closing(sqlite3.connect(home / "ramet.sqlite3")) as theirs,
            ):
                ours.backup(theirs)
        return home

    return make
