"""Keeping the page of offers: who sees it, its words, how single plugs are offered, and packs."""

from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.offer_frags import end_pack, make_pack, offer_plug, set_availability
from inventory.errors import BadAmount
from inventory.models import Availability, OfferPack, PlugOffer
from inventory.readings.offers import offers_on
from propagation.errors import AlreadyDone, BadValue, PlugGone
from propagation.throttle import forget_guesses
from tests.factories import HoldFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db
WORDS = {"headline": "From the long bench", "wishes": "Any Stylophora\n\n  Brown  table ", "reach": "At the club"}


@pytest.fixture(autouse=True)
def no_guesses():
    forget_guesses()


def page_of(client):
    answer = client.get(reverse("offers"))
    assert answer.status_code == 200
    return answer.content.decode()


# -- who sees it


def test_it_begins_switched_off_and_says_so(signed_in):
    page = page_of(signed_in)
    assert "Nobody sees it" in page
    assert "No pack is offered" in page
    assert "Every plug is offered as one of several alike" in page


def test_it_is_shown_to_whoever_has_the_link_and_the_link_is_renewed(signed_in, client):
    signed_in.post(reverse("offers"), {"visibility": "secret", **WORDS})
    kept = Availability.current()
    assert (kept.headline, kept.wishes, kept.reach) == (
        "From the long bench",
        "Any Stylophora\nBrown table",
        "At the club",
    )
    before = reverse("available_secret", args=[kept.secret])
    assert f"http://testserver{before}" in page_of(signed_in)
    assert client.get(before).status_code == 200
    signed_in.post(reverse("offers_renew"))
    after = reverse("available_secret", args=[Availability.current().secret])
    assert (client.get(before).status_code, client.get(after).status_code) == (404, 200)
    assert Availability.current().headline == "From the long bench"


def test_it_is_switched_to_everybody_and_off_again(signed_in, client):
    for visibility, status in (("public", 200), ("off", 404)):
        signed_in.post(reverse("offers"), {"visibility": visibility})
        assert client.get(reverse("available")).status_code == status


@pytest.mark.parametrize(
    ("sent", "field", "words"),
    [
        ({}, "visibility", "Choose one"),
        ({"visibility": "all"}, "visibility", "Choose one of these"),
        ({"visibility": "off", "headline": "x" * 121}, "headline", "121 characters; 120 fit"),
        ({"visibility": "off", "wishes": "y" * 201}, "wishes", "200 fit"),
        ({"visibility": "off", "wishes": "y\n" * 51}, "wishes", "51 wishes are too many"),
    ],
)
def test_what_cannot_be_is_named_at_its_field_and_nothing_is_lost(signed_in, sent, field, words):
    answer = signed_in.post(reverse("offers"), {"reach": "At the club", **sent})
    assert answer.status_code == 422
    assert words in str(answer.context["form"].errors[field])
    assert "At the club" in answer.content.decode()
    assert not Availability.objects.exists()


def test_the_secret_is_renewed_by_a_button_only(signed_in):
    assert signed_in.get(reverse("offers_renew")).status_code == 405


def test_an_unknown_visibility_is_refused():
    with pytest.raises(BadValue, match="nobody, whoever has the link, or everybody"):
        set_availability(visibility="some")


# -- one plug


@pytest.mark.parametrize(
    ("how", "told", "codes"),
    [("itself", (True, False), True), ("withheld", (False, True), None), ("alike", (False, False), True)],
)
def test_a_plug_is_offered_differently_and_the_history_tells_by_whom(signed_in, keeper, how, told, codes):
    plug = ReadyPlugFactory()
    signed_in.post(reverse("plug_offer", args=[plug.code]), {"how": how, "words": "Blue tips"})
    offer = PlugOffer.objects.get(plug=plug)
    assert (offer.as_itself, offer.withheld, offer.words) == (*told, "Blue tips")
    assert offer.history.get().history_user == keeper
    lines = offers_on(localdate()).lines
    assert [bool(each.code_in_clear) for line in lines for each in line.offers] == ([codes] if codes else [])
    assert f"{plug.code_in_clear}</span> {plug.lineage}" in page_of(signed_in)
    page = signed_in.get(reverse("plug_offer", args=[plug.code])).content.decode()
    assert "Blue tips" in page


def test_a_plug_that_is_offered_like_all_others_leaves_no_trace():
    offer_plug(plug=ReadyPlugFactory())
    assert not PlugOffer.objects.exists()


def test_what_cannot_be_offered_is_refused(signed_in):
    gone = ReadyPlugFactory(fate="sold", ended_on=localdate())
    with pytest.raises(PlugGone, match=gone.code_in_clear):
        offer_plug(plug=gone, as_itself=True)
    with pytest.raises(BadValue, match="choose one"):
        offer_plug(plug=ReadyPlugFactory(), as_itself=True, withheld=True)
    answer = signed_in.post(reverse("plug_offer", args=[ReadyPlugFactory().code]), {"words": "Blue tips"})
    assert answer.status_code == 422
    assert 'value="Blue tips"' in answer.content.decode()
    assert not PlugOffer.objects.exists()


# -- packs


def pack_sent(*plugs, **told):
    return {"name": "Two to begin with", "plugs": " ".join(p.code_in_clear for p in plugs), "amount": "40"} | told


def test_a_pack_is_made_from_codes_and_ended(signed_in, keeper):
    plugs = ReadyPlugFactory.create_batch(2)
    signed_in.post(reverse("pack_new"), pack_sent(*plugs, amount="40,50", words="Easy ones"))
    pack = OfferPack.objects.get()
    assert (pack.amount, pack.words, set(pack.plugs.all())) == (Decimal("40.5"), "Easy ones", set(plugs))
    assert pack.history.get().history_user == keeper
    assert "€40.50" in page_of(signed_in)
    assert [each.name for each in offers_on(localdate()).packs] == ["Two to begin with"]
    signed_in.post(reverse("pack_end", args=[pack.pk]))
    assert not offers_on(localdate()).packs
    assert "No pack is offered" in page_of(signed_in)
    again = signed_in.post(reverse("pack_end", args=[pack.pk]), follow=True)
    assert "was ended already" in again.content.decode()


def test_a_pack_that_is_not_whole_says_what_is_missing(signed_in):
    plugs = ReadyPlugFactory.create_batch(2)
    make_pack(name="Two", amount=Decimal(40), plugs=plugs)
    assert "Not shown" not in page_of(signed_in)
    HoldFactory(plug=plugs[1], until=localdate())
    assert f"{plugs[1].code_in_clear} is not to be had" in " ".join(page_of(signed_in).split())


@pytest.mark.parametrize(
    ("told", "field", "words"),
    [
        ({"name": ""}, "name", "Give the pack a name"),
        ({"amount": ""}, "amount", "Say what the pack costs"),
        ({"amount": "dear"}, "amount", "is no amount"),
        ({"plugs": ""}, "plugs", "at least two plugs"),
        ({"plugs": "ABCDEFGH"}, "plugs", "ABCD"),
    ],
)
def test_what_keeps_a_pack_from_being_made_is_named_and_nothing_is_lost(signed_in, told, field, words):
    plugs = ReadyPlugFactory.create_batch(2)
    answer = signed_in.post(reverse("pack_new"), pack_sent(*plugs, words="Easy ones", **told))
    assert answer.status_code == 422
    assert words in str(answer.context["form"].errors[field])
    assert 'value="Easy ones"' in answer.content.decode()
    assert not OfferPack.objects.exists()


def test_a_plug_is_in_one_pack_and_a_name_is_of_one_pack():
    first, second, third, fourth = ReadyPlugFactory.create_batch(4)
    pack = make_pack(name="Two", amount=Decimal(40), plugs=[first, second])
    with pytest.raises(BadValue, match=f"{second.code_in_clear} is in the pack “Two”"):
        make_pack(name="Others", amount=Decimal(40), plugs=[second, third])
    with pytest.raises(BadValue, match="choose another name"):
        make_pack(name="TWO", amount=Decimal(40), plugs=[third, fourth])
    with pytest.raises(BadValue, match="at least two"):
        make_pack(name="One", amount=Decimal(40), plugs=[third])
    with pytest.raises(BadAmount):
        make_pack(name="Odd", amount=Decimal("1.234"), plugs=[third, fourth])
    end_pack(pack=pack, today=localdate())
    with pytest.raises(AlreadyDone):
        end_pack(pack=pack, today=localdate())
    make_pack(name="Two", amount=Decimal(40), plugs=[first, third])
    assert OfferPack.objects.count() == 2


def test_the_page_costs_the_same_queries_however_many_packs(signed_in, django_assert_max_num_queries):
    def pack(number):
        plugs = ReadyPlugFactory.create_batch(2)
        make_pack(name=f"Pack {number}", amount=Decimal(9), plugs=plugs)
        offer_plug(plug=plugs[0], as_itself=True)

    pack(0)
    with django_assert_max_num_queries(13):
        page_of(signed_in)
    for number in range(1, 6):
        pack(number)
    with django_assert_max_num_queries(13):
        page_of(signed_in)
