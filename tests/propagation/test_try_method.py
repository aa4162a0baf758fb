"""Trying the method on the keeper's own past readings: stretches between cuts, and one run at a time."""

from datetime import date, timedelta
from unittest import mock

import pytest
from django.utils import timezone

from propagation.actions import try_method as acts
from propagation.actions.try_method import ask_to_try, carry_out
from propagation.forecasts.gathering import gather_colonies
from propagation.forecasts.own_readings import NothingToTry, stretches, try_on_own_readings
from propagation.models import BacktestRun, SizeReading
from propagation.yield_model import backtest
from tests.factories import ColonyFactory, CutEventFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)


def read(colony, *sizes, measure="diameter_mm", first=date(2025, 1, 1), every=30):
    for place, size in enumerate(sizes):
        SizeReading.objects.create(
            colony=colony, taken_on=first + timedelta(days=every * place), measure=measure, value=size
        )


def cut(colony, on, **sizes):
    return CutEventFactory(mother=colony, session__cut_on=on, measure="diameter_mm" if sizes else "", **sizes)


def sizes_of(colony):
    (record,) = gather_colonies(TODAY)
    return [[reading.size for reading in stretch.readings] for stretch in stretches(record)]


def test_a_cut_ends_a_stretch_and_begins_another():
    colony = ColonyFactory()
    read(colony, 40, 44, 48, 30, 34)  # 1 Jan, 31 Jan, 2 Mar | 1 Apr, 1 May
    cut(colony, date(2025, 3, 10), size_before=50, size_after=28)
    assert sizes_of(colony) == [[40, 44, 48, 50], [28, 30, 34]]


def test_a_cut_without_sizes_parts_as_well():
    colony = ColonyFactory()
    read(colony, 40, 44, 30, 34)
    cut(colony, date(2025, 2, 10))
    assert sizes_of(colony) == [[40, 44], [30, 34]]


def test_a_single_size_between_cuts_is_no_stretch():
    colony = ColonyFactory()
    read(colony, 40, 44, 30)
    cut(colony, date(2025, 2, 10))
    assert sizes_of(colony) == [[40, 44]]


def test_a_size_on_the_day_of_a_cut_was_taken_before_it():
    colony = ColonyFactory()
    read(colony, 40, 44, 48)
    cut(colony, date(2025, 1, 31))
    assert sizes_of(colony) == [[40, 44]]


def test_figures_tell_of_every_stretch_and_measure():
    first, second = ColonyFactory(), ColonyFactory()
    read(first, 40, 44, 48, 52, 30, 34, 38)
    cut(first, date(2025, 4, 10))
    read(second, 20, 24, 29, 35, 41, measure="area_cm2")
    figures = try_on_own_readings(TODAY)
    # Stretches of 4, 3 and 5 readings: one ahead 3 + 2 + 4, three ahead 1 + 0 + 2, five ahead none.
    assert (figures["series"], figures["forecasts"], figures["colonies"]) == (3, 12, 2)
    assert [each["forecasts"] for each in figures["by_horizon"]] == [9, 3, 0]
    assert sum(group["forecasts"] for group in figures["groups"]) == 12
    assert (figures["first"], figures["last"]) == ("1 Jan 2025", "30 Jun 2025")
    assert 0 <= figures["coverage"]["80"] <= 1


def test_stretches_of_one_colony_never_teach_each_other():
    colony = ColonyFactory()
    read(colony, 40, 44, 48, 30, 34, 38)
    cut(colony, date(2025, 3, 10))
    with mock.patch.object(backtest, "learn_model", side_effect=backtest.learn_model) as learn:
        try_on_own_readings(TODAY)
    learned_from = [len(call.args[0]) for call in learn.call_args_list]
    assert learned_from == [0]


def test_without_two_sizes_there_is_nothing_to_try():
    read(ColonyFactory(), 40)
    with pytest.raises(NothingToTry, match="two sizes"):
        try_on_own_readings(TODAY)


# A run ---------------------------------------------------------------------------------------------------------------


def test_two_presses_make_one_run(keeper):
    first, is_new = ask_to_try(by=keeper)
    again, is_new_again = ask_to_try(by=keeper)
    assert (is_new, is_new_again) == (True, False)
    assert first == again
    assert BacktestRun.objects.count() == 1


def test_a_run_that_died_gives_way(keeper):
    dead, _ = ask_to_try(by=keeper)
    BacktestRun.objects.update(asked_at=timezone.now() - acts.LONGEST)
    run, is_new = ask_to_try(by=keeper)
    dead.refresh_from_db()
    assert is_new
    assert run != dead
    assert "never ended" in dead.problem


def test_a_run_keeps_its_figures_and_is_not_done_twice():
    read(ColonyFactory(), 40, 44, 48, 52)
    run = carry_out(run=BacktestRun.objects.create(), today=TODAY)
    run.refresh_from_db()
    assert run.figures["forecasts"] == 4
    assert run.finished_at is not None
    with mock.patch.object(acts, "try_on_own_readings") as again:
        carry_out(run=run, today=TODAY)
    assert not again.called


def test_a_run_that_fails_says_why():
    nothing = carry_out(run=BacktestRun.objects.create(), today=TODAY)
    assert "two sizes" in nothing.problem
    with mock.patch.object(acts, "try_on_own_readings", side_effect=MemoryError):
        broken = carry_out(run=BacktestRun.objects.create(), today=TODAY)
    assert "went wrong" in broken.problem
    assert broken.finished_at is not None


def test_a_run_that_was_taken_away_does_nothing():
    acts.try_method.call(4711)


@pytest.mark.django_db(transaction=True)
def test_the_button_runs_it_and_the_page_shows_what_came(signed_in):
    read(ColonyFactory(), *range(40, 80, 4))
    answer = signed_in.post("/forecasts/past/", follow=True)
    page = answer.content.decode()
    assert answer.redirect_chain == [("/forecasts/#past", 302)]
    run = BacktestRun.objects.get()
    assert run.finished_at is not None
    assert f"{run.figures['forecasts']} forecasts of 1 colony" in page
    assert "Try it again" in page


def test_while_it_runs_the_page_says_so_and_asks_again(signed_in):
    run = BacktestRun.objects.create()
    page = signed_in.get("/forecasts/").content.decode()
    assert "It is running" in page
    assert 'hx-trigger="every 4s"' in page
    assert "Look again" in page
    assert "Try the method" not in page
    part = signed_in.get("/forecasts/past/", headers={"HX-Request": "true"}).content.decode()
    assert "It is running" in part
    assert "<html" not in part
    carry_out(run=run, today=TODAY)
    part = signed_in.get("/forecasts/past/", headers={"HX-Request": "true"}).content.decode()
    assert "hx-trigger" not in part
    assert "It could not be tried" in part
    assert "two sizes" in part


def test_a_second_press_is_told_that_it_runs(signed_in):
    BacktestRun.objects.create()
    page = signed_in.post("/forecasts/past/", follow=True).content.decode()
    assert "It is running already." in page
    assert BacktestRun.objects.count() == 1


def test_the_address_of_the_part_leads_to_the_page(signed_in):
    assert signed_in.get("/forecasts/past/").url == "/forecasts/#past"


def test_strangers_cannot_press_it(client):
    assert client.post("/forecasts/past/").status_code == 302
    assert not BacktestRun.objects.exists()
