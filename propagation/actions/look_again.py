"""Photos that a worker left behind when it was killed are asked for again."""

import logging
from datetime import datetime

from propagation.models import Photo
from propagation.readings.photos import MOST_TRIES, left_behind

logger = logging.getLogger(__name__)


def look_again_at_left_behind(*, now: datetime) -> int:
    """Have photos looked into that nobody looks into any more. Returns how many were asked for again.

    One that ended its worker several times is given up, with a sentence, so that it keeps no other from being done.
    """
    from propagation.tasks import look_into_photo

    again, given_up = left_behind(now)
    for pk in again:
        look_into_photo.enqueue(pk)
    if given_up:
        logger.error("Photos %s ended the worker %s times and are left alone.", given_up, MOST_TRIES)
        Photo.objects.filter(pk__in=given_up, looked_at=None).update(
            looked_at=now,
            trouble=f"Looking into it ended the worker {MOST_TRIES} times, so it is left alone. Sort it by hand.",
        )
    return len(again)
