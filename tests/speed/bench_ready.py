"""What a page of 25 of the ready list costs out of a million plugs, beside the same page out of ten thousand.

    python tests/speed/bench_ready.py
    python tests/speed/bench_ready.py "Sorted by code"      (only pages of such a name)
    DATABASE_URL=postgres://postgres@127.0.0.1:5432/test python tests/speed/bench_ready.py      (both databases)

Seven plugs in ten are ready, one is held, the rest are healing, dead or sold; of 80 lineages on 12 racks. A tenth have
a price of their own, a tenth no size. The rows are written by SQL into databases of their own. A page is the whole
answer of the site to a signed-in keeper: session, filters, table and HTML. The floor, measured in turns with it, is the
same page out of ten thousand.
"""

import gc
import os
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

FEW, MANY = 10_000, 1_000_000
LINEAGES, RACKS, OWN_PRICE_EVERY, NO_SIZE_EVERY = 80, 12, 10, 10
REPEATS = 7
WANTED_QUERIES, WANTED_RATIO = 8, 2
SLOW = 1.0  # seconds for one page; such a page is measured fewer times

NUMBERS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %s)"
# Of twenty plugs of a lineage 14 are ready, 2 are ready and held, 2 are healing, 1 is dead and 1 is sold.
MIX = f"(i / {LINEAGES}) %% 20"
# Multipliers that share no factor with the counts spread the values without any order; 0 and 1 are in no code.
INSERT_PLUGS = f"""
INSERT INTO propagation_plug
    (id, code, lineage_id, cut_event_id, acquisition_id, began_on, size_mm, stage, checked_on, healed_on, fate,
     ended_on, loss_reason, is_insurance, rack_id, rack_row, rack_column, labelled_at, note)
{NUMBERS}
SELECT i, REPLACE(REPLACE(CAST(10000000 + (CAST(i AS bigint) * 7654321) %% 89999999 AS text), '0', 'Z'), '1', 'Y'),
    1 + i %% {LINEAGES}, NULL,
    1 + i %% {LINEAGES},
    {{began}}, CASE WHEN (i / 3) %% {NO_SIZE_EVERY} = 0 THEN NULL ELSE 15 + (i * 31) %% 300 / 10.0 END,
    CASE WHEN {MIX} < 16 THEN 'healed' WHEN {MIX} < 18 THEN 'sealed' ELSE 'healed' END, {{healed}},
    CASE WHEN {MIX} IN (16, 17) THEN NULL ELSE {{healed}} END,
    CASE {MIX} WHEN 18 THEN 'dead' WHEN 19 THEN 'sold' ELSE 'kept' END,
    CASE WHEN {MIX} < 18 THEN NULL ELSE {{healed}} END,
    '', FALSE, CASE WHEN {MIX} < 18 THEN 1 + (i / 7) %% {RACKS} END, NULL, NULL, NULL, '' FROM n
"""  # noqa: S608 - our own numbers
INSERT_HOLDS = f"""
INSERT INTO inventory_hold (plug_id, contact_id, until, made_at, made_by_id, released_on, note)
SELECT id, 1, CAST(%s AS date), CURRENT_TIMESTAMP, NULL, NULL, '' FROM propagation_plug
WHERE (id / {LINEAGES}) %% 20 IN (14, 15)
"""  # noqa: S608 - our own numbers
INSERT_PRICES = f"""
INSERT INTO inventory_plugprice (plug_id, amount)
SELECT id, 10 + id %% 40 FROM propagation_plug WHERE (id / 11) %% {OWN_PRICE_EVERY} = 3 AND fate = 'kept'
"""  # noqa: S608 - our own numbers
DAYS_BACK = {
    "sqlite": "date('{today}', '-' || ({days}) || ' days')",
    "postgresql": "DATE '{today}' - CAST({days} AS integer)",
}

PAGES = [
    ("The list as it opens (longest healed first)", "", True),
    ("Second page", "?page=2", False),
    ("Sorted by healed, latest first", "?sort=-healed_on", False),
    ("Sorted by code", "?sort=code", False),
    ("Sorted by age, oldest first", "?sort=-age", False),
    ("Sorted by age, youngest first", "?sort=age", False),
    ("Sorted by size, smallest first", "?sort=size_mm", False),
    ("Sorted by size, largest first", "?sort=-size_mm", False),
    ("Sorted by lineage", "?sort=lineage", False),
    ("Sorted by lineage, from Z", "?sort=-lineage", False),
    ("Sorted by price, cheapest first", "?sort=price", False),
    ("Sorted by price, dearest first", "?sort=-price", False),
    ("One lineage", "?lineage=7", False),
    ("One growth form", "?growth_form=plating", False),
    ("One rack", "?rack=5", False),
    ("Older than 300 days", "?older_than=300", False),
    ("Younger than 60 days", "?younger_than=60", False),
    ("25 to 26 mm", "?size_min=25&size_max=26", False),
    ("Without a price", "?price=unknown", False),
    ("Part of a code", "?q=2345", False),
    ("A code that there is", "?q=Y765-432Y", False),
    ("A word that is nowhere", "?q=zzzz", False),
    ("Part of a lineage's name", "?q=Ember+7", False),
    ("Page 400", "?page=400", False),
    ("By line", "lines/", False),
]


def build(connection, plugs, today):
    """Fill an empty database."""
    from inventory.models import Contact, LineagePrice
    from propagation.models import Acquisition, GrowthForm, Lineage, Spot, System

    forms = list(GrowthForm)
    Lineage.objects.bulk_create(
        Lineage(pk=n, name=f"Harbour Ember {n}", genus="Acropora", growth_form=forms[n % len(forms)])
        for n in range(1, LINEAGES + 1)
    )
    Acquisition.objects.bulk_create(
        Acquisition(pk=n, lineage_id=n, acquired_on=date(2020, 1, 1)) for n in range(1, LINEAGES + 1)
    )
    LineagePrice.objects.bulk_create(
        LineagePrice(lineage_id=n, amount=15 + n % 30) for n in range(1, LINEAGES + 1) if n % 8
    )
    system = System.objects.create(name="Bench tank", started_on=date(2020, 1, 1))
    Spot.objects.bulk_create(
        Spot(pk=n, system=system, name=f"Rack {n}", rack_rows=40, rack_columns=40) for n in range(1, RACKS + 1)
    )
    Contact.objects.create(pk=1, name="Keeper next door")
    back = DAYS_BACK[connection.vendor]
    began = back.format(today=today, days="40 + (i * 37) %% 700")
    healed = back.format(today=today, days="(i * 37) %% 700 + 1 - (i * 13) %% 10 + 9")
    with connection.cursor() as cursor:
        cursor.execute(INSERT_PLUGS.format(began=began, healed=healed), [plugs])
        cursor.execute(INSERT_HOLDS, [today + timedelta(days=7)])
        cursor.execute(INSERT_PRICES, [])
        cursor.execute("ANALYZE")


def page_seconds(client, address):
    gc.collect()
    started = time.perf_counter()
    answer = client.get(address)
    seconds = time.perf_counter() - started
    assert answer.status_code == 200, answer.status_code
    return seconds


def serve(plugs):
    """In a process of its own: build the rows, then answer requests for timings on standard input."""
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.utils.timezone import localdate

    from propagation.guards import GUARDS, MARKS, remove_guards

    is_postgresql = connection.vendor == "postgresql"
    kept = connection.settings_dict["NAME"]
    if is_postgresql:
        connection.settings_dict["TEST"]["NAME"] = f"ramet_bench_ready_{plugs}_{os.getpid()}"
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    else:
        call_command("migrate", verbosity=0)
    try:
        import inventory.guards

        # They check row by row; these rows are right by construction.
        remove_guards([*GUARDS, *MARKS, *inventory.guards.GUARDS])(connection.alias)
        started = time.perf_counter()
        build(connection, plugs, localdate())
        print(f"built {time.perf_counter() - started:.0f}", flush=True)
        from django.contrib.auth import get_user_model

        client = Client(headers={"host": "localhost"})
        client.force_login(get_user_model().objects.create_user("keeper"))
        for line in sys.stdin:
            act, _, address = line.rstrip("\n").partition(" ")
            if act == "queries":
                with CaptureQueriesContext(connection) as queries:
                    client.get(address)
                print(len(queries), flush=True)
                if os.environ.get("BENCH_SHOW_SLOW"):
                    for query in queries:
                        print(query["time"], query["sql"][:3000], file=sys.stderr)
            else:
                print(page_seconds(client, address), flush=True)
    finally:
        if is_postgresql:
            connection.creation.destroy_test_db(kept, verbosity=0)
        else:
            connection.close()


class Served:
    """A process with its own database of so many plugs."""

    def __init__(self, plugs, home, surroundings):
        self.process = subprocess.Popen(
            [sys.executable, __file__, "--serve", str(plugs)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=surroundings | {"RAMET_HOME": home},
        )
        self.built = self.process.stdout.readline().split()[-1]

    def ask(self, act, address):
        print(act, address, file=self.process.stdin, flush=True)
        return float(self.process.stdout.readline())

    def end(self):
        self.process.stdin.close()
        self.process.wait()


def compare(surroundings, only=""):
    vendor = "PostgreSQL" if "DATABASE_URL" in surroundings else "SQLite"
    with tempfile.TemporaryDirectory() as few_home, tempfile.TemporaryDirectory() as many_home:
        few = Served(FEW, few_home, surroundings)
        many = Served(MANY, many_home, surroundings)
        try:
            print(f"{vendor}: {FEW:,} and {MANY:,} plugs, built in {few.built} s and {many.built} s")
            for words, query, is_barred in PAGES:
                if only and only not in words:
                    continue
                address = f"/ready/{query}"
                queries = int(many.ask("queries", address))
                few.ask("seconds", address)
                warm = many.ask("seconds", address)
                pairs = []
                for _ in range(REPEATS if warm < SLOW else 2):
                    floor, full = few.ask("seconds", address), many.ask("seconds", address)
                    pairs.append((full / floor, floor, full))
                ratio, floor, full = (median(each) for each in zip(*pairs, strict=True))
                bar = f"   (at most {WANTED_RATIO} x and {WANTED_QUERIES} queries wanted)" if is_barred else ""
                print(
                    f"{words:<44} {floor * 1000:>7.1f} ms out of {FEW:,}   {full * 1000:>8.1f} ms out of {MANY:,}"
                    f"   {ratio:>6.2f} x   {queries} queries{bar}",
                    flush=True,
                )
        finally:
            few.end()
            many.end()


def main():
    own = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    only = sys.argv[1] if len(sys.argv) > 1 else ""
    compare(own, only)
    if os.environ.get("DATABASE_URL"):
        compare(dict(os.environ), only)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--serve"]:
        serve(int(sys.argv[2]))
    else:
        main()
