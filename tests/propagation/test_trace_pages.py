"""The pages of a line of descent."""

import io
import json
import re

import pytest
import qrcode
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from tests.factories import AcquisitionFactory, ColonyFactory, CutEventFactory, LineageFactory, PlugFactory

pytestmark = pytest.mark.django_db


def text(answer):
    return answer.content.decode()


def page(code):
    return reverse("trace_plug", args=[code])


def picture(*codes):
    bench = Image.new("L", (1400, 700), 150)
    for number, code in enumerate(codes):
        symbol = qrcode.make(f"HTTPS://REEF.EXAMPLE/Q/{code}", box_size=6, border=4).convert("L")
        bench.paste(symbol, (60 + 400 * number, 150))
    file = io.BytesIO()
    bench.save(file, "JPEG")
    return SimpleUploadedFile("label.jpg", file.getvalue(), "image/jpeg")


# The search


def test_without_records_the_search_says_how_to_begin(signed_in):
    assert reverse("acquire") in text(signed_in.get(reverse("trace")))


@pytest.mark.parametrize("write", [str, str.lower, lambda code: f"{code[:4]}-{code[4:]}"])
def test_a_code_opens_its_line_at_once(signed_in, write):
    plug = PlugFactory()
    answer = signed_in.get(reverse("trace"), {"q": write(plug.code)})
    assert answer["Location"] == page(plug.code)


def test_a_scanned_address_opens_its_line(signed_in):
    plug = PlugFactory()
    answer = signed_in.get(reverse("trace"), {"q": f"HTTPS://REEF.EXAMPLE/Q/{plug.code}"})
    assert answer["Location"] == page(plug.code)


def test_a_tag_opens_its_line_at_once(signed_in):
    colony = ColonyFactory(tag="KS-4")
    assert signed_in.get(reverse("trace"), {"q": "ks-4"})["Location"] == page(colony.code)


def test_the_name_of_a_line_with_one_colony_opens_it(signed_in):
    colony = ColonyFactory(lineage__name="Sunburst")  # as long as a code
    assert signed_in.get(reverse("trace"), {"q": "sunburst"})["Location"] == page(colony.code)


def test_a_name_that_several_answer_to_lists_them(signed_in):
    lineage = LineageFactory(name="Harbour Lamp")
    colonies = ColonyFactory.create_batch(3, lineage=lineage)
    plug = PlugFactory(acquisition=AcquisitionFactory(lineage=lineage))
    answer = text(signed_in.get(reverse("trace"), {"q": "lamp"}))
    assert all(page(one.code) in answer for one in [*colonies, plug])


def test_a_mistyped_code_is_called_mistyped_and_kept_in_the_box(signed_in):
    plug = PlugFactory()
    wrong = ("2" if plug.code[0] != "2" else "3") + plug.code[1:]
    answer = signed_in.get(reverse("trace"), {"q": wrong})
    assert answer.status_code == 404
    assert "Mistyped" in text(answer)
    assert f'value="{wrong}"' in text(answer)


def test_near_tags_and_names_are_offered(signed_in):
    ColonyFactory(tag="KS-4", lineage__name="Thimble Orchard")
    assert "?q=KS-4" in text(signed_in.get(reverse("trace"), {"q": "KS-5"}))
    assert "?q=Thimble%20Orchard" in text(signed_in.get(reverse("trace"), {"q": "Timble Orchid"}))


# The picture of a label


def test_a_picture_of_a_label_opens_its_line(signed_in):
    plug = PlugFactory()
    answer = signed_in.post(reverse("read_picture"), {"picture": picture(plug.code)})
    assert answer["Location"] == page(plug.code)


def test_a_picture_of_several_labels_lists_them(signed_in):
    plug, colony = PlugFactory(), ColonyFactory()
    answer = text(signed_in.post(reverse("read_picture"), {"picture": picture(plug.code, colony.code)}))
    assert page(plug.code) in answer
    assert page(colony.code) in answer


@pytest.mark.parametrize(
    ("upload", "says"),
    [
        (lambda: {}, "Take a picture"),
        (lambda: {"picture": SimpleUploadedFile("notes.txt", b"hello")}, "not a picture"),
        (lambda: {"picture": picture()}, "no readable code"),
        (lambda: {"picture": picture("22222226")}, "There is no plug or colony|not from a label"),
    ],
)
def test_what_is_wrong_with_a_picture_is_said(signed_in, upload, says):
    answer = signed_in.post(reverse("read_picture"), upload(), follow=True)
    assert re.search(says, text(answer))


def test_a_picture_is_only_read_by_post(signed_in):
    assert signed_in.get(reverse("read_picture")).status_code == 405


# The line


def test_the_page_shows_the_thread_the_tree_and_its_table(signed_in):
    plug = PlugFactory(fate="grown_on", ended_on="2026-06-01")
    child = ColonyFactory(grown_from=plug, lineage=plug.lineage, tag="M-NEXT")
    answer = signed_in.get(page(child.code))
    told = text(answer)
    titles = [event["title"] for event in answer.context["steps"]]
    mother = plug.cut_event.mother
    assert titles == [f"Plug {plug.code_in_clear}", "Cut", f"Colony {mother.tag}", "Bought"]
    assert told.count('class="family-tree"') == 2  # for a phone and for a wide page
    assert "As a table" in told
    assert [row[0] for row in answer.context["rows"]] == [
        "Bought",
        f"Colony: {mother.tag}",
        "Cut 1 Apr 2026",
        "Colony: M-NEXT",
    ]


def test_a_code_in_small_letters_or_a_tag_works_in_the_address(signed_in):
    colony = ColonyFactory(tag="ks4")
    assert signed_in.get(page(colony.code.lower())).status_code == 200
    assert signed_in.get(page("KS4")).status_code == 200


def test_an_unknown_code_in_the_address_leads_to_the_search(signed_in):
    answer = signed_in.get(page("NOPE"))
    assert answer["Location"] == f"{reverse('trace')}?q=NOPE"


def test_the_page_costs_the_same_however_long_the_line(signed_in, django_assert_max_num_queries):
    event = CutEventFactory(frags=30)
    plugs = PlugFactory.create_batch(30, cut_event=event)
    with django_assert_max_num_queries(9):
        signed_in.get(page(plugs[0].code))
    with django_assert_max_num_queries(9):
        signed_in.get(page(event.mother.code))


def test_the_same_line_as_json(signed_in):
    plug = PlugFactory()
    answer = signed_in.get(reverse("trace_json", args=[plug.code]))
    told = json.loads(answer.content)
    assert told["code"] == plug.code_in_clear
    assert [step["kind"] for step in told["ancestors"]] == ["cut", "colony", "acquisition"]


def test_the_tree_as_a_picture_of_its_own(signed_in):
    colony = ColonyFactory(tag="<M&1>")
    answer = signed_in.get(reverse("trace_svg", args=[colony.code]))
    assert answer["Content-Type"] == "image/svg+xml"
    assert "style-src 'sha256-" in answer["Content-Security-Policy"]
    assert "&lt;M&amp;1&gt;" in text(answer)


def test_a_nonsense_page_of_a_tree_is_the_first(signed_in):
    colony = ColonyFactory()
    for skip in ("-1", "x", "9" * 30, "²"):
        assert signed_in.get(page(colony.code), {"skip": skip}).status_code == 200
