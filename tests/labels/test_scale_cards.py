"""The page and the command that print scale cards, and where their codes lead."""

import io
import json

import pypdfium2
import pytest
import zxingcpp
from django.core.management import call_command
from django.core.management.base import CommandError
from django.urls import reverse

from propagation.models import Preferences
from tests.factories import ColonyFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(signed_in):
    Preferences.objects.update_or_create(pk=1, defaults={"base_address": "https://ramet.example"})
    return lambda **asked: signed_in.get(reverse("scale_cards"), asked)


def codes_in(pdf):
    """What every code says, page by page."""
    return [
        [seen.text for seen in zxingcpp.read_barcodes(page.render(scale=150 / 72, grayscale=True).to_pil())]
        for page in pypdfium2.PdfDocument(io.BytesIO(pdf))
    ]


def test_a_page_of_cards_for_any_colony(page):
    answer = page(what="any", size="32", paper="a4")
    assert answer["Content-Type"] == "application/pdf"
    ((*codes,),) = codes_in(answer.content)
    assert codes == ["HTTPS://RAMET.EXAMPLE/SCALE/32"] * 8


def test_a_card_for_each_living_colony_and_for_one(page, django_assert_max_num_queries):
    colonies = ColonyFactory.create_batch(3)
    gone = ColonyFactory(ended_on="2026-01-01", end_reason="died")
    with django_assert_max_num_queries(7):
        answer = page(what="all", size="20", paper="letter")
    wanted = {f"HTTPS://RAMET.EXAMPLE/SCALE/20/{colony.code}" for colony in colonies}
    assert {code for codes in codes_in(answer.content) for code in codes} == wanted
    one = page(what="one", tag=colonies[0].tag.lower(), size="60", paper="a4")
    assert codes_in(one.content) == [[f"HTTPS://RAMET.EXAMPLE/SCALE/60/{colonies[0].code}"]]
    refused = page(what="one", tag=gone.tag, size="60", paper="a4")
    assert refused.status_code == 422
    assert gone.tag in refused.content.decode()


def test_what_is_missing_or_wrong_is_named_and_what_was_chosen_stays(page):
    answer = page(what="one", size="20", paper="letter")
    assert answer.status_code == 422
    assert "Give the tag of the colony." in answer.content.decode()
    assert answer.context["form"]["paper"].value() == "letter"
    assert page(what="one", tag="M404", size="20", paper="a4").status_code == 422
    assert page(what="any", size="900", paper="a4").status_code == 422
    nobody = page(what="all", size="20", paper="a4")
    assert nobody.status_code == 422
    assert "no living colony" in nobody.content.decode()


def test_the_colony_of_the_address_is_filled_in(page):
    assert 'value="WM1"' in page(tag="WM1").content.decode()


def test_a_scanned_card_leads_to_its_colony_or_to_where_cards_are_printed(signed_in):
    colony = ColonyFactory()
    there = signed_in.get(f"/SCALE/32/{colony.code}", follow=True)
    assert there.redirect_chain[-1][0] == reverse("colony", args=[colony.tag])
    assert signed_in.get("/SCALE/32", follow=True).redirect_chain[-1][0] == reverse("scale_cards")


def test_the_command_writes_a_card(tmp_path, capsys, page):
    colony = ColonyFactory()
    out = tmp_path / "card.pdf"
    call_command("scale_card", out=out, tag=colony.tag, size_mm="45,5", json=True)
    told = json.loads(capsys.readouterr().out)
    assert (told["colony"], told["code_mm"], told["pages"]) == (colony.tag, 45.5, 1)
    assert codes_in(out.read_bytes()) == [[f"HTTPS://RAMET.EXAMPLE/SCALE/45.5/{colony.code}"]]


@pytest.mark.parametrize(
    ("told", "named"),
    [
        ({"size_mm": "900"}, "14 to 74 mm"),
        ({"size_mm": "wide"}, "“wide” is no size"),
        ({"size_mm": "NaN"}, "14 to 74 mm"),
        ({"size_mm": "20.05"}, "tenth of a millimetre"),
        ({"tag": "M404"}, "M404"),
    ],
)
def test_the_command_names_what_is_wrong_and_writes_nothing(tmp_path, told, named):
    out = tmp_path / "card.pdf"
    with pytest.raises(CommandError, match=named):
        call_command("scale_card", out=out, **{"size_mm": "32", "tag": None, **told})
    assert not out.exists()
    with pytest.raises(CommandError, match="no folder"):
        call_command("scale_card", out=tmp_path / "nowhere" / "card.pdf")
