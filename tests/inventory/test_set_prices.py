"""Setting prices and the currency: all or none, nobody's price written over unseen, nothing converted."""

from decimal import Decimal

import pytest

from inventory.actions.set_prices import NewPrice, set_currency, set_lineage_prices, set_plug_prices
from inventory.errors import AmountsNotConverted, BadAmount
from inventory.models import Book, LineagePrice, PlugPrice
from propagation.errors import BadValue, ChangedMeanwhile, PlugGone
from tests.factories import LineageFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


def test_one_price_that_somebody_else_changed_keeps_the_others_from_being_saved():
    stale, fresh = LineageFactory.create_batch(2)
    LineagePrice.objects.create(lineage=stale, amount=30)
    with pytest.raises(ChangedMeanwhile, match=stale.name):
        set_lineage_prices(prices=[NewPrice(fresh, Decimal(10), None), NewPrice(stale, Decimal(25), Decimal(20))])
    assert list(LineagePrice.objects.values_list("lineage", "amount")) == [(stale.pk, 30)]


def test_what_two_change_to_the_same_price_is_no_quarrel():
    lineage = LineageFactory()
    LineagePrice.objects.create(lineage=lineage, amount=25)
    assert set_lineage_prices(prices=[NewPrice(lineage, Decimal(25), Decimal(20))]) == 0


def test_a_price_taken_away_stays_in_the_history(keeper):
    lineage = LineageFactory()
    for amount in (Decimal(10), Decimal(12), None):
        set_lineage_prices(prices=[NewPrice(lineage, amount)], by=keeper)
    assert not LineagePrice.objects.exists()
    rows = LineagePrice.history.order_by("history_id").values_list("history_type", "amount", "history_user")
    assert list(rows) == [("+", 10, keeper.pk), ("~", 12, keeper.pk), ("-", 12, keeper.pk)]


@pytest.mark.parametrize("count", [2, 40])
def test_prices_take_as_many_queries_whatever_their_number(count, django_assert_max_num_queries):
    lineages = LineageFactory.create_batch(count)
    with django_assert_max_num_queries(9):
        set_lineage_prices(prices=[NewPrice(lineage, Decimal(7)) for lineage in lineages])
    assert LineagePrice.objects.count() == count


def test_of_two_who_set_a_first_price_at_once_one_is_told(at_once):
    lineage = LineageFactory()
    amounts = [Decimal(10), Decimal(20)]
    answers = at_once(
        [lambda amount=amount: set_lineage_prices(prices=[NewPrice(lineage, amount, None)]) for amount in amounts]
    )
    assert sorted(map(str, map(type, answers))) == sorted(map(str, [int, ChangedMeanwhile]))
    (kept,) = at_once([lambda: LineagePrice.objects.get().amount])
    assert kept == amounts[answers.index(1)]


def test_what_left_gets_no_price_and_then_nobody_does(today):
    kept, sold = ReadyPlugFactory(), ReadyPlugFactory(fate="sold", ended_on=today)
    with pytest.raises(PlugGone, match=sold.code_in_clear):
        set_plug_prices(plugs=[kept, sold], amount=Decimal(5))
    assert not PlugPrice.objects.exists()


@pytest.mark.parametrize("amount", ["-1", "0.001", "1000000000", "NaN", "Infinity"])
def test_an_amount_that_cannot_be_is_refused_whoever_asks(amount):
    plug = ReadyPlugFactory()
    with pytest.raises(BadAmount):
        set_plug_prices(plugs=[plug], amount=Decimal(amount))
    with pytest.raises(BadAmount):
        set_lineage_prices(prices=[NewPrice(plug.lineage, Decimal(amount))])


@pytest.mark.parametrize("code", ["EURO", "XQZ", "€", ""])
def test_a_currency_that_there_is_not_is_refused(code):
    """ISO 4217 as Unicode CLDR lists it."""
    with pytest.raises(BadValue, match="not a currency code"):
        set_currency(currency=code)


def test_a_new_currency_leaves_the_amounts_and_wants_a_yes_for_it():
    LineagePrice.objects.create(lineage=LineageFactory(), amount=20)
    with pytest.raises(AmountsNotConverted, match="1 amount stays as it is"):
        set_currency(currency="CHF", confirmed=False)
    assert Book.current().currency == "EUR"
    assert set_currency(currency="chf").currency == "CHF"
    assert LineagePrice.objects.get().amount == 20
