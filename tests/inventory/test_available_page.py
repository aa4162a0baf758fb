"""The page of offers that strangers see: who sees it, what stands on it and what never does, as words and as data."""

import json
import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils.timezone import localdate
from pyld import jsonld

from inventory.actions.hold_plugs import release_hold
from inventory.models import (
    Availability,
    Book,
    LineagePrice,
    OfferPack,
    PlugOffer,
    PlugPrice,
    SizePrice,
    Trade,
    TradeLine,
)
from propagation.models import Preferences
from propagation.throttle import forget_guesses
from tests.factories import ContactFactory, CutEventFactory, HoldFactory, LineageFactory, RackFactory, ReadyPlugFactory
from tests.inventory.sales import begun
from tests.keeper_on_papers import keep_for_papers, tells_of_it

pytestmark = pytest.mark.django_db
SCHEMA = "https://schema.org/"


@pytest.fixture(autouse=True)
def no_guesses():
    forget_guesses()


def shown(visibility="public", **told):
    Availability.objects.update_or_create(pk=1, defaults={"visibility": visibility, **told})
    return Availability.current()


def of(lineage, size=25, **fields):
    return ReadyPlugFactory(cut_event=CutEventFactory(mother__lineage=lineage), size_mm=size, **fields)


def page_of(client, query=""):
    answer = client.get(f"{reverse('available')}{query}")
    assert answer.status_code == 200
    return answer.content.decode()


def told_of(client):
    """The data in the page, as a program reads it."""
    (text,) = re.findall(r'<script type="application/ld\+json">(.*?)</script>', page_of(client), re.DOTALL)
    return json.loads(text)


def items_of(client):
    return [each["item"] for each in told_of(client)["itemListElement"]]


# -- who sees it


@pytest.mark.parametrize(
    ("visibility", "bare", "with_secret"), [("off", 404, 404), ("secret", 404, 200), ("public", 200, 404)]
)
def test_it_shows_at_one_address_or_at_none(client, visibility, bare, with_secret):
    secret = shown(visibility).secret
    assert client.get(reverse("available")).status_code == bare
    assert client.get(reverse("available_secret", args=[secret])).status_code == with_secret
    assert client.get(reverse("available_secret", args=[f"{secret[:-1]}!"])).status_code == 404
    assert client.get(reverse("available_secret", args=["ümlaut"])).status_code == 404


def test_with_nothing_set_up_there_is_nothing(client):
    assert client.get(reverse("available")).status_code == 404


def test_nothing_tells_a_secret_page_from_one_that_is_off(client):
    secret = shown("secret").secret
    while_secret = client.get(reverse("available_secret", args=["guess"])).content
    shown("off")
    assert client.get(reverse("available_secret", args=["guess"])).content == while_secret
    assert client.get(reverse("available_secret", args=[secret])).content == while_secret


def test_whoever_guesses_links_is_made_to_wait_even_if_the_last_is_right(client, settings):
    settings.CODE_GUESSES_BY_STRANGERS = "2/minute"
    secret = shown("secret").secret
    for guess in ("a", "b"):
        assert client.get(reverse("available_secret", args=[guess])).status_code == 404
    answer = client.get(reverse("available_secret", args=[secret]))
    assert answer.status_code == 429
    assert int(answer["Retry-After"]) > 0


def test_a_secret_page_is_found_by_no_search_and_its_link_is_told_to_no_other_site(client):
    answer = client.get(reverse("available_secret", args=[shown("secret").secret]))
    assert answer["X-Robots-Tag"] == "noindex, nofollow"
    assert answer["Referrer-Policy"] == "no-referrer"


# -- what stands on it


def test_nothing_to_offer_is_said(client):
    shown()
    assert "Nothing is available at the moment" in page_of(client)
    assert "Nothing is available at the moment" in page_of(client, "?as=text")
    assert told_of(client)["numberOfItems"] == 0


def test_several_alike_are_one_offer_and_what_differs_is_another(client):
    shown()
    lineage = LineageFactory(name="Harbour Ember", genus="Acropora", species="tenuis", growth_form="tabling")
    LineagePrice.objects.create(lineage=lineage, amount=25)
    SizePrice.objects.create(lineage=lineage, from_mm=40, amount=45)
    for size in (22, 28, 41, None):
        of(lineage, size)
    dear = of(lineage, 23)
    PlugPrice.objects.create(plug=dear, amount=30)
    text = page_of(client, "?as=text")
    assert "Harbour Ember, Acropora tenuis, tabling" in text
    rows = [line for line in text.splitlines() if line.startswith("- ")]
    assert rows == [
        "- 2 frags, 22 to 28 mm, €25.00 each",
        "- 1 frag, 23 mm, €30.00",
        "- 1 frag, 41 mm, €45.00",
        "- 1 frag, €25.00",
    ]
    page = page_of(client)
    assert ">2 frags</span>" in page
    assert ">22 to 28 mm</span>" in page
    assert ">€25.00 each</strong>" in page


def test_a_plug_is_offered_as_itself_or_not_at_all(client):
    shown()
    lineage = LineageFactory()
    plain, itself, withheld = of(lineage), of(lineage), of(lineage)
    PlugOffer.objects.create(plug=itself, as_itself=True, words="Two branches, <b>blue</b> tips")
    PlugOffer.objects.create(plug=withheld, withheld=True)
    page = page_of(client)
    assert "1 frag<" in page
    assert itself.code_in_clear in page
    assert "&lt;b&gt;blue&lt;/b&gt; tips" in page
    for hidden in (plain, withheld):
        assert hidden.code not in page
        assert hidden.code_in_clear not in page


def test_a_pack_is_offered_while_all_of_it_is_there(client):
    shown()
    first, second = of(LineageFactory(name="Amber Sill")), of(LineageFactory(name="Brine"))
    pack = OfferPack.objects.create(name="Two to begin with", amount=40)
    pack.plugs.set([first, second])
    text = page_of(client, "?as=text")
    assert "Pack: Two to begin with, €40.00\n- 1 × Amber Sill, 1 × Brine\n" in text
    assert "1 frag" not in text
    HoldFactory(plug=second, until=localdate())
    text = page_of(client, "?as=text")
    assert "Pack" not in text
    assert "Amber Sill" in text
    assert "Brine" not in text


def test_what_is_promised_sold_dead_or_set_aside_vanishes_at_once_and_comes_back(client):
    shown()
    plug = of(LineageFactory(name="Harbour Ember"))
    assert "Harbour Ember" in page_of(client)
    seen = client.get(reverse("available"))["ETag"]
    hold = HoldFactory(plug=plug, until=localdate() + timedelta(days=1))
    answer = client.get(reverse("available"), headers={"If-None-Match": seen})
    assert (answer.status_code, "Harbour Ember" in answer.content.decode()) == (200, False)
    release_hold(hold=hold, today=localdate())
    assert client.get(reverse("available"), headers={"If-None-Match": seen}).status_code == 304
    for change in ({"fate": "dead", "ended_on": localdate()}, {"fate": "kept", "ended_on": None, "is_insurance": True}):
        type(plug).objects.filter(pk=plug.pk).update(**change)
        assert "Harbour Ember" not in page_of(client)


def test_what_is_in_a_sale_is_not_offered(client, today):
    shown()
    sale = begun(today=localdate(), plugs=1)
    assert sale.lines.get().plug.lineage.name not in page_of(client)


def test_what_is_in_a_trade_that_stands_is_not_offered(client):
    shown()
    plug = of(LineageFactory(name="Harbour Ember"))
    trade = Trade.objects.create(contact=ContactFactory(), traded_on=localdate(), currency="EUR")
    line = TradeLine.objects.create(trade=trade, plug=plug)
    assert "Harbour Ember" not in page_of(client)
    TradeLine.objects.filter(pk=line.pk).update(cancelled_on=localdate())
    assert "Harbour Ember" in page_of(client)


def test_no_copy_is_kept_without_asking(client):
    shown()
    assert client.get(reverse("available"))["Cache-Control"] == "private, no-cache"
    assert client.get(reverse("available"), {"as": "text"})["Cache-Control"] == "private, no-cache"


def test_nothing_of_the_keepers_is_on_it(client):
    secret = shown(reach="Ask at the club", wishes="Blue tortuosa\n\n Any Stylophora ").secret
    plug = of(LineageFactory(note="bought cheap"), rack=RackFactory(name="Hidden shelf"), note="weak base")
    HoldFactory(contact__name="Mira from the club", until=localdate())
    for query in ("", "?as=text"):
        page = page_of(client, query)
        assert "Ask at the club" in page
        assert "Any Stylophora" in page
        for hidden in ("Hidden shelf", "weak base", "bought cheap", "Mira", secret, plug.code, plug.code_in_clear):
            assert hidden not in page


def test_an_address_to_reach_the_keeper_by_is_a_link(client):
    shown(reach="Write to keeper@pier.example or <b>call</b>")
    page = page_of(client)
    assert '<a href="mailto:keeper@pier.example">keeper@pier.example</a>' in page
    assert "&lt;b&gt;call&lt;/b&gt;" in page
    assert "Write to keeper@pier.example or <b>call</b>" in page_of(client, "?as=text")


def test_what_is_written_for_papers_is_not_on_it(client):
    keep_for_papers()
    shown(reach="Ask at the club")
    of(LineageFactory())
    for query in ("", "?as=text"):
        page = page_of(client, query)
        assert "Ask at the club" in page
        assert not tells_of_it(page)


def test_the_text_fits_seventy_columns(client):
    shown(headline="Word " * 20, wishes="Something rare " * 10, reach="By the long road " * 8)
    of(LineageFactory(name="Ember " * 18, genus="Acropora", species="tenuis"))
    answer = client.get(reverse("available"), {"as": "text"})
    assert answer["Content-Type"] == "text/plain; charset=utf-8"
    assert max(map(len, answer.content.decode().splitlines())) <= 70


def test_sizes_are_in_the_keepers_unit_and_prices_in_the_books_currency(client):
    Preferences.objects.create(pk=1, length_unit="inch")
    Book.objects.create(pk=1, currency="JPY")
    shown()
    LineagePrice.objects.create(lineage=of(LineageFactory(), Decimal("25.4")).lineage, amount=3000)
    assert "- 1 frag, 1 in, ¥3,000" in page_of(client, "?as=text")
    assert items_of(client)[0]["offers"]["price"] == "3000"


# -- as data


def test_a_program_finds_the_terms_of_schema_org_without_fetching_anything(client):
    def never(url, options):
        raise AssertionError(url)

    shown()
    lineage = LineageFactory(name="Harbour Ember", genus="Acropora", species="tenuis")
    LineagePrice.objects.create(lineage=lineage, amount=Decimal("1250.5"))
    of(lineage, 22), of(lineage, 28)
    (told,) = jsonld.expand(told_of(client), {"documentLoader": never})
    assert told["@type"] == [f"{SCHEMA}ItemList"]
    (item,) = told[f"{SCHEMA}itemListElement"]
    (product,) = item[f"{SCHEMA}item"]
    (offer,) = product[f"{SCHEMA}offers"]
    assert product["@type"] == [f"{SCHEMA}Product"]
    assert product[f"{SCHEMA}name"] == [{"@value": "Harbour Ember"}]
    assert offer["@type"] == [f"{SCHEMA}Offer"]
    assert offer[f"{SCHEMA}price"] == [{"@value": "1250.50"}]
    assert offer[f"{SCHEMA}priceCurrency"] == [{"@value": "EUR"}]
    assert offer[f"{SCHEMA}availability"] == [{"@id": f"{SCHEMA}InStock"}]
    assert offer[f"{SCHEMA}inventoryLevel"][0][f"{SCHEMA}value"] == [{"@value": 2}]
    size = product[f"{SCHEMA}size"][0]
    assert (size[f"{SCHEMA}minValue"], size[f"{SCHEMA}maxValue"]) == ([{"@value": 22}], [{"@value": 28}])


def test_without_a_price_none_is_told(client):
    shown()
    of(LineageFactory())
    assert not {"price", "priceCurrency"} & items_of(client)[0]["offers"].keys()
    assert "price on asking" in page_of(client)


def test_no_name_ends_the_script_element(client):
    shown()
    name = "</script><script>alert(1)</script><!--&"
    of(LineageFactory(name=name))
    page = page_of(client)
    assert items_of(client)[0]["name"] == name
    assert "<script>alert" not in page


def test_the_page_costs_six_queries_however_much_is_offered(client, django_assert_num_queries):
    shown()
    for lineage in LineageFactory.create_batch(2):
        of(lineage)
    with django_assert_num_queries(6):
        page_of(client)
    for number, lineage in enumerate(LineageFactory.create_batch(8)):
        plug = of(lineage)
        OfferPack.objects.create(name=f"Pack {number}", amount=9).plugs.set([plug])
    with django_assert_num_queries(6):
        page_of(client)
