"""`manage.py heal`."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from propagation import codes
from propagation.models import HealingCheck
from propagation.readings.near_codes import near_codes
from tests.factories import PlugFactory

pytestmark = pytest.mark.django_db


def heal(*arguments):
    out = StringIO()
    call_command("heal", *arguments, stdout=out)
    return out.getvalue()


def mistyped(code):
    """The code with its first letter wrong."""
    return next(letter for letter in codes.ALPHABET if letter != code[0]) + code[1:]


def test_it_answers_with_one_json_document():
    first, second = PlugFactory(), PlugFactory(stage="sealed")
    answer = json.loads(heal(first.code, str(second).lower(), "--stage", "sealed", "--on", "2026-04-10", "--json"))
    assert answer == {
        "on": "2026-04-10",
        "checked": [{"code": first.code, "stage": "sealed"}, {"code": second.code, "stage": "sealed"}],
        "unchanged": [],
        "given_twice": [],
    }
    first.refresh_from_db()
    assert (first.stage, str(first.checked_on)) == ("sealed", "2026-04-10")


def test_next_moves_each_to_its_own_next_stage():
    plugs = [PlugFactory(), PlugFactory(stage="encrusting")]
    answer = json.loads(heal(*[plug.code for plug in plugs], "--stage", "next", "--json"))
    assert [each["stage"] for each in answer["checked"]] == ["sealed", "healed"]


def test_a_code_given_twice_is_recorded_and_said_once():
    plug = PlugFactory()
    out = heal(plug.code, plug.code_in_clear, plug.code, "--stage", "sealed")
    assert out == f"{plug.code_in_clear} is sealed\nGiven twice, recorded once: {plug.code_in_clear}\n"
    assert HealingCheck.objects.count() == 1


def test_a_second_run_leaves_them_alone_and_says_so():
    plug = PlugFactory()
    heal(plug.code, "--stage", "sealed")
    assert heal(plug.code, "--stage", "sealed") == f"Checked so already, left alone: {plug.code_in_clear}\n"


def test_with_one_code_mistyped_nothing_is_recorded_and_the_near_code_is_named():
    plug, other = PlugFactory(), PlugFactory()
    wrong = mistyped(plug.code)
    with pytest.raises(CommandError) as refusal:
        heal(other.code, wrong, "--stage", "sealed")
    assert f"“{wrong}” is mistyped" in str(refusal.value)
    assert f"Did you mean {plug.code_in_clear}?" in str(refusal.value)
    assert not HealingCheck.objects.exists()


def test_every_wrong_code_is_named():
    unknown = codes.new_code()
    with pytest.raises(CommandError) as refusal:
        heal("nonsense", unknown, "--stage", "sealed")
    assert "“nonsense” is mistyped" in str(refusal.value)
    assert codes.in_clear(unknown) in str(refusal.value)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "at least one plug"),
        (("{code}",), "Say the stage with --stage"),
        (("{code}", "--stage", "cosy"), "“cosy” is no healing stage"),
        (("{code}", "--stage", "sealed", "--on", "2226-01-01"), "lies in the future"),
        (("{code}", "--stage", "sealed", "--on", "yesterday"), "write it as 2026-04-30"),
    ],
)
def test_what_is_wrong_is_one_sentence(arguments, words):
    code = PlugFactory().code
    with pytest.raises(CommandError, match=words):
        heal(*[argument.format(code=code) for argument in arguments])


def test_near_codes_are_one_slip_away_missing_doubled_swapped_or_wrong():
    plug = PlugFactory(code="K7M42QX" + codes.mod_37_36.calc_check_digit("K7M42QX"))
    code = plug.code
    slips = [
        code[1:],
        code + "K",
        code[:3] + code[2] + code[3:],
        code[1] + code[0] + code[2:],
        code[:4] + "9" + code[5:],
        "0" + code[1:],
    ]
    assert [near_codes(slip) for slip in slips] == [[plug.code_in_clear]] * len(slips)
    assert near_codes("99" + code[2:]) == [plug.code_in_clear]
    assert near_codes("a colony") == []
    assert near_codes("") == []
