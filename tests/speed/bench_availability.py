"""What the page of offers costs with 2,000 offers of forty lines, no two alike.

    python tests/speed/bench_availability.py
    DATABASE_URL=postgres://postgres@127.0.0.1:5432/test python tests/speed/bench_availability.py      (that database)

Measured: the page as a stranger gets it, the same as text, and the page that did not change (its ETag was sent). The
floor, measured in turns with the page, is reading the plugs that are available with their prices, and nothing else.
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

OFFERS, LINEAGES, REPEATS = 2000, 40, 9
WANTED_SECONDS, WANTED_QUERIES = 0.15, 10


def build(today):
    """Ready plugs, each with a price of its own; half of the lines have prices by size too."""
    from inventory.models import Availability, LineagePrice, PlugPrice, SizePrice
    from propagation import codes
    from propagation.models import Acquisition, AllottedCode, HealingStage, Lineage, Plug

    lineages = Lineage.objects.bulk_create(
        Lineage(name=f"Harbour Ember {n}", genus="Acropora", species="tenuis") for n in range(LINEAGES)
    )
    LineagePrice.objects.bulk_create(LineagePrice(lineage=line, amount=25) for line in lineages)
    SizePrice.objects.bulk_create(
        SizePrice(lineage=line, from_mm=size, amount=30 + size) for line in lineages[::2] for size in (20, 30, 40)
    )
    began = today - timedelta(days=90)
    acquired = Acquisition.objects.bulk_create(Acquisition(lineage=line, acquired_on=began) for line in lineages)
    allotted = AllottedCode.objects.bulk_create(AllottedCode(text=codes.new_code()) for _ in range(OFFERS))
    plugs = Plug.objects.bulk_create(
        Plug(
            code=allotted[n].text,
            lineage=lineages[n % LINEAGES],
            acquisition=acquired[n % LINEAGES],
            began_on=began,
            size_mm=Decimal(10 + n % 50),
            stage=HealingStage.HEALED,
            checked_on=today,
            healed_on=today,
        )
        for n in range(OFFERS)
    )
    PlugPrice.objects.bulk_create(PlugPrice(plug=plug, amount=10 + n // LINEAGES) for n, plug in enumerate(plugs))
    Availability.objects.create(
        pk=1, visibility="public", headline="Frags", wishes="Any Stylophora", reach="At the club"
    )


def timed(act):
    start = time.perf_counter()
    answer = act()
    return time.perf_counter() - start, answer


def main():
    if "DATABASE_URL" not in os.environ:
        folder = tempfile.TemporaryDirectory()
        os.environ["DATABASE_URL"] = f"sqlite:///{folder.name}/bench.sqlite3"
    import django

    django.setup()
    from django.test.runner import DiscoverRunner
    from django.test.utils import setup_test_environment

    setup_test_environment()
    runner = DiscoverRunner(verbosity=0, interactive=False)
    kept = runner.setup_databases()
    try:
        measure()
    finally:
        runner.teardown_databases(kept)


def measure():
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.utils.timezone import localdate

    from inventory.readings.availability import available_on, with_price
    from inventory.readings.offers import offers_on

    today = localdate()
    build(today)
    # Signals of the test client would keep every context; a stranger's browser does not.
    client = Client()

    def page(**headers):
        return client.get("/available/", headers=headers)

    def floor():
        return list(with_price(available_on(today)).values_list("pk", "price"))

    page(), floor()
    pairs = [(timed(floor)[0], timed(page)[0]) for _ in range(REPEATS)]
    ground, seconds = (median(pair[n] for pair in pairs) for n in (0, 1))
    with CaptureQueriesContext(connection) as queries:
        answer = page()
    offers = sum(len(line.offers) for line in offers_on(today).lines)
    assert offers == OFFERS, offers
    said = "within" if seconds <= WANTED_SECONDS and len(queries) <= WANTED_QUERIES else "ABOVE"
    print(f"{connection.vendor}: {offers} offers of {LINEAGES} lines, {len(answer.content) // 1024} KiB")
    print(f"  the plugs and their prices (floor): {ground * 1000:6.0f} ms")
    print(
        f"  the page:                           {seconds * 1000:6.0f} ms  {seconds / ground:5.1f} × the floor, "
        f"{len(queries)} queries; {said} {WANTED_SECONDS * 1000:.0f} ms and {WANTED_QUERIES} queries"
    )
    for words, act in (
        ("as text:", lambda: client.get("/available/?as=text")),
        ("not changed:", lambda: page(**{"If-None-Match": answer["ETag"]})),
    ):
        took = median(timed(act)[0] for _ in range(REPEATS))
        print(f"  {words:<35} {took * 1000:6.0f} ms  {took / ground:5.1f} × the floor")


if __name__ == "__main__":
    main()
