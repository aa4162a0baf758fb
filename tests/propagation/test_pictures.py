"""The pictures of the yield model: coordinates, words and tables from plain numbers and days."""

import math
import re
from datetime import date, timedelta
from itertools import combinations, pairwise

import pytest
from django.template.loader import render_to_string

from propagation.pictures.calibration import StatedShare, calibration, chance_band
from propagation.pictures.colour_line import ColourPoint, ColourRun, TrendPoint, colour_line
from propagation.pictures.drawing import Box, Dot, Line, Path, Words, spread
from propagation.pictures.growth_curve import (
    CutMark,
    CutWindow,
    ForecastPoint,
    IncidentSpan,
    MoveMark,
    SizePoint,
    growth_curve,
    stretches,
)
from propagation.pictures.healing_curve import HealedShare, healing_curve
from propagation.pictures.lineage_scale import MOST_NAMED, ColonyLine, lineage_scale
from propagation.pictures.money_curve import MoneyStep, money_curve
from propagation.pictures.plan_curve import PlanMark, plan_curve
from propagation.pictures.rates import RateRow, rates
from propagation.pictures.scales import DayAxis, nice_values

pytestmark = pytest.mark.no_database

TODAY = date(2026, 11, 25)


def forecast(size=34.0, days=180):
    points = []
    for ahead in range(0, days + 1, 30):
        middle, spread_ = size * math.exp(0.002 * ahead), 0.02 + 0.001 * ahead
        points.append(
            ForecastPoint(
                TODAY + timedelta(ahead),
                *(middle * math.exp(z * spread_) for z in (-1.28, -0.67, 0, 0.67, 1.28)),
            )
        )
    return points


def monthly(number, size=30.0):
    start = TODAY - timedelta(30 * number)
    return [
        SizePoint(start + timedelta(30 * step), size + step, size + step - 2, size + step + 2) for step in range(number)
    ]


def money():
    """45 paid, and 80 that came in four times; it was enough on 2 May 2026."""
    days = (date(2024, 1, 10), date(2025, 7, 3), date(2025, 9, 1), date(2026, 5, 2), date(2026, 11, 20))
    return [MoneyStep(day, came, 45) for day, came in zip(days, (0, 14.5, 30, 60, 80), strict=True)]


def full_growth(**changes):
    told = {
        "today": TODAY,
        "cuts": [CutMark(date(2026, 8, 2), 11), CutMark(date(2026, 8, 9), 3)],
        "moves": [MoveMark(date(2026, 6, 3), "Top of the ridge")],
        "incidents": [IncidentSpan(date(2026, 11, 3), None, "Pest")],
        "forecast": forecast(),
        "window": CutWindow(date(2027, 1, 20), date(2027, 2, 14), date(2027, 4, 3)),
        "needed": 62.0,
        "needed_words": "for 8 frags",
        "unit": "mm",
    }
    return growth_curve("Longest diameter of M12", monthly(22), **(told | changes))


def colonies(number, name="M{}"):
    return [
        ColonyLine(
            name.format(k),
            date(2024, 1, 1) + timedelta(20 * k),
            [(date(2024, 1, 1) + timedelta(20 * k + 40 * step), 20.0 + step + k / 10) for step in range(8)],
            k % 4 != 0,
        )
        for k in range(number)
    ]


def plan():
    marks = []
    for percent in range(5, 66, 3):
        a_year = 34 * math.exp(-(((percent - 38) / 30) ** 2))
        marks.append(PlanMark(percent / 100, a_year, a_year * 0.8, a_year * 1.2, 80, 80 - percent * 0.8, 60, 6))
    return marks


def healing():
    return [HealedShare(d, d / 60, max(d / 60 - 0.1, 0), min(d / 60 + 0.1, 1)) for d in range(0, 55, 6)]


def colour_run(number, *, is_card=False, drift=0.0):
    points = [
        ColourPoint(TODAY - timedelta(30 * (number - step)), f"#8a{step % 99:02}50", 50, 24, 61, drift * step, 1.5)
        for step in range(number)
    ]
    return ColourRun("a card" if is_card else "paper", is_card, min(number, 3), tuple(points))


def colours(*runs):
    trend = [TrendPoint(TODAY - timedelta(60), 2.0), TrendPoint(TODAY, 9.0)]
    return colour_line("Colour", runs, sentence="Has become darker.", trend=trend, light_differs=3.0)


STATED = [StatedShare(0.1, 0.13, 60, 0.05, 0.21), StatedShare(0.9, 0.86, 60, 0.78, 0.94)]


def every_picture():
    both = calibration("Forecasts", STATED, [14, 9, 8, 12, 10, 11, 7, 9, 13, 19])
    one_day = [SizePoint(TODAY, 31)]
    return {
        "growth": full_growth(),
        "growth of one size": growth_curve("One", one_day, today=TODAY, unit="mm"),
        "growth with no size": growth_curve("None", [], today=TODAY, forecast=forecast(), unit="mm"),
        "growth of one forecast": growth_curve("Point", one_day, today=TODAY, forecast=forecast()[-1:]),
        "growth over years": full_growth(cuts=[CutMark(TODAY - timedelta(9 * k), 4) for k in range(60)]),
        "growth of zero": growth_curve("Zero", [SizePoint(TODAY, 0.0)], today=TODAY),
        "lineage by age": lineage_scale("By age", colonies(15), by_age=True, unit="mm"),
        "lineage by day": lineage_scale("By day", colonies(5), by_age=False, unit="mm"),
        "lineage of one": lineage_scale("One", [ColonyLine("M1", TODAY, [(TODAY, 20.0)])], by_age=True, unit="mm"),
        "plan": plan_curve("Plan", plan(), best=plan()[11], habit=plan()[12], unit="mm"),
        "money": money_curve(
            "Money", money(), today=TODAY, unit="EUR", show="€{:.2f}".format, paid_back_on=money()[-2].day
        ),
        "money of a day": money_curve("Money", [MoneyStep(TODAY, 0, 120000)], today=TODAY, unit="EUR"),
        "money that went back": money_curve("Money", [MoneyStep(TODAY - timedelta(9), -40, 0)], today=TODAY),
        "colours": colours(colour_run(8, drift=1.2)),
        "colours after two whites": colours(colour_run(60), colour_run(20, is_card=True, drift=1.0)),
        "one colour": colours(colour_run(1)),
        "plan of one": plan_curve("Plan", plan()[:1], best=plan()[0]),
        "stated and seen": both.shares,
        "ranks": both.ranks,
        "healing": healing_curve("Healing", healing()),
        "healing of one": healing_curve("Healing", healing()[:1]),
        "rates": rates("Rates", [RateRow("M1", 30, 20, 40), RateRow("A name that is very long " * 3, 4, -3, 9)]),
    }


def numbers_of(mark):
    if isinstance(mark, Path):
        return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?|nan|inf", mark.d)]
    return [value for value in vars(mark).values() if isinstance(value, float | int)]


@pytest.mark.parametrize("name", every_picture())
def test_all_that_is_drawn_is_a_number_inside_the_drawing(name):
    for drawing in every_picture()[name].drawings:
        for mark in drawing.marks:
            assert all(math.isfinite(number) for number in numbers_of(mark))
            if isinstance(mark, Words):
                assert mark.box.within(Box(0, 0, drawing.width, drawing.height, "")), mark
            elif isinstance(mark, Line):
                assert 0 <= min(mark.x1, mark.x2) <= max(mark.x1, mark.x2) <= drawing.width, mark
                assert 0 <= min(mark.y1, mark.y2) <= max(mark.y1, mark.y2) <= drawing.height, mark
            elif isinstance(mark, Dot):
                assert 0 <= mark.x <= drawing.width
                assert 0 <= mark.y <= drawing.height


@pytest.mark.parametrize("name", every_picture())
def test_no_words_stand_on_others(name):
    for drawing in every_picture()[name].drawings:
        for one, other in combinations(drawing.words, 2):
            assert one.box.overlaps(other.box) < 4, (one.text, other.text)


@pytest.mark.parametrize("name", every_picture())
def test_every_picture_has_its_title_its_words_and_its_table(name):
    picture = every_picture()[name]
    page = render_to_string("propagation/parts/picture_drawn.html", {"picture": picture})
    assert page.count('role="img"') == page.count("<desc") == 2
    assert "style=" not in page
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids)) == 4
    assert picture.rows
    assert all(len(row) == len(picture.headings) for row in picture.rows)


def test_growth_runs_forward_and_its_words_say_the_numbers():
    picture = full_growth()
    for drawing in picture.drawings:
        xs = [mark.x for mark in drawing.of("reading")]
        assert len(xs) == 22
        assert all(left < right for left, right in pairwise(xs))
        ys = [mark.y for mark in drawing.of("reading")]
        assert ys == sorted(ys, reverse=True)
    assert "to 51 mm on" in picture.words
    assert "2 cuts, 14 frags." in picture.words
    assert "Next cut 14 Feb 2027 (20 Jan – 3 Apr 2027)." in picture.words
    assert "62 mm needed for 8 frags." in picture.words


def test_nothing_known_is_no_picture():
    assert growth_curve("None", [], today=TODAY) is None
    assert lineage_scale("None", [ColonyLine("M1", TODAY, [])], by_age=True) is None
    assert plan_curve("None", []) is None
    assert money_curve("None", [], today=TODAY) is None
    assert healing_curve("None", []) is None
    assert colour_line("None", [], sentence="", light_differs=3.0) is None
    assert rates("None", []) is None
    nothing = calibration("None", [], [0] * 10)
    assert nothing.shares is nothing.ranks is None
    for part in ("growth", "lineage", "plan", "healing", "rates", "calibration"):
        page = render_to_string(f"propagation/parts/picture_{part}.html", {"picture": None, "pictures": nothing})
        assert "yet" in page
        assert "<svg" not in page


def test_a_line_breaks_at_a_cut_and_only_there():
    sizes = [SizePoint(date(2026, 1, 1), 40), SizePoint(date(2026, 2, 1), 60), SizePoint(date(2026, 2, 1), 30)]
    sizes.append(SizePoint(date(2026, 3, 1), 45))
    runs = stretches(sizes, [date(2026, 2, 1)])
    assert [[each.size for each in run] for run in runs] == [[40, 60], [30, 45]]
    assert len(stretches(sizes, [])) == 1


def test_an_absurd_size_is_hollow_and_does_not_stretch_the_axis():
    sizes = [*monthly(5), SizePoint(TODAY - timedelta(3), 340, absurd="ten times its neighbours.")]
    picture = growth_curve("M12", sizes, today=TODAY, unit="mm")
    assert len(picture.wide.of("reading")) == 5
    assert len(picture.wide.of("absurd")) == 1
    assert "ten times its neighbours." in picture.notes[0]
    assert max(int(words.text) for words in picture.wide.words if words.text.isdigit()) < 100


def test_inches_have_whole_ticks():
    picture = full_growth(unit="in", stored=25.4, show=lambda size: f"{size / 25.4:.2f} in")
    assert {"0", "1", "2"} <= {words.text for words in picture.wide.words}
    assert "2.44 in needed" in picture.words


def test_twelve_lines_are_named_and_the_others_counted():
    picture = lineage_scale("By age", colonies(15), by_age=True)
    for drawing in picture.drawings:
        assert len([words for words in drawing.words if words.text.startswith("M")]) == MOST_NAMED
        assert len(drawing.of("faint")) == 3
    assert any("3 more colonies" in key.words for key in picture.legend)


def test_names_spread_apart_in_their_order_and_inside():
    placed = spread([10, 11, 12, 95, 99], 15, 0, 100)
    assert all(right - left >= 15 - 1e-9 for left, right in pairwise(placed))
    assert 0 <= placed[0] <= placed[-1] <= 100
    assert len(set(spread([5.0] * 30, 15, 0, 100))) == 30


def test_the_plan_names_its_best_and_today():
    picture = plan_curve("Plan", plan(), best=plan()[11], habit=plan()[2], unit="mm")
    assert "Best: at 80 mm back to 49.6 mm, 38 % removed, every 60 days, gives 34 frags a year" in picture.words
    assert {"best: 34"} <= {words.text for words in picture.narrow.words}
    assert any(words.text.startswith("today: ") for words in picture.narrow.words)


def test_a_month_has_one_swatch_in_the_colour_that_was_measured():
    twice = ColourRun(
        "paper", False, 1, tuple(ColourPoint(date(2026, 5, day), f"#0000{day}", 1, 1, 1, 0) for day in (10, 20))
    )
    picture = colours(colour_run(6), twice)
    for drawing in picture.drawings:
        swatches = drawing.of("swatch")
        assert [each.fill for each in swatches[:6]] == [point.fill for point in colour_run(6).points]
        assert [each.fill for each in swatches[6:]] == ["#000020"]
        assert all(each.width > 0 for each in swatches)
    assert f'fill="{swatches[0].fill}"' in render_to_string("propagation/parts/picture_marks.html", {"marks": swatches})


def test_money_says_what_came_and_when_it_was_enough():
    picture = money_curve("Money", money(), today=TODAY, show="€{:.2f}".format, paid_back_on=money()[-2].day)
    assert picture.words.startswith("By 25 Nov 2026 €80.00 had come in and €45.00 had been paid.")
    assert picture.words.endswith("It paid for itself on 2 May 2026.")
    assert picture.rows[0] == ("10 Jan 2024", "€0.00", "€45.00")
    assert "paid for itself" not in [key.words for key in money_curve("Money", money(), today=TODAY).legend]


def test_chance_is_the_binomial_band():
    # Binomial(20, 1/2): P(X <= 5) = 0.0207, P(X <= 6) = 0.0577, and the same above 14 by symmetry.
    assert chance_band(20, 0.5) == (6, 14)
    assert chance_band(1, 0.1) == (0, 1)


def test_half_healed_is_read_off_the_curve():
    assert "Half are healed by day 30." in healing_curve("Healing", healing()).words
    assert "Half are not healed by then." in healing_curve("Healing", healing()[:4]).words


def test_rates_are_ranked_and_zero_is_marked_when_crossed():
    rows = [RateRow("Low", -8, -14, -2), RateRow("High", 12, 3, 21)]
    picture = rates("Systems", rows, zero_words="no difference")
    assert [row[0] for row in picture.rows] == ["High", "Low"]
    assert len(picture.wide.of("zero")) == 1
    assert not rates("Frags", rows[1:]).wide.of("zero")


@pytest.mark.parametrize("days", [0, 1, 30, 62, 400, 4000, 20000])
def test_day_ticks_ascend_and_stay_on_the_axis(days):
    axis = DayAxis(TODAY - timedelta(days), TODAY, 30, 300)
    places = [tick.at for tick in axis.ticks()]
    assert places
    assert places == sorted(places)
    assert 30 <= places[0] <= places[-1] <= 300


def test_nice_values_enclose_and_refuse_what_is_no_number():
    assert nice_values(3, 97) == [0, 20, 40, 60, 80, 100]
    assert nice_values(-8, 21)[0] <= -8
    with pytest.raises(ValueError, match="numbers at both ends"):
        nice_values(0, math.nan)
