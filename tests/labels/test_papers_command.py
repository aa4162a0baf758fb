"""`manage.py papers`."""

import io
import json

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from propagation.models import Preferences
from tests.factories import ColonyFactory, PlugFactory
from tests.inventory.sales import begun
from tests.labels import paper_reading as read

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def home(settings, tmp_path):
    settings.RAMET_HOME = tmp_path / "home"
    settings.RAMET_HOME.mkdir()


def papers(*arguments, **options):
    out = io.StringIO()
    call_command("papers", *arguments, stdout=out, **options)
    return out.getvalue()


def test_a_receipt_is_written(tmp_path, today):
    sale, path = begun(today=today), tmp_path / "receipt.pdf"
    said = papers("sale", str(sale.pk), kind="receipt", paper="a4", out=path)
    assert said == f"Receipt on 1 page, in {path}\n"
    assert read.sizes_mm(path.read_bytes()) == {(210.0, 297.0)}
    assert f"Sale {sale.pk}" in read.text(path.read_bytes())


def test_it_answers_a_program(tmp_path):
    plug = PlugFactory()
    told = json.loads(papers("plug", plug.code_in_clear.lower(), paper="Letter", out=tmp_path / "p.pdf", json=True))
    assert told == {"kind": "all", "pages": 2, "file": str(tmp_path / "p.pdf")}
    assert read.sizes_mm((tmp_path / "p.pdf").read_bytes()) == {(215.9, 279.4)}


def test_codes_lead_to_the_address_asked_for_or_that_of_the_preferences(tmp_path):
    colony, path = ColonyFactory(), tmp_path / "p.pdf"
    papers("colony", colony.tag, kind="certificate", out=path, address="https://other.example")
    assert read.codes(path.read_bytes()) == [f"HTTPS://OTHER.EXAMPLE/Q/{colony.code}"]
    Preferences.objects.update_or_create(pk=1, defaults={"base_address": "https://ramet.example"})
    papers("colony", colony.tag, kind="certificate", out=path)
    assert read.codes(path.read_bytes()) == [f"HTTPS://RAMET.EXAMPLE/Q/{colony.code}"]


@pytest.mark.parametrize(
    ("arguments", "options", "sentence"),
    [
        (("sale", "99"), {}, "There is no sale 99"),
        (("trade", "x"), {}, "“x” is no number of a trade"),
        (("sale", "9" * 30), {}, "is no number of a sale"),
        (("colony", "NONE"), {}, "There is no colony with the tag “NONE”"),
    ],
)
def test_what_there_is_not_is_named_and_nothing_is_written(tmp_path, arguments, options, sentence):
    with pytest.raises(CommandError, match=sentence):
        papers(*arguments, out=tmp_path / "p.pdf", **options)
    assert not list(tmp_path.glob("*p.pdf*"))


@pytest.mark.parametrize(
    ("options", "sentence"),
    [({"kind": "passport"}, "there is receipt, packing, certificate, care, all"), ({"paper": "b5"}, "a4 or letter")],
)
def test_a_kind_or_a_size_that_there_is_not_is_named_with_those_there_are(tmp_path, today, options, sentence):
    with pytest.raises(CommandError, match=sentence):
        papers("sale", str(begun(today=today).pk), out=tmp_path / "p.pdf", **options)


def test_a_file_is_whole_or_as_it_was(tmp_path, today):
    sale = begun(today=today)
    with pytest.raises(CommandError, match="There is no folder"):
        papers("sale", str(sale.pk), out=tmp_path / "none" / "p.pdf")
    folder = tmp_path / "folder"
    folder.mkdir()
    with pytest.raises(CommandError, match="cannot be written"):
        papers("sale", str(sale.pk), out=folder)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["folder", "home"], "no draft is left behind"
    path = tmp_path / "p.pdf"
    path.write_text("what was there")
    papers("sale", str(sale.pk), out=path)
    assert path.read_bytes().startswith(b"%PDF-")
