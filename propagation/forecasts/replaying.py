"""What would have been said on past days, from the records as they stood then: for records that are older than their
forecasts. What is said so is marked as replayed.
"""

from collections.abc import Iterable
from datetime import date, timedelta

from propagation.forecasts import learning, scoring
from propagation.forecasts.gathering import gather_colonies
from propagation.forecasts.outlooks import work_out
from propagation.models import Colony

# Learning takes longest, and a few months of readings move it little.
LEARNED_EVERY = timedelta(days=120)


def replay(days: Iterable[date], *, today: date) -> int:
    """Say on each of the days what the records up to it say, each colony's last reading then being the origin, and set
    it against what came. Nothing after a day takes part in what is said on it. Returns how many forecasts were stored.

    Call it before anything was learned from all records, or learn again afterwards: the latest learned is in use.
    """
    learned, learned_on, stored = {}, None, 0
    for day in sorted(days):
        if learned_on is None or day - learned_on >= LEARNED_EVERY:
            groups = learning.group_records(gather_colonies(day))
            learned = {key: learning.learn(group, key, day) for key, group in groups.items()}
            learned_on = day
        records = gather_colonies(day, colonies=Colony.objects.alive_on(day))
        # A kind of colony that came since is learned about next time.
        records = [record for record in records if record.key in learned and record.readings]
        stored += scoring.say(records, work_out(records, day, learned=learned), replayed=True)
    scoring.score(Colony.objects.values_list("pk", flat=True), today)
    return stored
