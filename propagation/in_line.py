"""Asks the floors above who waits for a plug, without knowing them."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class InLine:
    """Somebody who waits for a plug, since when, and their page."""

    name: str
    since: date
    url: str


# A source takes the id of a plug and returns those who wait for it, first come first.
_sources: list[Callable[[int], list[InLine]]] = []


def tells_who_waits(source):
    """Register a source of people who wait."""
    _sources.append(source)
    return source


def in_line_for(plug) -> list[InLine]:
    """Those who wait for a plug, first come first. One query per source."""
    return [each for source in _sources for each in source(plug.pk)]
