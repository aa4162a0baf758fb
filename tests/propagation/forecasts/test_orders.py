"""So many frags of a line by a day: what is there, whom to cut and when, and how likely it is done."""

import functools
from datetime import timedelta

import pytest
from django.utils.timezone import localdate

from propagation.forecasts import orders
from propagation.forecasts.orders import first_free_day, last_free_day, plan_order
from propagation.models import Absence, CutRule, IncidentKind, Plug
from tests.factories import (
    CutEventFactory,
    HoldFactory,
    IncidentFactory,
    LineageFactory,
    PlacementFactory,
    PlugFactory,
    ReadyPlugFactory,
)

pytestmark = pytest.mark.django_db
TODAY = localdate()


@pytest.fixture
def grown(grown):
    return functools.partial(grown, last_on=TODAY)


@pytest.fixture
def line():
    return LineageFactory(name="Order Quay", insurance_wanted=0)


@pytest.fixture
def mother(grown, line):
    """About 156 mm today, so good for a cut of six."""
    return grown(tag="O1", first=60, gain=8, lineage=line)


def order(line, wanted=4, days=90, **options):
    return plan_order(line, wanted=wanted, by_day=TODAY + timedelta(days=days), today=TODAY, **options)


def ready_plugs(line, number, **changes):
    made = []
    for _ in range(number):
        event = CutEventFactory(mother__lineage=line, mother__ended_on=TODAY, mother__end_reason="died")
        made.append(ReadyPlugFactory(cut_event=event, **changes))
    return made


def test_a_mother_is_cut_in_time_for_her_frags_to_heal(line, mother):
    found = order(line)
    (cut,) = found.cuts
    assert cut.colony == mother
    assert TODAY <= cut.day <= found.last_cut_on == TODAY + timedelta(days=90 - found.heal_days)
    assert found.is_likely
    assert found.expected <= 4


def test_ready_plugs_are_taken_first_and_can_be_left(line, mother):
    ready_plugs(line, 3)
    taken = order(line, 5)
    assert (taken.ready, taken.counted, taken.to_cut) == (3, 3, 2)
    left = order(line, 5, use_ready=False)
    assert (left.ready, left.counted, left.to_cut) == (3, 0, 5)
    assert left.probability <= taken.probability


def test_plugs_that_are_promised_or_insurance_are_not_free(line, mother):
    first, second, _ = ready_plugs(line, 3)
    HoldFactory(plug=first, until=TODAY + timedelta(days=30))
    Plug.objects.filter(pk=second.pk).update(is_insurance=True)
    assert order(line).ready == 1


def test_where_enough_is_ready_nothing_is_cut(line, mother):
    ready_plugs(line, 5)
    found = order(line, 4)
    assert found.is_there
    assert found.cuts == []
    assert (found.probability, found.likely) == (1.0, 4)


def test_plugs_that_heal_now_are_reckoned_with(line, mother):
    for _ in range(6):
        event = CutEventFactory(mother=mother, session__cut_on=TODAY - timedelta(days=7))
        PlugFactory(cut_event=event, began_on=TODAY - timedelta(days=7))
    found = order(line, 4, days=120)
    assert found.healing == 6
    assert 3 < found.healing_soon < 6
    assert found.coming == 4
    assert found.cuts == []
    assert found.is_likely
    alone = order(line, 4, days=120, use_healing=False)
    assert (alone.coming, alone.to_cut) == (0, 4)
    # None of them heals overnight.
    assert order(line, 4, days=1).healing_soon < 0.5


def test_mothers_with_an_open_incident_are_left_out_and_named(line, mother, grown):
    ill = grown(first=80, gain=5, lineage=line)
    IncidentFactory(colony=ill, kind=IncidentKind.PEST, opened_on=TODAY)
    found = order(line)
    assert [each.colony for each in found.left_out] == [ill]
    assert "Pest" in found.left_out[0].why
    assert ill not in [cut.colony for cut in found.cuts]


def test_a_mother_that_rests_too_long_is_left_out(line, mother):
    CutRule.objects.create(colony=mother, rest_days=200)
    CutEventFactory(mother=mother, session__cut_on=TODAY - timedelta(days=1))
    found = order(line, 2)
    assert found.cuts == []
    assert "rest" in found.left_out[0].why


def test_nobody_cuts_while_nobody_is_there(line, mother):
    before = order(line)
    away = before.cuts[0].day
    Absence.objects.create(first_day=away, last_day=away + timedelta(days=10))
    found = order(line)
    for cut in found.cuts:
        assert not away - timedelta(days=10) < cut.day <= away + timedelta(days=10)


def test_days_out_of_absences():
    absences = [(100, 110), (125, 130)]
    # Ten days before an absence somebody is still to watch the cut heal.
    assert [first_free_day(day, absences) for day in (90, 91, 110, 111, 116)] == [90, 111, 111, 111, 131]
    assert [last_free_day(day, absences) for day in (90, 105, 115, 116, 131)] == [90, 90, 115, 115, 131]


def test_what_cannot_be_done_says_what_is_likely_and_by_when(line, mother):
    found = order(line, 12)
    assert not found.is_likely
    assert 0 < found.likely < 12
    assert order(line, found.likely).is_likely
    assert found.earliest > found.by_day
    later = order(line, 12, days=(found.earliest - TODAY).days)
    assert later.is_likely
    sooner = order(line, 12, days=(found.earliest - TODAY).days - 7)
    assert not sooner.is_likely


@pytest.fixture
def two_measures(line, grown):
    """Mothers of one line that are followed by different measures."""
    return [
        grown(tag="O1", first=60, gain=3, lineage=line),
        grown(tag="O2", first=30, gain=4, measure="area_cm2", lineage=line),
    ]


@pytest.fixture
def told(monkeypatch):
    """What the groups answered, in their turn."""
    answers, fill = [], orders._Line._fill

    def listening(self, *given):
        answers.append(fill(self, *given))
        return answers[-1]

    monkeypatch.setattr(orders._Line, "_fill", listening)
    return answers


@pytest.mark.usefixtures("two_measures")
def test_the_chance_of_two_measures_is_that_of_their_sum(line, told):
    """Reckoned again from the chances of each group, by every pair of numbers."""
    found = orders._Line(line, TODAY).answer(9, TODAY + timedelta(days=100), 0, True)
    assert {cut.colony.tag for cut in found.cuts} == {"O1", "O2"}
    first, second = (answer.chances for answer in told)
    expected = sum(first[i] * second[j] for i in range(10) for j in range(10) if i + j >= 9)
    assert found.probability == pytest.approx(expected)
    assert 0 < found.probability < 0.8
    assert not found.is_bound


@pytest.mark.usefixtures("two_measures")
def test_the_second_group_is_asked_for_no_more_than_is_needed(line):
    found = order(line, 3, days=100)
    frags = sorted(cut.frags for cut in found.cuts)
    assert len(frags) == 2
    assert frags[0] < 3 < frags[1]  # 4 so that 3 heal, and 2 more to be sure
    assert found.is_likely
    assert found.is_bound


def test_water_that_is_off_puts_a_cut_off(line, mother, monkeypatch):
    placement = PlacementFactory(colony=mother)
    worry = "Alkalinity is 4.9 dKH in Bench tank, below 6.5."
    monkeypatch.setattr(
        "propagation.forecasts.gathering.water_worries", lambda day: {placement.spot.system_id: [worry]}
    )
    found = order(line)
    assert all(cut.day > TODAY + timedelta(days=14) for cut in found.cuts)
    assert any(worry in note for note in found.notes)


def test_a_line_without_mothers(line, signed_in):
    found = order(line)
    assert (found.mothers, found.cuts, found.earliest, found.probability) == (0, [], None, 0.0)
    page = signed_in.get("/orders/", {"lineage": line.pk, "frags": 4, "day": TODAY + timedelta(days=90)})
    assert "No mother of this line lives" in page.content.decode()


@pytest.mark.parametrize(("wanted", "days", "why"), [(0, 10, "at least one"), (3, -1, "passed")])
def test_an_order_for_nothing_or_for_yesterday_is_refused(line, wanted, days, why):
    with pytest.raises(ValueError, match=why):
        order(line, wanted, days)


def test_it_costs_the_same_with_many_mothers_and_plugs(line, grown, django_assert_max_num_queries):
    grown(months=4, lineage=line)
    ready_plugs(line, 1)
    order(line, 40)
    with django_assert_max_num_queries(35) as few:
        order(line, 40)
    for _ in range(4):
        grown(months=4, lineage=line)
    ready_plugs(line, 4)
    with django_assert_max_num_queries(35) as many:
        order(line, 40)
    assert len(many) <= len(few) + 1


# The page ------------------------------------------------------------------------------------------------------------


def ask(client, line, **given):
    return client.get("/orders/", {"lineage": line.pk, "frags": 4, "day": TODAY + timedelta(days=90)} | given)


def test_the_page_asks_with_three_months_and_both_kinds_of_plugs(signed_in, mother):
    page = signed_in.get("/orders/", {"lineage": mother.lineage_id}).content.decode()
    assert (TODAY + timedelta(days=91)).isoformat() in page
    assert page.count(" checked") == 2
    assert f'value="{mother.lineage_id}" selected' in page
    assert "Whom to cut" not in page


def test_the_page_answers_with_links_to_the_mothers(signed_in, line, mother):
    page = ask(signed_in, line).content.decode()
    assert "Whom to cut" in page
    assert 'href="/colonies/O1/"' in page
    assert "% sure" in page


def test_the_page_leads_to_the_first_likely_day(signed_in, line, mother):
    page = ask(signed_in, line, frags=12).content.decode()
    assert "Not likely by then" in page
    assert f"day={order(line, 12, use_ready=False, use_healing=False).earliest.isoformat()}" in page


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"frags": 0}, "at least one frag"),
        ({"frags": ""}, "Say how many."),
        ({"frags": "many"}, "no number"),
        ({"frags": 501}, "in parts"),
        ({"day": "2020-01-01"}, "has passed"),
        ({"day": "2999-01-01"}, "three years ahead"),
        ({"day": "soon"}, "no day"),
        ({"lineage": ""}, "Say of which lineage."),
        ({"lineage": 99999999}, "no such lineage"),
    ],
)
def test_bad_input_is_named_and_kept(signed_in, line, given, why):
    page = ask(signed_in, line, **given).content.decode()
    assert why in page
    assert "Nothing was worked out yet." in page


def test_without_a_lineage_the_page_says_what_to_do(signed_in):
    assert "No lineage yet" in signed_in.get("/orders/").content.decode()


def test_a_line_leads_to_its_order(signed_in, line):
    assert f"/orders/?lineage={line.pk}" in signed_in.get(f"/lineages/{line.pk}/").content.decode()
