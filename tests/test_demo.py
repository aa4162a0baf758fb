"""The demo does the main job, on records of its own."""

import csv
import json
import os
import sqlite3
import subprocess
import sys
from collections import Counter
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from tests.labels.test_print_labels import codes_on

ROOT = Path(__file__).resolve().parent.parent
pytestmark = pytest.mark.no_database


def manage(home, *arguments):
    surroundings = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env={**surroundings, "RAMET_HOME": str(home)},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A keeper's folder in which the demo ran twice."""
    home = tmp_path_factory.mktemp("home")
    for _ in range(2):
        done = manage(home, "demo", "--no-serve")
        assert done.returncode == 0, done.stderr
    (home / "told.txt").write_text(done.stdout)
    return home


def answer(home, *arguments):
    done = manage(home / "demo", *arguments, "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_it_tells_each_step_with_its_result(home):
    told = (home / "told.txt").read_text()
    for step in ("Built", "Recorded", "Printed", "Checked", "Listed", "Traced", "Worked out"):
        assert step in told


def test_the_keepers_own_records_are_not_touched(home):
    assert not (home / "ramet.sqlite3").exists()
    assert (home / "demo" / "ramet.sqlite3").exists()


def test_the_printed_labels_are_of_the_session_it_recorded(home):
    with (ROOT / "fixtures" / "demo_session.csv").open(newline="") as file:
        frags = sum(int(row["frags"]) for row in csv.DictReader(file))
    (pdf,) = (home / "demo").glob("labels-session-*.pdf")
    codes = {text[-8:] for text in codes_on(pdf.read_bytes())}
    assert len(codes) == frags
    told = (home / "told.txt").read_text().replace("-", "")
    assert all(code in told for code in codes)


def test_what_is_ready_can_be_asked_and_traced(home):
    ready = answer(home, "ready")
    assert len(ready) >= 20
    traced = answer(home, "trace", ready[0]["code"])
    assert traced["code"] == ready[0]["code"]
    kinds = [ancestor["kind"] for ancestor in traced["ancestors"]]
    assert kinds[-1] == "acquisition"


def test_a_line_is_traced_through_the_restart_of_the_aquarium(home):
    """The mother LF3 grew from a plug of LF2, which came back as a frag of LF1 after the first build ended."""
    traced = answer(home, "trace", "LF3")
    tags = [ancestor["tag"] for ancestor in traced["ancestors"] if ancestor["kind"] == "colony"]
    assert tags == ["LF2", "LF1"]
    assert [ancestor["kind"] for ancestor in traced["ancestors"]].count("acquisition") == 2


def test_next_cuts_are_spread_over_now_soon_later_and_left_alone(home):
    mothers = {mother["tag"]: mother for mother in answer(home, "next_cuts")}
    today = datetime.now(tz=UTC).date()
    soon = today + timedelta(days=30)
    days = [date.fromisoformat(mother["day"]) for mother in mothers.values() if mother["day"]]
    told = Counter("now" if day <= today else "soon" if day <= soon else "later" for day in days)
    assert told["now"] >= 3
    assert told["soon"] >= 2
    assert told["later"] >= 3
    assert all(3 <= mother["frags"]["median"] <= 20 for mother in mothers.values() if mother["day"])
    assert mothers["DD2"]["binds"] == "health"
    assert mothers["SL2"]["binds"] == "room"
    assert mothers["KS1"]["day"] is None
    assert any(mother["binds"] == "absence" for mother in mothers.values())


def asked(home, statement):
    with closing(sqlite3.connect(home / "demo" / "ramet.sqlite3")) as database:
        return database.execute(statement).fetchall()


def test_forecasts_of_past_months_came_out_about_as_surely_as_they_said(home):
    ranks = [rank for (rank,) in asked(home, "SELECT rank FROM propagation_forecastscore")]
    assert len(ranks) >= 200
    assert 0.7 <= sum(0.1 <= rank <= 0.9 for rank in ranks) / len(ranks) <= 0.9


def test_the_slip_of_the_point_was_found_out(home):
    rows = asked(
        home,
        "SELECT tag, absurd FROM propagation_colonyoutlook o JOIN propagation_colony c ON c.id = o.colony_id",
    )
    absurd = {tag: json.loads(found) for tag, found in rows}
    assert "decimal point" in absurd["BF2"][0]["reason"]
    assert [tag for tag, found in absurd.items() if found] == ["BF2"]
