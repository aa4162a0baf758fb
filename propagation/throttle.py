"""Keeps strangers from finding plugs, and pages with a secret address, by trying.

Only look-ups that find nothing count: whoever scans the labels on a table of frags is never stopped. Whoever is over
the limit is answered alike for every code, so that an answer tells nothing.
"""

import math
import time
from functools import cache

from django.conf import settings
from limits import parse_many
from limits.storage import storage_from_string
from limits.strategies import MovingWindowRateLimiter

from propagation.visitor import address_of_visitor

NAMESPACE = "code"


@cache
def _limiter(storage: str) -> MovingWindowRateLimiter:
    return MovingWindowRateLimiter(storage_from_string(storage))


@cache
def _limits(text: str):
    return tuple(parse_many(text))


def _setting():
    return _limiter(settings.THROTTLE_STORAGE), _limits(settings.CODE_GUESSES_BY_STRANGERS)


def seconds_to_wait(request) -> int:
    """How long this visitor has to wait before the next try; 0 if they may try now."""
    limiter, limits = _setting()
    visitor = address_of_visitor(request)
    full = [limit for limit in limits if not limiter.test(limit, NAMESPACE, visitor)]
    if not full:
        return 0
    resets = max(limiter.get_window_stats(limit, NAMESPACE, visitor).reset_time for limit in full)
    return max(1, math.ceil(resets - time.time()))


def count_wrong_guess(request) -> None:
    """Note that this visitor tried a code or a secret that there is not."""
    limiter, limits = _setting()
    visitor = address_of_visitor(request)
    for limit in limits:
        limiter.hit(limit, NAMESPACE, visitor)


def forget_guesses() -> None:
    """Forget everybody's guesses; tests begin with this."""
    limiter, _ = _setting()
    limiter.storage.reset()
