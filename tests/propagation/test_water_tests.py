"""Recording water tests, taking one back, and the limits that hold."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from propagation.actions.changes import last_change
from propagation.actions.water_tests import (
    drop_water_range,
    keep_water_range,
    record_water_tests,
    take_back_water_test,
)
from propagation.errors import AlreadyDone, BadDate, BadValue, ChangedMeanwhile, RowErrors, UnlikelyTests
from propagation.models import WaterRange, WaterTest
from tests.factories import SystemFactory

pytestmark = pytest.mark.django_db

ALKALINITY, CALCIUM, SALINITY, PHOSPHATE = "alkalinity_dkh", "calcium_mgl", "salinity_psu", "phosphate_mgl"


@pytest.fixture
def system():
    return SystemFactory(name="Long reef", started_on=date(2025, 1, 1))


@pytest.fixture
def record(system, today):
    def record(on=today, confirmed=True, **values):
        return record_water_tests(
            system=system,
            values={parameter: Decimal(value) for parameter, value in values.items()},
            on=on,
            today=today,
            confirmed=confirmed,
        )

    return record


def test_what_was_measured_of_a_day_is_recorded(record, system, keeper, today):
    tests = record_water_tests(
        system=system,
        values={CALCIUM: Decimal(420), ALKALINITY: Decimal("8.24")},
        on=today,
        today=today,
        note="new reagent",
        by=keeper,
    )
    assert [(test.parameter, test.value, test.taken_on) for test in tests] == [
        (ALKALINITY, Decimal("8.24"), today),
        (CALCIUM, Decimal(420), today),
    ]
    assert {test.recorded_by for test in WaterTest.objects.all()} == {keeper}
    assert {test.note for test in WaterTest.objects.all()} == {"new reagent"}


def test_the_same_form_sent_twice_makes_nothing_twice(record):
    assert record(alkalinity_dkh="8.2") == record(alkalinity_dkh="8.2")
    assert WaterTest.objects.count() == 1
    record(alkalinity_dkh="8.3")  # a second test of that day is another one
    assert WaterTest.objects.count() == 2


def test_nothing_measured_is_refused(record):
    with pytest.raises(BadValue, match="nothing was measured"):
        record()


def test_a_day_in_the_future_or_outside_of_the_systems_life_is_refused(record, system, today):
    with pytest.raises(BadDate, match="future"):
        record(on=today + timedelta(days=1), ph="8.1")
    with pytest.raises(BadDate, match="before the system started"):
        record(on=date(2024, 12, 31), ph="8.1")
    system.ended_on = date(2026, 5, 1)
    with pytest.raises(BadValue, match="Long reef ended on 1 May 2026"):
        record(ph="8.1")
    assert not WaterTest.objects.exists()


def test_values_that_cannot_be_are_all_named_and_nothing_is_saved(record):
    with pytest.raises(RowErrors) as refused:
        record(ph="15", alkalinity_dkh="-1", calcium_mgl="420", nitrate_mgl="1000000", salinity_psu="NaN")
    columns = {column: sentence for _, column, sentence in refused.value.errors}
    assert set(columns) == {"ph", ALKALINITY, "nitrate_mgl", SALINITY}
    assert "0 to 14" in columns["ph"]
    assert not WaterTest.objects.exists()


@pytest.mark.parametrize(
    ("parameter", "typed", "likely", "why"),
    [
        (ALKALINITY, "143", "8.01", "ppm"),  # 143 / 17.85
        (ALKALINITY, "82", "8.2", "point"),
        (ALKALINITY, "2.9", "8.13", "meq/L"),  # 2.9 × 2.804
        (CALCIUM, "42", "420", "point"),
        (CALCIUM, "1050", "420", "calcium carbonate"),
        (SALINITY, "1.0264", "35.0", "gravity"),
        ("temperature_c", "78", "25.6", "°F"),
        (PHOSPHATE, "40", "0.04", "ppb"),
        ("magnesium_mgl", "13500", "1350", "point"),
    ],
)
def test_a_slip_is_asked_about_once_with_what_may_have_been_meant(record, parameter, typed, likely, why):
    with pytest.raises(UnlikelyTests) as asked:
        record(confirmed=False, **{parameter: typed})
    [(named, sentence, meant)] = asked.value.found
    assert named == parameter
    assert abs(meant - Decimal(likely)) < Decimal("0.06")
    assert why in sentence
    assert not WaterTest.objects.exists()
    record(confirmed=True, **{parameter: typed})
    assert WaterTest.objects.get().value == Decimal(typed).quantize(Decimal("0.001"))


def test_a_value_far_from_the_last_one_is_asked_about(record, today):
    record(on=today - timedelta(days=2), phosphate_mgl="0.03")
    with pytest.raises(UnlikelyTests, match=r"10 times more than the 0.03 mg/L of 13 Jun 2026.*mean 0.03 mg/L"):
        record(confirmed=False, phosphate_mgl="0.3")
    record(confirmed=False, phosphate_mgl="0.09")
    assert WaterTest.objects.count() == 2


def test_a_test_taken_back_or_long_ago_is_no_measure_of_what_is_likely(record, today):
    [test] = record(on=today - timedelta(days=2), phosphate_mgl="0.02")
    take_back_water_test(test=test)
    record(on=today - timedelta(days=90), phosphate_mgl="0.02")
    record(confirmed=False, phosphate_mgl="0.3")
    assert WaterTest.objects.standing().count() == 2


def test_usual_values_are_not_asked_about(record):
    record(
        confirmed=False,
        temperature_c="25.5",
        salinity_psu="35",
        alkalinity_dkh="8.2",
        calcium_mgl="420",
        magnesium_mgl="1350",
        nitrate_mgl="0",
        phosphate_mgl="0",
        ph="8.15",
    )
    assert WaterTest.objects.count() == 8


def test_a_test_taken_back_stays_with_who_did_it(record, keeper):
    [test] = record(ph="8.1")
    take_back_water_test(test=test, by=keeper)
    test.refresh_from_db()
    assert test.withdrawn_by == keeper
    assert test.withdrawn_at is not None
    assert not WaterTest.objects.standing().exists()
    with pytest.raises(AlreadyDone, match="taken back before"):
        take_back_water_test(test=test)


def limits(**changes):
    told = {"low": Decimal(7), "high": Decimal(9), "largest_swing": Decimal("0.5"), "swing_days": 2}
    return {"parameter": ALKALINITY} | told | changes


def test_limits_are_kept_for_a_system_and_for_all_of_them(system, keeper):
    mine = keep_water_range(system=system, by=keeper, **limits())
    for_all = keep_water_range(**limits(low=Decimal("6.8")))
    assert WaterRange.objects.count() == 2
    again = keep_water_range(system=system, **limits(high=Decimal(10)))
    assert again.pk == mine.pk
    assert (again.low, again.high) == (7, 10)
    drop_water_range(kept=again)
    assert list(WaterRange.objects.all()) == [for_all]
    with pytest.raises(AlreadyDone):
        drop_water_range(kept=again)
    assert mine.history.first().history_type == "-"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"low": Decimal(9)}, "high"),
        ({"low": Decimal(-1)}, "low"),
        ({"high": Decimal("NaN")}, "high"),
        ({"largest_swing": Decimal(0)}, "largest_swing"),
        ({"swing_days": 0}, "swing_days"),
        ({"swing_days": 61}, "swing_days"),
    ],
)
def test_limits_that_make_no_sense_are_refused(changes, field):
    with pytest.raises(BadValue) as refused:
        keep_water_range(**limits(**changes))
    assert refused.value.field == field


def test_two_people_setting_limits_are_told_apart(system):
    kept = keep_water_range(system=system, **limits())
    seen = last_change(kept)
    keep_water_range(system=system, based_on=seen, **limits(high=Decimal(10)))
    with pytest.raises(ChangedMeanwhile):
        keep_water_range(system=system, based_on=seen, **limits(high=Decimal(11)))
    with pytest.raises(ChangedMeanwhile):
        keep_water_range(system=system, based_on=0, **limits(high=Decimal(11)))
