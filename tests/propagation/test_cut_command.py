"""The commands that record a sitting."""

import json
from datetime import timedelta
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from propagation import codes
from propagation.models import CutEvent, CuttingSession, Plug
from tests.factories import ColonyFactory, IncidentFactory, RackFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def mother():
    return ColonyFactory(tag="M012")


def run(*arguments):
    out = StringIO()
    call_command(*arguments, stdout=out)
    return out.getvalue()


def refusal(*arguments):
    with pytest.raises(CommandError) as error:
        run(*arguments)
    return str(error.value)


def test_cut_answers_with_the_session_and_the_codes_in_clear(mother):
    answer = json.loads(run("cut", "--mother", "m012", "--frags", "8", "--json"))
    assert set(answer) == {"session", "codes"}
    assert CutEvent.objects.get(session=answer["session"]).mother == mother
    assert [codes.read_code(code) for code in answer["codes"]] == list(
        Plug.objects.order_by("id").values_list("code", flat=True)
    )
    assert all(code[4] == "-" for code in answer["codes"])
    assert len(answer["codes"]) == 8


def test_cut_takes_sizes_day_rack_and_note(mother):
    rack = RackFactory(name="Shelf")
    day = timezone.localdate() - timedelta(days=2)
    arguments = ["--size-mm", "20,5", "--before", "180", "--after", "120.5", "--measure", "tle_cm", "--note", "rim"]
    run("cut", "--mother", "M012", "--frags", "2", *arguments, "--on", str(day), "--rack", "shelf")
    event = CutEvent.objects.get()
    assert (event.frag_size_mm, event.size_before, event.size_after) == (Decimal("20.5"), 180, Decimal("120.5"))
    assert (event.measure, event.session.cut_on, event.note) == ("tle_cm", day, "rim")
    assert set(Plug.objects.values_list("rack", flat=True)) == {rack.pk}


def test_without_json_it_prints_a_line_per_code(mother):
    lines = run("cut", "--mother", "M012", "--frags", "3").splitlines()
    assert "3 plugs" in lines[0]
    assert len(lines) == 4


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--mother", "M0l2", "--frags", "8"], "Did you mean M012"),
        (["--mother", "M012", "--frags", "-3"], "-3 frags from M012"),
        (["--mother", "M012", "--frags", "0"], "0 frags from M012"),
        (["--mother", "M012", "--frags", "many"], "--frags"),
        (["--mother", "M012", "--frags", "8", "--on", "2999-01-01"], "future"),
        (["--mother", "M012", "--frags", "8", "--on", "yesterday"], "no day"),
        (["--mother", "M012", "--frags", "8", "--on", "2001-01-01"], "began on"),
        (["--mother", "M012", "--frags", "8", "--before", "9", "--measure", "furlongs"], "no measure"),
        (["--mother", "M012", "--frags", "8", "--rack", "nowhere"], "rack"),
    ],
)
def test_what_is_wrong_is_said_in_a_sentence_and_nothing_is_saved(mother, arguments, words):
    assert words in refusal("cut", *arguments)
    assert not CuttingSession.objects.exists()


def test_a_mother_with_an_open_incident_needs_a_reason(mother):
    IncidentFactory(colony=mother, opened_on=timezone.localdate() - timedelta(days=1))
    assert "Give a reason" in refusal("cut", "--mother", "M012", "--frags", "8")
    run("cut", "--mother", "M012", "--frags", "8", "--reason", "saving the tips")
    assert CutEvent.objects.get().reason == "saving the tips"


def test_record_session_answers_in_the_order_of_the_file(mother, tmp_path):
    ColonyFactory(tag="M001")
    file = tmp_path / "sitting.csv"
    file.write_text("mother,frags,size_mm,before,after,measure,note\nM012,3,25,,,,\nM001,2,25,,,,rim\n")
    answer = json.loads(run("record_session", str(file), "--json"))
    assert set(answer) == {"session", "codes"}
    tags = [Plug.objects.get(code=codes.read_code(code)).cut_event.mother.tag for code in answer["codes"]]
    assert tags == ["M012"] * 3 + ["M001"] * 2


def test_record_session_names_row_and_column_and_saves_nothing(mother, tmp_path):
    file = tmp_path / "sitting.csv"
    file.write_text("mother;frags\nM012;8\nM0l2;x\n")
    sentence = refusal("record_session", str(file))
    assert "Row 3, frags" in sentence
    assert "Row 3, mother" in sentence
    assert "Did you mean M012" in sentence
    assert not CuttingSession.objects.exists()


def test_record_session_names_a_file_that_is_not_there():
    assert "nowhere.csv" in refusal("record_session", "nowhere.csv")


def test_cut_and_record_session_take_what_was_cut_with(mother, tmp_path):
    run("cut", "--mother", "M012", "--frags", "2", "--with", "Bone cutters")
    assert CutEvent.objects.get().cut_with == "bone_cutters"
    ColonyFactory(tag="M013")
    file = tmp_path / "sitting.csv"
    file.write_text("mother,frags\nM013,2\n")
    run("record_session", str(file), "--with", "rotary_tool")
    assert CutEvent.objects.latest("id").cut_with == "rotary_tool"


def test_a_tool_that_is_not_known_is_refused_with_those_that_are(mother):
    said = refusal("cut", "--mother", "M012", "--frags", "2", "--with", "laser")
    assert "“laser”" in said
    assert "snapped" in said
    assert not CuttingSession.objects.exists()
