"""What the page of next cuts costs for 200 mothers with two years of monthly sizes.

    python tests/speed/bench_next_cuts.py
    DATABASE_URL=postgres://postgres@127.0.0.1:5432/test python tests/speed/bench_next_cuts.py      (that database)

Measured: the page when nothing changed; when one size came in; when everything must be worked out again, as on a new
day; and learning the collection. The floor, measured in turns with the first, is the list of colonies, a page of 25
rows that forecasts nothing. A page is the whole answer of the site to a signed-in keeper.
"""

import os
import sys
import tempfile
import time
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

MOTHERS, LINEAGES, MONTHS, REPEATS = 200, 40, 24, 9
WANTED_SECONDS = 0.3


def build(today):
    """Mothers of forty lines, cut every half year, in one system; returns nothing."""
    import numpy as np

    from propagation import codes
    from propagation.models import (
        Acquisition,
        AllottedCode,
        Colony,
        CutEvent,
        CuttingSession,
        GrowthForm,
        Lineage,
        Placement,
        SizeReading,
        Spot,
        System,
    )

    generator = np.random.default_rng(11)
    forms = [form for form in GrowthForm if form != GrowthForm.POLYPS]
    lineages = Lineage.objects.bulk_create(
        Lineage(name=f"Harbour Ember {n}", growth_form=forms[n % len(forms)]) for n in range(LINEAGES)
    )
    began = today - timedelta(days=30 * MONTHS + 1)
    acquired = Acquisition.objects.bulk_create(Acquisition(lineage=line, acquired_on=began) for line in lineages)
    allotted = AllottedCode.objects.bulk_create(AllottedCode(text=codes.new_code()) for _ in range(MOTHERS))
    colonies = Colony.objects.bulk_create(
        Colony(
            tag=f"M{n}",
            code=allotted[n].text,
            lineage=lineages[n % LINEAGES],
            acquisition=acquired[n % LINEAGES],
            began_on=began,
        )
        for n in range(MOTHERS)
    )
    spot = Spot.objects.create(system=System.objects.create(name="Bench tank", started_on=began), name="Ledge", par=250)
    Placement.objects.bulk_create(Placement(colony=colony, spot=spot, since=began) for colony in colonies)
    readings, cut_days = [], {}
    for colony in colonies:
        size, pace = generator.uniform(30, 60), generator.uniform(2, 5)
        for month in range(MONTHS):
            size += pace * generator.uniform(0.7, 1.3)
            day = began + timedelta(days=30 * month + int(generator.integers(1, 6)))
            readings.append(
                SizeReading(colony=colony, taken_on=day, measure="diameter_mm", value=Decimal(f"{size:.1f}"))
            )
            if month % 6 == 5:
                cut_days.setdefault(began + timedelta(days=30 * month + 7), []).append(colony)
                size *= 0.7
    SizeReading.objects.bulk_create(readings, batch_size=1000)
    for day, mothers in cut_days.items():
        session = CuttingSession.objects.create(cut_on=day, submission=os.urandom(16).hex())
        CutEvent.objects.bulk_create(CutEvent(session=session, mother=mother, frags=4) for mother in mothers)


def timed(act):
    start = time.perf_counter()
    answer = act()
    return time.perf_counter() - start, answer


def main():
    if "DATABASE_URL" not in os.environ:
        folder = tempfile.TemporaryDirectory()
        os.environ["DATABASE_URL"] = f"sqlite:///{folder.name}/bench.sqlite3"
    import django
    from django.conf import settings

    django.setup()
    from django.test.runner import DiscoverRunner
    from django.test.utils import override_settings, setup_test_environment

    setup_test_environment()
    settings.OUTLOOKS_FOLLOW_RECORDS = False
    at_once = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    runner = DiscoverRunner(verbosity=0, interactive=False)
    kept = runner.setup_databases()
    try:
        with override_settings(TASKS=at_once):
            measure()
    finally:
        runner.teardown_databases(kept)


def measure():
    from django.contrib.auth import get_user_model
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.utils.timezone import localdate

    from propagation.forecasts import outlooks
    from propagation.models import Colony, ColonyOutlook, ForecastMark, SizeReading

    today = localdate()
    build(today)
    client = Client()
    client.force_login(get_user_model().objects.create_user("keeper", password="no matter here"))

    def page():
        answer = client.get("/next-cuts/")
        assert answer.status_code == 200
        return answer

    def floor():
        return client.get("/colonies/")

    print(f"{connection.vendor}: {MOTHERS} mothers of {LINEAGES} lines, {MONTHS} sizes each, cut every half year")
    learned, _ = timed(lambda: outlooks.bring_up_to_date(today))
    print(f"  learning the collection and working everything out, once: {learned:.2f} s")
    page(), floor()
    pairs = [(timed(floor)[0], timed(page)[0]) for _ in range(REPEATS)]
    ground = median(pair[0] for pair in pairs)
    kept = median(pair[1] for pair in pairs)
    with CaptureQueriesContext(connection) as queries:
        answer = page()
    shown = answer.content.decode().count("next-cut-when")
    print(f"  the list of colonies (floor):          {ground * 1000:6.0f} ms")
    said = "within" if kept <= WANTED_SECONDS else "ABOVE"
    print(
        f"  next cuts, nothing changed:            {kept * 1000:6.0f} ms  {kept / ground:5.1f} × the floor, "
        f"{len(queries)} queries, {shown} mothers; {said} {WANTED_SECONDS * 1000:.0f} ms"
    )

    def one_size():
        colony = Colony.objects.order_by("?").first()
        last = SizeReading.objects.filter(colony=colony).latest("taken_on")
        SizeReading.objects.create(colony=colony, taken_on=today, measure="diameter_mm", value=last.value + 2)
        return timed(page)[0]

    def everything():
        ForecastMark.objects.create(colony=None)
        return timed(page)[0]

    def new_day():
        ColonyOutlook.objects.update(for_day=today - timedelta(days=1))
        return timed(page)[0]

    for words, act in (("one size came in", one_size), ("everything changed", everything), ("a new day", new_day)):
        seconds = median(act() for _ in range(5))
        print(f"  next cuts, {words + ':':<27} {seconds * 1000:6.0f} ms  {seconds / ground:5.1f} × the floor")


if __name__ == "__main__":
    main()
