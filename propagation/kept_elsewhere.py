"""Asks the floors above how many living copies of a lineage others keep for the owner, without knowing them."""

from collections import Counter
from collections.abc import Callable, Iterable

# A source takes lineage ids and returns {lineage id: how many}; those of which there are none may be left out.
_sources: list[Callable[[list[int]], dict[int, int]]] = []


def tells_kept_elsewhere(source):
    """Register a source of copies kept by others."""
    _sources.append(source)
    return source


def kept_by_others(lineages: Iterable[int]) -> dict[int, int]:
    """``{lineage id: copies}`` that others keep; they are told beside the living copies and never counted with them.

    A query per source.
    """
    ids, found = sorted(set(lineages)), Counter()
    for source in _sources:
        found.update(source(ids))
    return dict(found)
