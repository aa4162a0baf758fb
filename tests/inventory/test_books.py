"""What each line and each mother cost and gave, and when it paid for itself."""

from datetime import date
from decimal import Decimal

import pytest
from django.utils.timezone import localdate

from inventory.actions.acquire_from import Deal, PricedLine, acquire_pack_from
from inventory.actions.claim import report_claim, settle_claim
from inventory.actions.hand_over import sell_now
from inventory.actions.sale_steps import SaleItem
from inventory.actions.trade import cancel_trade, trade
from inventory.earnings import money_of_sales, share_by_cost
from inventory.models import AcquisitionTerms, Payment, Sale, SaleLine
from inventory.readings.books import PaidBack, book_of, books, pay_back
from propagation.actions.acquire import PackLine
from propagation.models import Acquisition, Colony, Plug
from tests.factories import (
    AcquisitionFactory,
    ColonyFactory,
    ContactFactory,
    CutEventFactory,
    HoldFactory,
    PlugFactory,
    ReadyPlugFactory,
)

pytestmark = pytest.mark.django_db


def bought(amount, *, on=date(2025, 1, 10), kind=Acquisition.Kind.BOUGHT, **colony):
    """A mother that cost so much; None where it was not written down."""
    mother = ColonyFactory(acquired_on=on, **colony)
    Acquisition.objects.filter(pk=mother.acquisition_id).update(kind=kind)
    AcquisitionTerms.objects.create(
        acquisition=mother.acquisition, amount=amount, currency="" if amount is None else "EUR"
    )
    return mother


def frag_of(mother):
    event = mother.cut_events.first() or CutEventFactory(mother=mother)
    return ReadyPlugFactory(cut_event=event)


def sold(*things, price, on, paid=True, contact=None):
    items = [
        SaleItem(plug=thing, price=Decimal(price))
        if isinstance(thing, Plug)
        else SaleItem(colony=thing, price=Decimal(price))
        for thing in things
    ]
    return sell_now(contact=contact or ContactFactory(), items=items, today=on, on=on, paid=paid)


def account_of(lineage, today, **told):
    return next(line.account for line in books(today, **told).lines if line.lineage == lineage)


# -- the day it paid for itself


def test_the_day_worked_out_by_hand():
    """40 paid on 10 January; frags for 25 on 1 March and 15 on 5 May, of which 10 go back on 9 May; 30 on 2 August.

    Balance by day: −40, −15, 0, −10, +20. It stood at nothing for four days, and above it for good from 2 August.
    """
    costs = [(date(2025, 1, 10), Decimal(40))]
    money = [
        (date(2025, 3, 1), Decimal(25)),
        (date(2025, 5, 5), Decimal(15)),
        (date(2025, 5, 9), Decimal(-10)),
        (date(2025, 8, 2), Decimal(30)),
    ]
    assert pay_back(costs, money[:1]).to_go == 15
    assert pay_back(costs, money[:2]).on == date(2025, 5, 5)
    assert pay_back(costs, money[:3]).state == PaidBack.NOT_YET
    assert pay_back(costs, money[:3]).to_go == 10
    assert pay_back(costs, money).on == date(2025, 8, 2)


def test_what_is_bought_later_counts_from_its_day_on():
    costs = [(date(2025, 1, 1), Decimal(10)), (date(2025, 6, 1), Decimal(30))]
    money = [(date(2025, 2, 1), Decimal(20)), (date(2025, 7, 1), Decimal(20))]
    assert pay_back(costs, money[:1]).to_go == 20
    assert pay_back(costs, money).on == date(2025, 7, 1)


def test_what_happens_on_one_day_counts_together():
    day = date(2025, 1, 1)
    assert pay_back([(day, Decimal(10))], [(day, Decimal(10))]).on == day


def test_without_a_cost_nothing_is_to_be_paid_back(today):
    assert pay_back([(today, Decimal(0))], [(today, Decimal(50))]).state == PaidBack.NOTHING_PAID
    assert pay_back([], []).state == PaidBack.NOTHING_PAID


def test_a_cost_that_is_not_known_names_no_day(today):
    found = pay_back([(today, Decimal(5)), (today, None)], [(today, Decimal(500))])
    assert (found.state, found.on, found.unknown) == (PaidBack.UNKNOWN, None, 1)


# -- cost


def test_a_line_says_how_much_is_to_go(today):
    mother = bought(40)
    sold(frag_of(mother), price=28, on=today)
    account = account_of(mother.lineage, today)
    assert account.pay_back_words == "Not yet: €12.00 to go"
    assert (account.cost, account.came_in, account.left_over) == (40, 28, -12)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("bought", "What it cost is not known"),
        ("found", "What it cost is not known"),
        ("gift", "Nothing was paid for it"),
    ],
)
def test_without_an_amount_a_gift_cost_nothing_and_what_was_bought_is_not_known(today, kind, words):
    mother = bought(None, kind=kind)
    assert account_of(mother.lineage, today).pay_back_words == words


def test_the_cost_of_a_pack_is_shared_out_over_its_lines(today):
    acquire_pack_from(
        deal=Deal(today, amount=Decimal(100)),
        name="Club table",
        lines=[
            PricedLine(PackLine("Quarry Ember", is_colony=True, tag="Q1"), Decimal(40)),
            PricedLine(PackLine("Quarry Moss", count=3)),
        ],
        today=today,
    )
    costs = {line.lineage.name: line.account.cost for line in books(today).lines}
    assert costs == {"Quarry Ember": 40, "Quarry Moss": 60}


def test_corals_of_one_acquisition_cost_the_same(today):
    acquisition = AcquisitionFactory()
    AcquisitionTerms.objects.create(acquisition=acquisition, amount=10, currency="EUR")
    mothers = [ColonyFactory(lineage=acquisition.lineage, acquisition=acquisition) for _ in range(2)]
    grown_on = ReadyPlugFactory(acquisition=acquisition, fate="grown_on", ended_on=date(2024, 6, 1))
    mothers.append(ColonyFactory(lineage=acquisition.lineage, grown_from=grown_on))
    book = book_of(acquisition.lineage, today)
    costs = {mother.colony.pk: mother.account.cost for mother in book.mothers}
    assert sorted(costs.values()) == [Decimal("3.33"), Decimal("3.33"), Decimal("3.34")]
    assert book.of_no_mother.cost == 0
    assert book.account.cost == 10


def test_a_mother_grown_from_an_own_frag_cost_nothing(today):
    mother = bought(40)
    plug = PlugFactory(cut_event=CutEventFactory(mother=mother), fate="grown_on", ended_on=date(2026, 5, 31))
    daughter = ColonyFactory(lineage=mother.lineage, grown_from=plug)
    book = {each.colony: each for each in book_of(mother.lineage, today).mothers}
    assert book[daughter].account.cost == 0
    assert book[daughter].origin == f"Grown from a frag of {mother.tag}"
    assert book[mother].account.cost == 40


def test_what_came_in_a_trade_cost_the_cash_on_top_and_no_price_is_made_up(today):
    mother = bought(40)
    made = trade(
        contact=ContactFactory(),
        plugs=[frag_of(mother)],
        lines=[PackLine("Harbour Lantern", count=3), PackLine("Harbour Lamp", is_colony=True, tag="T1")],
        on=today,
        today=today,
        cash=Decimal(-8),
    )
    by_name = {line.lineage.name: line.account for line in books(today).lines}
    assert by_name["Harbour Lantern"].cost == 6  # three of the four corals that came
    assert by_name["Harbour Lamp"].cost == 2
    (cost,) = book_of(Colony.objects.get(tag="T1").lineage, today).costs
    assert (cost.trade, cost.amount) == (made.pk, 2)
    assert cost.traded_for == f"1 {mother.lineage}"
    cancel_trade(trade=made, today=localdate())
    by_name = {line.lineage.name: line.account for line in books(today).lines}
    assert by_name["Harbour Lantern"].cost == by_name["Harbour Lamp"].cost == 0


def test_cash_on_top_of_a_trade_falls_alike_on_what_was_given(today):
    one, two = bought(10), bought(10)
    trade(
        contact=ContactFactory(),
        plugs=[frag_of(one)],
        colonies=[two],
        lines=[PackLine("Harbour Lantern")],
        on=today,
        today=today,
        cash=Decimal("5.01"),
    )
    amounts = sorted(account_of(mother.lineage, today).from_trades for mother in (one, two))
    assert amounts == [Decimal("2.50"), Decimal("2.51")]
    (mother,) = book_of(two.lineage, today).mothers
    assert mother.account.came_in in amounts


# -- what it gave


def test_frags_are_counted_by_where_they_are_now(today, keeper):
    mother = bought(40)
    event = CutEventFactory(mother=mother, frags=9)
    PlugFactory(cut_event=event)
    PlugFactory(cut_event=event, fate="dead", ended_on=today)
    PlugFactory(cut_event=event, fate="dead", ended_on=today, stage="sealed")
    PlugFactory(cut_event=event, fate="void", ended_on=today)
    PlugFactory(cut_event=event, fate="given", ended_on=today)
    PlugFactory(cut_event=event, fate="sold", ended_on=today)
    _, kept_for = ReadyPlugFactory.create_batch(2, cut_event=event)
    HoldFactory(plug=kept_for, until=today)
    sold(frag_of(mother), price=10, on=today)
    frags = account_of(mother.lineage, today).frags
    assert (frags.cut, frags.kept, frags.dead, frags.sold, frags.given) == (8, 3, 2, 2, 1)
    assert frags.lost_words == "1 fresh, 1 sealed"
    assert (frags.for_sale, frags.held, frags.sold_without_sale) == (1, 1, 1)
    (in_book,) = book_of(mother.lineage, today).mothers
    assert in_book.account.frags == frags


def test_money_comes_in_on_the_day_it_is_received_and_what_is_owed_has_not_come(today):
    mother = bought(5)
    sale = sold(frag_of(mother), price=20, on=today, paid=False)
    account = account_of(mother.lineage, today)
    assert (account.came_in, account.owed) == (0, 20)
    Payment.objects.create(sale=sale, amount=8, paid_on=date(2026, 6, 20))
    account = account_of(mother.lineage, today)
    assert (account.came_in, account.owed) == (8, 12)
    assert account.pay_back.on == date(2026, 6, 20)


def test_credit_for_a_claim_is_taken_off_what_came_in(today):
    mother = bought(5)
    sale = sold(frag_of(mother), frag_of(mother), price=20, on=today)
    claim = report_claim(line=sale.lines.first(), kind="dead", on=today, today=today)
    settle_claim(claim=claim, outcome="credit", amount=Decimal(15), on=today, today=today)
    account = account_of(mother.lineage, today)
    assert (account.came_in, account.credited) == (25, 15)


def test_a_colony_sold_whole_counts_with_itself(today):
    mother = bought(40)
    sold(mother, price=90, on=today)
    (in_book,) = book_of(mother.lineage, today).mothers
    assert in_book.account.came_in == 90
    assert in_book.account.pay_back.on == today


def test_shipping_is_no_lines_money_and_still_in_the_sum(today):
    mother = bought(40)
    sale = sold(frag_of(mother), price=20, on=today, paid=False)
    Sale.objects.filter(pk=sale.pk).update(shipping=9)
    found = books(today)
    assert (found.other, found.other_owed, found.owed) == (0, 9, 29)
    Payment.objects.create(sale=sale, amount=29, paid_on=today)
    found = books(today)
    assert (found.other, found.came_in) == (9, 29)


def test_currencies_are_never_added_up(today):
    mother = bought(40)
    sale = sold(frag_of(mother), price=20, on=today)
    Sale.objects.filter(pk=sale.pk).update(currency="USD")
    assert books(today).currencies == ("EUR", "USD")
    assert account_of(mother.lineage, today).came_in == 0
    in_dollars = account_of(mother.lineage, today, currency="USD")
    assert (in_dollars.came_in, in_dollars.cost) == (20, 0)
    assert books(today, currency="XXX").currency == "EUR"


# -- sharing


@pytest.mark.parametrize(
    ("amount", "costs", "parts"),
    [
        ("10", ["1", "1", "1"], ["3.33", "3.34", "3.33"]),
        ("10", ["0", "4"], ["0", "10"]),
        ("0.01", ["1", "1", "1"], ["0", "0.01", "0"]),
        ("7", ["0", "0"], ["0", "0"]),
    ],
)
def test_shares_are_whole_cents_and_add_up(amount, costs, parts):
    found = share_by_cost(Decimal(amount), [Decimal(cost) for cost in costs], "EUR")
    assert found == [Decimal(part) for part in parts]


def test_the_books_cost_the_same_queries_however_many_lines(today, django_assert_max_num_queries):
    mothers = [bought(10) for _ in range(3)]
    sold(*(frag_of(mother) for mother in mothers), price=10, on=today)
    with django_assert_max_num_queries(24) as few:
        books(today)
    mothers = [bought(10) for _ in range(8)]
    for mother in mothers:
        sold(frag_of(mother), price=10, on=today)
    with django_assert_max_num_queries(24) as many:
        books(today)
    assert len(few) == len(many)


def test_a_line_that_was_taken_out_of_a_sale_has_no_share(today):
    mother = bought(10)
    sale = sold(frag_of(mother), frag_of(bought(10)), price=10, on=today)
    SaleLine.objects.filter(sale=sale, plug__cut_event__mother=mother).update(cancelled_on=today)
    shares = [(line.lineage, line.money) for line in money_of_sales().lines]
    assert [money for lineage, money in shares if lineage == mother.lineage_id] == []
    assert sum(money for _, money in shares) == 10
