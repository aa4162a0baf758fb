"""How fast a line of descent is traced, beside a bare recursive CTE over the same rows.

    python tests/speed/bench_trace.py
    DATABASE_URL=postgres://postgres@127.0.0.1:5432/test python tests/speed/bench_trace.py

One line of a million plugs in two hundred generations is built in a database of its own, by SQL. The floor walks the
same foreign keys and fetches nothing but the ids of the plugs, as plain rows. Both are measured in one run, in turns.
"""

import gc
import os
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

GENERATIONS = 200
MOTHERS = 640  # in each generation, once there are so many
FRAGS = 8  # of each mother: 8 x 640 x 196 and the first few generations make a million plugs
REPEATS = 5
BEGIN = date(2000, 1, 1)

NUMBERS = "WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i + 1 < %s)"
INSERT_COLONIES = f"""
INSERT INTO propagation_colony
    (id, tag, code, lineage_id, grown_from_id, acquisition_id, began_on, ended_on, end_reason, note, labelled_at)
{NUMBERS}
SELECT %s + i, 'T' || CAST(%s + i AS text), CAST(20000000 + %s + i AS text), 1,
    %s + CAST(i * %s / %s AS bigint), NULL, %s, NULL, '', '', NULL FROM n
"""  # noqa: S608 - constants only
INSERT_CUTS = f"""
INSERT INTO propagation_cutevent
    (id, session_id, mother_id, frags, frag_size_mm, measure, size_before, size_after, reason, note)
{NUMBERS}
SELECT %s + i, %s, %s + i, {FRAGS}, 25, '', NULL, NULL, '', '' FROM n
"""  # noqa: S608 - constants only
INSERT_PLUGS = f"""
INSERT INTO propagation_plug
    (id, code, lineage_id, cut_event_id, acquisition_id, began_on, size_mm, stage, checked_on, healed_on, fate,
     ended_on, loss_reason, is_insurance, rack_id, rack_row, rack_column, labelled_at, note)
{NUMBERS}
SELECT %s + i, CAST(10000000 + %s + i AS text), 1, %s + CAST(i / {FRAGS} AS bigint), NULL, %s, 25,
    'sealed', %s, NULL,
    CASE i %% 4 WHEN 1 THEN 'kept' WHEN 2 THEN 'sold' ELSE 'dead' END,
    CASE i %% 4 WHEN 1 THEN NULL ELSE %s END, '', FALSE, NULL, NULL, NULL, NULL, '' FROM n
"""  # noqa: S608 - constants only
MARK_GROWN_ON = """
UPDATE propagation_plug SET fate = 'grown_on', ended_on = %s
WHERE id IN (SELECT grown_from_id FROM propagation_colony)
"""

BARE_UP = """
WITH RECURSIVE thread (id) AS (
    SELECT CAST(%s AS bigint)
    UNION ALL
    SELECT c.grown_from_id
    FROM thread t
    JOIN propagation_plug p ON p.id = t.id
    JOIN propagation_cutevent e ON e.id = p.cut_event_id
    JOIN propagation_colony c ON c.id = e.mother_id
    WHERE c.grown_from_id IS NOT NULL
)
SELECT id FROM thread
"""
BARE_DOWN = """
WITH RECURSIVE descent (id) AS (
    SELECT p.id FROM propagation_plug p JOIN propagation_cutevent e ON e.id = p.cut_event_id WHERE e.mother_id = %s
    UNION ALL
    SELECT p.id
    FROM descent d
    JOIN propagation_colony c ON c.grown_from_id = d.id
    JOIN propagation_cutevent e ON e.mother_id = c.id
    JOIN propagation_plug p ON p.cut_event_id = e.id
)
SELECT id FROM descent
"""


def build(connection):
    """Fill an empty database; returns the first colony's id and the last plug's."""
    from propagation.models import Acquisition, Colony, CuttingSession, Lineage

    lineage = Lineage.objects.create(pk=1, name="Long Thread")
    acquisition = Acquisition.objects.create(lineage=lineage, acquired_on=BEGIN)
    Colony.objects.create(pk=1, tag="T1", code="20000001", lineage=lineage, acquisition=acquisition, began_on=BEGIN)
    first_colony, first_plug, mothers = 1, 1, 1
    with connection.cursor() as cursor:
        for generation in range(GENERATIONS):
            cut_on = BEGIN + timedelta(days=10 * generation + 5)
            session = CuttingSession.objects.create(cut_on=cut_on, submission=f"{generation:032x}")
            frags = mothers * FRAGS
            cursor.execute(INSERT_CUTS, [mothers, first_colony, session.pk, first_colony])
            cursor.execute(INSERT_PLUGS, [frags, first_plug, first_plug, first_colony, cut_on, cut_on, cut_on])
            grown_on = min(frags, MOTHERS) if generation + 1 < GENERATIONS else 0
            next_colony = first_colony + mothers
            if grown_on:
                began_on = cut_on + timedelta(days=2)
                numbers = [grown_on, next_colony, next_colony, next_colony, first_plug, frags, grown_on, began_on]
                cursor.execute(INSERT_COLONIES, numbers)
            last_plug = first_plug + frags - 1
            first_colony, first_plug, mothers = next_colony, first_plug + frags, grown_on
        cursor.execute(MARK_GROWN_ON, [BEGIN + timedelta(days=10 * GENERATIONS)])
        if connection.vendor == "postgresql":
            cursor.execute("ANALYZE")  # as its autovacuum does by itself; nobody does it on a keeper's SQLite
    return 1, last_plug


def fetched(connection, statement, value):
    with connection.cursor() as cursor:
        cursor.execute(statement, [value])
        return cursor.fetchall()


def seconds(function, repeats):
    """The time of one call, as the mean of several, after the last call's rubbish is gone."""
    gc.collect()
    started = time.perf_counter()
    for _ in range(repeats):
        kept = function()
    return (time.perf_counter() - started) / repeats, len(kept)


def compare(name, floor, ours, repeats):
    """Measure in turns, print both and the median of their ratios."""
    floor(), ours()
    pairs = []
    for _ in range(REPEATS):
        bare, bare_rows = seconds(floor, repeats)
        full, full_rows = seconds(ours, repeats)
        pairs.append((full / bare, bare, full))
    ratio, bare, full = sorted(pairs)[len(pairs) // 2]
    print(
        f"{name:<44} {bare_rows:>9,} rows bare {bare * 1000:>9.2f} ms   {full_rows:>9,} rows traced "
        f"{full * 1000:>9.2f} ms   {ratio:.2f} x   (at most 3 wanted)"
    )


def run(connection):
    from propagation.models import Colony, Plug
    from propagation.readings.family_tree import MOST_DOWN
    from propagation.readings.trace import ancestry_of, descent_of

    started = time.perf_counter()
    first_colony, last_plug = build(connection)
    print(
        f"{connection.vendor}: {Plug.objects.count():,} plugs, {Colony.objects.count():,} colonies, {GENERATIONS} "
        f"generations, built in {time.perf_counter() - started:.0f} s"
    )
    plug, colony = Plug.objects.get(pk=last_plug), Colony.objects.get(pk=first_colony)
    compare(
        "Up from the last plug to the acquisition",
        lambda: fetched(connection, BARE_UP, last_plug),
        lambda: ancestry_of(plug),
        200,
    )
    compare(
        "Down from the first colony to every plug",
        lambda: fetched(connection, BARE_DOWN, first_colony),
        lambda: descent_of(colony).frags,
        1,
    )
    times = []
    for _ in range(REPEATS):
        started = time.perf_counter()
        descent_of(colony, generations=MOST_DOWN + 1)
        times.append(time.perf_counter() - started)
    print(f"What the page asks for, its own generations alone {median(times) * 1000:.1f} ms")


def main():
    with tempfile.TemporaryDirectory() as home:
        os.environ["RAMET_HOME"] = home
        import django

        django.setup()
        from django.core.management import call_command
        from django.db import connection

        from propagation.guards import GUARDS, MARKS, remove_guards

        is_postgresql = connection.vendor == "postgresql"
        if is_postgresql:
            ours = f"ramet_bench_{os.getpid()}"
            connection.settings_dict["TEST"]["NAME"] = ours
            kept = connection.settings_dict["NAME"]
            connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        else:
            call_command("migrate", verbosity=0)
        try:
            remove_guards([*GUARDS, *MARKS])(
                connection.alias
            )  # they check row by row; these rows are right by construction
            run(connection)
        finally:
            if is_postgresql:
                connection.creation.destroy_test_db(kept, verbosity=0)
            else:
                connection.close()


if __name__ == "__main__":
    main()
