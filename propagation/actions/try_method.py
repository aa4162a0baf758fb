"""Trying the method of the yield model on the keeper's own past readings."""

import logging
from datetime import date, timedelta

from django.contrib.auth import get_user_model
from django.db import transaction
from django.utils import timezone
from django_tasks import task

from propagation.forecasts.own_readings import NothingToTry, try_on_own_readings
from propagation.models import BacktestRun

# A run that has not ended by then has died with its worker.
LONGEST = timedelta(hours=2)
LONGEST_PROBLEM = BacktestRun._meta.get_field("problem").max_length

log = logging.getLogger(__name__)


@transaction.atomic
def ask_to_try(*, by) -> tuple[BacktestRun, bool]:
    """Have the method tried in the background. Returns the run, and whether it is a new one: there is one at a time."""
    # Two presses at once wait for each other here.
    get_user_model().objects.select_for_update().get(pk=by.pk)
    now = timezone.now()
    for run in BacktestRun.objects.filter(finished_at=None):
        if now - run.asked_at < LONGEST:
            return run, False
        _end(run, problem="It never ended: the background worker stopped half-way.")
    run = BacktestRun.objects.create()
    transaction.on_commit(lambda: try_method.enqueue(run.pk))
    return run, True


@task()
def try_method(run: int) -> None:
    """A run's work, in the background."""
    found = BacktestRun.objects.filter(pk=run).first()
    if found is not None:
        carry_out(run=found, today=timezone.localdate())


def carry_out(*, run: BacktestRun, today: date) -> BacktestRun:
    """Do the work of a run and keep its figures, or why there are none. One that has ended is left as it is."""
    if run.finished_at is not None:
        return run
    try:
        figures = try_on_own_readings(today)
    except NothingToTry as nothing:
        return _end(run, problem=str(nothing))
    except Exception:
        log.exception("The method could not be tried on the keeper's own readings.")
        return _end(
            run,
            problem="Something went wrong while it was worked out; what, stands in the log of the server. "
            "Your records are as they were.",
        )
    return _end(run, figures=figures)


def _end(run, *, figures=None, problem=""):
    run.finished_at = timezone.now()
    run.figures, run.problem = figures or {}, problem[:LONGEST_PROBLEM]
    run.save(update_fields=["finished_at", "figures", "problem"])
    return run
