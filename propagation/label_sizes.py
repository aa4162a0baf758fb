"""Asks the floors above how large the code on a label was printed, without knowing them: a label is a ruler."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal


@dataclass(frozen=True)
class LabelSize:
    """How large the code of one plug or colony was printed last, in mm on a side, and when.

    ``others_mm`` are the sides of labels printed before that differ: one of those may be in the picture.
    """

    side_mm: Decimal
    printed_at: datetime
    others_mm: tuple[Decimal, ...] = ()


# A source takes codes and returns {code: LabelSize}.
_sources: list[Callable[[list[str]], dict[str, LabelSize]]] = []


def tells_label_size(source):
    """Register a source of print records."""
    _sources.append(source)
    return source


def label_sizes(codes: Iterable[str]) -> dict[str, LabelSize]:
    """``{code: LabelSize}`` for those of the codes that were ever printed. A query or two per source."""
    wanted = sorted(set(codes))
    found = {}
    if wanted:
        for source in _sources:
            found.update(source(wanted))
    return found
