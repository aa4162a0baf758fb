"""Papers: sizes, pages and their numbers, any script, codes that scan, text and structure that programs can read."""

import io
from dataclasses import replace
from datetime import date
from random import Random

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from labels.drawing.errors import NothingToDraw
from labels.drawing.papers.composing import draw_papers
from labels.drawing.papers.contents import (
    Advice,
    CareNote,
    Certificate,
    Charge,
    EarlierPart,
    Given,
    Grown,
    Head,
    PackingList,
    Paid,
    Picture,
    Place,
    Receipt,
    Seller,
    Step,
    Sum,
    Thing,
    ToFetch,
    TradeReceipt,
    Water,
)
from labels.drawing.papers.pages import A4, LETTER, SIZES, fit_jpeg
from labels.drawing.symbol import QUIET_MODULES
from propagation import codes as plug_codes
from tests.labels import paper_reading as read

from .samples import NAMES

DAY = date(2026, 6, 15)
HEAD = Head("Sale 12", "Tidepool Corals", "Mira from the club", DAY)
BOTH = pytest.mark.parametrize("size", SIZES.values(), ids=list(SIZES))


def thing(code="K7M42QXP", lineage="Harbour Ember", **told):
    clear = f"{code[:4]}-{code[4:]}"
    told = {"latin": "Acropora millepora", "size": "25 mm", **told}
    return Thing(code=clear, lineage=lineage, address=f"HTTPS://RAMET.EXAMPLE/Q/{code}", **told)


def receipt(lines=3, **told):
    charges = [Charge(thing(), "€25.00", "€20.00", "−€5.00") for _ in range(lines)]
    return Receipt(
        **{
            "head": HEAD,
            "charges": charges,
            "sums": [Sum("Shipping", "€9.00"), Sum("To pay", "€69.00", is_main=True)],
            "payments": [Paid(DAY, "Deposit, cash", "€10.00")],
            "paid": [Sum("Paid", "€10.00")],
            "balance": Sum("Still owed", "€59.00", is_main=True),
            "remarks": ["All amounts are in Euro (EUR)."],
        }
        | told
    )


def packing(number=5, **told):
    letters = Random(7)  # the same codes each time, so that what scans once scans again
    fresh = ["".join(letters.choices(plug_codes.ALPHABET, k=8)) for _ in range(number)]
    things = [ToFetch(thing(code, **told), f"A {place}") for place, code in enumerate(fresh, 1)]
    return PackingList(HEAD, [Place("Rack A", "Bench tank", things)]), fresh


def certificate(name="Harbour Ember", picture=None, steps=1):
    line = [
        Step(date(2026, 4, 1), "This frag was cut", "from the mother colony AC-07"),
        Step(date(2024, 1, 10), "First acquired by this keeper", "as the colony AC-07"),
    ]
    return Certificate(
        HEAD,
        thing(lineage=name),
        [("How sure the identity is", "Likely"), ("Origin as recorded", "Captive-grown")],
        line * steps,
        before=[EarlierPart("As told by Old Pier", "signed on 2 Jan 2024", [Step(date(2023, 5, 1), "Cut")])],
        verify="https://ramet.example/Q/K7M42QXP",
        key=["12345", "67890"],
        picture=picture,
    )


def care_note(number=1):
    return CareNote(
        HEAD,
        [Grown(thing(), "cut 1 Apr 2026", "healed 22 Apr 2026", "180 PAR", "Bench tank") for _ in range(number)],
        [Water("Bench tank", [("Alkalinity", "8.2 dKH", DAY)])],
        [Advice("Handling", ["Gloves on."])],
    )


def trade():
    return TradeReceipt(HEAD, [Given(thing())], [Given(thing("BCD23EFG", size=""))], Sum("Cash on top", "none", True))


SELLER = Seller("Tidepool Corals", ["1 Nowhere Quay", "00000 Slackwater", "frags@tidepool.example", "No. XX 000"])
LONGEST = Seller("Ж" * 120, ["Ж" * 36] * 8 + ["Ж" * 160, "Ж" * 120])


def with_sides(seller, recipient="Mira from the club", closing=""):
    """Each paper that names both sides."""
    head = replace(HEAD, recipient=recipient)
    told = {"head": head, "seller": seller, "closing": closing}
    return [receipt(**told), replace(trade(), **told), replace(packing()[0], head=head, sender=seller)]


PAPERS = [
    receipt(),
    packing()[0],
    certificate(),
    care_note(),
    care_note(9),
    trade(),
    *with_sides(SELLER, closing="No VAT."),
    *with_sides(LONGEST),
]


def drawn(*papers, size=A4, title="Papers"):
    return draw_papers(papers, size=size, title=title)


@BOTH
@pytest.mark.parametrize("paper", PAPERS, ids=lambda paper: type(paper).__name__)
def test_every_paper_is_of_the_size_asked_for_and_keeps_its_margins(paper, size):
    sheet = drawn(paper, size=size)
    assert read.sizes_mm(sheet.pdf) == {(size.width_mm, size.height_mm)}
    with pypdfium2.PdfDocument(sheet.pdf) as document:
        for page in document:
            ink = np.array(page.render(scale=1).to_pil().convert("L")) < 200
            down, across = np.nonzero(ink)
            height, width = ink.shape
            assert 40 < across.min() < across.max() < width - 40
            assert 30 < down.min() < down.max() < height - 20


@BOTH
def test_long_lists_go_over_pages_with_their_heads_and_numbers(size):
    sheet = drawn(receipt(80), size=size)
    pages = read.texts(sheet.pdf)
    assert len(pages) == sheet.pages >= 3
    for number, page in enumerate(pages, start=1):
        assert f"{number} of {sheet.pages}" in page
        assert "Receipt · Sale 12 · Tidepool Corals" in page
    assert all("Code Coral Price Discount Amount" in page for page in pages[:-1])
    assert sum(page.count("K7M4-2QXP") for page in pages) == 80


def test_a_rack_that_goes_on_says_so_on_the_next_page():
    pages = read.texts(drawn(packing(40)[0]).pdf)
    assert "Rack A Bench tank · 40 corals" in pages[0]
    assert all("Rack A continued" in page for page in pages[1:])
    assert "In all 40 corals" in pages[-1]


def test_no_heading_of_a_rack_stands_alone_at_the_foot_of_a_page():
    for first in range(10, 18):
        things = [ToFetch(thing(), f"A {place}") for place in range(first)]
        paper = PackingList(HEAD, [Place("Rack A", "Bench tank", things), Place("Rack B", "Bench tank", things[:1])])
        for page in read.texts(drawn(paper).pdf):
            assert not page.split(" Packing list ·")[0].endswith("Rack B Bench tank · 1 coral")


@BOTH
def test_the_codes_of_a_packing_list_scan_in_the_order_they_stand(size):
    paper, fresh = packing(30)
    assert read.codes(drawn(paper, size=size).pdf) == [f"HTTPS://RAMET.EXAMPLE/Q/{code}" for code in fresh]


@pytest.mark.parametrize("host", ["R.EXAMPLE", "CORALS.OF-A-KEEPER-WITH-A-LONG-NAME.EXAMPLE:8443"])
def test_codes_scan_whatever_the_address(host):
    address = f"HTTPS://{host}/Q/K7M42QXP"
    paper = PackingList(HEAD, [Place("Rack A", "", [ToFetch(Thing("K7M4-2QXP", "Ember", address=address), "A 1")])])
    assert read.codes(drawn(paper).pdf) == [address]


@BOTH
def test_a_certificate_and_a_care_note_carry_the_code_of_their_plug(size):
    for paper in (certificate(), care_note()):
        assert read.codes(drawn(paper, size=size).pdf) == ["HTTPS://RAMET.EXAMPLE/Q/K7M42QXP"]


def test_modules_of_a_code_are_whole_dots_with_a_clear_quiet_zone():
    paper, _ = packing(1)
    dpi = 600
    with pypdfium2.PdfDocument(drawn(paper).pdf) as document:
        pixels = np.array(document[0].render(scale=dpi / 72).to_pil().convert("L")) < 128
    (found,) = zxingcpp.read_barcodes((~pixels * np.uint8(255))[::2, ::2])
    corner = found.position.top_left
    module = 10  # dots: 0.42 mm
    left, top = round(corner.x * 2 / 1), round(corner.y * 2 / 1)
    quiet = QUIET_MODULES * module - 4
    assert not pixels[top - quiet : top - 4, left - quiet : left + 25 * module + quiet].any()
    assert not pixels[top - quiet : top + 25 * module, left - quiet : left - 4].any()


@pytest.mark.parametrize("script", NAMES)
def test_names_in_any_script_print_and_can_be_read_out_again(script):
    name = NAMES[script]
    sheet = drawn(receipt(charges=[Charge(thing(lineage=name), "€1.00", "€1.00")]), certificate(name))
    assert not sheet.missing
    assert "…" not in read.text(sheet.pdf), "nothing is cut short"
    if script not in ("Arabic", "Hebrew", "Devanagari", "Bengali", "Tamil", "Khmer", "Thai", "symbols"):
        # Scripts that are reordered or joined are read out in the order of their glyphs.
        kept = "".join(read.text(sheet.pdf).split())
        assert name.replace(" ", "") in kept


def test_a_name_of_nothing_that_prints_leaves_its_place_empty():
    assert drawn(receipt(charges=[Charge(thing(lineage="\u202e\u0000", latin=""), "€1.00", "€1.00")])).pages == 1


def test_a_character_no_font_has_is_told():
    assert drawn(certificate("Odd \U00012000 one")).missing == ("\U00012000",)


def test_the_same_papers_give_the_same_bytes():
    assert drawn(*PAPERS).pdf == drawn(*PAPERS).pdf


def test_a_bundle_begins_each_paper_on_its_own_page_and_numbers_it_by_itself():
    sheet = drawn(receipt(), certificate(), care_note())
    pages = read.texts(sheet.pdf)
    assert sheet.pages == 3
    assert all("1 of 1" in page for page in pages)
    titles = ("Receipt", "Certificate of descent", "Care note")
    assert all(title in page for title, page in zip(titles, pages, strict=True))


def test_the_file_says_its_title_its_language_and_who_issued_it():
    pdf = drawn(certificate("珊瑚"), title="Certificate · 珊瑚").pdf
    told = read.metadata(pdf)
    assert (told["Title"], told["Author"], told["Subject"]) == (
        "Certificate · 珊瑚",
        "Tidepool Corals",
        "Certificate of descent",
    )
    assert read.language(pdf) == "en"


def test_screen_readers_are_told_headings_tables_and_what_a_code_is():
    pdf = drawn(packing(2)[0]).pdf
    assert read.is_tagged(pdf)
    found = read.structure(pdf)
    kinds = [kind for kind, _ in found]
    assert kinds[:2] == ["Document", "Sect"]
    assert kinds.count("H1") == 1
    assert kinds.count("TH") == 6
    assert kinds.count("TR") == 1 + 1 + 2 + 1  # heads, the rack, two rows, and the sum
    alternatives = [alt for kind, alt in found if kind == "Figure"]
    assert sum(alt.startswith("QR code of ") and "HTTPS://RAMET.EXAMPLE/Q/" in alt for alt in alternatives) == 2
    assert sum(alt.startswith("Box to tick for ") for alt in alternatives) == 2


def test_what_repeats_on_every_page_is_no_part_of_the_structure():
    pdf = drawn(receipt(80)).pdf
    assert "H1" in [kind for kind, _ in read.structure(pdf, 0)]
    later = [kind for kind, _ in read.structure(pdf, 1)]
    assert "TD" in later
    assert not {"H1", "TH"} & set(later)


def jpeg(width, height, mode="RGB", **told):
    drawn = Image.effect_noise((width, height), 60).convert(mode)
    file = io.BytesIO()
    drawn.save(file, "JPEG", **told)
    return file.getvalue()


@BOTH
@pytest.mark.parametrize("picture", [jpeg(900, 600), jpeg(300, 1200, "L"), jpeg(60, 60, "CMYK")])
def test_a_picture_stands_on_a_certificate_with_words_for_it(picture, size):
    sheet = drawn(certificate(picture=Picture(picture, "Photo of Harbour Ember")), size=size)
    assert ("Figure", "Photo of Harbour Ember") in read.structure(sheet.pdf)
    with pypdfium2.PdfDocument(sheet.pdf) as document:
        (shown,) = document[0].get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE])
        left, bottom, right, top = shown.get_bounds()
        assert max(right - left, top - bottom) == pytest.approx(46 * 72 / 25.4, abs=0.5)
    assert read.codes(sheet.pdf) == ["HTTPS://RAMET.EXAMPLE/Q/K7M42QXP"]


def test_a_picture_shown_twice_is_in_the_file_once():
    picture = Picture(jpeg(500, 500), "Photo")
    once, twice = (len(drawn(*[certificate(picture=picture)] * number).pdf) for number in (1, 2))
    assert twice - once < len(picture.jpeg) / 2


def test_a_picture_is_embedded_upright_without_what_the_camera_noted():
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "A camera that tells"  # turned by a quarter; the maker
    fitted = fit_jpeg(jpeg(400, 200, exif=exif), within=130)
    assert (fitted.width, fitted.height) == (200, 400)
    assert b"A camera that tells" not in fitted.data


def test_what_is_no_picture_is_left_out():
    assert read.text(drawn(certificate(picture=Picture(b"no picture", "Photo"))).pdf)
    assert fit_jpeg(b"", within=100) is None


def test_a_long_line_of_descent_goes_over_pages():
    pages = read.texts(drawn(certificate(steps=40), size=LETTER).pdf)
    assert len(pages) >= 3
    assert sum(page.count("First acquired by this keeper") for page in pages) == 40


def test_nothing_to_draw_is_refused():
    with pytest.raises(NothingToDraw):
        drawn()


@pytest.mark.parametrize("name", ["W" * 120, "Ember " * 20, "ꦏꦺꦴ" * 40, "珊瑚" * 60, "a" * 60 + "\u0301" * 59])
def test_the_longest_names_stay_in_their_column_and_are_whole(name):
    paper = receipt(charges=[Charge(thing(lineage=name, latin=name[:60]), "€25.00", "€20.00", "−€5.00")])
    told = read.text(drawn(paper).pdf)
    assert "…" not in told
    assert "€25.00" in told
    if name.isascii():
        assert name.replace(" ", "") in told.replace(" ", "")


# Who gives and who gets ----------------------------------------------------------------------------------------------


@BOTH
def test_who_gives_and_who_gets_stand_beside_one_another(size):
    for paper, gives, gets in zip(
        with_sides(SELLER), ("Seller", "Issued by", "Sender"), ("Buyer", "Trade with", "Recipient"), strict=True
    ):
        told = read.text(drawn(paper, size=size).pdf)
        lines = "Tidepool Corals 1 Nowhere Quay 00000 Slackwater frags@tidepool.example No. XX 000"
        assert f"{gives} {lines} {gets} Mira from the club" in told
        assert "for Mira from the club" not in told, "said once"


def test_where_nobody_said_who_gives_a_paper_says_for_whom_it_is():
    for paper in with_sides(None):
        told = read.text(drawn(paper).pdf)
        assert "for Mira from the club" in told
        assert not {"Seller", "Buyer", "Sender", "Recipient"} & set(told.split())


def test_a_name_alone_is_a_side_of_a_receipt_but_not_of_a_packing_list_whose_top_has_it():
    of_sale, _, of_packing = (read.text(drawn(paper).pdf) for paper in with_sides(Seller("Tidepool Corals")))
    assert "Seller Tidepool Corals Buyer Mira from the club" in of_sale
    assert "Sender" not in of_packing


def test_an_address_without_a_name_and_a_receipt_for_nobody_are_drawn():
    told = read.text(drawn(*with_sides(Seller(lines=["1 Nowhere Quay"]), recipient="")).pdf)
    assert told.count("1 Nowhere Quay") == 3
    assert "Buyer" not in told


def test_the_last_line_of_a_receipt_stands_before_what_is_said_of_amounts():
    of_sale, of_trade, _ = (read.text(drawn(paper).pdf) for paper in with_sides(SELLER, closing="No VAT is charged."))
    assert "No VAT is charged. All amounts are in Euro" in of_sale
    assert "No VAT is charged." in of_trade


@BOTH
def test_the_longest_sides_stay_in_their_column_and_are_whole(size):
    for paper in with_sides(LONGEST, recipient="M" * 120, closing="Ж" * 300):
        sheet = drawn(paper, size=size)
        told = read.text(sheet.pdf)
        assert "…" not in told
        closing = 0 if isinstance(paper, PackingList) else 300
        assert told.count("Ж") == 120 + 8 * 36 + 160 + 120 + closing
        with pypdfium2.PdfDocument(sheet.pdf) as document:
            ink = np.array(document[0].render(scale=1).to_pil().convert("L")) < 200
        left, right = ink[130:300, : ink.shape[1] // 2 - 4], ink[130:300, ink.shape[1] // 2 - 4 : ink.shape[1] // 2 + 4]
        assert left.any()
        assert not right.any(), "nothing of the one runs into the other"


@pytest.mark.parametrize("script", NAMES)
def test_sides_in_any_script_are_drawn_whole(script):
    name = NAMES[script]
    sheet = drawn(*with_sides(Seller(name, [name, name]), recipient=name, closing=name))
    assert not sheet.missing
    assert "…" not in read.text(sheet.pdf)


def test_lines_of_a_name_that_reads_from_the_right_all_end_at_one_edge():
    seller = Seller("אלמוג כחול", ["רחוב הדמיון הארוך מאוד", "a@b.example"])
    with pypdfium2.PdfDocument(drawn(with_sides(seller)[0]).pdf) as document:
        ink = np.array(document[0].render(scale=2).to_pil().convert("L")) < 160
    half = ink[:, : ink.shape[1] // 2]
    rows = [row for row in np.split(np.arange(len(half)), np.flatnonzero(~half.any(axis=1))) if len(row) > 6]
    ends = [np.flatnonzero(half[row].any(axis=0)).max() for row in rows]
    name = next(at for at in range(len(ends) - 2) if max(ends[at : at + 3]) - min(ends[at : at + 3]) <= 3)
    assert name, "three lines under one another end alike"


def test_screen_readers_are_told_of_sides_as_a_list_of_names_and_lines():
    found = [kind for kind, _ in read.structure(drawn(with_sides(SELLER)[0]).pdf)]
    at = found.index("L")
    assert found[at : at + 11] == ["L", "LI", "Lbl", "LBody", *["P"] * 5, "LI", "Lbl"]
    assert found.count("H1") == 1
