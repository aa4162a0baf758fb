"""Finding a plug or a colony by what is typed or scanned."""

import pytest

from propagation import codes
from propagation.errors import CodeMistyped, NothingFound
from propagation.readings.find import code_in, find_colony, find_lineage, find_plug, find_plug_or_colony, find_rack
from tests.factories import ColonyFactory, LineageFactory, PlugFactory, RackFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("written", ["{code}", "{clear}", "{lower}", "HTTPS://RAMET.EXAMPLE/Q/{code}", "/q/{lower}/"])
def test_a_plug_is_found_by_its_code_however_written(written):
    plug = PlugFactory()
    text = written.format(code=plug.code, clear=plug.code_in_clear, lower=plug.code.lower())
    assert find_plug(text) == plug
    assert find_plug_or_colony(text) == plug


def test_a_failed_check_character_says_mistyped():
    plug = PlugFactory()
    slip = plug.code[:-1] + next(c for c in codes.ALPHABET if c != plug.code[-1])
    with pytest.raises(CodeMistyped, match="mistyped"):
        find_plug(slip)
    with pytest.raises(CodeMistyped, match="mistyped"):
        find_plug_or_colony(slip)


def test_an_unknown_code_says_so():
    with pytest.raises(NothingFound, match="no plug"):
        find_plug(codes.new_code())


def test_a_colony_is_found_by_tag_or_code():
    colony = ColonyFactory(tag="LF2")
    assert find_colony("lf2") == find_colony(colony.code_in_clear) == find_plug_or_colony("LF2") == colony


def test_an_unknown_tag_suggests_near_ones():
    ColonyFactory(tag="LF12")
    with pytest.raises(NothingFound, match="Did you mean LF12"):
        find_colony("LF-12")


def test_lineages_and_racks_suggest_near_ones_too():
    LineageFactory(name="Pewter Ninepin")
    RackFactory(name="Rack A")
    with pytest.raises(NothingFound, match="Did you mean Pewter Ninepin"):
        find_lineage("Peuter Ninepin")
    with pytest.raises(NothingFound, match="Did you mean Rack A"):
        find_rack("Rak A")


@pytest.mark.parametrize("text", ["", "/", "///", "https://", "%00", "🪸" * 50])
def test_nonsense_is_answered_with_a_sentence(text):
    with pytest.raises((NothingFound, CodeMistyped)):
        find_plug_or_colony(text)
    assert isinstance(code_in(text), str)
