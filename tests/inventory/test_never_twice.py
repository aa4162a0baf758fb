"""Never one frag to two people: fifty who hold, sell and trade the same twenty plugs at once, by a real server.

The server is the one that keepers start, with a database of its own. Every client keeps what it was told; afterwards
the records are read and compared with it.
"""

import http.client
import json
import os
import random
import signal
import subprocess
import sys
import threading
from html import unescape
from pathlib import Path
from urllib.parse import urlencode

import pytest
from django.db import connection
from django.utils.timezone import localdate

ROOT = Path(__file__).resolve().parents[2]
CLIENTS, PLUGS, ROUNDS = 50, 20, 3
ACTS = ["hold", "save", "now", "trade"]  # a hold, a draft of a sale, a sale at the market, a trade
TOKEN = "x" * 32  # what a page would carry: the same in the cookie and in the form

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
def environment(request, tmp_path, migrated_home):
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
        admin.execute(f'CREATE DATABASE "{name}"')
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


class Client(threading.Thread):
    """One of the fifty: holds and sells some of the plugs again and again, and keeps every answer."""

    def __init__(self, number, *, host, session, codes, start):
        super().__init__()
        self.name = f"Keeper {number:02d} of the {chr(65 + number % 26) * 5}"
        self.number = number
        self.host, self.session, self.codes, self.begin = host, session, codes, start
        self.choose = random.Random(number)
        self.answers = []  # (act, codes, status, where to, page)
        self.failed = None

    def run(self):
        try:
            connected = http.client.HTTPConnection(self.host, timeout=60)
            self.begin.wait()
            for _ in range(ROUNDS - 1):
                self.ask(connected, self.choose.choice(ACTS), self.choose.sample(self.codes, self.choose.randint(1, 3)))
            self.ask(connected, self.choose.choice(ACTS), [self.codes[self.number % PLUGS]])  # so every plug is wanted
            connected.close()
        except Exception as error:  # noqa: BLE001 - handed to the test
            self.failed = error

    def ask(self, connected, act, codes):
        told = [("csrfmiddlewaretoken", TOKEN), ("contact_name", self.name), ("somebody_new", "on")]
        if act == "hold":
            address = "/holds/new/"
            told += [("days", "7"), *(("plugs", code) for code in codes)]
        elif act == "trade":
            address = "/trades/new/"
            told += [
                ("day", localdate().isoformat()),
                *((name, code) for code in codes for name in ("offered", "taken")),
            ]
            told += [("lines-TOTAL_FORMS", 1), ("lines-INITIAL_FORMS", 0), ("lines-0-lineage", "Given For It")]
            told += [("lines-0-count", 1), ("lines-0-growth_form", "branching"), ("lines-0-size_mm", 20)]
        else:
            address = "/sales/new/"
            told += [("act", act), ("method", "cash")]
            for code in codes:
                told += [("offered", code), ("taken", code), (f"price-{code}", "25,00")]
        connected.request(
            "POST",
            address,
            urlencode(told),
            {
                "Content-Type": "application/x-www-form-urlencoded",
                "Cookie": f"sessionid={self.session}; csrftoken={TOKEN}",
            },
        )
        answer = connected.getresponse()
        page = unescape(answer.read().decode())
        self.answers.append((act, codes, answer.status, answer.getheader("Location", ""), page))


WON = {"hold": "/ready/", "save": "/sales/", "now": "/sales/", "trade": "/trades/"}  # where a winner is led
# The sentence that a loser reads: who has it, or what became of it.
WHY_NOT = ("is held for Keeper", "is in sale ", "is sold since ", "is traded since ", "is in trade ")


@pytest.mark.skipif(os.name != "posix", reason="The server is ended by a signal of POSIX.")
def test_fifty_at_once_and_every_plug_has_one_owner(served, environment):
    host, sessions, codes, heard = served
    start = threading.Barrier(CLIENTS)
    clients = [
        Client(number, host=host, session=session, codes=codes, start=start) for number, session in enumerate(sessions)
    ]
    for client in clients:
        client.start()
    for client in clients:
        client.join()
    assert not [client.failed for client in clients if client.failed]
    records = told_by(READ, environment)

    answers = [(client, *answer) for client in clients for answer in client.answers]
    assert len(answers) == CLIENTS * ROUNDS
    odd = [(status, page[:500]) for _, _, _, status, _, page in answers if status not in (302, 409, 422)]
    assert not odd, odd[0]
    assert "locked" not in "".join(heard)
    assert "Traceback" not in "".join(heard)
    for _, act, _, status, where, page in answers:
        if status == 302:
            assert where.startswith(WON[act]), where
        else:
            assert any(why in page for why in WHY_NOT)

    # Everybody who won has what they were told, and nobody else has it.
    held = dict(records["holds"])
    sold = {code: (name, str(sale)) for code, name, sale in records["lines"]}
    assert len(records["holds"]) == len(held)
    assert len(records["lines"]) == len(sold)
    traded = {code: (name, str(trade)) for code, name, trade in records["trades"]}
    assert len(records["trades"]) == len(traded)
    won = [answer for answer in answers if answer[3] == 302]
    for client, act, wanted, _, where, _ in won:
        for code in wanted:
            if act == "hold":
                owner = (sold.get(code) or traded.get(code) or [held.get(code)])[0]
                assert owner == client.name
            elif act == "trade":
                assert traded[code] == (client.name, where.split("/")[2])
            else:
                assert sold[code] == (client.name, where.split("/")[2])
    for code, (name, sale) in sold.items():
        assert held.get(code, name) == name
        assert records["fates"][code] == ("sold" if records["sales"][sale]["left"] else "kept")
    for code, (name, _) in traded.items():
        assert held.get(code, name) == name
        assert records["fates"][code] == "traded"
    assert not set(sold) & set(traded)
    assert set(held) | set(sold) | set(traded) == set(codes)

    # No sale is half made: each was told to somebody, has its lines, and what left at the market is paid.
    assert set(records["sales"]) == {where.split("/")[2] for _, act, _, _, where, _ in won if act in ("save", "now")}
    for sale, told in records["sales"].items():
        assert told["lines"] == sum(sold[code][1] == sale for code in sold) > 0
        assert (float(told["owed"]) == 0) == told["left"]
    assert set(records["came_in"]) == {where.split("/")[2] for _, act, _, _, where, _ in won if act == "trade"}
    assert all(count == 1 for count in records["came_in"].values())
    assert records["payments"] == sum(told["left"] for told in records["sales"].values())
