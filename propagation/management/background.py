"""The worker that does background work beside the web server: started with it, kept alive, ended with it."""

import logging
import os
import subprocess
import sys
import threading
import time
from contextlib import contextmanager

from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, connection

KEPT_DAYS = 14  # what came of background work is kept for a fortnight
PRUNE_EVERY = 24 * 60 * 60.0  # seconds
LOOK_EVERY = 1.0
PATIENCE = 10.0  # for the work in hand when the server ends
# A worker that cannot start at all must not be started a thousand times.
FIRST_PAUSE, LONGEST_PAUSE = 1.0, 60.0

log = logging.getLogger(__name__)


class Worker:
    """One worker process; a thread of this process starts it again when it dies, and clears away old results."""

    def __init__(self):
        self.process = None
        self.ending = threading.Event()
        self.keeper = threading.Thread(target=self.keep, name="worker", daemon=True)

    def start(self):
        self.begin()
        self.keeper.start()

    def begin(self):
        # Its standard input stays open as long as we live, so that it ends with us however we end. A group of its own
        # keeps a Ctrl-C for the server from it.
        apart = (
            {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP} if os.name == "nt" else {"start_new_session": True}
        )
        self.process = subprocess.Popen(  # noqa: S603 - our own command
            [sys.executable, str(settings.BASE_DIR / "manage.py"), "work", "--beside-server"],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,  # standard output belongs to the server; failures go to standard error
            **apart,
        )

    def keep(self):
        pause, pruned_at, began = FIRST_PAUSE, None, time.monotonic()
        while not self.ending.wait(LOOK_EVERY):
            now = time.monotonic()
            if pruned_at is None or now - pruned_at > PRUNE_EVERY:
                pruned_at = now
                prune()
            if self.process.poll() is None:
                continue
            pause = FIRST_PAUSE if now - began > LONGEST_PAUSE else min(2 * pause, LONGEST_PAUSE)
            log.warning("The background worker ended (%s); starting another.", self.process.returncode)
            self.process.stdin.close()
            if self.ending.wait(pause):
                return
            began = time.monotonic()
            self.begin()

    def end(self):
        """Let it finish the work in hand, for a while."""
        self.ending.set()
        self.keeper.join()
        self.process.terminate()
        try:
            self.process.wait(PATIENCE)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self.process.stdin.close()


def prune():
    """Clear away what came of work long done. A busy database is asked again tomorrow."""
    try:
        call_command("prune_db_task_results", min_age_days=KEPT_DAYS, queue_name="*", verbosity=0)
    except DatabaseError:
        log.exception("Old results of background work could not be cleared away.")
    finally:
        connection.close()


@contextmanager
def worker_beside():
    """Keep one worker running while the block runs."""
    worker = Worker()
    worker.start()
    try:
        yield worker
    finally:
        worker.end()
