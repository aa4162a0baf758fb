"""Any script prints: a face for every run, the right order, and lines that fit."""

import pytest

from labels.drawing.faces import CODE, DETAIL, NAME
from labels.drawing.typesetting import Typesetter, clusters, set_paragraph, tidy

from .samples import NAMES


def set_in(text, width=100.0, height=40.0, largest=12.0, smallest=5.0, most_lines=3):
    typesetter = Typesetter({NAME: [text]})
    return set_paragraph(
        typesetter,
        NAME,
        text,
        width=width,
        height=height,
        largest=largest,
        smallest=smallest,
        most_lines=most_lines,
    )


def shown(paragraph):
    """What a reader of the paragraph's glyphs sees, line by line, left to right."""
    return ["".join(_text(run) for run in line.runs) for line in paragraph.lines]


def _text(run):
    return "".join(run.font.texts.get(glyph, "") for glyph, *_ in run.glyphs)


@pytest.mark.parametrize("script", NAMES)
def test_every_script_has_glyphs(script):
    typesetter = Typesetter({style: [NAMES[script]] for style in (NAME, DETAIL, CODE)})
    for style in (NAME, DETAIL, CODE):
        line = typesetter.line(style, NAMES[script])
        assert all(glyph for run in line.runs for glyph, *_ in run.glyphs), f"{script}: a box in {style}"
    assert not typesetter.missing


def test_a_character_no_font_has_is_named_and_shown_as_a_box():
    typesetter = Typesetter({NAME: ["Odd \U00012000 one"]})
    line = typesetter.line(NAME, "Odd \U00012000 one")
    assert typesetter.missing == {"\U00012000"}
    glyphs = [(run.font, glyph) for run in line.runs for glyph, *_ in run.glyphs]
    (box,) = [font.ink(glyph) for font, glyph in glyphs if glyph == 0]
    assert box is not None
    assert box[1] - box[0] > 0.1


def test_hebrew_and_arabic_run_from_the_right_and_figures_in_them_from_the_left():
    (line,) = shown(set_in("אב 12 גד", width=500))
    assert line == "דג 12 בא"


def test_latin_inside_hebrew_keeps_its_own_order():
    (line,) = shown(set_in("אלמוג AC-3", width=500))
    assert line == "AC-3 " + "אלמוג"[::-1]


def test_arabic_letters_join():
    typesetter = Typesetter({NAME: ["بببب", "ب"]})
    joined = typesetter.line(NAME, "بببب").runs[0].glyphs
    alone = typesetter.line(NAME, "ب").runs[0].glyphs
    assert len({glyph for glyph, *_ in joined}) == 3  # first, middle twice, last
    assert alone[0][0] not in {glyph for glyph, *_ in joined}


def test_devanagari_signs_move_before_their_letter_even_after_latin():
    typesetter = Typesetter({NAME: ["AC कि"]})
    line = typesetter.line(NAME, "AC कि")
    sign, letter = line.runs[-1].glyphs[-2:]
    alone = typesetter.line(NAME, "क").runs[0].glyphs[0]
    assert letter[0] == alone[0]
    assert sign[0] != alone[0]


def test_han_characters_take_the_shapes_of_the_language_around_them():
    typesetter = Typesetter({NAME: ["直ちに", "直接", "직 直"]})
    japanese = typesetter.line(NAME, "直ちに").runs[0].font.face
    chinese = typesetter.line(NAME, "直接").runs[0].font.face
    korean = typesetter.line(NAME, "직 直").runs[-1].font.face
    assert len({japanese, chinese, korean}) == 3


@pytest.mark.parametrize("name", ["青いサンゴ礁の枝海底岩礁深海青色珊瑚礁岩", "푸른 산호 靑 枝", "青い אלמוג 海"])
def test_han_characters_alone_on_a_line_keep_the_shapes_of_their_name(name):
    paragraph = set_in(name, width=40, height=900, most_lines=40)
    faces = {run.font.face for line in paragraph.lines for run in line.runs if run.font.face.name == "NotoSansCJK"}
    assert (len(paragraph.lines) > 1, len(faces)) == (True, 1)


def test_a_short_name_is_set_at_the_largest_size_on_one_line():
    paragraph = set_in("Ember")
    assert (len(paragraph.lines), paragraph.size) == (1, 12.0)


def test_a_name_a_little_too_long_shrinks_before_it_wraps():
    paragraph = set_in("Ember Table Twenty", height=40)
    assert len(paragraph.lines) == 1
    assert 9 <= paragraph.size < 12


def test_a_longer_name_wraps_between_words():
    paragraph = set_in("Ember Table of the outer reef crest")
    assert len(paragraph.lines) > 1
    assert " ".join(shown(paragraph)) == "Ember Table of the outer reef crest"


def test_a_name_that_does_not_fit_at_all_ends_in_an_ellipsis():
    paragraph = set_in("Ember Table of the outer reef crest " * 6, height=20)
    assert paragraph.cut_short
    assert " ".join(shown(paragraph)).removesuffix("…") in "Ember Table of the outer reef crest " * 6
    assert shown(paragraph)[-1].endswith("…")
    assert paragraph.height <= 20
    assert max(line.right for line in paragraph.lines) * paragraph.size <= 100


def test_only_a_word_wider_than_the_line_is_broken():
    paragraph = set_in("Zwischenriffkantenverzweigungssteinkoralle am Rand", width=60, height=60, most_lines=4)
    lines = shown(paragraph)
    assert "".join(lines).replace(" ", "") == "ZwischenriffkantenverzweigungssteinkoralleamRand"
    assert not any(line.endswith("Ra") for line in lines)


def test_chinese_wraps_without_spaces_and_keeps_closing_marks_off_the_line_start():
    paragraph = set_in("珊瑚礁之光，深海蓝色的名字。", width=60, height=60)
    lines = shown(paragraph)
    assert len(lines) > 1
    assert not any(line[0] in "，。" for line in lines)


def test_marks_stay_with_their_letter():
    assert clusters("né") == ["n", "é"]
    assert clusters("né") == ["n", "é"]
    assert clusters("👩\u200d🔬x") == ["👩\u200d🔬", "x"]


def test_a_name_is_tidied_to_one_line_of_printable_characters():
    assert tidy("  Ember\n\tTable \u202e\u0000x ") == "Ember Table x"
    assert tidy("e\u0301") == "é"
    assert tidy("broken \ud800 half") == "broken \ufffd half"
