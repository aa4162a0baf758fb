"""What is due today, contributed to by every app through a small registry.

A contributor is a function that takes the day and yields `Due` items; each is a link to the place where it is done.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Due:
    """One thing to do.

    ``count`` things, since ``since`` (the oldest of them), done at ``address``.
    """

    sentence: str
    address: str
    count: int = 1
    since: date | None = None
    icon: str = "check"


_contributors: list[tuple[int, Callable[[date], Iterator[Due]]]] = []


def contributes_to_agenda(order: int = 50):
    """Register a contributor; lower orders come first on the page."""

    def register(function):
        _contributors.append((order, function))
        return function

    return register


def due_on(day: date) -> list[Due]:
    """Everything due on a day, in the order of the contributors. Costs one query or two per contributor."""
    return [due for _, contributor in sorted(_contributors, key=lambda pair: pair[0]) for due in contributor(day)]
