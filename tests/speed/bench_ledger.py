"""What the ledger of a year with 100,000 lines costs as CSV, as a workbook and as a page, in time and in memory.

    python tests/speed/bench_ledger.py
    DATABASE_URL=postgres://postgres@127.0.0.1:5432/test python tests/speed/bench_ledger.py      (both databases)

25,000 sales of a frag each, with four payments in the year; of eighty lines, to two hundred contacts. The rows are
written into a database of its own. Each figure is taken in a process of its own, that has read a year without money
before: the memory is how far its peak rises above that. The floors, measured in turns, are a bare ``csv.writer`` over
the same rows, held ready in a list, and reading the payments from the database and nothing else.
"""

import csv
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

YEAR, EMPTY_YEAR = 2026, 1999
SALES, PAYMENTS_A_SALE, LINEAGES, CONTACTS = 25_000, 4, 80, 200
REPEATS = 3
WANTED_MB = 64
KINDS = {
    "list": "Floor: a bare csv.writer over the same rows",
    "read": "Floor: reading the payments, nothing else",
    "csv": "CSV",
    "xlsx": "Workbook (XLSX)",
    "page": "Page of the year",
}


def build():
    """Sales and their payments, spread over the year."""
    import django

    django.setup()
    from django.core.management import call_command

    import inventory.guards
    from inventory.models import Contact, Payment, Sale, SaleLine
    from propagation import codes
    from propagation.guards import GUARDS, MARKS, remove_guards
    from propagation.models import Acquisition, AllottedCode, Lineage, Plug

    call_command("migrate", verbosity=0)
    # They check row by row; these rows are right by construction.
    remove_guards([*GUARDS, *MARKS, *inventory.guards.GUARDS])("default")
    first = date(YEAR, 1, 1)
    lineages = Lineage.objects.bulk_create(
        Lineage(name=f"Harbour Ember {n}", genus="Acropora") for n in range(LINEAGES)
    )
    acquired = Acquisition.objects.bulk_create(Acquisition(lineage=each, acquired_on=first) for each in lineages)
    contacts = Contact.objects.bulk_create(Contact(name=f"Keeper next door {n}") for n in range(CONTACTS))
    allotted = AllottedCode.objects.bulk_create(
        (AllottedCode(text=codes.new_code()) for _ in range(SALES)), batch_size=2000
    )
    plugs = Plug.objects.bulk_create(
        (
            Plug(
                code=code.text,
                lineage=lineages[n % LINEAGES],
                acquisition=acquired[n % LINEAGES],
                began_on=first,
                checked_on=first,
                stage="healed",
                healed_on=first,
                fate="sold",
                ended_on=first + timedelta(days=n % 360),
            )
            for n, code in enumerate(allotted)
        ),
        batch_size=2000,
    )
    days = [first + timedelta(days=n % 360) for n in range(SALES)]
    sales = Sale.objects.bulk_create(
        (
            Sale(
                contact=contacts[n % CONTACTS],
                currency="EUR",
                begun_on=day,
                agreed_on=day,
                left_on=day,
                left_how="sent",
            )
            for n, day in enumerate(days)
        ),
        batch_size=2000,
    )
    SaleLine.objects.bulk_create(
        (SaleLine(sale=sale, plug=plug, price=40) for sale, plug in zip(sales, plugs, strict=True)), batch_size=2000
    )
    Payment.objects.bulk_create(
        (
            Payment(
                sale=sale,
                amount=Decimal(1000 + (7 * n + part) % 500) / 100,
                paid_on=days[(n + 83 * part) % SALES],
                method=("cash", "transfer")[n % 2],
                note="by hand" if n % 3 else "",
            )
            for n, sale in enumerate(sales)
            for part in range(PAYMENTS_A_SALE)
        ),
        batch_size=2000,
    )


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measure(kind):
    """One figure, in this process: seconds, MB above what there was before, lines."""
    import django

    django.setup()
    from django.contrib.auth import get_user_model
    from django.test import Client

    from inventory.ledger_files import csv_lines, write_xlsx
    from inventory.models import Payment

    client = Client(headers={"host": "localhost"})
    if kind == "page":
        client.force_login(get_user_model().objects.get_or_create(username="keeper")[0])
    ready = []
    if kind == "list":
        ready = list(csv.reader(csv_lines(YEAR, for_spreadsheets=False)))

    def to_file(year):
        with tempfile.TemporaryFile("w+", newline="", encoding="utf-8") as file:
            for line in csv_lines(year):
                file.write(line)

    def to_workbook(year):
        with tempfile.TemporaryFile() as file:
            write_xlsx(file, year)

    def from_list(year):
        with tempfile.TemporaryFile("w+", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, lineterminator="\r\n")
            for row in ready if year == YEAR else ():
                writer.writerow(row)

    def from_database(year):
        rows = Payment.objects.filter(paid_on__year=year).order_by("paid_on", "id")
        told = rows.values_list("paid_on", "kind", "amount", "sale__currency", "sale__contact__name", "note")
        for _ in told.iterator(chunk_size=1000):
            pass

    def page(year):
        assert client.get(f"/books/ledger/{year}/").status_code == 200

    act = {"csv": to_file, "xlsx": to_workbook, "list": from_list, "read": from_database, "page": page}[kind]
    act(EMPTY_YEAR)
    before, started = peak_mb(), time.perf_counter()
    act(YEAR)
    print(json.dumps({"seconds": time.perf_counter() - started, "mb": peak_mb() - before}))


def compare(surroundings):
    vendor = "PostgreSQL" if "DATABASE_URL" in surroundings else "SQLite"

    def run(*args):
        done = subprocess.run(
            [sys.executable, __file__, *args], env=surroundings, check=True, capture_output=True, text=True
        )
        return json.loads(done.stdout or "null")

    run("--build")
    found = {kind: [] for kind in KINDS}
    for _ in range(REPEATS):
        for kind, results in found.items():
            results.append(run("--measure", kind))
    seconds = {kind: median(each["seconds"] for each in results) for kind, results in found.items()}
    print(f"{vendor}: {SALES * PAYMENTS_A_SALE:,} lines")
    for kind, words in KINDS.items():
        megabytes = max(each["mb"] for each in found[kind])
        ratios = (
            f"{seconds[kind] / seconds['list']:>6.1f} x the list   {seconds[kind] / seconds['read']:>6.1f} x reading"
        )
        bar = f"   (at most {WANTED_MB} MB wanted)" if kind in ("csv", "xlsx") else ""
        print(f"{words:<44} {seconds[kind]:>7.2f} s   {ratios}   {megabytes:>6.1f} MB more{bar}", flush=True)


def main():
    own = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    with tempfile.TemporaryDirectory() as home:
        compare(own | {"RAMET_HOME": home})
    address = os.environ.get("DATABASE_URL")
    if address:
        server, _, database = address.rpartition("/")
        name = f"ramet_bench_ledger_{os.getpid()}"
        ask = ["psql", f"{server}/{database}", "-q", "-c"]
        subprocess.run([*ask, f"CREATE DATABASE {name}"], check=True)
        try:
            with tempfile.TemporaryDirectory() as home:
                compare(own | {"RAMET_HOME": home, "DATABASE_URL": f"{server}/{name}"})
        finally:
            subprocess.run([*ask, f"DROP DATABASE {name}"], check=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--build"]:
        build()
    elif sys.argv[1:2] == ["--measure"]:
        measure(sys.argv[2])
    else:
        main()
