"""Codes of plugs and colonies."""

import itertools
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from propagation import codes
from propagation.actions import allot_codes as allotting
from propagation.errors import CodeMistyped
from propagation.models import AllottedCode

fresh = st.builds(codes.new_code)


@given(fresh)
def test_a_new_code_reads_back_however_it_is_written(code):
    in_clear = codes.in_clear(code)
    for written in (code, in_clear, in_clear.lower(), f" {in_clear[:4]} {in_clear[5:]} ", in_clear.replace("-", "–")):
        assert codes.read_code(written) == code


@given(fresh)
def test_a_code_has_no_look_alikes(code):
    assert not set(code) & set("01OILUV")


@given(fresh, st.integers(0, codes.LENGTH - 1), st.sampled_from(string.digits + string.ascii_uppercase))
def test_one_wrong_character_is_caught(code, place, character):
    slip = code[:place] + character + code[place + 1 :]
    if slip != code:
        with pytest.raises(CodeMistyped):
            codes.read_code(slip)


@given(fresh, st.integers(0, codes.LENGTH - 2))
def test_two_neighbours_swapped_are_caught(code, place):
    slip = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    if slip != code:
        with pytest.raises(CodeMistyped):
            codes.read_code(slip)


@pytest.mark.parametrize("text", ["", "K7M4", "K7M4-2QXPP", "K7M4–2Q!P", "ключ-код1"])
def test_what_is_no_code_at_all_is_named(text):
    with pytest.raises(CodeMistyped, match="mistyped"):
        codes.read_code(text)


def test_codes_cannot_be_guessed_from_one_another():
    """Neighbours in time share no more characters than chance allows."""
    drawn = [codes.new_code() for _ in range(300)]
    alike = sum(first[:3] == second[:3] for first, second in itertools.pairwise(drawn))
    assert alike <= 3  # expected 300 / 29³, about 0.01


@pytest.mark.django_db
def test_a_code_given_out_before_is_never_given_again(monkeypatch):
    used = AllottedCode.objects.create(text=codes.new_code()).text
    draws = iter([used, codes.new_code(), codes.new_code()])
    monkeypatch.setattr(allotting.codes, "new_code", lambda: next(draws))
    given_out = allotting.allot_codes(count=1)
    assert given_out != [used]
    assert AllottedCode.objects.count() == 2
