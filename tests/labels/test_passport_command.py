"""`manage.py passport` and `import_passport`: files, standard streams, and one sentence where they refuse."""

import io
import json
import sys
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from labels.models import Passport
from labels.passports.reading import read_passport
from labels.passports.signing import canonical
from propagation.models import Acquisition
from tests.factories import ColonyFactory, PlugFactory, RackFactory
from tests.labels.passport_samples import line, signed

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def home(settings, tmp_path):
    settings.RAMET_HOME = tmp_path / "home"


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "came.jsonld"
    path.write_bytes(canonical(signed(line(cut=date(2025, 7, 1)), created=timezone.now() - timedelta(days=1))))
    return path


def told(*arguments):
    out = io.StringIO()
    call_command(*map(str, arguments), stdout=out)
    return out.getvalue()


def test_it_is_written_whole_and_said(tmp_path):
    plug = PlugFactory()
    path = tmp_path / "out.jsonld"
    answer = json.loads(told("passport", plug.code_in_clear.lower(), "--out", path, "--json"))
    assert answer["code"] == plug.code_in_clear
    assert answer["bytes"] == path.stat().st_size
    assert read_passport(path.read_bytes(), now=timezone.now()).line.code == plug.code
    assert [each.name for each in tmp_path.iterdir() if each.is_file()] == ["out.jsonld"]


def test_on_standard_output_it_stands_alone():
    colony = ColonyFactory(tag="M/12 é")
    text = told("passport", colony.code, "--out", "-")
    assert read_passport(text.encode(), now=timezone.now()).line.itself.tag == "M/12 é"


def test_a_file_that_is_there_is_left_as_it_is(tmp_path):
    path = tmp_path / "mine.txt"
    path.write_text("mine")
    with pytest.raises(CommandError, match=r"There is a file .*mine\.txt” already"):
        told("passport", PlugFactory().code, "--out", path)
    assert path.read_text() == "mine"


@pytest.mark.parametrize(
    ("code", "out", "sentence"),
    [
        ("K7M4-2QXP", "x.jsonld", "mistyped"),
        ("NOBODY", "x.jsonld", "There is no plug or colony"),
        (None, "no/such/folder/x.jsonld", "There is no folder “.*no/such/folder”"),
        (None, "", "is a folder"),
        (None, ".", "is a folder"),
        (None, "x" * 300, "cannot be written"),
    ],
)
def test_what_is_refused_is_one_sentence(tmp_path, monkeypatch, code, out, sentence):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(CommandError, match=sentence):
        told("passport", code or PlugFactory().code, "--out", out)
    assert not [each for each in tmp_path.iterdir() if each.is_file()]


def test_json_and_standard_output_do_not_mix():
    with pytest.raises(CommandError, match="leave it out"):
        told("passport", PlugFactory().code, "--out", "-", "--json")


def test_checking_records_nothing(file):
    text = told("import_passport", file, "--check")
    assert "G6X9-8HR4 · Harbour Ember, signed on" in text
    assert "calls itself The Lagoon Shed" in text
    assert "↑ 1 Jul 2025  Frag G6X9-8HR4 was cut from the mother colony MOTHER-2" in text
    assert "not named this key" in text
    assert not Acquisition.objects.exists()


def test_it_is_brought_in(file):
    rack = RackFactory()
    answer = json.loads(
        told(
            *("import_passport", file, "--json", "--kind", "trade", "--from", "Shed", "--price", "12.50"),
            *("--on", "2025-08-01", "--stage", "sealed", "--rack", rack.name, "--lineage", "Quay Ember"),
        )
    )
    acquisition = Acquisition.objects.get(pk=answer["acquisition"])
    plug = acquisition.plugs.get()
    assert answer["plugs"] == [plug.code_in_clear]
    assert (plug.rack, plug.stage, plug.began_on) == (rack, "sealed", date(2025, 8, 1))
    assert (acquisition.kind, acquisition.lineage.name) == ("trade", "Quay Ember")
    assert (acquisition.terms.contact.name, acquisition.terms.amount) == ("Shed", Decimal("12.50"))
    assert acquisition.passport
    with pytest.raises(CommandError, match=rf"came in already.*acquisition {acquisition.pk}"):
        told("import_passport", file)
    assert json.loads(told("import_passport", file, "--check", "--json"))["came_already"] == acquisition.pk


def test_a_trace_goes_on_before_it_came(file):
    told("import_passport", file, "--tag", "HE7")
    lines = told("trace", "HE7").splitlines()
    at = lines.index("  before it came, as told by The Lagoon Shed:")
    assert lines[at + 1] == "  ↑  1 Jul 2025  Frag G6X9-8HR4 was cut from the mother colony MOTHER-2"
    assert lines[at + 4] == "  ↑ 10 Jan 2024  Came to this keeper as the colony GRAND/1"


def test_it_is_read_from_standard_input(file, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(file.read_bytes())))
    assert "recorded as HE7" in told("import_passport", "-", "--tag", "HE7")
    assert Passport.objects.get().acquisition.colonies.get().tag == "HE7"


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--price", "dear"], "“dear” is no price"),
        (["--price", "NaN"], "cannot be right"),
        (["--on", "yesterday"], "is no day"),
        (["--on", "2020-01-01"], "before it began"),
        (["--rack", "Nowhere"], "There is no rack"),
        (["--kind", "returned"], "did not come back"),
    ],
)
def test_what_cannot_be_brought_in_is_one_sentence(file, arguments, sentence):
    with pytest.raises(CommandError, match=sentence):
        told("import_passport", file, *arguments)
    assert not Acquisition.objects.exists()


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(CommandError, match="cannot be read"):
        told("import_passport", tmp_path / "none")
    with pytest.raises(CommandError, match="cannot be read"):
        told("import_passport", tmp_path)
