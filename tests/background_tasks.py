"""A task for the tests of background work."""

from pathlib import Path

from django_tasks import task


@task()
def write_down(file, words):
    Path(file).write_text(words)
