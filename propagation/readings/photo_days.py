"""What is wrong with the day of a photo."""

from datetime import date

from django.utils.formats import date_format

from propagation.models import Photo


def trouble_with_day(photo: Photo, *, today: date) -> str:
    """A sentence if a photo lies in the future, or before or after the time of what it shows; else empty."""
    on, shown = photo.taken_on, photo.shows
    day = date_format(on)
    if on > today:
        return f"The camera says it was taken on {day}, which lies in the future. Give the right day."
    if shown is not None and on < shown.began_on:
        return f"It was taken on {day}, before {shown} began on {date_format(shown.began_on)}. Is the day right?"
    if shown is not None and shown.ended_on and on > shown.ended_on:
        return f"It was taken on {day}, after {shown} ended on {date_format(shown.ended_on)}. Is the day right?"
    return ""
