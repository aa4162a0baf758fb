"""What was said, stored, and set against what came."""

from datetime import date, timedelta

import numpy as np
import pytest

from propagation.forecasts import outlooks
from propagation.forecasts.replaying import replay
from propagation.models import Forecast, ForecastScore, LearnedGrowth, SizeReading
from tests.factories import ColonyFactory, CutEventFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)


def read(colony, months, size):
    return SizeReading.objects.create(
        colony=colony, taken_on=TODAY + timedelta(days=30 * months), measure="diameter_mm", value=round(size, 1)
    )


def day_of(months):
    return TODAY + timedelta(days=30 * months)


def test_a_forecast_is_stored_for_each_reading_and_only_once(grown):
    colony = grown(first=40, gain=4)
    outlooks.bring_up_to_date(TODAY)
    outlooks.bring_up_to_date(TODAY + timedelta(days=1))
    said = Forecast.objects.get()
    assert (said.colony, said.made_for, said.readings, said.last_size) == (colony, TODAY, 13, 88.0)
    assert said.last_rate == pytest.approx(4 / 30)
    assert not said.replayed
    read(colony, 1, 92)
    outlooks.bring_up_to_date(day_of(1))
    assert [forecast.made_for for forecast in Forecast.objects.all()] == [day_of(1), TODAY]


def test_one_that_was_never_measured_is_not_scored():
    ColonyFactory()
    outlooks.bring_up_to_date(TODAY)
    assert not Forecast.objects.exists()


def test_it_is_scored_one_three_and_five_readings_ahead(grown):
    colony = grown(first=40, gain=4)
    outlooks.bring_up_to_date(TODAY)
    for months in range(1, 7):
        read(colony, months, 88 + 4 * months)
        outlooks.bring_up_to_date(day_of(months))
    first = Forecast.objects.get(made_for=TODAY)
    scores = list(first.scores.order_by("steps"))
    assert [score.steps for score in scores] == [1, 3, 5]
    assert [score.outcome for score in scores] == [92, 100, 108]
    for score in scores:
        assert score.median == pytest.approx(score.outcome, rel=0.1)
        assert 0 < score.rank < 1
        assert np.isfinite(score.crps)
        assert score.crps >= 0


def test_a_miss_is_a_miss(grown):
    colony = grown(first=40, gain=4)
    outlooks.bring_up_to_date(TODAY)
    read(colony, 1, 70)
    outlooks.bring_up_to_date(day_of(1))
    score = ForecastScore.objects.get()
    assert score.rank < 0.1
    assert score.crps > 10


def test_a_cut_ends_what_was_said_before_it(grown):
    colony = grown(first=40, gain=4)
    outlooks.bring_up_to_date(TODAY)
    CutEventFactory(mother=colony, session__cut_on=TODAY + timedelta(days=10), frags=3)
    read(colony, 1, 60)
    outlooks.bring_up_to_date(day_of(1))
    assert not ForecastScore.objects.exists()
    # What was said at the cut would be scored by the next reading, had it been said then.
    assert Forecast.objects.filter(made_for=day_of(1)).exists()


def test_the_size_before_a_cut_still_counts(grown):
    colony = grown(first=40, gain=4)
    outlooks.bring_up_to_date(TODAY)
    cut_on = TODAY + timedelta(days=30)
    event = CutEventFactory(
        mother=colony, session__cut_on=cut_on, measure="diameter_mm", size_before=92, size_after=60, frags=3
    )
    for size, after in ((92, False), (60, True)):
        SizeReading.objects.create(
            colony=colony, cut_event=event, is_after_cut=after, taken_on=cut_on, measure="diameter_mm", value=size
        )
    outlooks.bring_up_to_date(cut_on)
    assert [score.outcome for score in ForecastScore.objects.all()] == [92]


def test_a_reading_put_right_is_scored_anew_and_one_struck_out_not_at_all(grown):
    colony = grown(first=40, gain=4)
    outlooks.bring_up_to_date(TODAY)
    reading = read(colony, 1, 85)
    outlooks.bring_up_to_date(day_of(1))
    before = ForecastScore.objects.get()
    reading.value = 92
    reading.save()
    outlooks.bring_up_to_date(day_of(1))
    after = ForecastScore.objects.get()
    assert (before.outcome, after.outcome) == (85, 92)
    assert after.rank > before.rank
    reading.delete()
    outlooks.bring_up_to_date(day_of(1))
    assert not ForecastScore.objects.exists()


def test_a_slip_that_was_set_aside_judges_nobody(grown):
    colony = grown(first=40, gain=4)
    outlooks.bring_up_to_date(TODAY)
    read(colony, 1, 920)
    outlooks.bring_up_to_date(day_of(1))
    assert not ForecastScore.objects.exists()


def test_what_was_said_stays_said_though_an_older_reading_is_put_right_later(grown):
    colony = grown(first=40, gain=4)
    outlooks.bring_up_to_date(TODAY)
    Forecast.objects.update(made_at="2026-06-15T12:00:00Z")
    said = Forecast.objects.get()
    SizeReading.objects.filter(colony=colony, taken_on=TODAY - timedelta(days=30)).update(value=60)
    outlooks.bring_up_to_date(TODAY + timedelta(days=1))
    assert Forecast.objects.get().state == said.state


def test_forecasts_of_a_steady_collection_are_calibrated(grown):
    """Colonies that grow by a share of their size with a little noise: outcomes fall where they were said to."""
    generator = np.random.default_rng(7)
    colonies, sizes = [], []
    for _ in range(12):
        size = float(generator.uniform(40, 60))
        colony = ColonyFactory()
        for month in range(-10, 1):
            read(colony, month, size * (1 + 0.01 * generator.standard_normal()))
            size *= np.exp(0.04 + 0.01 * generator.standard_normal())
        colonies.append(colony)
        sizes.append(size)
    outlooks.bring_up_to_date(TODAY)
    for month in range(1, 7):
        for index, colony in enumerate(colonies):
            read(colony, month, sizes[index] * (1 + 0.01 * generator.standard_normal()))
            sizes[index] *= np.exp(0.04 + 0.01 * generator.standard_normal())
        outlooks.bring_up_to_date(day_of(month))
    ranks = np.array(ForecastScore.objects.values_list("rank", flat=True))
    assert len(ranks) == 12 * (6 + 4 + 2)
    # Binomial bounds would be tighter, but scores of one colony overlap.
    assert 0.6 <= np.mean(np.abs(ranks - 0.5) <= 0.4) <= 1.0
    assert 0.3 <= np.mean(ranks) <= 0.7


def test_a_replay_says_only_what_was_known_then(grown):
    colony = grown(months=12, first=40, gain=4)
    days = [TODAY - timedelta(days=30 * months) for months in range(6, 0, -1)]
    assert replay(days, today=TODAY) == 6
    said = Forecast.objects.get(made_for=days[0])
    assert said.replayed
    assert (said.readings, said.last_size) == (7, 64.0)
    assert said.growth.learned_on == days[0]
    assert [score.outcome for score in said.scores.order_by("steps")] == [68, 76, 84]
    # Said once is said: a second replay stores nothing.
    assert replay(days, today=TODAY) == 0
    assert Forecast.objects.filter(colony=colony).count() == 6


def test_what_another_version_said_cannot_be_scored_and_stops_nothing(grown):
    colony = grown(first=40, gain=4)
    outlooks.bring_up_to_date(TODAY)
    LearnedGrowth.objects.update(model={"kept": "otherwise"})
    read(colony, 1, 92)
    outlooks.bring_up_to_date(day_of(1))
    assert not ForecastScore.objects.exists()
    assert Forecast.objects.filter(made_for=day_of(1)).exists()
