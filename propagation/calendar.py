"""What stands in the keeper's calendar feed, contributed to by every app through a small registry.

A contributor is a function that takes the day and yields `CalendarEvent`; no prices, contacts or addresses of people.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class CalendarEvent:
    """Something on one day or several, both included; ``key`` names it for good, ``address`` is a path of this site."""

    key: str
    first_day: date
    last_day: date
    summary: str
    description: str
    address: str


_contributors: list[Callable[[date], Iterator[CalendarEvent]]] = []


def contributes_to_calendar(function):
    """Register a contributor."""
    _contributors.append(function)
    return function


def events_from(day: date) -> list[CalendarEvent]:
    """Everything that is to come on a day or later, the next first. Costs one query or two per contributor."""
    events = [event for contributor in _contributors for event in contributor(day)]
    return sorted(events, key=lambda event: (event.first_day, event.key))
