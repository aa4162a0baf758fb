"""Fixtures that every test may use."""

import contextlib
import sqlite3
from datetime import date

import pytest
from django.db import connection
from django.test import override_settings
from hypothesis import settings

# How long an example takes is no matter of right or wrong, and machines are busy.
settings.register_profile("ramet", deadline=None)
settings.load_profile("ramet")


@pytest.fixture
def today():
    """The day the tests play on: actions take it as an argument."""
    return date(2026, 6, 15)


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


# They start processes with a SQLite database of their own, whatever the tests run on.
OWN_DATABASE = ("test_background_work.py", "test_bootstrap.py", "test_demo.py", "test_serving.py")


def pytest_collection_modifyitems(items):
    """Mark what touches no database, or only one of its own, so that a second database need not run it again."""
    for item in items:
        fixtures = set(getattr(item, "fixturenames", ()))
        touches = item.get_closest_marker("django_db") or fixtures & {"db", "transactional_db", "live_server"}
        if not touches or item.path.name in OWN_DATABASE:
            item.add_marker(pytest.mark.no_database)
        if item.path.name.startswith("test_demo"):
            item.add_marker(pytest.mark.xdist_group(item.path.name))  # the demo is built once, by one process


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
