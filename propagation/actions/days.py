"""Checks on days that every act shares."""

from datetime import date

from propagation.dates import day_in_words
from propagation.errors import BadDate

# Nothing in a keeper's records is older; a typed century that is off by one is caught.
EARLIEST = date(1970, 1, 1)


def check_day(day: date, *, today: date, what: str, not_before: date | None = None, because: str = "") -> None:
    """Refuse a day in the future, in the wrong century, or before something began.

    Raises BadDate, which names the day and the bound.
    """
    if day > today:
        raise BadDate(f"{what} on {day_in_words(day)} lies in the future; today is {day_in_words(today)}.", field="day")
    if day < EARLIEST:
        raise BadDate(f"{what} on {day_in_words(day)} is too long ago; is the year right?", field="day")
    if not_before and day < not_before:
        raise BadDate(
            f"{what} on {day_in_words(day)} comes before {because} on {day_in_words(not_before)}.", field="day"
        )
