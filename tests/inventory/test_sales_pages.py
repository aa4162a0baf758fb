"""The pages of sales: from the ready list to closed, with every refusal in its place."""

from datetime import timedelta
from decimal import Decimal
from html import unescape

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.begin_sale import agree_sale, begin_sale
from inventory.actions.hand_over import hand_over, sell_now
from inventory.actions.pay_sale import take_payment
from inventory.models import Contact, Credit, LineagePrice, Payment, Sale
from inventory.readings.sales import credit_of, totals
from propagation.models import Plug
from tests.factories import ColonyFactory, ContactFactory, HoldFactory, ReadyPlugFactory
from tests.inventory.sales import items_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def today():
    """Pages play on the day it is."""
    return localdate()


@pytest.fixture
def sale(today):
    return begin_sale(contact=ContactFactory(), items=items_of(*ReadyPlugFactory.create_batch(2)), today=today)


@pytest.fixture
def agreed(sale, today):
    return agree_sale(sale=sale, today=today)


def told(*things, **more):
    """A form as the page would send it; every thing ticked, at 25.00 each."""
    codes = [thing.code for thing in things]
    prices = {f"price-{code}": "25.00" for code in codes}
    return {"offered": codes, "taken": codes, "contact_name": "Mira", "act": "save"} | prices | more


def words_of(answer) -> str:
    return answer.content.decode()


def text_of(answer) -> str:
    """What a page says, entities read."""
    return unescape(words_of(answer))


def test_from_the_ready_list_to_closed(signed_in, today):
    plugs = ReadyPlugFactory.create_batch(2)
    LineagePrice.objects.create(lineage=plugs[0].lineage, amount=Decimal(40))
    chosen = signed_in.post(reverse("ready_chosen"), {"plugs": [plug.code for plug in plugs], "act": "sell"})
    page = signed_in.get(chosen["Location"])
    assert 'value="40.00"' in words_of(page)
    made = signed_in.post(chosen["Location"], told(*plugs, shipping="4,50"))
    sale = Sale.objects.get()
    assert made["Location"] == reverse("sale", args=[sale.pk])
    assert totals(sale).due == Decimal("54.50")
    assert "It is agreed" in words_of(signed_in.get(made["Location"]))
    signed_in.post(reverse("sale_agree", args=[sale.pk]))
    assert "Take €54.50" in words_of(signed_in.get(made["Location"]))
    pay = reverse("sale_pay", args=[sale.pk])
    form = signed_in.get(pay).context["form"]
    paid = {"amount": "54,50", "method": "transfer", "day": today, "based_on": form["based_on"].value()}
    for _ in range(2):  # sent twice
        assert signed_in.post(pay, paid).status_code == 302
    assert Payment.objects.count() == 1
    left = signed_in.post(reverse("sale_hand_over", args=[sale.pk]), {"how": "sent", "day": today}, follow=True)
    assert f"Sale {sale.pk} is sent." in words_of(left)
    assert "Close the sale" in words_of(left)
    signed_in.post(reverse("sale_close", args=[sale.pk]))
    sale.refresh_from_db()
    assert sale.state == "closed"
    assert set(Plug.objects.values_list("fate", flat=True)) == {"sold"}


def test_the_same_new_sale_sent_twice_is_one(signed_in):
    plug = ReadyPlugFactory()
    address = f"{reverse('sale_new')}?plugs={plug.code}"
    submission = str(signed_in.get(address).context["form"]["submission"].value())
    answers = [signed_in.post(address, told(plug, submission=submission)) for _ in range(2)]
    assert answers[0]["Location"] == answers[1]["Location"]
    assert Sale.objects.count() == 1


def test_a_second_buyer_is_told_who_has_it(signed_in, sale):
    taken, free = sale.lines.first().plug, ReadyPlugFactory()
    answer = signed_in.post(reverse("sale_new"), told(taken, free))
    assert answer.status_code == 422
    assert f"is in sale {sale.pk} to {sale.contact}" in text_of(answer)
    assert [row.is_taken for row in answer.context["rows"]] == [False, True]
    assert not Contact.objects.filter(name="Mira").exists()


def test_a_plug_held_for_another_is_asked_about(signed_in, today):
    hold = HoldFactory(until=today)
    answer = signed_in.post(reverse("sale_new"), told(hold.plug))
    assert f"is held for {hold.contact}" in text_of(answer)
    assert 'type="checkbox" name="confirmed"' in words_of(answer)
    assert signed_in.post(reverse("sale_new"), told(hold.plug, confirmed="on")).status_code == 302


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"contact_name": ""}, "Say to whom."),
        ({"taken": []}, "Choose at least one to sell."),
        ({"discount": "110 %"}, "100 % is the most"),
        ({"discount": "many"}, "is no amount"),
        ({"discount": "26"}, "is more than all of it costs"),
        ({"shipping": "-1"}, "cannot be less than nothing"),
        ({"note": "x" * 501}, "501 characters; 500 fit"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_lost(signed_in, more, words):
    plug = ReadyPlugFactory()
    answer = signed_in.post(reverse("sale_new"), told(plug) | {"note": "by the door"} | more)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert 'value="25.00"' in words_of(answer)
    assert not Sale.objects.exists()


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [("price", "", "Say what it costs"), ("price", "1.2.3", "is no amount"), ("less", "30", "is more than its price")],
)
def test_a_wrong_amount_of_a_line_is_said(signed_in, field, value, words):
    plug = ReadyPlugFactory()
    answer = signed_in.post(reverse("sale_new"), told(plug) | {f"{field}-{plug.code}": value})
    assert answer.status_code == 422
    assert words in text_of(answer)


def test_a_discount_in_percent_is_taken_off_each_line(signed_in):
    plugs = ReadyPlugFactory.create_batch(2)
    signed_in.post(reverse("sale_new"), told(*plugs, discount="10 %"))
    assert totals(Sale.objects.get()).due == 45


def test_nothing_chosen_leads_to_the_ready_list(signed_in):
    assert signed_in.get(reverse("sale_new"))["Location"] == reverse("ready")
    answer = signed_in.get(reverse("sale_new"), {"plugs": "K7M42QXQ"}, follow=True)
    assert "There is no plug or colony" in text_of(answer)


def test_more_is_added_by_code_before_it_is_saved(signed_in):
    plug, more, colony = ReadyPlugFactory(), ReadyPlugFactory(), ColonyFactory()
    LineagePrice.objects.create(lineage=more.lineage, amount=Decimal(40))
    answer = signed_in.post(
        reverse("sale_new"), told(plug, act="add", add=f"{more.code_in_clear}, {colony.tag}", note="by the door")
    )
    assert answer.status_code == 200
    assert [row.thing for row in answer.context["rows"]] == [plug, more, colony]
    assert answer.context["rows"][1].price.value() == "40.00"
    assert answer.context["form"]["note"].value() == "by the door"
    assert not Sale.objects.exists()
    made = signed_in.post(reverse("sale_new"), told(plug, more, colony), follow=True)
    assert "the whole colony" in words_of(made)


@pytest.mark.parametrize("act", ["add", "save"])
def test_a_code_that_is_none_loses_nothing_of_what_was_typed(signed_in, sale, act):
    plug = ReadyPlugFactory()
    for address in (reverse("sale_new"), reverse("sale_change", args=[sale.pk])):
        answer = signed_in.post(address, told(plug, act=act, add="K7M42QXX", note="by the door"))
        assert "There is no plug or colony “K7M42QXX”" in text_of(answer)
        assert 'value="K7M42QXX"' in words_of(answer)
        assert 'value="by the door"' in words_of(answer)
    assert Sale.objects.get() == sale


def test_a_form_that_began_a_sale_does_not_drop_what_is_added_to_it_later(signed_in):
    plug, more = ReadyPlugFactory.create_batch(2)
    submission = str(signed_in.get(f"{reverse('sale_new')}?plugs={plug.code}").context["form"]["submission"].value())
    signed_in.post(reverse("sale_new"), told(plug, submission=submission))
    answer = signed_in.post(reverse("sale_new"), told(plug, more, submission=submission))
    assert answer.status_code == 422
    assert f"Sale {Sale.objects.get().pk} to Mira was begun with this form already" in text_of(answer)


@pytest.mark.parametrize(("method", "owed"), [("cash", 0), ("card", 0), ("later", 25)])
def test_at_the_market_it_is_one_tap_and_one_to_undo(signed_in, method, owed):
    plug = ReadyPlugFactory()
    answer = signed_in.post(reverse("sale_new"), told(plug, act="now", method=method), follow=True)
    sale = Sale.objects.get()
    assert f"Sale {sale.pk} to Mira is handed over." in words_of(answer)
    assert totals(sale).owed == owed
    assert "Undo the whole sale" in words_of(answer)
    signed_in.post(reverse("sale_undo_now", args=[sale.pk]))
    plug.refresh_from_db()
    sale.refresh_from_db()
    assert (plug.fate, sale.state, totals(sale).received) == ("kept", "cancelled", 0)


def test_a_sale_is_changed_in_place(signed_in, sale):
    first, second = (line.plug for line in sale.lines.order_by("id"))
    page = signed_in.get(reverse("sale_change", args=[sale.pk]))
    opened = page.context["form"]["based_on"].value()
    data = told(first, second, based_on=opened) | {"taken": [first.code], f"less-{first.code}": "5"}
    answer = signed_in.post(reverse("sale_change", args=[sale.pk]), data, follow=True)
    assert f"Sale {sale.pk} is changed." in words_of(answer)
    assert totals(sale).due == 20
    again = signed_in.post(reverse("sale_change", args=[sale.pk]), data)
    assert "was changed by somebody else" in words_of(again)


def test_more_than_is_owed_is_refused_beside_the_amount(signed_in, agreed, today):
    pay = reverse("sale_pay", args=[agreed.pk])
    for amount, words in (
        ("60", "is more than the €50.00 still owed"),
        ("0", "nothing is no payment"),
        ("", "how much"),
    ):
        answer = signed_in.post(pay, {"amount": amount, "method": "cash", "day": today})
        assert answer.status_code == 422
        assert words in text_of(answer)
    assert answer.context["form"].errors["amount"]


def test_their_credit_is_offered_where_there_is_some(signed_in, agreed, today):
    pay = reverse("sale_pay", args=[agreed.pk])
    assert "From their credit" not in words_of(signed_in.get(pay))
    Credit.objects.create(contact=agreed.contact, amount=Decimal(8), currency="EUR", on=today)
    assert "From their credit of €8.00" in words_of(signed_in.get(pay))
    signed_in.post(pay, {"amount": "8", "method": "credit", "day": today})
    assert credit_of(agreed.contact, "EUR") == 0


def test_no_more_goes_back_than_came(signed_in, agreed, today):
    back = reverse("sale_refund", args=[agreed.pk])
    assert signed_in.get(back).status_code == 302  # nothing was paid
    take_payment(sale=agreed, amount=Decimal(20), today=today)
    answer = signed_in.post(back, {"amount": "21", "method": "cash", "day": today})
    assert "is more than the €20.00 that was paid" in text_of(answer)
    signed_in.post(back, {"amount": "20", "method": "credit", "day": today})
    assert credit_of(agreed.contact, "EUR") == 20


def test_a_payment_written_by_mistake_is_withdrawn(signed_in, agreed, today):
    payment = take_payment(sale=agreed, amount=Decimal(20), today=today)
    answer = signed_in.post(reverse("payment_withdraw", args=[payment.pk]), follow=True)
    assert "counts no more" in words_of(answer)
    answer = signed_in.post(reverse("payment_withdraw", args=[payment.pk]), follow=True)
    assert "was withdrawn already" in words_of(answer)


def test_calling_off_says_what_becomes_of_the_money(signed_in, agreed, today):
    take_payment(sale=agreed, amount=Decimal(20), today=today)
    address = reverse("sale_cancel", args=[agreed.pk])
    assert "€20.00 was paid" in words_of(signed_in.get(address))
    assert "Say what becomes of the money." in words_of(signed_in.post(address, {"act": "cancel"}))
    answer = signed_in.post(address, {"settle": "refund", "method": "cash"}, follow=True)
    assert "is called off" in words_of(answer)
    assert totals(agreed).received == 0


def test_a_sale_with_nothing_paid_is_called_off_at_once(signed_in, sale):
    answer = signed_in.post(reverse("sale_cancel", args=[sale.pk]), {"act": "cancel"}, follow=True)
    assert "what it reserved is free again" in words_of(answer)
    for name in ("sale_cancel", "sale_change", "sale_hand_over", "sale_pay"):
        assert signed_in.get(reverse(name, args=[sale.pk])).status_code == 302


def test_what_is_owed_is_let_go_only_knowingly(signed_in, agreed, today):
    hand_over(sale=agreed, today=today)
    address = reverse("sale_close", args=[agreed.pk])
    assert "€50.00 is still owed" in text_of(signed_in.get(address))
    assert signed_in.post(address).status_code == 422
    assert "is closed" in words_of(signed_in.post(address, {"confirmed": "on"}, follow=True))
    assert "is open again" in words_of(signed_in.post(reverse("sale_reopen", args=[agreed.pk]), follow=True))


def test_a_draft_is_not_handed_over(signed_in, sale, today):
    answer = signed_in.post(reverse("sale_hand_over", args=[sale.pk]), {"how": "sent", "day": today})
    assert "is a draft; agree on it first" in words_of(answer)


def test_what_died_is_told_on_the_page(signed_in, sale):
    plug = sale.lines.first().plug
    Plug.objects.filter(pk=plug.pk).update(fate="dead", ended_on=localdate())
    page = words_of(signed_in.get(reverse("sale", args=[sale.pk])))
    assert f"{plug.code_in_clear} is dead" in page
    form = signed_in.get(reverse("sale_change", args=[sale.pk])).context["form"]
    assert plug.code not in form.taken


def test_the_list_shows_what_is_open_and_what_is_owed(signed_in, sale, today):
    assert "No sale yet" not in words_of(signed_in.get(reverse("sales")))
    sold = sell_now(contact=ContactFactory(), items=items_of(ReadyPlugFactory()), today=today)
    owing = sell_now(contact=ContactFactory(), items=items_of(ReadyPlugFactory()), today=today, paid=False)
    for state, shown in {
        "open": {sale, owing},
        "draft": {sale},
        "left": {sold},
        "owed": {owing},
        "closed": set(),
    }.items():
        page = signed_in.get(reverse("sales"), {"state": state})
        assert {each for each, _ in page.context["rows"]} == shown, state
    assert "€25.00 owed in all" in words_of(page)
    for text in (sold.contact.name, f"sale {sold.pk}", str(sold.pk)):
        found = signed_in.get(reverse("sales"), {"state": "all", "q": text}).context["rows"]
        assert sold in [each for each, _ in found]


def test_no_sale_yet_says_where_to_begin(signed_in):
    assert "No sale yet" in words_of(signed_in.get(reverse("sales")))


def test_the_list_takes_as_many_queries_whatever_it_shows(signed_in, today, django_assert_max_num_queries):
    for contact in ContactFactory.create_batch(12):
        begin_sale(contact=contact, items=items_of(*ReadyPlugFactory.create_batch(2)), today=today)
    with django_assert_max_num_queries(12):
        signed_in.get(reverse("sales"))


def test_handing_over_thirty_plugs_by_the_page_takes_at_most_twenty_queries(
    signed_in, today, django_assert_max_num_queries
):
    sale = begin_sale(contact=ContactFactory(), items=items_of(*ReadyPlugFactory.create_batch(30)), today=today)
    agree_sale(sale=sale, today=today)
    with django_assert_max_num_queries(20):
        signed_in.post(reverse("sale_hand_over", args=[sale.pk]), {"how": "handed_over", "day": today})
    sale.refresh_from_db()
    assert sale.left_on == today


def test_a_contact_a_plug_and_a_hold_know_of_the_sale(signed_in, sale, today):
    plug = sale.lines.first().plug
    assert f"Sale {sale.pk}" in words_of(signed_in.get(reverse("contact", args=[sale.contact_id])))
    assert f"is promised to {sale.contact} in sale {sale.pk}" in words_of(
        signed_in.get(reverse("plug", args=[plug.code]))
    )
    assert f"in sale {sale.pk}" in words_of(signed_in.get(f"{reverse('hold_many')}?plugs={plug.code}"))
    hold = HoldFactory(until=today + timedelta(days=3))
    assert f"plugs={hold.plug.code}&amp;contact=" in words_of(signed_in.get(reverse("holds")))


def test_what_left_in_a_sale_leads_back_to_it(signed_in, agreed, today):
    hand_over(sale=agreed, today=today)
    plug = agreed.lines.first().plug
    page = words_of(signed_in.get(reverse("plug_left", args=[plug.code])))
    assert reverse("sale", args=[agreed.pk]) in page
    assert "It did not leave" not in page
    answer = signed_in.post(reverse("plug_left_take_back", args=[plug.code]), follow=True)
    assert f"left in sale {agreed.pk}" in words_of(answer)


def test_whoever_scans_a_code_learns_nothing_of_the_sale(client, sale):
    plug = sale.lines.first().plug
    page = words_of(client.get(reverse("scan", args=[plug.code])))
    assert sale.contact.name not in page
    assert f"sale {sale.pk}" not in page
