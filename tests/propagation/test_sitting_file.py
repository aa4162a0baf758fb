"""Reading a sitting from a CSV file, as keepers' programs save it."""

from decimal import Decimal

import pytest

from propagation.actions.sitting_file import read_number, read_sitting, record_sitting_file
from propagation.errors import BadValue, RowErrors
from propagation.models import CuttingSession, Plug
from tests.factories import ColonyFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def mothers():
    return [ColonyFactory(tag="M012", lineage__frag_size_mm=Decimal(22)), ColonyFactory(tag="M013")]


def sitting(text, encoding="utf-8"):
    return read_sitting(text.encode(encoding))


def errors(text):
    with pytest.raises(RowErrors) as refusal:
        sitting(text)
    return refusal.value.errors


def test_each_row_is_one_mother(mothers):
    read = sitting(
        "mother,frags,size_mm,before,after,measure,note\nM012,8,25,180,120,diameter_mm,rim pieces\nm013,4,,,,,\n"
    )
    first, second = read.cuts
    assert (first.mother, first.frags, first.frag_size_mm) == (mothers[0], 8, 25)
    assert (first.size_before, first.size_after, first.measure) == (180, 120, "diameter_mm")
    assert first.note == "rim pieces"
    assert (second.mother, second.frags, second.measure) == (mothers[1], 4, "")
    assert read.rows == [2, 3]


def test_what_is_left_empty_is_the_usual_of_the_lineage(mothers):
    (cut,) = sitting("mother,frags,before\nM012,8,180").cuts
    assert (cut.frag_size_mm, cut.measure) == (22, "diameter_mm")


def test_a_mother_is_found_by_its_code_too(mothers):
    assert sitting(f"mother,frags\n{mothers[0].code_in_clear.lower()},8").cuts[0].mother == mothers[0]


def test_columns_stand_in_any_order_and_case(mothers):
    (cut,) = sitting(" Note ,FRAGS,Size (mm),Insurance,Reason,Mother\nlow,8,25,2,old,M012").cuts
    assert (cut.mother, cut.frags, cut.frag_size_mm, cut.insurance, cut.reason) == (mothers[0], 8, 25, 2, "old")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_any_encoding_is_read(mothers, encoding):
    (cut,) = sitting("mother;frags;note\r\nM012;8;größere Äste – oben\r\n", encoding).cuts
    assert cut.note == "größere Äste – oben"


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_any_delimiter_is_read(mothers, delimiter):
    (cut,) = sitting(delimiter.join(["mother", "frags", "size_mm"]) + "\n" + delimiter.join(["M012", "8", "25.5"])).cuts
    assert cut.frag_size_mm == Decimal("25.5")


def test_a_decimal_comma_is_read(mothers):
    assert sitting("mother;frags;size_mm\nM012;8;25,5").cuts[0].frag_size_mm == Decimal("25.5")
    assert sitting('mother,frags,size_mm\nM012,8,"25,5"').cuts[0].frag_size_mm == Decimal("25.5")


def test_a_spreadsheets_hint_blank_rows_and_lines_in_a_note_are_no_trouble(mothers):
    read = sitting('sep=;\r\nmother;frags;note\r\n;;\r\nM012;8;"one\r\ntwo"\r\n\r\nM013;4;')
    assert [cut.frags for cut in read.cuts] == [8, 4]
    assert read.rows == [4, 7]


@pytest.mark.parametrize(
    ("text", "number"),
    [("25", "25"), ("25,5", "25.5"), ("1.234,5", "1234.5"), ("1,234.5", "1234.5"), ("1 250", "1250"), ("0,25", "0.25")],
)
def test_numbers_are_read_as_people_write_them(text, number):
    assert read_number(text, places=2) == Decimal(number)


@pytest.mark.parametrize("text", ["1,234", "25 mm", "nan", "inf", "1e400000000", "2,345678", "eight", "--3"])
def test_what_is_no_clear_number_is_refused(text):
    with pytest.raises(BadValue):
        read_number(text, places=2)


def test_a_number_with_a_loose_decimal_comma_in_a_comma_file_is_named(mothers):
    ((row, _, sentence),) = errors("mother,frags,size_mm\nM012,8,25,5")
    assert row == 2
    assert "decimal comma" in sentence


def test_every_error_is_named_with_row_and_column(mothers):
    found = errors(
        "mother,frags,size_mm,before,measure\n"
        "M012,eight,25,,\n"
        "M0l3,4,25 mm,,\n"
        ",4,,,\n"
        "M013,2.5,,90,diametre_mm\n"
        "M012,,,,\n"
    )
    assert [(row, column) for row, column, _ in found] == [
        (2, "frags"),
        (3, "size_mm"),
        (3, "mother"),
        (4, "mother"),
        (5, "frags"),
        (5, "measure"),
        (6, "frags"),
    ]
    assert "M013" in found[2][2]  # the nearest tag
    assert "diameter_mm" in found[5][2]


@pytest.mark.parametrize(
    ("heading", "column", "words"),
    [
        ("mother,frag", "frag", "Did you mean frags"),
        ("mother", "frags", "missing"),
        ("mother,frags,frags", "frags", "twice"),
    ],
)
def test_a_heading_that_cannot_be_read_is_named(mothers, heading, column, words):
    found = errors(f"{heading}\nM012,8")
    assert any(row == 1 and name == column and words in sentence for row, name, sentence in found)


@pytest.mark.parametrize(
    "data", [b"", b"\n\n", b"mother,frags\n", b"\xff\xfe\x00", b"mother,frags\n" + b"M012,8\n" * 600]
)
def test_what_is_no_sitting_is_refused_with_a_sentence(data):
    with pytest.raises((BadValue, RowErrors)):
        read_sitting(data)


def test_a_picture_given_by_mistake_is_refused_with_a_sentence():
    with pytest.raises((BadValue, RowErrors)):
        read_sitting(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x01\x00" + bytes(range(256)) * 4)


def test_a_sitting_is_recorded_whole(mothers, today):
    record_sitting_file(data=b"mother,frags\nM012,8\nM013,4", cut_on=today, today=today)
    assert Plug.objects.count() == 12
    assert CuttingSession.objects.count() == 1


def test_one_bad_row_and_nothing_is_recorded_and_the_row_is_that_of_the_file(mothers, today):
    with pytest.raises(RowErrors) as refusal:
        record_sitting_file(data=b"mother,frags\n\nM012,8\nM013,0", cut_on=today, today=today)
    assert [(row, column) for row, column, _ in refusal.value.errors] == [(4, "frags")]
    assert not CuttingSession.objects.exists()


@pytest.mark.parametrize("written", ["band_saw", "Band saw", " BAND SAW "])
def test_what_a_mother_was_cut_with_is_read_in_the_trades_words(mothers, written):
    read = sitting(f"mother,frags,Cut with\nM012,8,{written}\nM013,4,\n")
    assert [cut.cut_with for cut in read.cuts] == ["band_saw", ""]


def test_a_tool_that_is_not_known_is_named_with_what_was_meant(mothers):
    ((row, column, sentence),) = errors("mother,frags,cut_with\nM012,8,bone cuters\n")
    assert (row, column) == (2, "cut_with")
    assert "“bone cuters”" in sentence
    assert "Did you mean bone_cutters?" in sentence


def test_where_the_file_does_not_say_the_tool_given_for_all_stands(mothers, today):
    data = b"mother,frags,cut_with\nM012,2,blade\nM013,1,\n"
    session = record_sitting_file(data=data, cut_on=today, today=today, cut_with="band_saw")
    assert list(session.cut_events.order_by("id").values_list("cut_with", flat=True)) == ["blade", "band_saw"]
