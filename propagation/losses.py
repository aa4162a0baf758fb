"""Asks the floors above how many plugs were lost after they had left, without knowing them.

What dies in somebody else's water is no loss of healing: it is told beside the figures of healing, and never mixed into
them.
"""

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from enum import StrEnum


class Of(StrEnum):
    """Whose plugs are asked after."""

    LINEAGE = "lineage"
    MOTHER = "cut_event__mother"
    TOOL = "cut_event__cut_with"  # asked for by its word, empty where none was noted


@dataclass(frozen=True)
class Left:
    """Of the plugs sold that left, how many were reported dead since."""

    sold: int
    lost: int

    @property
    def words(self) -> str:
        """``2 of 31 sold``."""
        return f"{self.lost or 'none'} of {self.sold} sold"

    def __add__(self, other: "Left") -> "Left":
        return Left(self.sold + other.sold, self.lost + other.lost)


NOTHING_LEFT = Left(0, 0)

# A source takes whose plugs, as a path from a plug, and ids of those, or words of tools; it returns {id: Left} and may
# leave out those of which nothing left.
_sources: list[Callable[[Of, list], dict[Hashable, Left]]] = []


def tells_losses(source):
    """Register a source of losses after leaving."""
    _sources.append(source)
    return source


def lost_after_leaving(of: Of, ids: Iterable[Hashable]) -> dict[Hashable, Left]:
    """``{id: Left}`` for those lineages, mothers or tools of which plugs left. A query per source."""
    wanted, found = sorted(set(ids)), {}
    for source in _sources:
        for pk, left in source(of, wanted).items():
            found[pk] = found[pk] + left if pk in found else left
    return found
