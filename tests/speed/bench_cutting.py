"""What a sitting of a hundred frags costs against bare inserts of the same rows.

    python tests/speed/bench_cutting.py [--frags 100] [--mothers 5] [--rounds 7]

Works in a database of its own, which is thrown away: in a temporary folder, or beside the one of DATABASE_URL.
The floor writes the very rows that the session wrote, with prepared statements of the database driver's cursor, in one
transaction. Both are measured turn by turn in one run; the middle of the rounds is printed.
"""

import argparse
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

TABLES_OF_A_SITTING = (
    "propagation_cuttingsession",
    "propagation_historicalcuttingsession",
    "propagation_cutevent",
    "propagation_historicalcutevent",
    "propagation_allottedcode",
    "propagation_plug",
    "propagation_historicalplug",
    "propagation_sizereading",
)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frags", type=int, default=100)
    parser.add_argument("--mothers", type=int, default=5)
    parser.add_argument("--rounds", type=int, default=7)
    options = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    with tempfile.TemporaryDirectory() as home:
        os.environ["RAMET_HOME"] = home
        import django

        django.setup()
        from django.test.utils import setup_databases, teardown_databases

        databases = setup_databases(verbosity=0, interactive=False, serialized_aliases=[])
        try:
            measure(options)
        finally:
            teardown_databases(databases, verbosity=0)


def measure(options):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from tests.factories import ColonyFactory, RackFactory

    rack = RackFactory(rack_rows=40, rack_columns=40)
    share = options.frags // options.mothers

    def sitting():
        mothers = ColonyFactory.create_batch(options.mothers)
        start = time.perf_counter()
        session = record(mothers, share, rack)
        return session, time.perf_counter() - start

    with CaptureQueriesContext(connection) as captured:
        mothers = ColonyFactory.create_batch(options.mothers)
        before = len(captured)
        record(mothers, share, rack)
        statements = len(captured) - before

    saves, floors = [], []
    for _ in range(options.rounds):
        marks = last_rows()
        _, seconds = sitting()
        saves.append(seconds)
        floors.append(bare_inserts(rows_after(marks)))
    save, floor = statistics.median(saves), statistics.median(floors)
    print(f"A sitting of {share * options.mothers} frags from {options.mothers} mothers on {connection.vendor}:")
    print(f"  statements, those of the transaction included: {statements} (at most 15)")
    print(f"  saved in {save * 1000:.1f} ms; bare inserts of the same rows {floor * 1000:.1f} ms")
    print(f"  ratio {save / floor:.2f}")


def record(mothers, share, rack):
    from decimal import Decimal

    from django.utils.timezone import localdate

    from propagation.actions.record_cutting import MotherCut, record_cutting

    cuts = [MotherCut(mother, share, Decimal(25), Decimal(180), Decimal(120), "diameter_mm") for mother in mothers]
    return record_cutting(cuts=cuts, cut_on=localdate(), today=localdate(), rack=rack)


def key_of(table):
    return {"propagation_allottedcode": "allotted_at"}.get(table, "history_id" if "historical" in table else "id")


def last_rows():
    from django.db import connection

    marks = {}
    with connection.cursor() as cursor:
        for table in TABLES_OF_A_SITTING:
            cursor.execute(f"SELECT MAX({key_of(table)}) FROM {table}")  # noqa: S608 - names from above
            marks[table] = cursor.fetchone()[0]
    return marks


def rows_after(marks):
    """What the sitting wrote: ``{table: (columns, rows)}``."""
    from django.db import connection

    found = {}
    with connection.cursor() as cursor:
        for table, mark in marks.items():
            key = key_of(table)
            where = f"WHERE {key} > %s" if mark is not None else ""
            cursor.execute(f"SELECT * FROM {table} {where} ORDER BY {key}", [mark] if where else [])  # noqa: S608
            found[table] = ([column[0] for column in cursor.description], cursor.fetchall())
    return found


def bare_inserts(found):
    """Seconds to write the same rows anew, after taking them away."""
    from django.db import connection, transaction

    with connection.cursor() as cursor:
        for table in reversed(TABLES_OF_A_SITTING):
            columns, rows = found[table]
            key = columns[0]
            cursor.executemany(f"DELETE FROM {table} WHERE {key} = %s", [(row[0],) for row in rows])  # noqa: S608
    start = time.perf_counter()
    with transaction.atomic(), connection.cursor() as cursor:
        for table in TABLES_OF_A_SITTING:
            columns, rows = found[table]
            places = ", ".join(["%s"] * len(columns))
            cursor.executemany(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})", rows)  # noqa: S608
    return time.perf_counter() - start


if __name__ == "__main__":
    main()
