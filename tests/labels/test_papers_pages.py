"""Papers on pages: the keeper's card, sizes, links, file names; and what a stranger with the secret link sees."""

import re
from decimal import Decimal
from urllib.parse import unquote

import numpy as np
import pytest
import zxingcpp
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.begin_sale import agree_sale, cancel_sale
from inventory.actions.pay_sale import take_payment
from inventory.actions.trade import trade
from inventory.models import AcquisitionTerms, Safekeeping, Sale
from propagation.actions.acquire import PackLine
from propagation.models import Preferences
from propagation.throttle import forget_guesses
from tests.factories import ColonyFactory, ContactFactory, PlugFactory, RackFactory, ReadyPlugFactory
from tests.inventory.sales import begun
from tests.keeper_on_papers import FOR_PAPERS, keep_for_papers, tells_of_it
from tests.labels import paper_reading as read

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def home(settings, tmp_path):
    settings.RAMET_HOME = tmp_path
    forget_guesses()


@pytest.fixture
def today():
    return localdate()


@pytest.fixture
def sale(today):
    """A sale full of what its buyer must not see, and another one of another buyer."""
    rack = RackFactory(name="Secret rack", system__name="Bench tank")
    plug = ReadyPlugFactory(rack=rack, rack_row=1, rack_column=1, note="Secret plug note")
    AcquisitionTerms.objects.create(
        acquisition=plug.cut_event.mother.acquisition,
        contact=ContactFactory(name="Secret source"),
        amount=77,
        currency="EUR",
    )
    begun(today=today, contact=ContactFactory(name="Secret other buyer"))
    contact = ContactFactory(name="Mira", reach="0000 secret", note="Secret contact note")
    found = begun(today=today, contact=contact, note="Secret sale note")
    found.lines.create(plug=plug, price=Decimal("31.50"))
    take_payment(sale=found, amount=Decimal(10), on=today, today=today, note="Secret payment note")
    agree_sale(sale=found, today=today)
    return Sale.objects.get(pk=found.pk)


@pytest.fixture
def trade_made(today):
    lines = [PackLine(lineage="Harbour Lantern", count=2)]
    plugs = ReadyPlugFactory.create_batch(2)
    contact = ContactFactory(name="Sela")
    return trade(contact=contact, plugs=plugs, colonies=[], lines=lines, on=today, today=today, cash=Decimal(5))


def kinds(of, name):
    return [(of, name, kind) for kind in ("receipt", "packing", "certificate", "care", "all")]


# The keeper's ---------------------------------------------------------------------------------------------------------


def test_the_keeper_prints_every_paper_of_a_sale_and_a_trade(signed_in, sale, trade_made):
    for of, name, kind in [*kinds(sale, "sale_paper"), *kinds(trade_made, "trade_paper")]:
        answer = signed_in.get(reverse(name, args=[of.pk, kind]))
        assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
        assert answer["Content-Disposition"].startswith("inline; filename=")
        assert read.sizes_mm(answer.content) == {(210.0, 297.0)}


def test_the_keeper_prints_certificate_and_care_note_of_a_plug_and_a_colony(signed_in):
    plug, colony = PlugFactory(), ColonyFactory()
    for one in (plug, colony):
        for kind in ("certificate", "care", "all"):
            answer = signed_in.get(reverse("paper_of", args=[one.code, kind]))
            assert one.code_in_clear in read.text(answer.content)


def test_pages_lead_to_the_papers(signed_in, sale, trade_made):
    plug, colony = PlugFactory(), ColonyFactory()
    for of, name in ((sale, "sale"), (trade_made, "trade")):
        page = signed_in.get(reverse(name, args=[of.pk])).content.decode()
        for _, _, kind in kinds(of, name):
            assert reverse(f"{name}_paper", args=[of.pk, kind]) in page
        assert f"http://testserver{reverse('own_papers', args=[of.secret])}" in page
    for one, page in ((plug, reverse("plug", args=[plug.code])), (colony, reverse("colony", args=[colony.tag]))):
        shown = signed_in.get(page).content.decode()
        assert reverse("paper_of", args=[one.code, "certificate"]) in shown
        assert reverse("paper_of", args=[one.code, "care"]) in shown


def test_what_a_friend_keeps_can_be_given_its_papers(signed_in, today):
    plug = PlugFactory()
    kept = Safekeeping.objects.create(plug=plug, contact=ContactFactory(), since=today)
    page = signed_in.get(reverse("safekeeping_one", args=[kept.pk])).content.decode()
    assert reverse("paper_of", args=[plug.code, "certificate"]) in page
    assert reverse("paper_of", args=[plug.code, "care"]) in page


def test_the_size_of_paper_is_remembered(signed_in, sale):
    address, page = reverse("sale_paper", args=[sale.pk, "receipt"]), reverse("sale", args=[sale.pk])
    answer = signed_in.post(reverse("paper_size"), {"paper": "letter", "back": page})
    assert answer["Location"] == f"{page}#papers"
    assert read.sizes_mm(signed_in.get(address).content) == {(215.9, 279.4)}
    assert read.sizes_mm(signed_in.get(f"{address}?paper=a4").content) == {(210.0, 297.0)}
    assert 'name="paper" value="letter" aria-pressed="true"' in signed_in.get(page).content.decode()


def test_a_size_that_there_is_not_is_named_and_nothing_leads_away(signed_in, sale):
    answer = signed_in.post(reverse("paper_size"), {"paper": "b5", "back": "https://elsewhere.example/"}, follow=True)
    assert answer.redirect_chain[0][0] == reverse("sales")
    assert "choose a4 or letter" in answer.content.decode()


def test_who_thinks_in_inches_gets_letter_unless_they_choose(signed_in, sale):
    Preferences.objects.update_or_create(pk=1, defaults={"length_unit": "inch"})
    answer = signed_in.get(reverse("sale_paper", args=[sale.pk, "receipt"]))
    assert read.sizes_mm(answer.content) == {(215.9, 279.4)}


@pytest.mark.parametrize("name", ['a/b\\c "x"', "a\nb", "../../etc", "珊瑚", "مرجان", "x" * 120])
def test_a_pdf_name_with_a_slash_or_in_any_script_is_fit_for_every_system(signed_in, name):
    plug = PlugFactory(cut_event__mother__lineage__name=name)
    answer = signed_in.get(reverse("paper_of", args=[plug.code, "certificate"]))
    told = answer["Content-Disposition"]
    assert answer.status_code == 200
    assert told.isascii()
    kept = unquote(told.partition("filename*=utf-8''")[2] or told.partition("filename=")[2].strip('"'))
    assert kept.startswith(f"Certificate {plug.code_in_clear}")
    assert kept.endswith(".pdf")
    assert not set('/\\"\n\r:') & set(kept)


def test_a_paper_that_there_is_not_leads_back_with_a_sentence(signed_in, sale):
    answer = signed_in.get(reverse("sale_paper", args=[sale.pk, "passport"]), follow=True)
    assert answer.redirect_chain[-1][0] == reverse("sale", args=[sale.pk])
    assert "There is no paper “passport” of sale" in answer.content.decode()
    answer = signed_in.get(reverse("paper_of", args=["AAAAAAAA", "care"]), follow=True)
    assert answer.redirect_chain[-1][0] == reverse("trace")


def test_the_card_of_a_called_off_sale_has_its_receipt_alone(signed_in, today):
    off = cancel_sale(sale=begun(today=today), today=today)
    page = signed_in.get(reverse("sale", args=[off.pk])).content.decode()
    assert reverse("sale_paper", args=[off.pk, "receipt"]) in page
    assert reverse("sale_paper", args=[off.pk, "packing"]) not in page


def scanned(page):
    """What a phone reads in the one symbol of a page."""
    side, path = re.search(r'<svg[^>]* viewBox="0 0 (\d+) \1".*?<path d="([^"]+)"', page).groups()
    light = np.full((int(side), int(side)), 255, dtype=np.uint8)
    for column, row, width, height in np.array(re.findall(r"M(\d+) (\d+)h(\d+)v(\d+)", path), dtype=int):
        light[row : row + height, column : column + width] = 0
    return [found.text for found in zxingcpp.read_barcodes(np.kron(light, np.ones((4, 4), dtype=np.uint8)))]


def test_the_link_to_their_papers_can_be_scanned_from_the_keepers_page(signed_in, sale, trade_made):
    for base in ("", "https://reef.example"):
        Preferences.objects.update_or_create(pk=1, defaults={"base_address": base})
        for of, name in ((sale, "sale"), (trade_made, "trade")):
            page = signed_in.get(reverse(name, args=[of.pk])).content.decode()
            assert scanned(page) == [f"{base or 'http://testserver'}{reverse('own_papers', args=[of.secret])}"]
            assert 'role="img" aria-label="QR code of the link for them"' in page


# The other side's -----------------------------------------------------------------------------------------------------


def own(client, of, *rest, **query):
    names = {0: "own_papers", 1: "own_paper", 2: "own_paper_of"}
    return client.get(reverse(names[len(rest)], args=[of.secret, *rest]), query)


def test_whoever_has_the_link_sees_their_receipt_and_nothing_of_the_keepers(client, sale):
    answer = own(client, sale)
    told = answer.content.decode()
    for words in ("€31.50", "€81.50", "€71.50", "Mira", "Deposit, cash", "€10.00"):
        assert words in told
    assert "ecret" not in told.replace(sale.secret, "")
    assert "77" not in "".join(part for part in told.split() if "€" in part)
    assert answer["X-Robots-Tag"] == "noindex, nofollow"
    assert answer["Cache-Control"] == "no-store"
    assert answer["Referrer-Policy"] == "no-referrer"
    assert 'name="robots" content="noindex' in told


def test_their_papers_are_to_be_had_without_signing_in_and_tell_nothing_of_the_keepers(client, sale):
    for kind in ("receipt", "certificate", "care", "all"):
        answer = own(client, sale, kind, paper="letter")
        assert answer["Content-Type"] == "application/pdf"
        assert answer["Cache-Control"] == "no-store"
        assert read.sizes_mm(answer.content) == {(215.9, 279.4)}
        assert "ecret" not in read.text(answer.content)
    line = sale.lines.first()
    answer = own(client, sale, line.plug.code_in_clear, "certificate")
    assert read.text(answer.content).count("Certificate of descent") >= 1
    assert line.plug.code_in_clear in read.text(answer.content)


def test_the_other_side_of_a_trade_sees_theirs(client, trade_made):
    told = own(client, trade_made).content.decode()
    for words in ("Sela gave", "The keeper gave", "Harbour Lantern", "Cash on top, paid by Sela", "€5.00"):
        assert words in told
    assert own(client, trade_made, "all").status_code == 200


def test_their_page_names_who_sold_as_the_receipt_does(client, sale, trade_made):
    keep_for_papers(display_name="Tidepool Corals")
    for of, heading in ((sale, "Seller"), (trade_made, "Issued by")):
        told = own(client, of).content.decode()
        assert f">{heading}</h2>" in told
        for words in FOR_PAPERS.values():
            assert all(f"<bdi>{line}</bdi>" in told for line in words.splitlines())
        assert "Tidepool Corals" not in told


def test_where_nothing_was_written_their_page_has_no_seller(client, sale):
    told = own(client, sale).content.decode()
    assert ">Seller</h2>" not in told
    Preferences.objects.update_or_create(pk=1, defaults={"display_name": "Tidepool Corals"})
    assert "<bdi>Tidepool Corals</bdi>" in own(client, sale).content.decode()


def test_who_sold_is_told_to_nobody_without_the_right_link(client, sale, settings):
    keep_for_papers()
    settings.CODE_GUESSES_BY_STRANGERS = "2/minute;200/day"
    for wrong in (sale.secret[:-1], sale.secret.swapcase(), "x"):
        assert not tells_of_it(client.get(reverse("own_papers", args=[wrong])).content)
    assert own(client, sale).status_code == 429
    assert not tells_of_it(own(client, sale).content)


def test_their_page_has_its_link_to_pass_on_without_the_choice_of_paper(client, sale):
    told = own(client, sale, paper="letter").content.decode()
    assert f'value="http://testserver{reverse("own_papers", args=[sale.secret])}" readonly' in told


def test_nothing_else_can_be_reached_by_a_link(client, sale, today):
    other = begun(today=today, plugs=1).lines.get().plug
    unknown = client.get(reverse("own_papers", args=["unknown"]))
    pages = [
        unknown,
        own(client, sale, "packing"),
        own(client, sale, "nonsense"),
        own(client, sale, other.code, "certificate"),
        own(client, sale, sale.lines.first().plug.code, "receipt"),
        own(client, sale, "AAAAAAAA", "care"),
        client.get(reverse("own_paper", args=["unknown", "receipt"])),
    ]
    assert {page.status_code for page in pages} == {404}
    assert {page.content for page in pages} == {unknown.content}


def test_a_wrong_secret_is_answered_like_any_unknown_one(client, sale):
    wrong = [sale.secret[:-1], sale.secret + "x", sale.secret.swapcase(), "x", "-" * 32, "\0", "ü" * 32]
    pages = [client.get(f"/p/{each}/") for each in wrong if each != sale.secret]
    assert {page.status_code for page in pages} == {404}
    assert len({page.content for page in pages}) == 1
    assert "no papers at this address" in pages[0].content.decode()


def test_whoever_tries_links_has_to_wait_even_for_a_right_one(client, sale, settings):
    settings.CODE_GUESSES_BY_STRANGERS = "3/minute;200/day"
    for guess in "abc":
        assert client.get(reverse("own_papers", args=[guess])).status_code == 404
    answer = own(client, sale)
    assert answer.status_code == 429
    assert 0 < int(answer["Retry-After"]) <= 60
    assert own(client, sale, "receipt").status_code == 429


def test_a_right_link_may_be_opened_as_often_as_one_likes(client, sale, settings):
    settings.CODE_GUESSES_BY_STRANGERS = "3/minute;200/day"
    assert {own(client, sale).status_code for _ in range(6)} == {200}


def test_after_a_new_link_the_old_one_leads_nowhere(client, signed_in, sale, keeper):
    answer = signed_in.post(reverse("sale_paper_link", args=[sale.pk]), follow=True)
    assert "There is a new link" in answer.content.decode()
    assert own(client, sale).status_code == 404
    old = sale.secret
    sale.refresh_from_db()
    assert sale.secret != old
    assert own(client, sale).status_code == 200


def test_the_link_of_a_trade_is_renewed_too(client, signed_in, trade_made):
    signed_in.post(reverse("trade_paper_link", args=[trade_made.pk]))
    assert own(client, trade_made).status_code == 404


def test_a_link_is_renewed_by_a_form_alone(signed_in, sale):
    assert signed_in.get(reverse("sale_paper_link", args=[sale.pk])).status_code == 405
    assert signed_in.get(reverse("paper_size")).status_code == 405


def test_a_called_off_sale_says_so_to_its_buyer(client, today):
    off = cancel_sale(sale=begun(today=today), today=today)
    told = own(client, off).content.decode()
    assert "Called off on" in told
    assert "Nothing of it is to be paid any more." in told
    assert own(client, off, "receipt").status_code == 200
    assert own(client, off, "certificate").status_code == 404


def test_a_draft_says_so_to_its_buyer(client, today):
    assert "nothing is agreed yet" in own(client, begun(today=today)).content.decode()


def test_their_page_costs_no_more_queries_for_more_lines(client, today, django_assert_max_num_queries):
    few, many = begun(today=today, plugs=2), begun(today=today, plugs=30)
    for each in (few, many):
        with django_assert_max_num_queries(9):
            assert own(client, each).status_code == 200
