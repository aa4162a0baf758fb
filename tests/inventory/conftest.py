"""What the tests of the inventory floor share."""

import contextlib
import sqlite3
import threading

import pytest
from django.db import connection, connections


@pytest.fixture
def at_once(transactional_db, tmp_path, monkeypatch):
    """Run acts at once, each in a thread and on a connection of its own: ``at_once([act, …])`` gives their answers.

    An answer is what the act returned, or the exception it raised. Acts see the rows that the test made. On SQLite they
    work on a copy of the database in a file, as in real use: one held in memory knows no waiting for a lock. What they
    wrote is therefore read by an act, too.
    """

    def run(acts):
        answers = [None] * len(acts)
        start = threading.Barrier(len(acts))

        def work(number, act):
            try:
                start.wait()
                answers[number] = act()
            except Exception as error:  # noqa: BLE001 - handed to the test
                answers[number] = error
            finally:
                connection.close()

        threads = [threading.Thread(target=work, args=each) for each in enumerate(acts)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        return answers

    def on_file(acts):
        if connection.vendor != "sqlite":
            return run(acts)
        database = tmp_path / "copy.sqlite3"
        if not database.exists():
            with connection.cursor() as cursor:
                cursor.execute("VACUUM INTO %s", [str(database)])
            # A database in use has its write-ahead log; two connections that begin it at once lock each other out.
            with contextlib.closing(sqlite3.connect(database)) as copy:
                copy.execute("PRAGMA journal_mode=WAL")
        with monkeypatch.context() as patch:
            patch.setitem(connections.settings["default"], "NAME", str(database))
            return run(acts)

    return on_file
