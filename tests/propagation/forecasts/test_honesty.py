"""How right the forecasts were: figures, verdicts, worst misses, sizes set aside, and what the models rest on."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils.timezone import localdate
from scipy.stats import binomtest

from propagation.forecasts.honesty import ENOUGH, how_right, kept, lineages_with_scores, set_aside, verdict
from propagation.models import ColonyOutlook, Forecast, ForecastScore, LearnedGrowth, SizeReading
from tests.factories import ColonyFactory

pytestmark = pytest.mark.django_db
TODAY = localdate()
FIRST = date(2025, 1, 1)


@pytest.fixture
def scored():
    """Store forecasts of a colony that said 100 mm each, and what came of them: (rank, outcome) one a day."""
    growth = LearnedGrowth.objects.create(
        measure="diameter_mm", growth_form="branching", learned_on=FIRST, lag_days=7, model={}
    )

    def make(colony, came, *, steps=1, last_size=80.0, last_rate=0.5, replayed=False, median=100.0, later=30):
        taken = Forecast.objects.filter(colony=colony).count()
        for number, (rank, outcome) in enumerate(came, start=taken):
            day = FIRST + timedelta(days=number)
            forecast = Forecast.objects.create(
                colony=colony,
                growth=growth,
                measure="diameter_mm",
                made_for=day,
                readings=3,
                last_size=last_size,
                last_rate=last_rate,
                replayed=replayed,
                state={},
            )
            reading = SizeReading.objects.create(
                colony=colony, taken_on=day + timedelta(days=later), measure="diameter_mm", value=Decimal(f"{outcome}")
            )
            ForecastScore.objects.create(
                forecast=forecast,
                reading=reading,
                steps=steps,
                taken_on=reading.taken_on,
                outcome=outcome,
                median=median,
                rank=rank,
                crps=1.0,
            )
        return colony

    return make


def evenly(number, outcome=100.0):
    return [((place + 0.5) / number, outcome) for place in range(number)]


@pytest.mark.parametrize(("number", "held"), [(10, 0), (10, 10), (100, 83), (7, 3)])
def test_the_interval_of_a_share_is_the_exact_binomial(number, held):
    told = kept(0.8, number, held)
    exact = binomtest(held, number).proportion_ci(0.95, method="exact")
    assert (told.low, told.high) == pytest.approx((exact.low, exact.high))


def test_shares_are_counted_from_where_outcomes_fell(scored):
    scored(ColonyFactory(), evenly(100))
    found = how_right()
    assert [share.held for share in found.everything.shares] == [50, 80, 96]
    assert found.ranks == [10] * 10
    assert found.verdict == (
        "success",
        "Of 100 forecasts said to hold 8 times in 10, 80 held: 80\u00a0%. That is as it should be.",
    )


def test_outcomes_at_the_very_ends_count(scored):
    scored(ColonyFactory(), [(0.0, 100), (1.0, 100), (0.1, 100), (0.9, 100)])
    found = how_right()
    assert found.everything.shares[1].held == 2
    assert (found.ranks[0], found.ranks[1], found.ranks[9]) == (1, 1, 2)


@pytest.mark.parametrize(
    ("ranks", "kind", "words"),
    [
        ([0.01] * 30, "warning", "too sure"),
        ([0.5] * 30, "info", "more careful"),
        ([0.5] * 19, "info", "Too few to tell"),
    ],
)
def test_the_verdict_in_plain_words(scored, ranks, kind, words):
    scored(ColonyFactory(), [(rank, 100) for rank in ranks])
    found = how_right()
    assert found.verdict[0] == kind
    assert words in found.verdict[1]
    assert bool(found.compared) == (len(ranks) >= ENOUGH)


def test_no_forecast_at_all():
    assert verdict(None)[1].startswith("Too few to tell: no forecasts met their outcome")


def test_errors_stand_beside_plainer_ways(scored):
    # It said 100 where 110 came; nothing growing says 80, the last pace 80 + 0.5 × 30 = 95.
    scored(ColonyFactory(), [(0.6, 110.0)] * 20)
    errors = how_right().everything.errors
    assert errors.model == pytest.approx(100 * 10 / 110)
    assert errors.no_growth == pytest.approx(100 * 30 / 110)
    assert errors.last_rate == pytest.approx(100 * 15 / 110)
    assert "missed by 27.3\u00a0%" in how_right().compared


def test_what_a_plainer_way_cannot_say_is_left_out(scored):
    scored(ColonyFactory(), [(0.6, 110.0)] * 20, last_size=None, last_rate=None)
    assert (how_right().everything.errors.no_growth, how_right().everything.errors.last_rate) == (None, None)
    scored(ColonyFactory(), [(0.6, 110.0)], last_rate=None)
    assert how_right().everything.errors.no_growth == pytest.approx(100 * 30 / 110)
    assert how_right().everything.errors.last_rate is None


def test_a_pace_of_shrinking_never_says_less_than_nothing(scored):
    scored(ColonyFactory(), [(0.6, 110.0)] * 2, last_rate=-50.0)
    assert how_right().everything.errors.last_rate == pytest.approx(100)


def test_figures_by_how_far_ahead(scored):
    scored(ColonyFactory(), evenly(6), steps=1)
    scored(ColonyFactory(), evenly(4), steps=5)
    assert [(row.steps, row.number) for row in how_right().by_steps] == [(1, 6), (5, 4)]


def test_one_line_alone(scored):
    one, other = scored(ColonyFactory(), evenly(6)), scored(ColonyFactory(), evenly(4))
    assert how_right(one.lineage).number == 6
    assert how_right(other.lineage).number == 4
    assert set(lineages_with_scores()) == {one.lineage, other.lineage}
    assert how_right(ColonyFactory().lineage).number == 0


def test_the_worst_misses_come_first_each_outcome_once(scored):
    colony = scored(ColonyFactory(tag="W1"), [(0.5, 100.0), (0.999, 210.0), (0.4, 45.0), (0.5, 101.0)])
    score = ForecastScore.objects.get(outcome=210.0)
    second = Forecast.objects.create(
        colony=colony, growth=score.forecast.growth, measure="diameter_mm", made_for=FIRST - timedelta(days=9),
        readings=2, state={},
    )  # fmt: skip
    ForecastScore.objects.create(
        forecast=second, reading=score.reading, steps=3, taken_on=score.taken_on, outcome=210.0, median=102.0,
        rank=0.99, crps=1.0,
    )  # fmt: skip
    misses = how_right().misses
    assert [miss.score.outcome for miss in misses[:2]] == [45.0, 210.0]
    assert len(misses) == 4
    assert misses[0].off_words == "122 % too high"
    assert misses[1].off_words == "52 % too low"
    assert [miss.was_unlikely for miss in misses[:2]] == [False, True]


def test_many_scores_take_no_more_queries(scored, django_assert_max_num_queries):
    scored(ColonyFactory(), evenly(3))
    with django_assert_max_num_queries(3):
        how_right()
    for _ in range(4):
        scored(ColonyFactory(), evenly(8))
    with django_assert_max_num_queries(3):
        how_right()


# The page ------------------------------------------------------------------------------------------------------------


def test_the_page_without_a_score_says_so(signed_in):
    page = signed_in.get("/forecasts/").content.decode()
    assert "Too few to tell: no forecasts" in page
    assert "Nothing was learned yet" in page
    assert "<table" not in page


def test_the_page_of_real_records(signed_in, grown):
    """From readings that come in one by one, as they do."""
    from propagation.forecasts.replaying import replay

    colony = grown(tag="H1", first=40, gain=4, last_on=TODAY, months=8)
    replay([TODAY - timedelta(days=30 * months) for months in (5, 3)], today=TODAY)
    page = signed_in.get("/forecasts/").content.decode()
    assert "Too few to tell" in page
    assert "Next size" in page
    assert 'href="/colonies/H1/"' in page
    assert "All of them were worked out afterwards" in page
    learned = LearnedGrowth.objects.first()
    assert learned.model["scale"]["reason"] in page
    assert learned.model["published"]["basis"] in page
    assert signed_in.get("/forecasts/", {"lineage": colony.lineage_id}).status_code == 200


def test_sizes_that_were_set_aside_are_listed_with_their_colonies(signed_in, grown):
    colony = grown(tag="H2", first=40, gain=4, last_on=TODAY)
    SizeReading.objects.create(
        colony=colony, taken_on=TODAY - timedelta(days=45), measure="diameter_mm", value=Decimal(900)
    )
    page = signed_in.get("/forecasts/").content.decode()
    (item,) = set_aside()
    assert item.outlook == ColonyOutlook.objects.get(colony=colony)
    assert (item.size, item.day) == (900.0, TODAY - timedelta(days=45))
    assert "H2: 900" in page
    assert item.reason in page
    assert set_aside(ColonyFactory().lineage) == []


def test_the_page_shows_pictures_from_twenty_on(signed_in, scored, no_marks):
    colony = scored(ColonyFactory(), evenly(ENOUGH - 1))
    no_marks()
    assert "came true" not in signed_in.get("/forecasts/").content.decode()
    scored(colony, evenly(1))
    no_marks()
    assert "came true" in signed_in.get("/forecasts/").content.decode()


def test_the_page_costs_the_same_with_many(signed_in, scored, no_marks, django_assert_max_num_queries):
    scored(ColonyFactory(), evenly(ENOUGH))
    no_marks()
    signed_in.get("/forecasts/")
    with django_assert_max_num_queries(25) as few:
        signed_in.get("/forecasts/")
    for _ in range(3):
        scored(ColonyFactory(), evenly(10))
    no_marks()
    signed_in.get("/forecasts/")
    with django_assert_max_num_queries(25) as many:
        signed_in.get("/forecasts/")
    assert len(many) == len(few)


def test_an_odd_filter_is_left_out(signed_in, scored, no_marks):
    scored(ColonyFactory(), evenly(3))
    no_marks()
    for odd in ("x", "0", "-1", "99999999999999999999"):
        page = signed_in.get("/forecasts/", {"lineage": odd}).content.decode()
        assert "Too few to tell: 3 forecasts" in page
