"""Readings in long form: what is wrong is named by row and column, and the rest is still answered."""

from datetime import date

import numpy as np
import pytest

from propagation.yield_model.long_form import backtest_long_form, read_long_form

HEADER = "colony,date,size,lineage,growth_form,measure"


def problems(*rows, header="colony,date,size", **options):
    table = read_long_form([header, *rows], **options)
    return table, [(problem.row, problem.column, problem.sentence) for problem in table.problems]


def test_readings_are_grouped_by_measure_and_growth_form():
    table = read_long_form(
        [
            HEADER,
            "a,2024-01-01,20,x,Tabular,projected area",
            "a,2024-02-01,22,x,tabling,area_cm2",
            "b,2024-01-01,3,y,polyps,heads",
        ]
    )
    assert set(table.groups) == {("area_cm2", "tabling"), ("polyps", "polyps")}
    assert table.series == 2
    assert table.problems == []
    (history,) = table.groups["area_cm2", "tabling"]
    assert [reading.size for reading in history.readings] == [20.0, 22.0]
    assert history.readings[1].day - history.readings[0].day == 31
    assert history.lineage == "x"


def test_measure_and_form_may_be_given_from_outside():
    table = read_long_form(["colony,date,size", "a,2024-01-01,20"], measure="weight", growth_form="branching")
    assert set(table.groups) == {("weight_g", "branching")}


@pytest.mark.parametrize("name", ["Weight (g)", "buoyant weight", "weight_g"])
def test_a_measure_goes_by_several_names(name):
    assert set(read_long_form(["colony,date,size", "a,2024-01-01,20"], measure=name).groups) == {("weight_g", "")}


def test_missing_columns_are_named():
    with pytest.raises(ValueError, match="columns date, size are missing; the header has colony, weight"):
        read_long_form(["colony,weight", "a,3"])
    with pytest.raises(ValueError, match="empty"):
        read_long_form([])


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("a,2024-01-01,0", "size", "zero"),
        ("a,2024-01-01,-3", "size", "less than nothing"),
        ("a,2024-01-01,abc", "size", "no number"),
        ('a,2024-01-01,"3,500"', "size", "two ways"),
        ("a,2024-01-01,nan", "size", "no size"),
        ("a,2024-01-01,", "size", "no size"),
        ("a,05/06/2024,3", "date", "2024-05-31"),
        ("a,1924-05-31,3", "date", "2024"),
        ("a,,3", "date", "no date"),
        (",2024-01-01,3", "colony", "no name"),
        ("a,2024-01-01", "size", "no size"),
    ],
)
def test_a_bad_row_is_named_and_the_rest_still_read(row, column, words):
    table, found = problems("b,2024-01-01,5", row, "b,2024-02-01,6")
    assert len(found) == 1
    assert found[0][:2] == (3, column)
    assert words in found[0][2]
    assert [len(h.readings) for histories in table.groups.values() for h in histories] == [2]


def test_a_date_that_has_not_come_is_named():
    _, found = problems("a,2042-01-01,5", latest=date(2026, 1, 1))
    assert found[0][:2] == (2, "date")


def test_readings_of_one_day_that_agree_are_averaged_silently():
    table, found = problems("a,2024-01-01,20", "a,2024-01-01,21")
    assert found == []
    assert table.groups["", ""][0].readings[0].size == pytest.approx(20.5)


def test_readings_of_one_day_that_disagree_are_judged_by_those_around():
    table, found = problems("a,2024-01-01,20", "a,2024-02-01,22", "a,2024-02-01,220", "a,2024-03-01,24")
    assert found[0][:2] == (4, "size")
    assert "disagree" in found[0][2]
    assert [reading.size for reading in table.groups["", ""][0].readings] == [20, 22, 24]


def test_a_measure_changed_half_way_makes_two_series():
    table, found = problems("a,2024-01-01,20,area", "a,2024-02-01,90,diameter", header="colony,date,size,measure")
    assert table.series == 2
    assert found[0][:2] == (3, "measure")
    assert "series of its own" in found[0][2]


def test_a_lineage_that_changes_is_named_and_the_first_kept():
    table, found = problems("a,2024-01-01,20,x", "a,2024-02-01,22,y", header="colony,date,size,lineage")
    assert found[0][:2] == (3, "lineage")
    assert table.groups["", ""][0].lineage == "x"


def test_moments_and_byte_order_marks_are_read():
    table, found = problems("a,2024-01-01 12:00:00,20", header="\ufeffColony, Date ,Size")
    assert found == []
    assert table.groups["", ""][0].readings[0].day % 1 == 0.5


def long_form(colonies=8, readings=8, seed=1):
    generator = np.random.default_rng(seed)
    yield HEADER
    for colony in range(colonies):
        rate = generator.normal(0.004, 0.001)
        for month in range(readings):
            size = 30 * np.exp(rate * 30 * month + generator.normal(0, 0.03))
            day = date.fromordinal(738_000 + 30 * month).isoformat()
            yield f"c{colony},{day},{size:.2f},line {colony % 2},plating,area_cm2"


def test_the_backtest_answers_in_the_shape_of_the_command():
    answer = backtest_long_form(long_form())
    figures = answer.figures
    assert list(figures) == ["series", "forecasts", "coverage", "median_abs_pct_error", "crps", "by_horizon"]
    assert figures["series"] == 8
    assert figures["forecasts"] == 8 * (7 + 5 + 3)
    assert set(figures["coverage"]) == {"50", "80", "95"}
    for name in ("median_abs_pct_error", "crps"):
        assert set(figures[name]) == {"model", "no_growth", "last_rate", "line"}
        assert all(value > 0 for value in figures[name].values())
    assert [row["steps"] for row in figures["by_horizon"]] == [1, 3, 5]
    assert [row["forecasts"] for row in figures["by_horizon"]] == [56, 40, 24]
    assert figures["median_abs_pct_error"]["model"] < figures["median_abs_pct_error"]["last_rate"]


def test_bad_rows_do_not_change_the_figures_of_the_rest():
    good = list(long_form(4, 5))
    spoiled = [
        *good[:3],
        "c0,1920-01-01,40,line 0,plating,area_cm2",
        *good[3:],
        "c9,2024-01-01,0,line 0,plating,area_cm2",
    ]
    answer = backtest_long_form(spoiled)
    assert answer.figures == backtest_long_form(good).figures
    assert [problem.row for problem in answer.problems] == [4, len(spoiled)]


@pytest.mark.parametrize("rows", [[], ["a,2024-01-01,3"], ["a,2024-01-01,3", "b,2024-02-01,4"]])
def test_too_little_to_forecast_is_none_not_a_failure(rows):
    figures = backtest_long_form(["colony,date,size", *rows]).figures
    assert figures["forecasts"] == 0
    assert figures["coverage"]["80"] is None
    assert figures["series"] == len(rows)


def test_days_and_decimals_as_people_write_them():
    table, found = problems("a,2024-01-01,5", 'a,31.01.2024,"5,25"', "a,2024/02/29,5.5")
    assert not found
    (history,) = table.groups["", ""]
    assert [reading.size for reading in history.readings] == [5.0, 5.25, 5.5]
    assert [reading.day - history.readings[0].day for reading in history.readings] == [0, 30, 59]
