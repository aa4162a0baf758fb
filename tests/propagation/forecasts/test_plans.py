"""How far to cut one mother back: from the records, as a page and as a command."""

import functools
import json
from datetime import timedelta
from decimal import Decimal
from io import StringIO

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from django.utils.timezone import localdate

from inventory.models import LineagePrice
from propagation.forecasts.gathering import gather_colonies
from propagation.forecasts.outlooks import views
from propagation.forecasts.plans import often, plan_of
from propagation.models import Colony, CutRule, IncidentKind, Preferences, SizeReading
from propagation.yield_model.cutting_plan import growth_ahead
from propagation.yield_model.forecast import forecast_sizes
from propagation.yield_model.scales import scale_without_checks
from tests.factories import ColonyFactory, CutEventFactory, IncidentFactory

pytestmark = pytest.mark.django_db
TODAY = localdate()


@pytest.fixture
def grown(grown):
    return functools.partial(grown, last_on=TODAY)


@pytest.fixture
def mother(grown):
    return grown(tag="P1", first=60, gain=4)


def cut(mother, *, days_ago, frags=4, **sizes):
    return CutEventFactory(
        mother=mother,
        session__cut_on=TODAY - timedelta(days=days_ago),
        frags=frags,
        measure="diameter_mm" if sizes else "",
        **sizes,
    )


def test_growth_ahead_is_what_the_forecast_grows_by(mother):
    ((_, _, taken, states, _, _),) = views(gather_colonies(TODAY), TODAY)
    (growth,) = growth_ahead(taken.model, states, lag_days=taken.lag_days, days=365)
    later = forecast_sizes(taken.model, states, np.array([TODAY.toordinal() + 365.0]))
    level = scale_without_checks(
        later.quantile(float(taken.model.tails.cumulative(0.0))) / growth.reference, growth.exponent
    )
    assert float(level[0] - states.level[0]) == pytest.approx(365 * growth.rate, rel=0.02)
    assert growth.rate_deviation > 0
    with pytest.raises(ValueError, match="at least one day"):
        growth_ahead(taken.model, states, days=0)


def test_the_best_keeps_to_the_rules(mother):
    CutRule.objects.create(
        colony=mother, measure="diameter_mm", room=150, keep_at_least=70, fewest_frags=3, largest_share=40
    )
    plan = plan_of(mother, TODAY)
    best = plan.best
    assert 70 <= best.cut_to < best.cut_at <= 150
    assert best.share_removed <= 0.4
    assert best.frags >= 3
    assert best.low < best.frags_a_year < best.high
    assert best.frags_a_year == max(point.frags_a_year for point in plan.plan.curve)
    assert "Its place has room for 150 mm." in plan.limits


def test_without_a_room_it_may_grow_a_quarter_beyond_its_largest(mother):
    plan = plan_of(mother, TODAY)
    assert plan.top == pytest.approx(1.25 * 108)
    assert "135 mm" in plan.top_words


def test_a_slip_of_the_pen_makes_no_room(mother):
    SizeReading.objects.create(
        colony=mother, taken_on=TODAY - timedelta(days=45), measure="diameter_mm", value=Decimal(1000)
    )
    assert plan_of(mother, TODAY).top < 200


def test_a_young_colony_is_planned_for_the_size_of_a_cut(grown):
    young = grown(first=20, gain=1)
    plan = plan_of(young, TODAY)
    assert plan.best is not None
    assert "beyond what a cut needs" in plan.top_words


def test_the_habit_is_what_the_last_cuts_were(mother):
    for days_ago, before, after in ((300, 95, 70), (200, 100, 72), (100, 97, 71)):
        cut(mother, days_ago=days_ago, size_before=before, size_after=after)
    plan = plan_of(mother, TODAY)
    assert (plan.habit_of.before, plan.habit_of.after, plan.habit_of.frags) == (97, 71, 4)
    assert plan.habit_of.basis == "The last 3 cuts, with both sizes recorded."
    assert (plan.habit.cut_at, plan.habit.cut_to) == (97, 71)
    assert plan.habit.low < plan.habit.frags_a_year < plan.habit.high


def test_where_only_frags_were_recorded_sizes_are_worked_out_and_that_is_said(mother):
    cut(mother, days_ago=10, frags=2)
    plan = plan_of(mother, TODAY)
    assert plan.habit_of.recorded == 0
    # The size ten days ago lies between the readings of a month ago and today.
    assert 100 < plan.habit_of.before < 112
    unit = plan.rules.frag_unit.mean
    assert plan.habit_of.after == pytest.approx(plan.habit_of.before - 2 * unit)
    assert "worked out" in plan.habit_of.basis


def test_the_size_after_a_cut_is_told_by_the_next_reading():
    colony = ColonyFactory()
    cut(colony, days_ago=40, frags=2)
    for days_ago, size in ((20, 50), (5, 52)):
        SizeReading.objects.create(
            colony=colony, taken_on=TODAY - timedelta(days=days_ago), measure="diameter_mm", value=size
        )
    habit = plan_of(colony, TODAY).habit_of
    assert 45 < habit.after <= 50
    assert habit.recorded == 0


def test_sizes_far_from_a_cut_tell_nothing_of_it(grown):
    colony = grown(months=2, first=60, gain=4)
    cut(colony, days_ago=600)
    plan = plan_of(colony, TODAY)
    assert plan.was_cut
    assert plan.habit is None


def test_a_habit_within_a_hair_of_the_best_is_called_so(mother):
    CutRule.objects.create(colony=mother, measure="diameter_mm", room=150)
    best = plan_of(mother, TODAY).best
    cut(
        mother,
        days_ago=400,
        frags=best.frags,
        size_before=Decimal(f"{best.cut_at:.2f}"),
        size_after=Decimal(f"{best.cut_to:.2f}"),
    )
    plan = plan_of(mother, TODAY)
    assert plan.gain_words == "As you cut now is about as good as it gets."


def test_what_the_difference_is_worth(grown):
    mother = grown(first=60, gain=6)
    CutRule.objects.create(colony=mother, measure="diameter_mm", room=300)
    LineagePrice.objects.create(lineage=mother.lineage, amount=20)
    cut(mother, days_ago=300, frags=1, size_before=80, size_after=68)
    plan = plan_of(mother, TODAY)
    if plan.gain < 0.5:
        pytest.fail("The habit of single frags should give less.")
    assert "more a year than as you cut now" in plan.gain_words
    assert plan.price.words(plan.gain * plan.rules.healed_share) in plan.gain_words


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (lambda grown: grown(first=90, gain=-3), "not growing"),
        (
            lambda grown: (
                IncidentFactory(
                    colony=grown(first=60, gain=4), kind=IncidentKind.SLOW_TISSUE_LOSS, opened_on=TODAY
                ).colony
            ),
            "losing tissue",
        ),
        (
            lambda grown: (
                CutRule.objects.create(
                    colony=grown(first=60, gain=4), measure="diameter_mm", room=50, keep_at_least=45
                ).colony
            ),
            "Give it more room",
        ),
        (
            lambda grown: grown(first=60, gain=4, ended_on=TODAY, end_reason="died"),
            "no longer kept",
        ),
    ],
)
def test_where_there_is_nothing_to_plan_that_is_said(signed_in, grown, make, why):
    colony = make(grown)
    plan = plan_of(colony, TODAY)
    assert plan.best is None
    assert why in " ".join(plan.because)
    answer = signed_in.get(f"/colonies/{colony.tag}/plan/")
    assert answer.status_code == 200
    assert why in answer.content.decode()


def test_one_never_measured_is_planned_from_what_is_published(signed_in):
    colony = ColonyFactory()
    assert plan_of(colony, TODAY).readings == 0
    assert "It was never measured" in signed_in.get(f"/colonies/{colony.tag}/plan/").content.decode()


def test_the_page_says_the_best_in_one_sentence_with_the_habit_beside_it(signed_in, mother):
    cut(mother, days_ago=200, size_before=95, size_after=70)
    page = signed_in.get("/colonies/P1/plan/").content.decode()
    plan = plan_of(mother, TODAY)
    assert plan.best_words in page
    assert plan.habit_words in page
    assert "<svg" in page
    assert "What limits it" in page
    for limit in plan.limits:
        assert limit in page


def test_the_page_speaks_in_inches_to_who_thinks_in_them(signed_in, mother):
    Preferences.objects.update_or_create(pk=1, defaults={"length_unit": "inch"})
    page = signed_in.get("/colonies/P1/plan/").content.decode()
    assert " in back to " in page
    assert "mm" not in page.split("What it rests on")[1].split("</dl>")[0]


def test_the_page_of_no_colony_is_not_found(signed_in):
    assert signed_in.get("/colonies/nothing/plan/").status_code == 404


def test_it_costs_the_same_with_many_colonies(grown, django_assert_max_num_queries):
    mother = grown()
    plan_of(mother, TODAY)
    with django_assert_max_num_queries(30) as few:
        plan_of(mother, TODAY)
    for _ in range(4):
        cut(grown(lineage=mother.lineage), days_ago=50, size_before=60, size_after=40)
    cut(mother, days_ago=50, size_before=60, size_after=40)
    with django_assert_max_num_queries(30) as many:
        plan_of(Colony.objects.select_related("lineage").get(pk=mother.pk), TODAY)
    assert len(many) <= len(few) + 1


@pytest.mark.parametrize(
    ("days", "words"), [(1, "day"), (45, "45 days"), (60, "2 months"), (152, "5 months"), (1000, "2.7 years")]
)
def test_how_often_in_words(days, words):
    assert often(days) == words


# The command ---------------------------------------------------------------------------------------------------------


def command(*arguments):
    out = StringIO()
    call_command("growth_plan", *arguments, stdout=out)
    return out.getvalue()


def test_the_command_answers_in_json(mother):
    cut(mother, days_ago=200, size_before=95, size_after=70)
    answer = json.loads(command("p1", "--json"))
    assert list(answer) == ["tag", "lineage", "measure", "unit", "best", "habit", "curve", "because"]
    assert (answer["tag"], answer["measure"], answer["unit"]) == ("P1", "diameter_mm", "mm")
    point = ["cut_at", "cut_to", "share_removed", "frags", "days", "frags_a_year", "low", "high"]
    assert list(answer["best"]) == list(answer["habit"]) == list(answer["curve"][0]) == point
    assert "Cut at" in answer["because"]


def test_the_command_says_why_there_is_none(grown):
    grown(tag="P2", first=90, gain=-3)
    answer = json.loads(command("P2", "--json"))
    assert (answer["best"], answer["habit"], answer["curve"]) == (None, None, [])
    assert "not growing" in answer["because"]
    assert "not growing" in command("P2")


def test_the_command_names_tags_near_an_unknown_one(mother):
    with pytest.raises(CommandError, match="Did you mean P1"):
        command("P11")


def test_the_command_speaks_to_people(mother):
    cut(mother, days_ago=200, size_before=95, size_after=70)
    said = command("P1")
    assert said.startswith("P1 · ")
    assert "frags a year" in said
    assert "Its one cut, with both sizes recorded." in said
