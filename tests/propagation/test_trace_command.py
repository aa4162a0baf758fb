"""`manage.py trace`."""

import io
import json

import pytest
from django.core.management import CommandError, call_command

from tests.factories import ColonyFactory, PlugFactory

pytestmark = pytest.mark.django_db


def trace(*arguments):
    out = io.StringIO()
    call_command("trace", *arguments, stdout=out)
    return out.getvalue()


@pytest.mark.parametrize("write", [str, str.lower, lambda text: text.replace("-", ""), lambda text: f" {text} "])
def test_a_code_is_taken_in_any_case_with_or_without_dashes(write):
    plug = PlugFactory()
    told = json.loads(trace(write(plug.code_in_clear), "--json"))
    assert told["code"] == plug.code_in_clear
    assert [step["kind"] for step in told["ancestors"]] == ["cut", "colony", "acquisition"]
    assert told["descendants"] == []


def test_a_colony_is_traced_by_its_tag(today):
    plug = PlugFactory()
    told = json.loads(trace(plug.cut_event.mother.tag.lower(), "--json"))
    assert told["tag"] == plug.cut_event.mother.tag
    assert [step["kind"] for step in told["descendants"]] == ["cut", "plug"]


def test_people_read_lines(today):
    plug = PlugFactory()
    told = trace(plug.code)
    assert plug.cut_event.mother.tag in told
    assert "1 Apr 2026" in told
    assert "Nothing has come of it yet." in told
    assert f"plug {plug.code_in_clear}, kept" in trace(plug.cut_event.mother.tag)


def test_a_mistyped_code_is_called_mistyped():
    plug = PlugFactory()
    wrong = plug.code[:-1] + ("A" if plug.code[-1] != "A" else "B")
    with pytest.raises(CommandError, match="mistyped"):
        trace(wrong)


def test_an_unknown_tag_is_named_with_near_ones():
    ColonyFactory(tag="AM12")
    with pytest.raises(CommandError, match=r"AM13.*Did you mean AM12"):
        trace("AM13")
