import logging
import os
import signal
import sys
import threading

from django.core.management import call_command
from django.utils import timezone

from propagation.actions.look_again import look_again_at_left_behind
from propagation.management.keeper_command import KeeperCommand

WORKERS_LOG = "django_tasks_db"


def end_when_input_closes():
    """Ask this process to end, after the work in hand, once the server that holds our standard input is gone."""

    def wait():
        # Not through sys.stdin: its lock, held at the end, would be a fatal error.
        while os.read(sys.stdin.fileno(), 1024):
            pass
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=wait, daemon=True).start()


class Command(KeeperCommand):
    help = (
        "Do the work that pages leave to the background. 'serve' starts one such worker; run more of them on any "
        "machine that reaches the same database."
    )
    speaks_json = False

    def add_arguments(self, parser):
        parser.add_argument("--batch", action="store_true", help="End when nothing is left to do.")
        parser.add_argument("--beside-server", action="store_true", help="End when standard input closes.")

    def answer(self, *, batch, beside_server, **options):
        # Failures are told; comings and goings are not.
        for name in (WORKERS_LOG, "django_tasks"):
            logging.getLogger(name).addFilter(lambda record: record.levelno >= logging.ERROR)
        if beside_server:
            end_when_input_closes()
        look_again_at_left_behind(now=timezone.now())
        call_command("db_worker", batch=batch, reload=False)

    def lines(self, answer):
        return ()
