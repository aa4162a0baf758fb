"""The market table: looked up, sold in two steps, undone; the day's tally and what is left of what was brought."""

import io
from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
import qrcode
from django.test import Client
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.begin_sale import agree_sale
from inventory.actions.bring_to_market import bring_to_market, leave_at_home
from inventory.actions.claim import report_claim
from inventory.actions.hand_over import undo_selling_now
from inventory.actions.sell_at_market import sell_at_market
from inventory.actions.trade import trade
from inventory.errors import NearlyTheSameName, SaleToConfirm
from inventory.models import Book, Contact, LineagePrice, Payment, Sale
from inventory.models.contact import NOBODY_NAMED
from inventory.readings.availability import available_on
from inventory.readings.market import brought, tally_of
from inventory.readings.sales import against_selling
from propagation.actions.acquire import PackLine
from propagation.errors import BadValue, PlugGone
from propagation.models import Fate, Plug
from tests.factories import ColonyFactory, ContactFactory, HoldFactory, PlugFactory, RackFactory, ReadyPlugFactory
from tests.inventory.sales import begun, items_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plug():
    made = ReadyPlugFactory()
    LineagePrice.objects.create(lineage=made.lineage, amount=25)
    return made


def look_up(client, code):
    return client.get(reverse("market"), {"code": code})


def put(client, plug, price="25", **told):
    return client.post(reverse("market_put"), {"code": plug.code, "price": price} | told, follow=True)


def basket_of(client):
    return client.session.get("market", {})


def sell(client, *plugs, price="25", **told):
    form = {"plugs": [plug.code for plug in plugs], "method": "cash", "submission": basket_of(client)["submission"]}
    form |= {f"price-{plug.code}": price for plug in plugs}
    return client.post(reverse("market_sell"), form | told, follow=True)


# -- looked up


def test_a_plug_says_its_line_size_price_and_that_it_is_healed(signed_in, plug):
    page = look_up(signed_in, plug.code_in_clear.lower()).text
    for words in (plug.lineage.name, "25\u00a0mm", "Sell for €25.00", "Healed"):
        assert words in page


def test_a_scanned_address_is_as_good_as_a_code(signed_in, plug):
    assert "Sell for €25.00" in look_up(signed_in, f"https://ramet.example/s/{plug.code}").text


def test_a_mistyped_code_is_called_so_and_the_one_that_was_meant_is_offered(signed_in, plug):
    code = plug.code
    at = next(place for place in range(1, len(code)) if code[place] != code[place - 1])
    wrong = code[: at - 1] + code[at] + code[at - 1] + code[at + 1 :]  # two characters the wrong way round
    page = look_up(signed_in, wrong).text
    assert "mistyped" in page
    assert f"?code={plug.code}" in page


def test_a_code_of_nothing_is_not_found(signed_in):
    assert "There is no" in look_up(signed_in, "nothing here").text


def test_a_held_plug_says_for_whom_and_until_when(signed_in):
    hold = HoldFactory(until=localdate() + timedelta(days=3), deposit=5)
    page = look_up(signed_in, hold.plug.code).text
    assert f"{hold.contact}</a> until {hold.until.day} {hold.until:%b %Y}; €5.00 of it is paid" in page
    assert f"Sell to {hold.contact}" in page


def test_one_in_a_sale_names_the_sale_and_cannot_be_sold_here(signed_in):
    sale = agree_sale(sale=begun(today=localdate(), plugs=1), today=localdate())
    plug = sale.lines.get().plug
    page = look_up(signed_in, plug.code).text
    assert f"{sale.contact} has it in" in page
    assert "market/put" not in page
    put(signed_in, plug)
    assert not basket_of(signed_in)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"is_insurance": True}, "Set aside as a living copy"),
        ({"fate": "dead", "ended_on": localdate()}, "Dead since"),
        ({"fate": "given", "ended_on": localdate()}, "Given away since"),
    ],
)
def test_what_is_against_it_is_said(signed_in, change, words):
    assert words in look_up(signed_in, ReadyPlugFactory(**change).code).text


def test_one_that_is_not_healed_says_its_stage(signed_in):
    assert "It is fresh: fit to leave once it has healed" in look_up(signed_in, PlugFactory().code).text


def test_one_that_was_sold_or_traded_says_to_whom(signed_in):
    day, sold, traded = localdate(), ReadyPlugFactory(), ReadyPlugFactory()
    sale = sell_at_market(items=items_of(sold), today=day, buyer="Mira", is_somebody_new=True)
    made = trade(contact=sale.contact, plugs=[traded], lines=[PackLine(lineage="Given For It")], on=day, today=day)
    assert "Sold to Mira" in look_up(signed_in, sold.code).text
    assert f"trade {made.pk}" in look_up(signed_in, traded.code).text


def test_a_colony_is_sold_on_a_page_of_its_own(signed_in):
    colony = ColonyFactory()
    assert f"{reverse('sale_new')}?colonies={colony.code}" in look_up(signed_in, colony.tag).text


def test_a_picture_of_a_label_opens_its_plug(signed_in, plug):
    file = io.BytesIO()
    qrcode.make(plug.code, box_size=6, border=4).convert("L").save(file, "PNG")
    file.seek(0)
    file.name = "label.png"
    answer = signed_in.post(reverse("market_picture"), {"picture": file})
    assert answer["Location"] == f"{reverse('market')}?code={plug.code}"


def test_a_picture_of_nothing_is_refused(signed_in):
    assert "Take a picture of the label first" in signed_in.post(reverse("market_picture"), follow=True).text


# -- sold in two steps


def test_two_steps_sell_it_for_cash(signed_in, plug):
    assert "Cash taken · €25.00" in put(signed_in, plug).text
    page = sell(signed_in, plug).text
    sale = Sale.objects.get()
    assert (sale.contact.name, sale.left_on, sale.paid_on) == (NOBODY_NAMED, localdate(), localdate())
    assert Payment.objects.get().amount == 25
    assert f"market/{sale.pk}/undo/" in page
    plug.refresh_from_db()
    assert plug.fate == Fate.SOLD
    assert not basket_of(signed_in)


def test_nothing_is_kept_of_a_buyer_who_is_not_named_and_all_of_them_are_one_contact(signed_in, plug):
    other = ReadyPlugFactory()
    for each in (plug, other):
        put(signed_in, each)
        sell(signed_in, each)
    contact = Contact.objects.get()
    assert (contact.name, contact.reach, contact.note) == (NOBODY_NAMED, "", "")
    assert contact.sales.count() == 2


def test_the_price_can_be_changed_before_and_in_the_basket(signed_in, plug):
    assert "Cash taken · €20.00" in put(signed_in, plug, price="20").text
    sell(signed_in, plug, price="17,50")
    assert Payment.objects.get().amount == Decimal("17.50")


@pytest.mark.parametrize("price", ["a lot", "-3", ""])
def test_a_price_that_is_none_comes_back_as_it_was_typed(signed_in, plug, price):
    answer = put(signed_in, plug, price=price)
    assert answer.status_code == 422
    assert f'value="{price}"' in answer.text or not price
    put(signed_in, plug)
    answer = sell(signed_in, plug, price=price)
    assert answer.status_code == 422
    assert not Sale.objects.exists()
    assert basket_of(signed_in)["prices"] == {plug.code: price}


def test_several_go_to_one_buyer_in_one_sale(signed_in, plug):
    plugs = [plug, ReadyPlugFactory(), ReadyPlugFactory()]
    for each in plugs:
        page = put(signed_in, each).text
    assert "3 plugs in the basket" in page
    assert "Cash taken · €75.00" in page
    sell(signed_in, *plugs, buyer="Mira", somebody_new="on")
    sale = Sale.objects.get()
    assert (sale.contact.name, sale.lines.count()) == ("Mira", 3)


def test_all_of_it_for_a_round_sum(signed_in, plug):
    other = ReadyPlugFactory()
    put(signed_in, plug)
    put(signed_in, other)
    assert "costs 50" in sell(signed_in, plug, other, together="60").text
    sell(signed_in, plug, other, together="40")
    assert Payment.objects.get().amount == 40
    assert Sale.objects.get().discount == 10


def test_one_is_taken_out_and_what_was_typed_stays(signed_in, plug):
    other = ReadyPlugFactory()
    put(signed_in, plug)
    put(signed_in, other)
    told = {"out": plug.code, f"price-{other.code}": "12", "buyer": "Mira"}
    page = signed_in.post(reverse("market_change"), told, follow=True).text
    assert "Cash taken · €12.00" in page
    assert basket_of(signed_in)["buyer"] == "Mira"
    signed_in.post(reverse("market_change"), {"out": other.code})
    assert not basket_of(signed_in)


def test_one_put_twice_lies_there_once(signed_in, plug):
    put(signed_in, plug)
    put(signed_in, plug, price="20")
    assert basket_of(signed_in)["prices"] == {plug.code: "20"}


def test_a_name_nearly_known_is_asked_about(signed_in, plug):
    ContactFactory(name="Miranda")
    put(signed_in, plug)
    answer = sell(signed_in, plug, buyer="Mirinda")
    assert answer.status_code == 422
    assert "Miranda is a contact already" in answer.text
    sell(signed_in, plug, buyer="Mirinda", somebody_new="on")
    assert Sale.objects.get().contact.name == "Mirinda"


def test_whoever_pays_later_must_be_named(signed_in, plug):
    put(signed_in, plug)
    assert "Say who will pay for it" in sell(signed_in, plug, method="later").text
    page = sell(signed_in, plug, method="later", buyer="Mira", somebody_new="on").text
    assert "not paid yet" in page
    assert not Payment.objects.exists()


@pytest.mark.parametrize("method", ["card", "transfer"])
def test_it_may_be_paid_otherwise_and_is_not_in_the_box(signed_in, plug, method):
    put(signed_in, plug)
    sell(signed_in, plug, method=method)
    assert Payment.objects.get().method == method
    assert tally_of(localdate()).cash == {}


# -- never twice


def test_the_same_form_sent_twice_sells_once(signed_in, plug):
    put(signed_in, plug)
    submission = basket_of(signed_in)["submission"]
    sell(signed_in, plug, submission=submission)
    form = {"plugs": [plug.code], f"price-{plug.code}": "25", "method": "cash", "submission": submission}
    page = signed_in.post(reverse("market_sell"), form, follow=True).text
    assert "Sold for €25.00" in page
    assert (Sale.objects.count(), Payment.objects.count()) == (1, 1)


def test_an_old_form_sent_again_leaves_the_next_basket_alone(signed_in, plug):
    put(signed_in, plug)
    submission = basket_of(signed_in)["submission"]
    sell(signed_in, plug)
    other = ReadyPlugFactory()
    put(signed_in, other)
    sell(signed_in, plug, submission=submission)
    assert list(basket_of(signed_in)["prices"]) == [other.code]


def test_a_form_whose_sale_was_undone_sells_nothing_when_sent_again(signed_in, plug):
    put(signed_in, plug)
    submission = basket_of(signed_in)["submission"]
    sell(signed_in, plug)
    signed_in.post(reverse("market_undo", args=[Sale.objects.get().pk]))
    form = {"plugs": [plug.code], f"price-{plug.code}": "25", "method": "cash", "submission": submission}
    assert "was undone; nothing of it is sold" in signed_in.post(reverse("market_sell"), form, follow=True).text
    assert available_on(localdate()).filter(pk=plug.pk).exists()


def test_what_somebody_else_sold_meanwhile_is_named_and_nothing_is_sold(signed_in, plug):
    other = ReadyPlugFactory()
    put(signed_in, plug)
    put(signed_in, other)
    sell_at_market(items=items_of(other), today=localdate())
    answer = sell(signed_in, plug, other)
    assert f"Plug {other.code_in_clear} is sold since" in answer.text
    assert Sale.objects.count() == 1
    assert set(basket_of(signed_in)["prices"]) == {plug.code, other.code}


def test_two_tables_at_once_make_one_contact_of_nobody(at_once, today):
    plugs = ReadyPlugFactory.create_batch(4)
    Book.current()
    acts = [lambda plug=plug: sell_at_market(items=items_of(plug), today=today).contact_id for plug in plugs]
    answers = at_once(acts)
    assert len(set(answers)) == 1
    assert not isinstance(answers[0], Exception), answers[0]


def test_two_tables_at_once_sell_a_plug_once(at_once, today):
    plug = ReadyPlugFactory()
    ContactFactory(name=NOBODY_NAMED)
    answers = at_once([lambda: sell_at_market(items=items_of(plug), today=today).pk for _ in range(4)])
    assert sum(isinstance(answer, int) for answer in answers) == 1
    assert all(isinstance(answer, int) or "sold" in str(answer) for answer in answers)


# -- held, set aside, not healed


@pytest.fixture
def hold():
    return HoldFactory(until=localdate() + timedelta(days=3))


def test_a_held_plug_goes_to_whom_it_is_held_for(signed_in, hold):
    put(signed_in, hold.plug, buyer=hold.contact.name)
    assert basket_of(signed_in)["buyer"] == hold.contact.name
    sell(signed_in, hold.plug, buyer=hold.contact.name)
    assert Sale.objects.get().contact == hold.contact
    hold.refresh_from_db()
    assert hold.released_on == localdate()


def test_a_held_plug_goes_to_nobody_else_without_being_asked(signed_in, hold):
    page = put(signed_in, hold.plug).text
    assert f"is held for {hold.contact}" in page
    assert not basket_of(signed_in)


def test_a_held_plug_goes_to_somebody_else_after_a_clear_yes(signed_in, hold):
    (words,) = against_selling([hold.plug], [hold], None, localdate())
    put(signed_in, hold.plug, agreed=words)
    sell(signed_in, hold.plug, agreed=words)
    assert Sale.objects.get().contact.name == NOBODY_NAMED
    hold.refresh_from_db()
    assert "Promised to Somebody at the market" in hold.note


def test_a_hold_made_after_it_was_put_there_is_asked_about_and_the_next_tap_is_the_yes(signed_in, plug):
    put(signed_in, plug)
    hold = HoldFactory(plug=plug, until=localdate())
    answer = sell(signed_in, plug)
    assert answer.status_code == 422
    assert f"is held for {hold.contact}" in answer.text
    (words,) = answer.context["against"]
    sell(signed_in, plug, agreed=words)
    assert Sale.objects.count() == 1


def test_one_held_for_somebody_does_not_go_into_the_basket_of_another(signed_in, plug, hold):
    put(signed_in, plug)
    page = put(signed_in, hold.plug, buyer=hold.contact.name).text
    assert "what lies in the basket is for somebody who is not named" in page
    assert list(basket_of(signed_in)["prices"]) == [plug.code]


def test_another_who_was_not_named_either_is_not_the_same_person(plug, today):
    nobody = ContactFactory(name=NOBODY_NAMED)
    HoldFactory(plug=plug, contact=nobody, until=today)
    with pytest.raises(SaleToConfirm):
        sell_at_market(items=items_of(plug), today=today)


@pytest.mark.parametrize("change", [{"is_insurance": True}, {"stage": "encrusting", "healed_on": None}])
def test_insurance_and_unhealed_plugs_are_sold_only_after_a_yes(signed_in, plug, change):
    Plug.objects.filter(pk=plug.pk).update(**change)
    put(signed_in, plug)
    assert not basket_of(signed_in)
    plug.refresh_from_db()
    (words,) = against_selling([plug], [], None, localdate())
    put(signed_in, plug, agreed=words)
    sell(signed_in, plug, agreed=words)
    assert Sale.objects.count() == 1


def test_a_refusal_leaves_no_contact(plug, today):
    sell_at_market(items=items_of(plug), today=today)
    with pytest.raises(PlugGone):
        sell_at_market(items=items_of(plug), today=today, buyer="Rook", is_somebody_new=True)
    assert not Contact.objects.filter(name="Rook").exists()


def test_a_new_name_that_may_be_a_slip_is_asked_about(plug, today):
    ContactFactory(name="Miranda")
    with pytest.raises(NearlyTheSameName):
        sell_at_market(items=items_of(plug), today=today, buyer="Mirinda")


def test_nobody_named_must_pay(plug, today):
    with pytest.raises(BadValue, match="Say who will pay"):
        sell_at_market(items=items_of(plug), today=today, paid=False)


# -- undone there


def test_undo_gives_back_the_plug_its_place_and_the_cash(signed_in, plug):
    rack = RackFactory(name="Frag shelf")
    plug.rack, plug.rack_row, plug.rack_column = rack, 1, 2
    plug.save()
    put(signed_in, plug)
    sell(signed_in, plug)
    page = signed_in.post(reverse("market_undo", args=[Sale.objects.get().pk]), follow=True).text
    assert "€25.00 goes back. Its place is Frag shelf, A\u00a02, as before." in page
    plug.refresh_from_db()
    assert (plug.fate, plug.rack_column) == (Fate.KEPT, 2)
    tally = tally_of(localdate())
    assert (tally.plugs, tally.cash) == (0, {})


def test_a_claimed_sale_is_not_undone(signed_in, plug):
    day = localdate()
    sale = sell_at_market(items=items_of(plug), today=day)
    report_claim(line=sale.lines.get(), kind="dead", on=day, today=day)
    page = signed_in.post(reverse("market_undo", args=[sale.pk]), follow=True).text
    assert "There is a claim for sale" in page
    assert f"market/{sale.pk}/undo/" not in page


def test_undo_shows_after_a_reload_too(signed_in, plug):
    put(signed_in, plug)
    sell(signed_in, plug)
    address = f"market/{Sale.objects.get().pk}/undo/"
    for _ in range(2):
        assert address in signed_in.get(reverse("market")).text


# -- the day


def test_the_day_counts_plugs_and_cash(today):
    plugs = ReadyPlugFactory.create_batch(6)
    sell_at_market(items=items_of(*plugs[:2]), today=today)
    sell_at_market(items=items_of(plugs[2], price=10), today=today, method="card")
    undo_selling_now(sale=sell_at_market(items=items_of(plugs[3]), today=today), today=today)
    trade(
        contact=ContactFactory(),
        plugs=[plugs[4]],
        lines=[PackLine(lineage="Given For It")],
        on=today,
        today=today,
        cash=Decimal(-5),
    )
    sell_at_market(items=items_of(plugs[5]), today=today + timedelta(days=1))
    tally = tally_of(today)
    assert (tally.plugs, tally.taken, tally.cash) == (3, {"EUR": 60}, {"EUR": 45})


def test_what_is_left_of_what_was_brought(signed_in, plug):
    rack = RackFactory()
    Plug.objects.filter(pk=plug.pk).update(rack=rack)
    others = ReadyPlugFactory.create_batch(2, rack=rack)
    HoldFactory(plug=others[1], until=localdate())
    loose = ReadyPlugFactory()
    told = {"rack": rack.pk, "codes": f"{loose.code_in_clear}\n{plug.code}"}
    assert "3 brought" in signed_in.post(reverse("market_brought"), told, follow=True).text
    put(signed_in, plug)
    sell(signed_in, plug)
    page = signed_in.get(reverse("market"))
    assert (page.context["brought"].number, page.context["brought"].number_left) == (3, 2)
    assert f"{plug.lineage.name}: 0 of 1" in page.text
    signed_in.post(reverse("market_brought"), {"do": "over"})
    assert signed_in.get(reverse("market")).context["brought"] is None


def test_the_list_of_what_was_brought_is_one_for_every_phone_and_ends_with_the_day(signed_in, keeper, plug):
    bring_to_market(plugs=[plug], today=localdate())
    other = Client()
    other.force_login(keeper)
    told = {"codes": ReadyPlugFactory().code}
    assert "1 more brought, 2 in all." in other.post(reverse("market_brought"), told, follow=True).text
    other.logout()
    assert signed_in.get(reverse("market")).context["brought"].number == 2
    page = signed_in.post(reverse("market_brought"), {"out": plug.code}, follow=True).text
    assert f"{plug.code_in_clear} is off the list." in page
    assert "1 of 1 left" in page
    page = signed_in.post(reverse("market_brought"), {"out": plug.code}, follow=True).text
    assert "is not on the list of what was brought today" in page
    tomorrow = localdate() + timedelta(days=1)
    assert brought(tomorrow) is None
    bring_to_market(plugs=[plug], today=tomorrow)
    assert (brought(localdate()), brought(tomorrow).number) == (None, 1)


def test_what_two_bring_and_take_off_at_once_is_all_counted(at_once, today):
    plugs = ReadyPlugFactory.create_batch(6)
    bring_to_market(plugs=plugs[:1], today=today)
    acts = [lambda some=some: bring_to_market(plugs=some, today=today) for some in (plugs[:4], plugs[2:], plugs[1:])]
    answers = at_once([*acts, lambda: leave_at_home(plug=plugs[0], today=today)])
    assert not [answer for answer in answers if isinstance(answer, Exception)]
    (found,) = at_once([lambda: brought(today)])
    assert {plug.pk for plug in found.left} - {plugs[0].pk} == {plug.pk for plug in plugs[1:]}


def test_what_is_gone_is_not_brought_and_a_table_holds_so_many(signed_in, plug, monkeypatch):
    monkeypatch.setattr("inventory.actions.bring_to_market.MOST_CHOSEN", 1)
    bring_to_market(plugs=[plug, plug], today=localdate())
    answer = signed_in.post(reverse("market_brought"), {"codes": ReadyPlugFactory().code})
    assert "2 plugs are too many for one table; 1 fit." in answer.text
    sell_at_market(items=items_of(plug), today=localdate())
    answer = signed_in.post(reverse("market_brought"), {"codes": plug.code})
    assert (answer.status_code, "so it cannot be brought" in answer.text) == (422, True)


@pytest.mark.parametrize("codes", ["K7M42QXX", "", "nothing"])
def test_what_cannot_be_brought_is_named_and_what_was_typed_stays(signed_in, codes):
    answer = signed_in.post(reverse("market_brought"), {"codes": codes})
    assert answer.status_code == 422
    assert codes in answer.text


def test_ticked_plugs_of_the_ready_list_are_taken_along(signed_in, plug):
    answer = signed_in.post(reverse("ready_chosen"), {"plugs": [plug.code], "act": "market"}, follow=True)
    assert plug.code_in_clear in answer.text
    assert "Bring these" in answer.text


# -- the page


def test_htmx_gets_the_table_alone(signed_in, plug):
    answer = signed_in.get(reverse("market"), {"code": plug.code}, headers={"HX-Request": "true"})
    assert "<html" not in answer.text
    assert "Sell for €25.00" in answer.text


@pytest.mark.parametrize("number", [1, 12])
def test_the_page_costs_the_same_however_much_was_sold(signed_in, plug, number, django_assert_num_queries):
    for each in ReadyPlugFactory.create_batch(number):
        sell_at_market(items=items_of(each), today=localdate())
    put(signed_in, plug)
    another = ReadyPlugFactory()
    with django_assert_num_queries(21):
        look_up(signed_in, another.code)


@pytest.mark.parametrize("name", ["market_put", "market_sell", "market_change", "market_picture"])
def test_acts_are_only_posted(signed_in, name):
    assert signed_in.get(reverse(name)).status_code == 405


def test_an_empty_basket_sells_nothing(signed_in):
    page = signed_in.post(reverse("market_sell"), {"submission": str(uuid4())}, follow=True).text
    assert "Nothing lies in the basket" in page
    assert not Sale.objects.exists()
