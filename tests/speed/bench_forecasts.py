"""What the page of how right the forecasts were costs with 100,000 scores.

    python tests/speed/bench_forecasts.py
    DATABASE_URL=postgres://postgres@127.0.0.1:5432/test python tests/speed/bench_forecasts.py      (that database)

Measured: the page of all scores and that of one line. The floor, measured in turns with them, is to fetch rank, outcome
and median of every score from the database, which nothing that judges each forecast can do without.
"""

import os
import random
import sys
from datetime import date, timedelta
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

import bench_next_cuts
from bench_next_cuts import timed

SCORES, STEPS, REPEATS = 100_000, (1, 3, 5), 7
WANTED_SECONDS = 1.0


def build(today):
    """Stored forecasts of the mothers of `bench_next_cuts`, each scored three times."""
    from propagation.models import Colony, Forecast, ForecastScore, LearnedGrowth, SizeReading

    chance = random.Random(5)
    colonies = list(Colony.objects.values_list("pk", flat=True))
    reading, growth = SizeReading.objects.first(), LearnedGrowth.objects.first()
    each = SCORES // len(STEPS) // len(colonies) + 1
    # In a measure of their own: the mothers' own forecasts stand beside them.
    forecasts = Forecast.objects.bulk_create(
        (
            Forecast(
                colony_id=colony,
                growth=growth,
                measure="weight_g",
                made_for=date(2012, 1, 1) + timedelta(days=number),
                readings=5,
                last_size=50.0,
                last_rate=0.1,
                state={},
            )
            for colony in colonies
            for number in range(each)
        ),
        batch_size=2000,
    )
    ForecastScore.objects.bulk_create(
        (
            ForecastScore(
                forecast=forecast,
                reading=reading,
                steps=steps,
                taken_on=forecast.made_for + timedelta(days=30 * steps),
                outcome=50 + 10 * chance.random(),
                median=55.0,
                rank=chance.random(),
                crps=1.0,
            )
            for forecast in forecasts
            for steps in STEPS
        ),
        batch_size=2000,
    )


def measure():
    from django.contrib.auth import get_user_model
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.utils.timezone import localdate

    from propagation.forecasts import outlooks
    from propagation.models import ForecastScore, Lineage

    today = localdate()
    bench_next_cuts.build(today)
    outlooks.bring_up_to_date(today)
    build(today)
    client = Client()
    client.force_login(get_user_model().objects.create_user("keeper", password="no matter here"))
    line = Lineage.objects.first().pk

    def page(**query):
        answer = client.get("/forecasts/", query)
        assert answer.status_code == 200
        return answer

    def floor():
        return list(ForecastScore.objects.order_by().values_list("rank", "outcome", "median"))

    print(f"{connection.vendor}: {ForecastScore.objects.count()} scores of {bench_next_cuts.MOTHERS} mothers")
    page(), floor()
    turns = [(timed(floor)[0], timed(page)[0], timed(lambda: page(lineage=line))[0]) for _ in range(REPEATS)]
    ground, everything, one = (median(turn[place] for turn in turns) for place in range(3))
    with CaptureQueriesContext(connection) as queries:
        page()
    said = "within" if everything <= WANTED_SECONDS else "ABOVE"
    print(f"  three numbers of every score (floor):  {ground * 1000:6.0f} ms")
    print(
        f"  how right, all:                       {everything * 1000:6.0f} ms  {everything / ground:5.1f} × the floor, "
        f"{len(queries)} queries; {said} {WANTED_SECONDS * 1000:.0f} ms"
    )
    print(f"  how right, one line:                   {one * 1000:6.0f} ms  {one / ground:5.1f} × the floor")


if __name__ == "__main__":
    bench_next_cuts.measure = measure
    bench_next_cuts.main()
