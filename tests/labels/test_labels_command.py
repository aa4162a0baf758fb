"""`manage.py labels` and `manage.py stocks`."""

import io
import json

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from labels.models import PrintRun
from propagation.models import Preferences
from tests.factories import ColonyFactory, PlugFactory
from tests.labels.test_print_labels import codes_on

pytestmark = pytest.mark.django_db

STOCK = "a4,3x8,70x37mm"  # as a keyboard writes it


def run(*arguments, **options):
    out = io.StringIO()
    call_command(*arguments, stdout=out, **options)
    return out.getvalue()


def labels(path, **which):
    return json.loads(run("labels", stock=STOCK, out=path, json=True, **which))


def test_a_session_is_printed(tmp_path):
    plug = PlugFactory()
    PlugFactory()
    answer = labels(tmp_path / "l.pdf", session=plug.cut_event.session_id)
    assert (answer["labels"], answer["pages"]) == (1, 1)
    assert {text[-8:] for text in codes_on((tmp_path / "l.pdf").read_bytes())} == {plug.code}


def test_chosen_plugs_and_colonies_are_printed(tmp_path):
    first, second, colony = PlugFactory(), PlugFactory(), ColonyFactory()
    assert labels(tmp_path / "p.pdf", plugs=[first.code_in_clear, second.code.lower()])["labels"] == 2
    assert labels(tmp_path / "c.pdf", colonies=[colony.tag])["labels"] == 1


def test_what_was_printed_is_not_unprinted_any_more(tmp_path):
    PlugFactory.create_batch(2)
    assert labels(tmp_path / "l.pdf", unprinted=True)["labels"] == 2
    with pytest.raises(CommandError, match="nothing to print"):
        labels(tmp_path / "m.pdf", unprinted=True)
    assert not (tmp_path / "m.pdf").exists()


def test_the_address_of_the_preferences_is_in_the_codes(tmp_path):
    Preferences.objects.create(pk=1, base_address="https://bench.test")
    PlugFactory()
    labels(tmp_path / "l.pdf", unprinted=True)
    assert all(text.startswith("HTTPS://BENCH.TEST/Q/") for text in codes_on((tmp_path / "l.pdf").read_bytes()))


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"session": 999}, "no cutting session"),
        ({"plugs": ["K7M42QXQ"]}, "mistyped"),
        ({"colonies": ["NOPE"]}, "no colony"),
        ({"unprinted": True, "start": 999}, "24"),
        ({"unprinted": True, "dpi": 0}, "dpi"),
        ({"unprinted": True, "stock": "a4 3x8 70x38"}, "Did you mean"),
    ],
)
def test_what_cannot_be_is_one_sentence_and_prints_nothing(tmp_path, options, words):
    PlugFactory()
    with pytest.raises(CommandError, match=words):
        run("labels", **{"stock": STOCK, "out": tmp_path / "l.pdf", **options})
    assert list(tmp_path.iterdir()) == []
    assert not PrintRun.objects.exists()


def test_a_folder_that_does_not_exist_is_named(tmp_path):
    PlugFactory()
    with pytest.raises(CommandError, match="no folder"):
        run("labels", stock=STOCK, out=tmp_path / "nowhere" / "l.pdf", unprinted=True)
    assert not PrintRun.objects.exists()


def test_stocks_are_listed_for_people_and_for_scripts():
    stocks = json.loads(run("stocks", json=True))
    named = next(stock for stock in stocks if stock["name"] == "A4, 3 × 8, 70 × 37 mm")
    assert (named["label_mm"], named["labels_per_page"]) == ([70, 37], 24)
    assert "A4, 3 × 8, 70 × 37 mm" in run("stocks")
