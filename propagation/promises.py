"""Asks the floors above whether a plug is promised, without knowing them.

The inventory floor registers a source that says to whom plugs are promised; propagation asks before a plug is grown on,
set aside, or voided.
"""

from collections.abc import Callable, Iterable

from propagation.errors import PlugPromised

# A source takes plug ids and returns {plug id: sentence}, e.g. {7: "to Alex until 3 Dec 2026"}.
_sources: list[Callable[[list[int]], dict[int, str]]] = []


def tells_promises(source):
    """Register a source of promises."""
    _sources.append(source)
    return source


def promises_of(plugs: Iterable) -> dict[int, str]:
    """Return ``{plug id: sentence}`` for those of the plugs that are promised. One query per source."""
    ids = [plug.pk for plug in plugs]
    found = {}
    for source in _sources:
        found.update(source(ids))
    return found


def refuse_promised(plugs: Iterable) -> None:
    """Raise PlugPromised for the first plug that somebody has been promised."""
    plugs = list(plugs)
    promises = promises_of(plugs)
    for plug in plugs:
        if plug.pk in promises:
            raise PlugPromised(plug, promises[plug.pk])
