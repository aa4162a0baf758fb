"""Is any page open on which others see pictures? The floors above say so of theirs, without being known here."""

from propagation.models import Preferences

# A source says whether a page of its floor is open.
_sources = []


def opens_pages(source):
    """Register a source."""
    _sources.append(source)
    return source


def is_any_page_open() -> bool:
    """May others see pictures chosen for them at all? A query, and one more a source if public pages are off."""
    return Preferences.current().public_pages or any(source() for source in _sources)
