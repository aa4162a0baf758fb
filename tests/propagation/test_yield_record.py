"""What each mother gave: the record, its rankings, its page."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from propagation import earnings
from propagation.earnings import Earned
from propagation.readings.yield_record import only, yield_record
from tests.factories import (
    ColonyFactory,
    CutEventFactory,
    CuttingSessionFactory,
    LineageFactory,
    PlacementFactory,
    PlugFactory,
    ReadyPlugFactory,
)

pytestmark = pytest.mark.django_db

TODAY = date(2026, 6, 15)


def mother(tag, *, years, frags, day=TODAY, **given):
    """A mother kept for so many years up to a day and cut once, two months before it."""
    colony = ColonyFactory(tag=tag, acquired_on=day - timedelta(days=round(years * 365.25)), **given)
    session = CuttingSessionFactory(cut_on=day - timedelta(days=60))
    if frags:
        CutEventFactory(mother=colony, session=session, frags=frags)
    return colony


def tags(rows):
    return [row.colony.tag for row in rows]


@pytest.fixture
def money(monkeypatch):
    """A floor above that keeps what frags fetched: ``money[colony id] = 12``."""
    kept = {}
    monkeypatch.setattr(earnings, "_sources", [])
    earnings.tells_earnings(lambda ids: {pk: Earned(Decimal(kept[pk]), f"€{kept[pk]}.00") for pk in ids if pk in kept})
    return kept


@pytest.fixture
def no_money(monkeypatch):
    monkeypatch.setattr(earnings, "_sources", [])


def test_the_same_count_over_half_the_years_ranks_first_by_rate_but_not_by_count():
    mother("SLOW", years=4, frags=12)
    mother("QUICK", years=2, frags=12)
    mother("MOST", years=6, frags=13)
    assert tags(yield_record(TODAY, by="rate")) == ["QUICK", "SLOW", "MOST"]
    rows = yield_record(TODAY, by="count")
    assert tags(rows)[0] == "MOST"
    assert [row.place for row in rows] == [1, 2, 2]


def test_a_short_record_is_less_sure_than_a_long_one_at_the_same_rate():
    short, long = mother("SHORT", years=0.5, frags=4), mother("LONG", years=4, frags=32)
    rates = {row.colony: row.rate for row in yield_record(TODAY)}
    width = {colony: rate.high - rate.low for colony, rate in rates.items()}
    assert width[short] > 1.5 * width[long]
    assert rates[long].low < 8 < rates[long].high


def test_years_run_to_the_end_of_a_mother_and_are_never_less_than_a_month():
    gone = ColonyFactory(tag="GONE", acquired_on=date(2024, 1, 1), ended_on=date(2025, 1, 1), end_reason="died")
    new = ColonyFactory(tag="NEW", acquired_on=TODAY)
    for colony in (gone, new):
        CutEventFactory(mother=colony, session=CuttingSessionFactory(cut_on=colony.began_on))
    years = {row.colony.tag: row.years for row in yield_record(TODAY)}
    assert years["GONE"] == pytest.approx(366 / 365.25)
    assert years["NEW"] == pytest.approx(30 / 365.25)


def test_a_cut_taken_back_counts_nothing_and_a_colony_never_cut_is_no_mother():
    colony = mother("TAKEN", years=2, frags=0)
    CutEventFactory(mother=colony, frags=0)
    mother("WHOLE", years=2, frags=0)
    assert yield_record(TODAY) == []


def test_usable_are_frags_seen_healed_and_those_that_heal_are_told_apart():
    event = CutEventFactory(frags=5)
    ReadyPlugFactory(cut_event=event)
    ReadyPlugFactory(cut_event=event, fate="sold", ended_on=date(2026, 6, 1))
    PlugFactory(cut_event=event, fate="dead", ended_on=date(2026, 6, 1))
    PlugFactory(cut_event=event)
    ReadyPlugFactory(cut_event=event, fate="void", ended_on=date(2026, 6, 1))
    (row,) = yield_record(TODAY, by="usable")
    assert (row.frags, row.usable, row.healing) == (5, 2, 1)


def test_money_ranks_by_what_the_frags_fetched(money):
    cheap, dear = mother("CHEAP", years=1, frags=30), mother("DEAR", years=1, frags=3)
    money |= {cheap.pk: 40, dear.pk: 200}
    rows = yield_record(TODAY, by="money")
    assert tags(rows) == ["DEAR", "CHEAP"]
    assert rows[0].earned.words == "€200.00"


def test_filters_keep_the_place_among_all():
    first, second = mother("AA1", years=1, frags=20), mother("BB1", years=1, frags=10)
    placement = PlacementFactory(colony=second)
    everybody = yield_record(TODAY)
    assert tags(only(everybody, system=placement.spot.system)) == ["BB1"]
    assert only(everybody, text="bb")[0].place == 2
    assert tags(only(everybody, lineage=first.lineage)) == ["AA1"]
    assert tags(only(everybody, alive=False)) == []
    assert tags(only(everybody, alive=True)) == ["AA1", "BB1"]


def test_it_costs_the_same_queries_for_any_number(django_assert_num_queries, no_money):
    mother("AA1", years=1, frags=5)
    # frags, usable, healing, mothers, losses of sold plugs
    with django_assert_num_queries(5):
        yield_record(TODAY)
    for number in range(6):
        mother(f"BB{number}", years=1, frags=5)
    with django_assert_num_queries(5):
        yield_record(TODAY)


# -- the page


def page_of(signed_in, **query):
    return " ".join(signed_in.get(reverse("yield_record"), query).content.decode().split())


def test_before_the_first_cut_the_page_says_what_to_do(signed_in):
    page = page_of(signed_in)
    assert "No mother was cut yet" in page
    assert reverse("cut") in page


def test_a_row_names_the_mother_her_place_and_how_sure_it_is(signed_in, no_money):
    mother("AA1", years=2, frags=40, day=localdate())
    mother("BB1", years=2, frags=4, day=localdate())
    page = page_of(signed_in)
    row = page[page.index(reverse("colony", args=["AA1"])) :].split("</tr>")[0]
    assert "40" in row
    assert "2.0 y" in row
    assert "nearly sure" in row
    assert "no ranking by money" in page
    assert "?by=money" not in page


def test_money_has_its_tab_once_it_is_kept(signed_in, money):
    colony = mother("AA1", years=2, frags=4, day=localdate())
    money[colony.pk] = 75
    page = page_of(signed_in, by="money")
    assert "€75.00" in page
    assert "no ranking by money" not in page


def test_money_asked_for_where_it_is_not_kept_gives_the_usual_ranking(signed_in, no_money):
    mother("AA1", years=2, frags=4, day=localdate())
    assert "Ahead of the next" in page_of(signed_in, by="money")


def test_money_that_is_kept_but_never_came_is_no_ranking_either(signed_in, money):
    mother("AA1", years=2, frags=4, day=localdate())
    page = page_of(signed_in, by="money")
    assert "No frag was sold for money yet" in page
    assert "by=money" not in page


def test_tabs_keep_the_filter_and_a_filter_that_fits_nothing_says_so(signed_in):
    lineage = LineageFactory()
    mother("AA1", years=2, frags=4, lineage=lineage)
    page = page_of(signed_in, lineage=lineage.pk, alive="gone")
    assert f"?alive=gone&amp;lineage={lineage.pk}&amp;by=count" in page
    assert "No mother fits" in page


def test_a_mother_that_is_gone_says_how(signed_in):
    mother("AA1", years=2, frags=4, ended_on=date(2026, 6, 1), end_reason="died")
    assert "· died" in page_of(signed_in)
