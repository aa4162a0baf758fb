"""Days as a keeper reads them."""

from datetime import date


def day_in_words(day: date) -> str:
    """E.g. ``15 Jun 2026``."""
    return f"{day.day} {day:%b %Y}"
