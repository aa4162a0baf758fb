"""`manage.py backtest`."""

import json
from io import StringIO

import numpy as np
import pytest
from django.core.management import CommandError, call_command

METHODS = {"model", "no_growth", "last_rate", "line"}


def written(tmp_path, lines, encoding="utf-8"):
    path = tmp_path / "readings.csv"
    path.write_bytes("\n".join(lines).encode(encoding))
    return path


def growing(colonies=6, readings=8, *, sign=",", comma=False):
    generator = np.random.default_rng(7)
    lines = [sign.join(("colony", "date", "size"))]
    for colony in range(colonies):
        rate = generator.normal(0.008, 0.001)
        for week in range(readings):
            day = np.datetime64("2024-01-03") + 7 * week
            size = f"{2 * np.exp(rate * 7 * week + generator.normal(0, 0.01)):.3f}"
            lines.append(sign.join((f"frag {colony}", str(day), size.replace(".", ",") if comma else size)))
    return lines


def backtest(path, *arguments):
    out, err = StringIO(), StringIO()
    call_command("backtest", str(path), *arguments, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_it_answers_with_one_json_document(tmp_path):
    out, err = backtest(written(tmp_path, growing()), "--measure", "weight_g", "--growth-form", "branching", "--json")
    answer = json.loads(out, parse_constant=lambda text: pytest.fail(f"{text} in the answer"))
    assert not err
    assert set(answer) == {"series", "forecasts", "coverage", "median_abs_pct_error", "crps", "by_horizon"}
    assert answer["series"] == 6
    assert answer["forecasts"] == 6 * (7 + 5 + 3)
    assert set(answer["coverage"]) == {"50", "80", "95"}
    assert set(answer["median_abs_pct_error"]) == set(answer["crps"]) == METHODS
    assert [(each["steps"], each["forecasts"]) for each in answer["by_horizon"]] == [(1, 42), (3, 30), (5, 18)]
    assert answer["median_abs_pct_error"]["model"] < 0.5 * answer["median_abs_pct_error"]["no_growth"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_any_spreadsheet_says_the_same(tmp_path, encoding):
    plain, _ = backtest(written(tmp_path, growing(3, 4)), "--json")
    other, err = backtest(written(tmp_path, growing(3, 4, sign=";", comma=True), encoding), "--json")
    assert not err
    assert json.loads(other) == json.loads(plain)
    tabs, _ = backtest(written(tmp_path, growing(3, 4, sign="\t"), encoding), "--json")
    assert json.loads(tabs) == json.loads(plain)


def test_people_read_lines(tmp_path):
    out, _ = backtest(written(tmp_path, growing(3, 4)))
    assert out.startswith("3 series, 12 forecasts\n")
    assert "80 % interval held" in out
    assert "the last rate goes on:" in out
    assert "5 readings ahead: 0 forecasts" in out


def test_wrong_rows_are_named_by_their_line_and_the_rest_is_answered(tmp_path):
    lines = growing(3, 4)
    days = ["2024-03-06,0", "2024-03-07,-1", "1924-03-08,2", "2124-03-08,2", "05/06/2024,2", "2024-03-09,much"]
    wrong = ["", ",2024-03-08,2", *(f"frag 0,{text}" for text in days)]
    out, err = backtest(written(tmp_path, lines + wrong), "--json")
    clean, _ = backtest(written(tmp_path, lines), "--json")
    assert json.loads(out) == json.loads(clean)
    named = [int(line.split(",")[0].removeprefix("row ")) for line in err.splitlines()]
    assert named == [15, 16, 17, 18, 19, 20, 21]


def test_a_slip_of_the_unit_is_named_and_explained(tmp_path):
    lines = growing(4, 8)
    colony, day, size = lines[14].split(",")
    lines[14] = f"{colony},{day},{float(size) * 10:.2f}"
    out, err = backtest(written(tmp_path, lines), "--measure", "tle_cm", "--json")
    assert json.loads(out)["series"] == 4
    assert err.startswith("row 15, column size: colony frag 1 has ")
    assert "millimetres for centimetres" in err


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        (["colony,size", "a,3"], "The column date is missing; the header has colony, size."),
        ([""], "The file is empty"),
        (["colony,date,size", "a,2024-01-01,3"], "There is nothing to forecast"),
        (["colony,date,size", "a,2024-01-01,x"], "There is nothing to forecast"),
    ],
)
def test_nothing_usable_is_one_sentence(tmp_path, lines, sentence):
    with pytest.raises(CommandError, match=sentence):
        backtest(written(tmp_path, lines))


def test_what_is_not_known_is_refused_with_what_is(tmp_path):
    path = written(tmp_path, growing(2, 3))
    with pytest.raises(CommandError, match="no measure; use one of tle_cm"):
        backtest(path, "--measure", "wieght")
    with pytest.raises(CommandError, match="no growth form; use one of branching"):
        backtest(path, "--growth-form", "branchy")
    with pytest.raises(CommandError, match="cannot be read"):
        backtest(tmp_path / "nowhere.csv")


def test_an_ambiguous_comma_is_judged_by_the_other_sizes(tmp_path):
    lines = ["colony;date;size", "a;2024-01-01;1,250", "a;2024-02-01;1,4"]
    out, err = backtest(written(tmp_path, lines), "--json")
    assert json.loads(out)["crps"]["no_growth"] == pytest.approx(0.15)
    assert not err
    with pytest.raises(CommandError, match="nothing to forecast"):
        backtest(written(tmp_path, ["colony\tdate\tsize", "a\t2024-01-01\t1,250", "a\t2024-02-01\t1,400"]))
