"""Asks the floors above which papers there are of something that was sold or traded, without knowing them."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class PaperLink:
    """One paper: what it is called, what it tells, and where it opens."""

    title: str
    detail: str
    url: str
    icon: str = "print"


@dataclass(frozen=True)
class PaperSizeChoice:
    """A size of paper that may be chosen; ``name`` is what a form sends."""

    name: str
    words: str
    is_chosen: bool


@dataclass(frozen=True)
class LinkSymbol:
    """The QR of a link: the ``d`` of an SVG path in a square of so many modules, its quiet zone with it."""

    path: str
    side: int


@dataclass(frozen=True)
class Papers:
    """The papers of one thing, the sizes they are printed in, and the link by which the other side reads its own."""

    links: list[PaperLink]
    sizes: list[PaperSizeChoice]
    size_url: str
    secret_link: str
    secret_symbol: LinkSymbol
    page_url: str  # where the keeper sees the page that the link opens
    renew_url: str


# A source takes a thing and the request, and returns its papers, or None for a thing it has none of.
_sources: list[Callable[[Any, Any], Papers | None]] = []


def tells_papers(source):
    """Register a source of papers."""
    _sources.append(source)
    return source


def papers_of(thing, request) -> Papers | None:
    """The papers of a thing, from the first source that has some."""
    return next((papers for source in _sources if (papers := source(thing, request))), None)
