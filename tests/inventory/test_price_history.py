"""What frags like these fetched and how long they took to go, out of the keeper's own sales."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.models import Sale, SaleLine, SizePrice
from inventory.readings.price_history import (
    FEWEST,
    LOOKED_BACK_DAYS,
    Fetched,
    TooFew,
    median_days,
    price_histories,
    price_history,
)
from propagation.models import Lineage
from tests.factories import CUT_DAY, ColonyFactory, ContactFactory, CutEventFactory, LineageFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db

HEALED = CUT_DAY + timedelta(days=21)  # as `ReadyPlugFactory` has it


def plugs_of(lineage, number=1, **fields):
    event = CutEventFactory(mother=ColonyFactory(lineage=lineage))
    return ReadyPlugFactory.create_batch(number, cut_event=event, **fields)


def sold(lineage, *prices, days=10, size_mm=25, discount=0, currency="EUR", left=True):
    """One sale of a frag at each price, gone so many days after it healed."""
    day = HEALED + timedelta(days=days)
    sale = Sale.objects.create(
        contact=ContactFactory(),
        currency=currency,
        begun_on=day,
        agreed_on=day,
        discount=discount,
        **({"left_on": day, "left_how": "sent"} if left else {}),
    )
    plugs = plugs_of(lineage, len(prices), size_mm=size_mm)
    for plug, price in zip(plugs, prices, strict=True):
        SaleLine.objects.create(sale=sale, plug=plug, price=Decimal(price))
    if left:
        type(plugs[0]).objects.filter(pk__in=[plug.pk for plug in plugs]).update(fate="sold", ended_on=day)
    return sale


def test_the_middle_and_the_range_of_what_was_agreed(today):
    lineage = LineageFactory()
    sold(lineage, 10, 20, 30, 22, 24)
    found = price_history(lineage, today).line
    assert (found.middle, found.lowest, found.highest, found.number) == (22, 10, 30, 5)
    assert found.price_words == "€22.00 (€10.00 to €30.00)"
    assert found.words.startswith("5 sold fetched €22.00")


def test_prices_are_those_after_discounts(today):
    lineage = LineageFactory()
    sale = sold(lineage, 20, 20, 20, 20, 20, discount=10)
    SaleLine.objects.filter(sale=sale).update(discount=3)
    found = price_history(lineage, today).line
    assert found.middle == 15
    assert found.price_words == "€15.00"


def test_with_too_few_it_says_how_many_and_nothing_more(today):
    lineage = LineageFactory()
    assert price_history(lineage, today).line == TooFew(0)
    sold(lineage, *[20] * (FEWEST - 1))
    found = price_history(lineage, today).line
    assert found == TooFew(FEWEST - 1)
    assert "€" not in found.words
    assert found.words.startswith("4 sold, too few")


def test_what_did_not_leave_was_given_for_nothing_is_old_or_in_another_currency_is_left_out(today):
    lineage = LineageFactory()
    sold(lineage, 20, 20, 20, 20, 20, left=False)
    sold(lineage, 0, 0, 0, 0, 0)
    sold(lineage, 20, 20, 20, 20, 20, currency="USD")
    old = sold(lineage, 20, 20, 20, 20, 20)
    Sale.objects.filter(pk=old.pk).update(left_on=today - timedelta(days=LOOKED_BACK_DAYS))
    assert price_history(lineage, today).line == TooFew(0)


def test_a_line_with_too_few_is_told_of_its_genus_then_of_its_growth_form(today):
    lineage = LineageFactory(genus="Acropora")
    sold(lineage, 99)
    sold(LineageFactory(genus="Acropora"), 20, 20, 20, 20)
    found = price_history(lineage, today).line
    assert (found.number, found.is_own, found.like) == (5, False, "branching Acropora")
    assert "5 branching Acropora sold" in found.words
    other = LineageFactory(genus="Pocillopora")
    found = price_history(other, today).line
    assert (found.number, found.like) == (5, "branching frags")
    unnamed = LineageFactory(genus="", species="")
    assert price_history(unnamed, today).line.like == "branching frags"
    massive = LineageFactory(genus="Acropora", growth_form="massive")
    assert price_history(massive, today).line == TooFew(0)


def test_its_own_sales_come_first(today):
    lineage = LineageFactory(genus="Acropora")
    sold(lineage, 10, 10, 10, 10, 10)
    sold(LineageFactory(genus="Acropora"), *[90] * 50)
    assert price_history(lineage, today).line.middle == 10


def test_sizes_with_a_price_of_their_own_are_told_apart(today):
    lineage = LineageFactory()
    for size in (20, 40):
        SizePrice.objects.create(lineage=lineage, from_mm=size, amount=size)
    sold(lineage, *[10] * 5, size_mm=15)
    sold(lineage, *[30] * 5, size_mm=20)
    sold(lineage, *[50] * 2, size_mm=45)
    history = price_history(lineage, today)
    assert [(low, each.number) for low, each in history.sizes] == [(None, 5), (20, 5), (40, 2)]
    assert history.of_size(Decimal(19)).middle == 10
    assert history.of_size(Decimal(39)).middle == 30
    assert history.of_size(Decimal(45)) == history.line  # too few of that size
    assert history.of_size(None) == history.line


# -- how long they took


def test_those_that_still_wait_are_not_taken_for_gone():
    assert median_days([10, 20, 30], [True, True, True]) == 20
    assert median_days([10, 20, 90, 90, 90], [True, True, False, False, False]) is None
    assert median_days([5, 8, 40, 60], [True, False, True, True]) == 40
    assert median_days([5], [False]) is None
    assert median_days([], []) is None


def test_the_days_run_from_healed_to_gone_or_today(today):
    lineage = LineageFactory()
    sold(lineage, 20, 20, 20, days=10)
    sold(lineage, 20, 20, days=30)
    found = price_history(lineage, today).line
    assert (found.days, found.went, found.waiting) == (10, 5, 0)
    plugs_of(lineage, 4)
    found = price_history(lineage, today).line
    assert (found.days, found.went, found.waiting) == (30, 5, 4)
    assert found.days_words == "half had gone after 30 days, of 9 that healed"
    plugs_of(lineage, 4)
    found = price_history(lineage, today).line
    assert found.days is None
    assert found.days_words == "fewer than half have gone yet, 5 of 13 that healed"


def test_given_dead_and_grown_on_frags_waited_until_then_and_insurance_never(today):
    lineage = LineageFactory()
    sold(lineage, *[20] * 5)
    for fate in ("given", "dead", "grown_on"):
        plugs_of(lineage, fate=fate, ended_on=HEALED + timedelta(days=3))
    plugs_of(lineage, is_insurance=True)
    plugs_of(lineage, fate="traded", ended_on=HEALED + timedelta(days=3))
    found = price_history(lineage, today).line
    assert (found.went, found.waiting, found.days) == (6, 3, 10)


# -- where it is shown


@pytest.fixture
def lineage():
    made = LineageFactory(name="Harbour Ember")
    sold(made, 10, 20, 30, 22, 24)
    return made


@pytest.fixture(autouse=True)
def on_that_day(monkeypatch, today):
    for module in ("prices", "sales", "offers", "books"):
        monkeypatch.setattr(f"inventory.views.{module}.localdate", lambda: today)


def test_it_is_told_where_prices_are_set(signed_in, lineage):
    (plug,) = plugs_of(lineage)
    for address in (
        reverse("prices"),
        reverse("size_prices", args=[lineage.pk]),
        reverse("plug_price", args=[plug.code]),
        reverse("book", args=[lineage.pk]),
        reverse("offers"),
        f"{reverse('sale_new')}?plugs={plug.code}",
    ):
        assert "5 sold fetched €22.00 (€10.00 to €30.00)" in signed_in.get(address).content.decode(), address


def test_a_sale_form_is_quiet_where_nothing_was_sold(signed_in):
    (plug,) = plugs_of(LineageFactory())
    page = signed_in.get(f"{reverse('sale_new')}?plugs={plug.code}").content.decode()
    assert "sell-fetched" not in page


def test_it_costs_the_same_queries_however_many_lines(today, django_assert_num_queries):
    sold(LineageFactory(), *[20] * 5, discount=5)
    with django_assert_num_queries(7):
        price_histories(Lineage.objects.all(), today)
    for _ in range(6):
        sold(LineageFactory(), *[20] * 5, discount=5)
    with django_assert_num_queries(7):
        found = price_histories(Lineage.objects.all(), today)
    assert all(isinstance(each.line, Fetched) for each in found.values())
