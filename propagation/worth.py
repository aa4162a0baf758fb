"""Asks the floors above what a frag of a line is worth, without knowing them."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class FragPrice:
    """What one frag of a line sells for, and how an amount is written."""

    amount: Decimal
    write: Callable[[Decimal], str]

    def of(self, frags: float) -> Decimal:
        """What so many frags are worth; a number of frags may be a mean, so not whole."""
        return self.amount * Decimal(f"{frags:.2f}")

    def words(self, frags: float) -> str:
        """The same as it is written."""
        return self.write(self.of(frags))


# A source takes lineage ids and returns {lineage id: FragPrice}.
_sources: list[Callable[[list[int]], dict[int, FragPrice]]] = []


def tells_worth(source):
    """Register a source of prices."""
    _sources.append(source)
    return source


def frag_prices(lineages: Iterable[int]) -> dict[int, FragPrice]:
    """``{lineage id: FragPrice}`` for those of the lines that have a price. A query or two per source."""
    ids = sorted(set(lineages))
    found = {}
    for source in _sources:
        found.update(source(ids))
    return found
