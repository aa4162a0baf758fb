"""Asks the floors above what is known of a line before it came here, without knowing them."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True)
class EarlierStep:
    """One step of a line with an earlier keeper, as a timeline shows it."""

    day: date
    icon: str
    title: str
    detail: str = ""


@dataclass(frozen=True)
class EarlierKeeper:
    """What one earlier keeper tells of a line: who says so, the steps nearest first, and the same for programs."""

    heading: str
    detail: str
    steps: list[EarlierStep]
    url: str = ""
    told: dict = field(default_factory=dict)


# A source takes acquisition ids, the nearest first, and returns what came before them, the latest keeper first.
_sources: list[Callable[[list[int]], list[EarlierKeeper]]] = []


def tells_provenance(source):
    """Register a source of what came before an acquisition."""
    _sources.append(source)
    return source


def before_it_came(acquisitions: Iterable[int]) -> list[EarlierKeeper]:
    """What earlier keepers tell of a line that came with these acquisitions. A query or a few per source."""
    ids = list(acquisitions)
    return [keeper for source in _sources for keeper in source(ids)] if ids else []
