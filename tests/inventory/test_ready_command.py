"""``manage.py ready``: what is ready, for people and for scripts."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils.timezone import localdate

from inventory.models import Book, LineagePrice
from tests.factories import HoldFactory, PlugFactory, RackFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


def said(*arguments):
    out = StringIO()
    call_command("ready", *arguments, stdout=out)
    return out.getvalue()


def test_json_is_one_document_with_everything_a_script_needs():
    rack = RackFactory(name="Rack A")
    plug = ReadyPlugFactory(rack=rack, rack_row=2, rack_column=3)
    LineagePrice.objects.create(lineage=plug.lineage, amount=25)
    PlugFactory()
    HoldFactory(until=localdate())
    (told,) = json.loads(said("--json"))
    assert told["code"] == plug.code_in_clear
    assert told["lineage"] == plug.lineage.name
    assert told["age_days"] == plug.age_days(localdate())
    assert (told["rack"], told["row"], told["column"]) == ("Rack A", 2, 3)
    assert float(told["price"]) == 25
    assert told["currency"] == Book.current().currency


def test_what_waits_longest_comes_first():
    late, early = ReadyPlugFactory(healed_on="2026-05-20"), ReadyPlugFactory(healed_on="2026-05-03")
    assert [told["code"] for told in json.loads(said("--json"))] == [early.code_in_clear, late.code_in_clear]


def test_one_lineage_can_be_asked_for_in_any_case():
    plug = ReadyPlugFactory()
    ReadyPlugFactory()
    assert [told["code"] for told in json.loads(said("--json", "--lineage", plug.lineage.name.upper()))] == [
        plug.code_in_clear
    ]


def test_an_unknown_lineage_is_one_sentence_with_the_nearest_name():
    name = ReadyPlugFactory().lineage.name
    with pytest.raises(CommandError, match=name):
        said("--lineage", name[:-1] + "x")


def test_people_read_lines_and_are_told_when_there_is_nothing():
    assert said() == "Nothing is ready.\n"
    plug = ReadyPlugFactory()
    assert plug.code_in_clear in said()
    assert json.loads(said("--json"))


def test_the_list_is_read_in_the_same_queries_however_long(django_assert_num_queries):
    ReadyPlugFactory.create_batch(3)
    with django_assert_num_queries(2):
        said("--json")
