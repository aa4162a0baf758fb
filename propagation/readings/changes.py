"""What was changed in a record, by whom and when, as sentences."""

from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

from django.utils.timezone import localdate

from propagation.dates import day_in_words


@dataclass(frozen=True)
class Change:
    """One thing changed in one moment."""

    at: datetime
    who: str
    sentence: str


def changes_of(record, *fields: str) -> list[Change]:
    """The changes of the given fields of a record that keeps its history, newest first. One query."""
    found = []
    for before, after in pairwise(_history(record)):
        for name in fields:
            field = record._meta.get_field(name)
            old, new = getattr(before, field.attname), getattr(after, field.attname)
            if old == new:
                continue
            words = str(field.verbose_name)
            found.append(
                Change(after.history_date, _who(after), _sentence(words[:1].upper() + words[1:], field, old, new))
            )
    return found[::-1]


def former_names(record, field: str = "name") -> list[tuple[str, date]]:
    """What a record was called before and until when, latest first. One query."""
    rows = _history(record)
    return [
        (getattr(before, field), localdate(after.history_date))
        for before, after in pairwise(rows)
        if getattr(before, field) != getattr(after, field)
    ][::-1]


def _history(record):
    return list(record.history.select_related("history_user").order_by("history_date", "history_id"))


def _who(row) -> str:
    return row.history_user.get_username() if row.history_user else "somebody"


def _sentence(words, field, old, new) -> str:
    old, new = _in_words(field, old), _in_words(field, new)
    if not old:
        return f"{words}: now {new}."
    if not new:
        return f"{words}: no longer {old}."
    return f"{words}: from {old} to {new}."


def _in_words(field, value) -> str:
    if value is None or value == "":
        return ""
    if field.choices:
        return f"“{dict(field.flatchoices).get(value, value)}”"
    if isinstance(value, date):
        return day_in_words(localdate(value) if isinstance(value, datetime) else value)
    return f"“{value}”" if isinstance(value, str) else str(value)
