"""Work that a page leaves to the background is done by a worker, and the worker lives and ends with the server."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
WAIT = 60.0  # seconds: a bound for what never comes

# A task of the tests' own, enqueued as a page would, in a database of its own.
ENQUEUE = """
import django; django.setup()
from tests.background_tasks import write_down
write_down.enqueue({file!r}, "done")
"""
RESULTS = """
import django; django.setup()
from django_tasks_db.models import DBTaskResult
print(sorted(DBTaskResult.objects.values_list("status", flat=True)))
"""


@pytest.fixture
def surroundings(tmp_path, migrated_home):
    migrated_home(tmp_path / "home")
    # PYTHONPATH lets the worker find the tests' own task.
    return {
        "RAMET_HOME": str(tmp_path / "home"),
        "RAMET_OWNER": "keeper",
        "RAMET_PASSWORD": "nine wet thumbs",
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "PYTHONPATH": str(ROOT),
        "PATH": os.environ.get("PATH", ""),
    }


def run(script, surroundings):
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, env=surroundings, capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


def manage(arguments, surroundings):
    subprocess.run([sys.executable, "manage.py", *arguments], cwd=ROOT, env=surroundings, check=True)


def begun_server(surroundings, interrupts=signal.SIG_DFL):
    """A server on a home without records, which takes interrupts as a terminal's does however the tests were begun."""
    process = subprocess.Popen(
        [sys.executable, "manage.py", "serve", "--port", "0"],
        cwd=ROOT,
        env=surroundings,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=(lambda: signal.signal(signal.SIGINT, interrupts)) if os.name == "posix" else None,
    )
    assert process.stdout.readline().startswith("Ramet is at")
    return process


@pytest.fixture
def server(surroundings):
    """A server on a home without records; ended, if it still runs, after the test."""
    process = begun_server(surroundings)
    yield process
    if process.poll() is None:
        process.kill()
    process.communicate()


def until(question):
    """Ask again and again until the answer is yes."""
    end = time.monotonic() + WAIT
    while time.monotonic() < end:
        if answer := question():
            return answer
        time.sleep(0.1)
    pytest.fail(f"Never came true: {question.__doc__ or question.__name__}")


def children(process):
    """Processes that a process started (Linux)."""
    listed = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
    for task in Path(f"/proc/{process.pid}/task").iterdir():
        listed += (task / "children").read_text().split()
    return {int(number) for number in listed}


def is_alive(pid):
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


needs_proc = pytest.mark.skipif(
    not Path("/proc/self/task").exists() or not list(Path("/proc/self/task").glob("*/children")),
    reason="Only Linux says so simply whose child a process is.",
)


def test_work_enqueued_by_one_process_is_done_by_a_worker(surroundings, tmp_path):
    manage(["migrate", "--verbosity", "0"], surroundings)
    file = tmp_path / "written"
    run(ENQUEUE.format(file=str(file)), surroundings)
    assert not file.exists()
    manage(["work", "--batch"], surroundings)
    assert file.read_text() == "done"
    assert run(RESULTS, surroundings) == "['SUCCESSFUL']"


def test_a_server_has_a_worker_that_does_what_is_enqueued(server, surroundings, tmp_path):
    file = tmp_path / "written"
    run(ENQUEUE.format(file=str(file)), surroundings)
    until(file.exists)
    assert server.poll() is None


@needs_proc
@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_the_worker_ends_with_its_server(server, ending):
    (worker,) = until(lambda: children(server))
    server.send_signal(ending)
    server.wait(WAIT)
    until(lambda: not is_alive(worker))
    if ending != signal.SIGKILL:
        assert server.returncode == 0
        assert server.stderr.read() == ""


@needs_proc
def test_a_server_started_in_the_background_ends_when_it_is_told_to(surroundings):
    with begun_server(surroundings, interrupts=signal.SIG_IGN) as process:  # as a shell starts what ends in "&"
        (worker,) = until(lambda: children(process))
        process.send_signal(signal.SIGTERM)
        try:
            assert process.wait(WAIT) == 0
        finally:
            process.kill()
    until(lambda: not is_alive(worker))


@needs_proc
def test_a_worker_that_died_is_started_again(server, surroundings, tmp_path):
    (worker,) = until(lambda: children(server))
    os.kill(worker, signal.SIGKILL)
    until(lambda: children(server) - {worker})
    file = tmp_path / "written"
    run(ENQUEUE.format(file=str(file)), surroundings)
    until(file.exists)


ADD_PHOTO = """
import django; django.setup()
import io
from django.utils import timezone
from PIL import Image
from propagation.actions.keep_photo import keep_photo
data = io.BytesIO()
Image.effect_noise((500, 400), 60).convert("RGB").save(data, "JPEG")
print(keep_photo(file=data, name="a.jpg", today=timezone.localdate()).pk)
"""
PHOTO = """
import django; django.setup()
from propagation.models import Photo
photo = Photo.objects.get()
print(photo.looked_at is not None, bool(photo.screen), photo.history.count())
"""
# A worker that stands still half-way: the copies are in the store, nothing is in the records yet.
WORK_TO_HALF_WAY = """
import django; django.setup()
import time
from pathlib import Path
from django.core.management import call_command
from propagation.actions import look_into_photo
def stand_still(*args, **kwargs):
    Path({file!r}).touch()
    time.sleep(600)
look_into_photo._apply = stand_still
call_command("work")
"""
# Time passes: the photo came, and the dead worker began with it, ten minutes ago.
AGE = """
import django; django.setup()
from datetime import timedelta
from django.utils import timezone
from django_tasks_db.models import DBTaskResult
from propagation.models import Photo
then = timezone.now() - timedelta(minutes=10)
Photo.objects.update(arrived_at=then)
DBTaskResult.objects.update(started_at=then)
"""


def test_a_photo_whose_worker_was_killed_half_way_is_looked_into_by_the_next(surroundings, tmp_path):
    manage(["migrate", "--verbosity", "0"], surroundings)
    run(ADD_PHOTO, surroundings)
    half_way = tmp_path / "half way"
    script = WORK_TO_HALF_WAY.format(file=str(half_way))
    worker = subprocess.Popen([sys.executable, "-c", script], cwd=ROOT, env=surroundings)
    try:
        until(half_way.exists)
    finally:
        worker.kill()
        worker.wait(WAIT)
    assert run(RESULTS, surroundings) == "['RUNNING']"
    assert run(PHOTO, surroundings) == "False False 1"
    run(AGE, surroundings)
    manage(["work", "--batch"], surroundings)
    assert run(PHOTO, surroundings) == "True True 2"
    manage(["check_files"], surroundings)
