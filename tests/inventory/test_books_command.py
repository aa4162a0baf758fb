"""The books and the ledger from the command line."""

import csv
import json
from datetime import date
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from openpyxl import load_workbook

from inventory.readings.ledger import NOT_TAX_ADVICE
from tests.inventory.test_books import bought, frag_of, sold

pytestmark = pytest.mark.django_db


def said(*args):
    out = StringIO()
    call_command("books", *args, stdout=out)
    return out.getvalue()


@pytest.fixture
def mother():
    made = bought(40)
    sold(frag_of(made), price=28, on=date(2026, 6, 15))
    return made


def test_lines_for_people(mother):
    answer = said()
    assert mother.lineage.name in answer
    assert "not yet, €12.00 to go" in answer


def test_one_document_for_scripts(mother):
    (line,) = json.loads(said("--json"))
    assert line["lineage"] == mother.lineage.name
    assert (Decimal(line["paid"]), Decimal(line["came_in"]), Decimal(line["to_go"])) == (40, 28, 12)
    assert (line["paid_back"], line["paid_back_on"], line["sold"]) == ("not_yet", None, 1)


def test_a_cost_that_is_not_known_is_no_number(mother):
    bought(None)
    lines = json.loads(said("--json"))
    assert sorted((line["paid"] for line in lines), key=str) == ["40.000", None]
    assert "not known" in said()


def test_without_a_line_it_says_so():
    assert said() == "No line is kept yet.\n"


def test_what_moved_in_a_year(mother):
    answer = said("--year", "2026")
    assert "Payment" in answer
    assert "€28.00" in answer
    assert NOT_TAX_ADVICE in answer
    assert "No money moved in 1999." in said("--year", "1999")
    found = json.loads(said("--year", "2025", "--json"))
    assert found["lines"] == 1
    assert Decimal(found["totals"][0]["kinds"]["bought"]) == -40


def test_the_year_as_a_file(mother, tmp_path):
    answer = said("--year", "2026", "--out", str(tmp_path / "l.csv"))
    assert f"1 line, in {tmp_path / 'l.csv'}" in answer
    assert (tmp_path / "l.csv").read_bytes().startswith(b"\xef\xbb\xbf")
    said("--year", "2026", "--out", str(tmp_path / "l.csv"), "--without-mark")
    with (tmp_path / "l.csv").open(newline="") as file:
        rows = list(csv.reader(file, strict=True))
    assert rows[1][4] == "28.00"
    said("--year", "2026", "--out", str(tmp_path / "L.XLSX"))
    assert load_workbook(tmp_path / "L.XLSX")["Ledger"]["E2"].value == 28
    assert sorted(each.name for each in tmp_path.iterdir()) == ["L.XLSX", "l.csv"]


@pytest.mark.parametrize(
    ("args", "sentence"),
    [
        (["--year", "20x6"], "“20x6” is no year; write it as 2026."),
        (["--year", "99999"], "“99999” is no year; write it as 2026."),
        (["--out", "ledger.pdf"], "“ledger.pdf” is neither .csv nor .xlsx"),
        (["--out", "/nowhere/at/all/l.csv"], "There is no folder “/nowhere/at/all” for the ledger."),
        (["--out", "/proc/l.csv"], "“/proc/l.csv” cannot be written"),
    ],
)
def test_what_cannot_be_is_one_sentence(args, sentence):
    with pytest.raises(CommandError) as refused:
        said(*args)
    assert str(refused.value).startswith(sentence)


def test_a_file_that_fails_half_way_leaves_what_was_there(mother, tmp_path, monkeypatch):
    path = tmp_path / "l.csv"
    path.write_text("what was there")

    def half(*args, **kwargs):
        yield "a line\r\n"
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("inventory.management.commands.books.csv_lines", half)
    with pytest.raises(CommandError, match="cannot be written: No space left on device"):
        said("--out", str(path))
    assert path.read_text() == "what was there"
    assert list(tmp_path.iterdir()) == [path]
