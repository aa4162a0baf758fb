"""Never one frag to two people: fifty processes hold, sell and trade the same twenty plugs at once, by a real server.

The server is the one that keepers start, with a database of its own. Every process keeps what it was told; afterwards
the records are read and compared with it. It runs once; ``NEVER_TWICE_TIMES=10`` in the environment runs it ten times
over, each time with other wishes, and ``-rP`` prints what was counted.
"""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from pathlib import Path

import pytest
from django.db import connection
from django.utils.timezone import localdate

ROOT = Path(__file__).resolve().parents[2]
CLIENTS, PLUGS, ROUNDS = 50, 20, 3
ONE = Path(__file__).with_name("one_of_fifty.py")
SEED = os.environ.get("NEVER_TWICE_SEED", "never twice")

PREPARE = """
import json
import django; django.setup()
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.core.management import call_command
call_command("migrate", verbosity=0)
from inventory.models import LineagePrice
from propagation.management.owner import make_owner
from tests.factories import CutEventFactory, ReadyPlugFactory
user = make_owner()
cut = CutEventFactory(frags=20)
LineagePrice.objects.create(lineage=cut.mother.lineage, amount=25)
sessions = []
for _ in range(50):
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.save()
    sessions.append(session.session_key)
codes = [plug.code for plug in ReadyPlugFactory.create_batch(20, cut_event=cut)]
print(json.dumps({"sessions": sessions, "codes": codes}))
"""

READ = """
import json
import django; django.setup()
from django.utils.timezone import localdate
from inventory.models import Hold, Payment, Sale, SaleLine, Trade, TradeLine
from inventory.readings.sales import totals
from propagation.models import Plug
holds = Hold.objects.active_on(localdate()).values_list("plug__code", "contact__name")
trades = TradeLine.objects.filter(cancelled_on=None, plug__isnull=False)
lines = SaleLine.objects.standing().values_list("plug__code", "sale__contact__name", "sale")
sales = {
    sale.pk: {"left": sale.left_on is not None, "lines": sale.lines.standing().count(), "owed": str(totals(sale).owed)}
    for sale in Sale.objects.all()
}
print(json.dumps({
    "holds": list(holds),
    "lines": list(lines),
    "sales": sales,
    "trades": list(trades.values_list("plug__code", "trade__contact__name", "trade")),
    "came_in": {trade.pk: trade.lines.filter(acquisition__isnull=False).count() for trade in Trade.objects.all()},
    "fates": dict(Plug.objects.values_list("code", "fate")),
    "payments": Payment.objects.count(),
}))
"""


@pytest.fixture(params=["sqlite", "postgresql"])
def environment(request, tmp_path, migrated_home, django_db_blocker):
    """The environment of a server with a database of its own."""
    environment = os.environ | {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "RAMET_HOME": str(tmp_path),
        "RAMET_OWNER": "keeper",
        "RAMET_PASSWORD": "nine wet thumbs",
        "PYTHONPATH": str(ROOT),
    }
    if request.param == "sqlite":
        migrated_home(tmp_path)
        environment.pop("DATABASE_URL", None)
        yield environment
        return
    if connection.vendor != "postgresql":
        pytest.skip("PostgreSQL is tested when DATABASE_URL names one.")
    import psycopg

    server = os.environ["DATABASE_URL"].rsplit("/", 1)[0]
    name = f"ramet_twice_{os.getpid()}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as admin:
        # A copy of the migrated database that the tests have anyway; nobody may be connected to what is copied.
        with django_db_blocker.unblock():
            migrated = connection.settings_dict["NAME"]
            connection.close()
        admin.execute(f'CREATE DATABASE "{name}" TEMPLATE "{migrated}"')
        try:
            yield environment | {"DATABASE_URL": f"{server}/{name}"}
        finally:
            admin.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def told_by(program, environment):
    """What a program prints, read as JSON."""
    done = subprocess.run(
        [sys.executable, "-c", program], env=environment, cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture
def served(environment):
    """A server with twenty plugs and fifty who are signed in: its host, their sessions, the codes."""
    prepared = told_by(PREPARE, environment)
    with subprocess.Popen(
        [sys.executable, "manage.py", "serve", "--port", "0"],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        heard = []
        listening = threading.Thread(target=lambda: heard.extend(process.stderr), daemon=True)
        listening.start()
        try:
            address = process.stdout.readline().split()[3]
            yield address.removeprefix("http://"), prepared["sessions"], prepared["codes"], heard
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait()


def all_at_once(host, sessions, codes, *, seed):
    """Fifty processes, told to begin once all are connected: ``(name, act, codes, status, where, page)`` each time."""
    names = [f"Keeper {number:02d} of the {chr(65 + number % 26) * 5}" for number in range(CLIENTS)]
    processes = [
        subprocess.Popen([sys.executable, "-I", str(ONE)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for _ in names
    ]
    common = {"rounds": ROUNDS, "day": localdate().isoformat()}
    for number, process in enumerate(processes):
        told = {"host": host, "session": sessions[number], "codes": codes, "number": number, "name": names[number]}
        process.stdin.write(json.dumps(told | common | {"seed": f"{seed}-{number}"}) + "\n")
        process.stdin.flush()
    for process in processes:
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        process.stdin.write("go\n")
        process.stdin.flush()
    answers = []
    for name, process in zip(names, processes, strict=True):
        with process:
            answers += [(name, *answer) for answer in json.loads(process.stdout.read())]
        assert process.returncode == 0
    return answers


WON = {
    "hold": "/ready/",
    "save": "/sales/",
    "now": "/sales/",
    "market": "/market/",
    "trade": "/trades/",
}  # where a winner is led
# The sentence that a loser reads: who has it, or what became of it.
WHY_NOT = ("is held for Keeper", "is in sale ", "is sold since ", "is traded since ", "is in trade ")


@pytest.mark.skipif(os.name != "posix", reason="The server is ended by a signal of POSIX.")
@pytest.mark.parametrize("time_over", range(int(os.environ.get("NEVER_TWICE_TIMES", "1"))))
def test_fifty_at_once_and_every_plug_has_one_owner(served, environment, time_over):
    host, sessions, codes, heard = served
    began = time.monotonic()
    answers = all_at_once(host, sessions, codes, seed=f"{SEED}-{time_over}")
    took = time.monotonic() - began
    records = told_by(READ, environment)
    assert len(answers) == CLIENTS * ROUNDS
    odd = [(status, page[:500]) for _, _, _, status, _, page in answers if status not in (302, 409, 422)]
    assert not odd, odd[0]
    assert "locked" not in "".join(heard)
    assert "Traceback" not in "".join(heard)
    for _, act, _, status, where, page in answers:
        if status == 302:
            assert where.startswith(WON[act]), where
        else:
            assert any(why in page for why in WHY_NOT), f"{act}: {page[page.find('<main') :][:3000]}"

    # Everybody who won has what they were told, and nobody else has it.
    held = dict(records["holds"])
    sold = {code: (name, str(sale)) for code, name, sale in records["lines"]}
    assert len(records["holds"]) == len(held)
    assert len(records["lines"]) == len(sold)
    traded = {code: (name, str(trade)) for code, name, trade in records["trades"]}
    assert len(records["trades"]) == len(traded)
    won = [answer for answer in answers if answer[3] == 302]
    for name, act, wanted, _, where, _ in won:
        for code in wanted:
            if act == "hold":
                owner = (sold.get(code) or traded.get(code) or [held.get(code)])[0]
                assert owner == name
            elif act == "trade":
                assert traded[code] == (name, where.split("/")[2])
            elif act == "market":
                assert sold[code][0] == name
            else:
                assert sold[code] == (name, where.split("/")[2])
    for code, (name, sale) in sold.items():
        assert held.get(code, name) == name
        assert records["fates"][code] == ("sold" if records["sales"][sale]["left"] else "kept")
    for code, (name, _) in traded.items():
        assert held.get(code, name) == name
        assert records["fates"][code] == "traded"
    assert not set(sold) & set(traded)
    assert set(held) | set(sold) | set(traded) == set(codes)

    # No sale is half made: each was told to somebody, has its lines, and what left at the market is paid.
    told_of = {where.split("/")[2] for _, act, _, _, where, _ in won if act in ("save", "now")}
    told_of |= {sold[wanted[0]][1] for _, act, wanted, *_ in won if act == "market"}
    assert set(records["sales"]) == told_of
    for sale, told in records["sales"].items():
        assert told["lines"] == sum(sold[code][1] == sale for code in sold) > 0
        assert (float(told["owed"]) == 0) == told["left"]
    assert set(records["came_in"]) == {where.split("/")[2] for _, act, _, _, where, _ in won if act == "trade"}
    assert all(count == 1 for count in records["came_in"].values())
    assert records["payments"] == sum(told["left"] for told in records["sales"].values())
    by_act = Counter((act, "won" if status == 302 else "lost") for _, act, _, status, *_ in answers)
    counted = ", ".join(f"{act} {outcome} {number}" for (act, outcome), number in sorted(by_act.items()))
    print(f"{len(answers)} asked in {took:.1f} s: {counted}; {len(held)} held, {len(sold)} sold, {len(traded)} traded")
