"""A process that is killed in the middle of a save leaves all of it or nothing.

A real process records a sitting in a database of its own. It stops between two writes of the transaction and says so
through a pipe; it is killed there, and what it left is read from the same database.
"""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection

ROOT = Path(__file__).resolve().parents[2]

PREPARE = """
import django; django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.factories import ColonyFactory, RackFactory
ColonyFactory.create_batch(3); RackFactory()
"""

# Stops for good after so many writes of the save, at a place that the parent chose.
SAVE = """
import sys, threading
import django; django.setup()
from django.db import connection
from django.utils.timezone import localdate
from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.models import Colony, Spot

stop_after, writes = int(sys.argv[1]), 0

def stop_between_writes(execute, sql, params, many, context):
    global writes
    result = execute(sql, params, many, context)
    if sql.split()[0] in ("INSERT", "UPDATE"):
        writes += 1
        if writes == stop_after:
            print("stopped", flush=True)
            threading.Event().wait()
    return result

with connection.execute_wrapper(stop_between_writes):
    cuts = [
        MotherCut(mother, 8, size_before=90, size_after=60, measure="diameter_mm") for mother in Colony.objects.all()
    ]
    record_cutting(cuts=cuts, cut_on=localdate(), today=localdate(), rack=Spot.objects.get())
print(f"saved {writes}", flush=True)
"""

COUNT = """
import json
import django; django.setup()
from propagation.models import AllottedCode, CutEvent, CuttingSession, Lineage, Plug, SizeReading
models = [CuttingSession, CutEvent, Plug, SizeReading]
models += [CuttingSession.history.model, CutEvent.history.model, Plug.history.model, AllottedCode]
remembered = Lineage.objects.exclude(frags_per_cut=None).count()
print(json.dumps([model.objects.count() for model in models] + [remembered]))
"""

NOTHING = [0, 0, 0, 0, 0, 0, 0, 3, 0]  # the three codes are the mothers'
ALL = [1, 3, 24, 6, 1, 3, 24, 27, 3]


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request, tmp_path, migrated_home):
    """The environment of a process with a database of its own."""
    environment = os.environ | {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "RAMET_HOME": str(tmp_path),
        "PYTHONPATH": str(ROOT),
    }
    if request.param == "sqlite":
        migrated_home(tmp_path)
        environment.pop("DATABASE_URL", None)
        yield environment
        return
    if connection.vendor != "postgresql":
        pytest.skip("PostgreSQL is tested when DATABASE_URL names one.")
    import psycopg

    server = os.environ["DATABASE_URL"].rsplit("/", 1)[0]
    name = f"ramet_killed_{os.getpid()}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as admin:
        admin.execute(f'CREATE DATABASE "{name}"')
        try:
            yield environment | {"DATABASE_URL": f"{server}/{name}"}
        finally:
            admin.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def run(program, environment, *arguments):
    done = subprocess.run(
        [sys.executable, "-c", program, *arguments],
        env=environment,
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is a signal of POSIX.")
def test_a_save_that_is_killed_leaves_all_or_nothing(database):
    run(PREPARE, database)
    assert json.loads(run(COUNT, database)) == NOTHING
    # After the session alone, after the codes, between plugs and their history, and after the last write of all.
    for stop_after in (1, 5, 6, 9):
        process = subprocess.Popen(
            [sys.executable, "-c", SAVE, str(stop_after)],
            env=database,
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        with process:
            said = process.stdout.readline()
            if said != "stopped\n":
                process.kill()
                pytest.fail(f"It did not stop after write {stop_after}: {said}{process.stderr.read()}")
            process.send_signal(signal.SIGKILL)
            assert process.wait() == -signal.SIGKILL
        assert json.loads(run(COUNT, database)) == NOTHING, f"killed after write {stop_after}"
    # Nothing stays locked, and the same sitting can be saved whole.
    assert run(SAVE, database, "0") == "saved 9\n"
    assert json.loads(run(COUNT, database)) == ALL
