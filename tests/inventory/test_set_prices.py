"""Setting prices and the currency: all or none, nobody's price written over unseen, nothing converted."""

from decimal import Decimal

import pytest

from inventory.actions.set_prices import (
    NewPrice,
    set_currency,
    set_lineage_prices,
    set_plug_prices,
    set_size_prices,
)
from inventory.errors import AmountsNotConverted, BadAmount
from inventory.models import Book, LineagePrice, PlugPrice, SizePrice
from inventory.readings.availability import with_price
from propagation.errors import BadValue, ChangedMeanwhile, PlugGone
from propagation.models import Plug
from tests.factories import CutEventFactory, LineageFactory, ReadyPlugFactory

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


# -- by size


def sized(lineage, size):
    return ReadyPlugFactory(cut_event=CutEventFactory(mother__lineage=lineage), size_mm=size)


def test_a_plug_costs_its_own_price_or_that_of_its_size_or_the_usual_one(django_assert_num_queries):
    lineage, other = LineageFactory.create_batch(2)
    set_size_prices(lineage=lineage, prices={Decimal(20): Decimal(30), Decimal("35.5"): Decimal(50)})
    set_size_prices(lineage=other, prices={Decimal(1): Decimal(99)})
    sizes = ["19.9", "20", "35.4", "35.5", "60", None]
    plugs = [sized(lineage, size and Decimal(size)) for size in sizes]
    own = sized(lineage, Decimal(60))
    PlugPrice.objects.create(plug=own, amount=0)

    def prices():
        return list(with_price(Plug.objects.filter(lineage=lineage)).order_by("pk").values_list("price", flat=True))

    assert [plug.lineage_id for plug in plugs] == [lineage.pk] * 6
    with django_assert_num_queries(1):
        assert prices() == [None, 30, 30, 50, 50, None, 0]
    LineagePrice.objects.create(lineage=lineage, amount=25)
    assert prices() == [25, 30, 30, 50, 50, 25, 0]


def test_prices_by_size_that_are_not_named_any_more_are_taken_away_and_the_history_keeps_them(keeper):
    lineage = LineageFactory()
    set_size_prices(lineage=lineage, prices={Decimal(20): Decimal(30), Decimal(30): Decimal(40)}, by=keeper)
    assert set_size_prices(lineage=lineage, prices={Decimal(30): Decimal(45), Decimal(40): Decimal(60)}, by=keeper) == 3
    assert list(SizePrice.objects.values_list("from_mm", "amount")) == [(30, 45), (40, 60)]
    (gone,) = SizePrice.history.filter(history_type="-")
    assert (gone.from_mm, gone.amount, gone.history_user) == (20, 30, keeper)
    again = {Decimal(30): Decimal(45), Decimal(40): Decimal(60)}
    assert set_size_prices(lineage=lineage, prices=again, was={}) == 0  # sent twice


def test_prices_by_size_that_somebody_else_changed_are_not_written_over():
    lineage = LineageFactory()
    set_size_prices(lineage=lineage, prices={Decimal(20): Decimal(30)})
    with pytest.raises(ChangedMeanwhile, match="from 20"):
        set_size_prices(lineage=lineage, prices={Decimal(25): Decimal(30)}, was={})
    assert SizePrice.objects.get().from_mm == 20


@pytest.mark.parametrize(
    ("size", "amount", "error"),
    [("0.5", "10", BadValue), ("1000", "10", BadValue), ("20", "-1", BadAmount), ("20", "1.234", BadAmount)],
)
def test_a_size_or_a_price_that_cannot_be_is_refused(size, amount, error):
    lineage = LineageFactory()
    with pytest.raises(error):
        set_size_prices(lineage=lineage, prices={Decimal(15): Decimal(9), Decimal(size): Decimal(amount)})
    assert not SizePrice.objects.exists()


def test_a_price_by_size_counts_before_the_currency_is_changed():
    set_size_prices(lineage=LineageFactory(), prices={Decimal(20): Decimal(30)})
    with pytest.raises(AmountsNotConverted, match="1"):
        set_currency(currency="USD", confirmed=False)
