"""Asks the floors above what the frags of a mother fetched, without knowing them."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Earned:
    """What all the frags of one mother fetched, in the one currency of the book, and how that is written."""

    amount: Decimal
    words: str


# A source takes colony ids and returns {colony id: Earned}; those whose frags fetched nothing may be left out.
_sources: list[Callable[[list[int]], dict[int, Earned]]] = []


def tells_earnings(source):
    """Register a source of earnings."""
    _sources.append(source)
    return source


def earnings_are_kept() -> bool:
    """Does anybody keep what frags fetched? Else a ranking by money would be one of zeros."""
    return bool(_sources)


def earned_by(mothers: Iterable[int]) -> dict[int, Earned]:
    """``{colony id: Earned}`` for those of the mothers whose frags fetched something. A query or two per source."""
    ids = sorted(set(mothers))
    found = {}
    for source in _sources:
        found.update(source(ids))
    return found
