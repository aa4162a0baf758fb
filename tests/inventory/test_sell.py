"""Selling: what is reserved, paid, handed over, undone and called off."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from inventory.actions.begin_sale import agree_sale, begin_sale, cancel_sale, change_sale, close_sale, reopen_sale
from inventory.actions.hand_over import hand_over, sell_now, send, undo_handing_over, undo_selling_now
from inventory.actions.hold_plugs import hold_plugs
from inventory.actions.let_go import let_go, take_back_leaving
from inventory.actions.pay_sale import refund, take_deposit, take_payment, withdraw_payment
from inventory.actions.sale_steps import SaleItem
from inventory.errors import BadAmount, MoneyToSettle, PlugInSale, PlugTraded, SaleToConfirm
from inventory.models import Book, Credit, Hold, LineagePrice, Payment, PlugPrice, Sale, SaleLine, Trade, TradeLine
from inventory.models.contact import NOBODY_NAMED
from inventory.readings.availability import available_on
from inventory.readings.sales import credit_of, history_of, owed_in_all, totals
from propagation.actions.changes import last_change
from propagation.actions.check_healing import find_dead
from propagation.actions.grow_on import grow_on
from propagation.actions.set_insurance import set_insurance
from propagation.errors import AlreadyDone, BadDate, BadValue, ChangedMeanwhile, PlugGone, PlugPromised
from propagation.models import Fate, Plug
from propagation.promises import promises_of
from tests.factories import ColonyFactory, ContactFactory, HoldFactory, PlacementFactory, PlugFactory, ReadyPlugFactory
from tests.inventory.sales import begun, items_of

pytestmark = pytest.mark.django_db


# -- beginning


def test_a_draft_reserves_its_plugs(today):
    sale = begun(today=today, plugs=2)
    plugs = [line.plug for line in sale.lines.all()]
    assert sale.state == "draft"
    assert not available_on(today).exists()
    assert promises_of(plugs)[plugs[0].pk] == f"to {sale.contact} in sale {sale.pk}"


def test_a_plug_in_a_sale_is_held_for_nobody_not_even_the_buyer(today):
    sale = begun(today=today, plugs=1)
    plug = sale.lines.get().plug
    for contact in (ContactFactory(), sale.contact):
        with pytest.raises(PlugInSale, match=f"is in sale {sale.pk} to {sale.contact}, so it cannot be held"):
            hold_plugs(plugs=[plug], contact=contact, until=today, today=today)


def test_a_plug_in_a_sale_stays_for_it(today):
    sale = begun(today=today, plugs=1)
    plug = sale.lines.get().plug
    with pytest.raises(PlugInSale, match="cannot be sold again"):
        begin_sale(contact=ContactFactory(), items=items_of(plug), today=today)
    with pytest.raises(PlugInSale, match="parted with otherwise"):
        let_go(plugs=[plug], fate="given", on=today, today=today)
    with pytest.raises(PlugPromised, match=f"in sale {sale.pk}"):
        set_insurance(plugs=[plug], set_aside=True)
    with pytest.raises(PlugPromised, match=f"in sale {sale.pk}"):
        grow_on(plug=plug, tag="G1", on=today, today=today)


def test_the_database_refuses_what_the_acts_forgot(today):
    sale = begun(today=today, plugs=1)
    plug, other = sale.lines.get().plug, Sale.objects.create(contact=ContactFactory(), currency="EUR", begun_on=today)
    gone = ReadyPlugFactory(fate=Fate.SOLD, ended_on=today)
    traded = ReadyPlugFactory()
    TradeLine.objects.create(
        trade=Trade.objects.create(contact=ContactFactory(), traded_on=today, currency="EUR"), plug=traded
    )
    for wrong in (
        lambda: SaleLine.objects.create(sale=other, plug=plug, price=1),
        lambda: SaleLine.objects.create(sale=other, plug=gone, price=1),
        lambda: SaleLine.objects.create(sale=other, plug=traded, price=1),
        lambda: SaleLine.objects.create(sale=other, colony=ColonyFactory(ended_on=today, end_reason="died"), price=1),
        lambda: HoldFactory(plug=plug),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            wrong()
    sale.lines.update(cancelled_on=today)
    with pytest.raises(IntegrityError), transaction.atomic():
        sale.lines.update(cancelled_on=None)


def test_what_is_in_a_trade_is_not_sold(today):
    plug = ReadyPlugFactory()
    trade = Trade.objects.create(contact=ContactFactory(), traded_on=today, currency="EUR")
    TradeLine.objects.create(trade=trade, plug=plug)
    with pytest.raises(PlugTraded, match=f"is in trade {trade.pk}"):
        begin_sale(contact=ContactFactory(), items=items_of(plug), today=today)


def test_a_plug_that_died_yesterday_is_not_sold(today):
    plug = ReadyPlugFactory()
    find_dead(plugs=[plug], on=today - timedelta(days=1), today=today, reason="broken")
    with pytest.raises(PlugGone, match="is dead since 14 Jun 2026, so it cannot be sold"):
        begin_sale(contact=ContactFactory(), items=items_of(plug), today=today)


def test_a_hold_that_ended_does_not_stand_in_the_way(today):
    hold = HoldFactory(until=today - timedelta(days=1))
    begin_sale(contact=ContactFactory(), items=items_of(hold.plug), today=today, confirmed=False)
    hold.refresh_from_db()
    assert (hold.released_on, hold.note) == (today, "")


def test_a_hold_of_somebody_else_is_asked_about_and_ends_when_confirmed(today):
    hold, contact = HoldFactory(until=today), ContactFactory()
    with pytest.raises(SaleToConfirm, match=f"is held for {hold.contact} until 15 Jun 2026"):
        begin_sale(contact=contact, items=items_of(hold.plug), today=today, confirmed=False)
    assert not Sale.objects.exists()
    sale = begin_sale(contact=contact, items=items_of(hold.plug), today=today)
    hold.refresh_from_db()
    assert (hold.released_on, hold.note) == (today, f"Promised to {contact} in sale {sale.pk}")


@pytest.mark.parametrize(
    ("make", "words"),
    [(lambda: ReadyPlugFactory(is_insurance=True), "set aside as insurance"), (PlugFactory, "is fresh, not healed")],
)
def test_what_should_stay_is_asked_about(today, make, words):
    plug = make()
    with pytest.raises(SaleToConfirm, match=words):
        begin_sale(contact=ContactFactory(), items=items_of(plug), today=today, confirmed=False)
    assert begin_sale(contact=ContactFactory(), items=items_of(plug), today=today)


def test_a_deposit_on_their_hold_counts_and_lies_there_no_more(today):
    hold = HoldFactory(until=today, deposit=Decimal(10))
    sale = begin_sale(contact=hold.contact, items=items_of(hold.plug), today=today, confirmed=False)
    payment = sale.payments.get()
    hold.refresh_from_db()
    assert (payment.kind, payment.amount, hold.deposit_fate) == ("deposit", 10, "counted")
    assert hold.released_on is None  # it ends when the plug leaves
    assert totals(sale).owed == 15


def test_what_has_no_price_costs_what_it_usually_costs(today):
    dear, plain, bare = ReadyPlugFactory.create_batch(3)
    PlugPrice.objects.create(plug=dear, amount=Decimal(80))
    LineagePrice.objects.create(lineage=plain.lineage, amount=Decimal(20))
    sale = begin_sale(contact=ContactFactory(), items=[SaleItem(plug=dear), SaleItem(plug=plain)], today=today)
    assert sorted(sale.lines.values_list("price", flat=True)) == [20, 80]
    with pytest.raises(BadValue, match=f"{bare.code_in_clear} has no price yet"):
        begin_sale(contact=ContactFactory(), items=[SaleItem(plug=bare)], today=today)


def test_the_same_form_sent_twice_sells_once(today):
    plug, contact, submission = ReadyPlugFactory(), ContactFactory(), uuid4()
    first, second = (
        begin_sale(contact=contact, items=items_of(plug), today=today, submission=submission) for _ in range(2)
    )
    assert first == second
    assert SaleLine.objects.count() == 1


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"discount": Decimal(26)}, "is more than all of it costs"),
        ({"discount": Decimal(-1)}, "cannot be less than nothing"),
        ({"shipping": Decimal("3.999")}, "has more digits after the point"),
        ({"shipping": Decimal("NaN")}, "cannot be right"),
        ({"percent": Decimal(101)}, "0 to 100 percent"),
        ({"note": "x" * 501}, "501 characters"),
        ({"items": []}, "Choose at least one"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(today, told, words):
    told = {"items": items_of(ReadyPlugFactory())} | told
    with pytest.raises(BadValue, match=words):
        begin_sale(contact=ContactFactory(), today=today, **told)
    assert not Sale.objects.exists()


def test_a_sale_in_the_future_is_refused(today):
    with pytest.raises(BadDate, match="lies in the future"):
        begun(today=today, on=today + timedelta(days=1))


def test_each_line_is_rounded_by_itself(today):
    """Half a cent goes up on every line: 10 % of three times 0.05 is three cents, not two."""
    sale = begun(today=today, plugs=3, price="0.05", percent=Decimal(10))
    assert totals(sale).discounts == Decimal("0.03")


def test_a_currency_without_cents_has_none(today):
    Book.objects.update_or_create(pk=1, defaults={"currency": "JPY"})
    with pytest.raises(BadAmount, match="more digits"):
        begun(today=today, price="10.5")
    sale = begun(today=today, plugs=1, price=1005, percent=Decimal(10))
    assert totals(sale).due == 904


# -- changing


def test_lines_come_and_go_while_it_has_not_left(today):
    sale = begun(today=today, plugs=2)
    first, second = (line.plug for line in sale.lines.all())
    third = ReadyPlugFactory()
    change_sale(sale=sale, items=[*items_of(first, price=30), *items_of(third)], shipping=Decimal(9), today=today)
    assert list(available_on(today)) == [second]
    assert sorted(sale.lines.standing().values_list("plug", "price")) == sorted([(first.pk, 30), (third.pk, 25)])
    sale.refresh_from_db()
    assert totals(sale).due == 64
    change_sale(sale=sale, items=items_of(first, second), today=today)  # back in
    assert sale.lines.count() == 4


def test_two_who_change_one_sale_the_second_is_told(today):
    sale = begun(today=today, plugs=2)
    plug, opened = sale.lines.first().plug, last_change(sale)
    change_sale(sale=sale, items=items_of(plug), today=today, based_on=opened)
    with pytest.raises(ChangedMeanwhile):
        change_sale(sale=sale, items=items_of(plug, price=1), today=today, based_on=opened)


def test_a_higher_price_makes_a_paid_sale_owe_again(today):
    sale = begun(today=today, plugs=1)
    agree_sale(sale=sale, today=today)
    take_payment(sale=sale, amount=Decimal(25), today=today)
    sale.refresh_from_db()
    assert sale.state == "paid"
    change_sale(sale=sale, items=items_of(sale.lines.get().plug, price=40), today=today)
    sale.refresh_from_db()
    assert (sale.state, totals(sale).owed) == ("agreed", 15)


# -- money


def test_it_is_paid_in_parts_and_never_more_than_is_owed(today):
    sale = begun(today=today, plugs=2)
    assert take_deposit(sale=sale, amount=Decimal(10), today=today).kind == "deposit"
    agree_sale(sale=sale, today=today)
    with pytest.raises(BadValue, match=r"€50\.00 is more than the €40.00 still owed"):
        take_payment(sale=sale, amount=Decimal(50), today=today)
    take_payment(sale=sale, amount=Decimal(40), today=today, method="transfer")
    sale.refresh_from_db()
    assert (sale.state, sale.paid_on) == ("paid", today)
    with pytest.raises(BadValue, match="Nothing is owed"):
        take_payment(sale=sale, amount=Decimal(1), today=today)


def test_a_payment_sent_twice_is_taken_once(today):
    sale = begun(today=today, plugs=2)
    opened = last_change(sale)
    first, second = (take_payment(sale=sale, amount=Decimal(10), today=today, based_on=opened) for _ in range(2))
    assert first == second
    with pytest.raises(ChangedMeanwhile):
        take_payment(sale=sale, amount=Decimal(11), today=today, based_on=opened)


def test_no_more_goes_back_than_came(today):
    sale = begun(today=today, plugs=1)
    take_payment(sale=sale, amount=Decimal(20), today=today)
    refund(sale=sale, amount=Decimal(5), today=today)
    with pytest.raises(BadValue, match=r"€16\.00 is more than the €15.00 that was paid"):
        refund(sale=sale, amount=Decimal(16), today=today)
    assert totals(sale).received == 15


@pytest.mark.parametrize("amount", [Decimal(0), Decimal(-5), Decimal("1.001"), Decimal("Infinity")])
def test_an_amount_that_cannot_be_is_refused(today, amount):
    sale = begun(today=today)
    for act in (take_payment, refund):
        with pytest.raises(BadValue):
            act(sale=sale, amount=amount, today=today)
    assert not Payment.objects.exists()


def test_credit_is_used_no_further_than_it_goes(today):
    sale = begun(today=today, plugs=1)
    with pytest.raises(BadValue, match="has no credit"):
        take_payment(sale=sale, amount=Decimal(5), method="credit", today=today)
    Credit.objects.create(contact=sale.contact, amount=Decimal(8), currency="EUR", on=today)
    with pytest.raises(BadValue, match=r"has €8\.00 of credit, not €9\.00"):
        take_payment(sale=sale, amount=Decimal(9), method="credit", today=today)
    payment = take_payment(sale=sale, amount=Decimal(8), method="credit", today=today)
    assert credit_of(sale.contact, "EUR") == 0
    withdraw_payment(payment=payment, today=today)
    assert credit_of(sale.contact, "EUR") == 8
    assert totals(sale).received == 0


def test_what_was_given_back_is_withdrawn_before_what_came(today):
    sale = begun(today=today, plugs=1)
    came = take_payment(sale=sale, amount=Decimal(20), today=today)
    back = refund(sale=sale, amount=Decimal(5), today=today)
    with pytest.raises(BadValue, match="was given back in part"):
        withdraw_payment(payment=came, today=today)
    withdraw_payment(payment=back, today=today)
    withdraw_payment(payment=came, today=today)
    with pytest.raises(AlreadyDone, match="withdrawn already"):
        withdraw_payment(payment=came, today=today)
    assert totals(sale).received == 0


def test_what_is_owed_in_all_counts_agreed_sales(today):
    sale = begun(today=today, plugs=2)
    assert owed_in_all() == {}
    agree_sale(sale=sale, today=today)
    take_payment(sale=sale, amount=Decimal("10.50"), today=today)
    assert owed_in_all() == {"EUR": Decimal("39.50")}


# -- leaving


def test_handing_over_ends_their_holds_and_says_what_became_of_the_plugs(today):
    hold = HoldFactory(until=today + timedelta(days=5), note="the red one")
    sale = begin_sale(contact=hold.contact, items=items_of(hold.plug), today=today)
    with pytest.raises(BadValue, match="is a draft"):
        hand_over(sale=sale, today=today)
    agree_sale(sale=sale, today=today)
    sale = hand_over(sale=sale, today=today)
    plug = sale.lines.get().plug
    hold.refresh_from_db()
    assert (plug.fate, plug.ended_on, sale.state) == ("sold", today, "handed_over")
    assert (hold.released_on, hold.note) == (today, f"the red one. Sold to {sale.contact} in sale {sale.pk}")
    assert promises_of([plug]) == {}
    assert hand_over(sale=sale, today=today).left_on == today  # twice is once
    with pytest.raises(AlreadyDone, match="was handed over on 15 Jun 2026 already"):
        send(sale=sale, today=today)


def test_what_died_meanwhile_is_taken_out_first(today):
    sale = begun(today=today, plugs=2)
    dead, alive = (line.plug for line in sale.lines.all())
    agree_sale(sale=sale, today=today)
    find_dead(plugs=[dead], on=today, today=today, reason="broken")
    with pytest.raises(AlreadyDone, match=f"Plug {dead.code_in_clear} is no longer kept: dead.*tell {sale.contact}"):
        hand_over(sale=sale, today=today)
    change_sale(sale=sale, items=items_of(alive), today=today)
    assert hand_over(sale=sale, today=today).left_on == today


def test_a_colony_is_sold_whole(today):
    colony = PlacementFactory().colony
    sale = begin_sale(contact=ContactFactory(), items=[SaleItem(colony=colony, price=Decimal(200))], today=today)
    with pytest.raises(PlugInSale, match=f"Colony {colony.tag} is in sale"):
        begin_sale(contact=ContactFactory(), items=[SaleItem(colony=colony, price=Decimal(1))], today=today)
    agree_sale(sale=sale, today=today)
    send(sale=sale, today=today)
    colony.refresh_from_db()
    assert (colony.ended_on, colony.end_reason) == (today, "sold")
    undo_handing_over(sale=sale, today=today)
    colony.refresh_from_db()
    assert colony.ended_on is None


def test_a_slip_of_today_is_undone_and_the_plugs_stay_reserved(today):
    hold = HoldFactory(until=today + timedelta(days=5))
    sale = begin_sale(contact=hold.contact, items=items_of(hold.plug), today=today)
    agree_sale(sale=sale, today=today)
    hand_over(sale=sale, today=today)
    with pytest.raises(AlreadyDone, match=f"left in sale {sale.pk}"):
        take_back_leaving(plug=hold.plug)
    sale = undo_handing_over(sale=sale, today=today)
    hold.refresh_from_db()
    assert (sale.state, hold.released_on, hold.note) == ("agreed", None, "")
    assert Plug.objects.get().is_kept
    assert not available_on(today).exists()
    with pytest.raises(AlreadyDone, match="has not left"):
        undo_handing_over(sale=sale, today=today)


def test_what_left_before_today_stays_gone(today):
    sale = begun(today=today)
    agree_sale(sale=sale, today=today)
    hand_over(sale=sale, today=today)
    with pytest.raises(AlreadyDone, match="only what was handed over today"):
        undo_handing_over(sale=sale, today=today + timedelta(days=1))


def test_what_left_is_not_changed_or_called_off(today):
    sale = begun(today=today)
    agree_sale(sale=sale, today=today)
    hand_over(sale=sale, today=today)
    for act in (lambda: change_sale(sale=sale, items=[], today=today), lambda: cancel_sale(sale=sale, today=today)):
        with pytest.raises(AlreadyDone, match="what is in it stays"):
            act()


def test_a_sale_closes_knowingly_with_something_owed(today):
    sale = begun(today=today, plugs=1)
    with pytest.raises(BadValue, match="has not left yet"):
        close_sale(sale=sale, today=today)
    agree_sale(sale=sale, today=today)
    hand_over(sale=sale, today=today)
    with pytest.raises(MoneyToSettle, match=r"€25\.00 is still owed"):
        close_sale(sale=sale, today=today, confirmed=False)
    assert close_sale(sale=sale, today=today).state == "closed"
    assert owed_in_all() == {}
    assert reopen_sale(sale=sale).state == "handed_over"


# -- calling off


def test_calling_off_frees_the_plugs_and_says_what_becomes_of_the_money(today):
    sale = begun(today=today, plugs=2)
    take_payment(sale=sale, amount=Decimal(20), today=today)
    with pytest.raises(MoneyToSettle, match=r"€20\.00 was paid"):
        cancel_sale(sale=sale, today=today)
    assert not available_on(today).exists()
    cancel_sale(sale=sale, today=today, settle="credit")
    assert available_on(today).count() == 2
    assert credit_of(sale.contact, "EUR") == 20
    assert totals(Sale.objects.get()).balance == 0
    assert cancel_sale(sale=sale, today=today).cancelled_on == today  # twice is once
    with pytest.raises(AlreadyDone, match="was called off"):
        take_payment(sale=sale, amount=Decimal(1), today=today)


def test_what_came_from_credit_goes_back_to_it(today):
    sale = begun(today=today, plugs=2)
    Credit.objects.create(contact=sale.contact, amount=Decimal(8), currency="EUR", on=today)
    take_payment(sale=sale, amount=Decimal(8), method="credit", today=today)
    take_payment(sale=sale, amount=Decimal(20), today=today)
    cancel_sale(sale=sale, today=today, settle="refund", method="transfer")
    assert credit_of(sale.contact, "EUR") == 8
    assert sorted(sale.payments.filter(kind="refund").values_list("method", "amount")) == [
        ("credit", 8),
        ("transfer", 20),
    ]


def test_whoever_is_not_named_gets_money_back_and_no_credit(today):
    nobody = ContactFactory(name=NOBODY_NAMED)
    sale = begin_sale(contact=nobody, items=items_of(ReadyPlugFactory(), price=20), today=today)
    agree_sale(sale=sale, today=today)
    take_payment(sale=sale, amount=Decimal(20), today=today)
    with pytest.raises(BadValue, match="everybody's who is not named") as refused:
        refund(sale=sale, amount=Decimal(5), method="credit", today=today)
    assert refused.value.field == "method"
    with pytest.raises(BadValue, match="everybody's who is not named") as refused:
        cancel_sale(sale=sale, today=today, settle="credit")
    assert refused.value.field == "settle"
    cancel_sale(sale=sale, today=today, settle="refund")
    assert (totals(Sale.objects.get()).received, credit_of(nobody, "EUR")) == (0, 0)


# -- at the market


def test_at_the_market_it_is_one_act_and_one_to_undo(today):
    hold = HoldFactory(until=today + timedelta(days=5), deposit=Decimal(5))
    other = ReadyPlugFactory()
    sale = sell_now(contact=hold.contact, items=items_of(hold.plug, other), today=today, confirmed=False)
    assert (sale.state, totals(sale).balance) == ("handed_over", 0)
    assert list(sale.payments.values_list("kind", "method", "amount")) == [
        ("deposit", "other", 5),
        ("payment", "cash", 45),
    ]
    undo_selling_now(sale=sale, today=today)
    sale.refresh_from_db()
    hold.refresh_from_db()
    assert (sale.state, hold.released_on) == ("cancelled", None)
    assert list(available_on(today)) == [other]
    assert credit_of(hold.contact, "EUR") == 5
    assert totals(sale).received == 0


def test_at_the_market_nothing_is_kept_of_what_fails(today):
    good, dead = ReadyPlugFactory(), ReadyPlugFactory(fate=Fate.DEAD, ended_on=today)
    with pytest.raises(PlugGone):
        sell_now(contact=ContactFactory(), items=items_of(good, dead), today=today)
    assert not Sale.objects.exists()
    assert not Payment.objects.exists()
    assert available_on(today).get() == good


def test_what_is_sold_on_credit_owes(today):
    sale = sell_now(contact=ContactFactory(), items=items_of(ReadyPlugFactory()), today=today, paid=False)
    assert (sale.left_on, sale.paid_on, totals(sale).owed) == (today, None, 25)


def test_a_sale_keeps_who_did_what(today, keeper):
    sale = sell_now(contact=ContactFactory(), items=items_of(ReadyPlugFactory()), today=today, by=keeper)
    said = " ".join(each.sentence for each in history_of(sale))
    assert "Handed over, 15 Jun 2026" in said
    assert "All of it is paid, 15 Jun 2026" in said
    assert {each.who for each in history_of(sale)} == {"keeper"}


# -- at once, and how much it takes


def test_two_who_sell_one_plug_one_wins_and_the_other_is_told(today, at_once):
    plug = ReadyPlugFactory()
    contacts = ContactFactory.create_batch(6)

    def sell(contact):
        return lambda: begin_sale(contact=contact, items=items_of(plug), today=today, confirmed=False)

    def hold(contact):
        return lambda: hold_plugs(plugs=[plug], contact=contact, until=today, today=today)

    answers = at_once([make(contact) for make, contact in zip([sell, hold] * 3, contacts, strict=True)])
    (owners,) = at_once([lambda: SaleLine.objects.count() + Hold.objects.active_on(today).count()])
    assert owners == 1
    assert sum(isinstance(answer, Exception) for answer in answers) == 5, answers


@pytest.mark.parametrize("act", ["begin", "agree", "hand over"])
def test_a_sale_of_thirty_plugs_takes_at_most_twenty_queries(today, act, django_assert_max_num_queries, keeper):
    plugs = ReadyPlugFactory.create_batch(30)
    contact = ContactFactory()
    hold_plugs(plugs=plugs, contact=contact, until=today, today=today)
    acts = {
        "begin": lambda: begin_sale(
            contact=contact, items=items_of(*plugs), today=today, submission=uuid4(), confirmed=False, by=keeper
        ),
        "agree": lambda: agree_sale(sale=Sale.objects.get(), today=today, by=keeper),
        "hand over": lambda: hand_over(sale=Sale.objects.get(), today=today, confirmed=False, by=keeper),
    }
    for name, each in acts.items():
        if name == act:
            with django_assert_max_num_queries(20):
                each()
            return
        each()
