"""What is wrong with the water, and whose limits say so."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from propagation.models import WaterRange, WaterTest
from propagation.readings.water import course_of, water_now, water_of, water_worries
from tests.factories import SystemFactory

pytestmark = pytest.mark.django_db

ALKALINITY = "alkalinity_dkh"


@pytest.fixture
def reef():
    return SystemFactory(name="Long reef")


def make_test(system, day, value, parameter=ALKALINITY, **fields):
    return WaterTest.objects.create(system=system, parameter=parameter, taken_on=day, value=Decimal(value), **fields)


def test_a_value_out_of_the_usual_limits_is_named_with_its_bound_and_day(reef, today):
    make_test(reef, date(2026, 6, 3), "5.9")
    make_test(reef, date(2026, 6, 4), "490", "calcium_mgl")
    make_test(reef, date(2026, 6, 4), "7.5", "ph")
    make_test(SystemFactory(name="Frag tank"), date(2026, 6, 4), "8.2")
    assert water_worries(today) == {
        reef.pk: [
            "Alkalinity is 5.9 dKH in Long reef, below 6.5 (tested 3 Jun 2026).",
            "Calcium is 490 mg/L in Long reef, above 480 (tested 4 Jun 2026).",
            "pH is 7.5 in Long reef, below 7.8 (tested 4 Jun 2026).",
        ]
    }


def test_a_value_on_its_limit_is_in(reef, today):
    make_test(reef, today, "6.5")
    make_test(reef, today, "480", "calcium_mgl")
    assert water_worries(today) == {}


def test_only_the_latest_standing_test_of_the_last_thirty_days_counts(reef, today):
    make_test(reef, today - timedelta(days=9), "5.9")
    make_test(reef, today - timedelta(days=1), "8")
    assert water_worries(today) == {}
    make_test(reef, today, "5.5", withdrawn_at=timezone.now())
    assert water_worries(today) == {}
    make_test(reef, today - timedelta(days=30), "300", "calcium_mgl")
    make_test(reef, today - timedelta(days=31), "1000", "magnesium_mgl")
    assert list(water_worries(today)) == [reef.pk]
    assert len(water_worries(today)[reef.pk]) == 1
    assert "Calcium" in water_worries(today)[reef.pk][0]
    assert water_worries(today + timedelta(days=1)) == {}


def test_of_two_tests_on_one_day_the_later_one_counts(reef, today):
    make_test(reef, today, "5.9")
    make_test(reef, today, "6.6")
    assert water_worries(today) == {}


def test_a_day_is_asked_about_as_it_was(reef, today):
    make_test(reef, today - timedelta(days=9), "5.9")
    make_test(reef, today, "8")
    assert list(water_worries(today - timedelta(days=1))) == [reef.pk]


def test_the_systems_own_limits_come_before_those_for_all_and_those_before_the_usual(reef, today):
    make_test(reef, today, "7")
    other = SystemFactory()
    make_test(other, today, "7")
    assert water_worries(today) == {}
    WaterRange.objects.create(parameter=ALKALINITY, low=8, high=10, largest_swing=1)
    assert set(water_worries(today)) == {reef.pk, other.pk}
    WaterRange.objects.create(system=reef, parameter=ALKALINITY, low="6.9", high=10, largest_swing=1)
    assert set(water_worries(today)) == {other.pk}
    assert {each.kept.whose for each in water_of(reef, today)} == {"system", "usual"}
    assert {each.kept.whose for each in water_of(other, today)} == {"all", "usual"}


def test_a_swing_beyond_the_limit_is_named_though_every_value_is_in(reef, today):
    make_test(reef, today - timedelta(days=3), "9.4")
    make_test(reef, today - timedelta(days=1), "8.1")
    make_test(reef, today, "8")
    assert water_worries(today) == {
        reef.pk: ["Alkalinity moved by 1.4 dKH within 3 days in Long reef, more than 1 (up to 15 Jun 2026)."]
    }


def test_a_slow_change_is_no_swing(reef, today):
    make_test(reef, today - timedelta(days=4), "9.4")
    make_test(reef, today, "8")
    assert water_worries(today) == {}


def test_a_swing_reaches_back_further_than_thirty_days(reef, today):
    WaterRange.objects.create(parameter=ALKALINITY, low=6, high=12, largest_swing=1, swing_days=60)
    make_test(reef, today - timedelta(days=85), "8")
    make_test(reef, today - timedelta(days=29), "10")
    assert "moved by 2 dKH within 56 days" in water_worries(today)[reef.pk][0]


def test_a_system_that_ended_worries_nobody(reef, today):
    make_test(reef, today - timedelta(days=2), "5.9")
    reef.ended_on = today
    reef.save()
    assert water_worries(today) == {}
    assert list(water_worries(today - timedelta(days=1))) == [reef.pk]


def test_two_queries_whatever_is_kept(reef, today, django_assert_num_queries):
    for number in range(3):
        system = SystemFactory()
        for day in range(20):
            make_test(system, today - timedelta(days=day), "5.9")
            make_test(system, today - timedelta(days=day), 300 + number, "calcium_mgl")
        WaterRange.objects.create(system=system, parameter=ALKALINITY, low=6, high=12, largest_swing=1)
    with django_assert_num_queries(2):
        assert len(water_worries(today)) == 3
    with django_assert_num_queries(2):
        assert [len(water.out) for water in water_now(today)] == [2, 2, 2]


def test_every_parameter_of_a_system_is_shown_however_old_its_test(reef, today, django_assert_num_queries):
    make_test(reef, today - timedelta(days=400), "300", "calcium_mgl")
    make_test(reef, today - timedelta(days=402), "350", "calcium_mgl")
    make_test(reef, today, "8")
    make_test(SystemFactory(), today, "1500", "magnesium_mgl")
    with django_assert_num_queries(3):
        shown = {each.parameter: each for each in water_of(reef, today)}
    assert len(shown) == 8
    calcium = shown["calcium_mgl"]
    assert (calcium.value, calcium.swing, calcium.is_low, calcium.is_swinging) == (300, 50, True, True)
    assert calcium.in_words == "calcium is low and swings"
    assert not calcium.counts_on(today)
    assert shown[ALKALINITY].counts_on(today)
    assert shown["magnesium_mgl"].value is None
    assert not shown["magnesium_mgl"].is_out


def test_the_course_of_a_parameter_runs_forwards(reef, today):
    for day, value in ((5, "8"), (1, "8.4"), (3, "8.2")):
        make_test(reef, today - timedelta(days=day), value)
    make_test(reef, today, "9", withdrawn_at=timezone.now())
    assert [value for _, value in course_of(reef, ALKALINITY)] == [8, Decimal("8.2"), Decimal("8.4")]
    assert [value for _, value in course_of(reef, ALKALINITY, most=2)] == [Decimal("8.2"), Decimal("8.4")]
