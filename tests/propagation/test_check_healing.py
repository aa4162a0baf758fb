"""Following plugs through healing."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from propagation.actions.acquire import acquire_plugs
from propagation.actions.check_healing import check_healing, take_back_act, take_back_checks
from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.errors import AlreadyDone, BadDate, BadValue, PlugGone
from propagation.models import HealingCheck, HealingStage, Plug
from tests.factories import ColonyFactory, LineageFactory, PlugFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


def days_before(today, number):
    return today - timedelta(days=number)


@pytest.fixture
def plug():
    return PlugFactory()


def test_a_check_is_dated_and_moves_the_plug_on(plug, today, keeper):
    made = check_healing(plugs=[plug], stage="sealed", on=today, today=today, note="closed all round", by=keeper)
    check = plug.healing_checks.get()
    assert made == [check]
    assert (check.stage, check.checked_on, check.note, check.recorded_by) == (
        "sealed",
        today,
        "closed all round",
        keeper,
    )
    plug.refresh_from_db()
    assert (plug.stage, plug.checked_on, plug.healed_on) == ("sealed", today, None)
    assert plug.history.first().history_user == keeper


def test_without_a_stage_each_moves_on_to_its_next(today):
    plugs = [PlugFactory(), PlugFactory(stage="sealed"), PlugFactory(stage="encrusting")]
    check_healing(plugs=plugs, on=today, today=today)
    assert [Plug.objects.get(pk=plug.pk).stage for plug in plugs] == ["sealed", "encrusting", "healed"]
    assert Plug.objects.get(pk=plugs[2].pk).healed_on == today


def test_the_same_tap_twice_moves_nothing_twice(plug, today):
    assert len(check_healing(plugs=[plug], on=today, today=today)) == 1
    assert check_healing(plugs=[plug], on=today, today=today) == []
    assert check_healing(plugs=[plug], stage="sealed", on=today, today=today) == []
    plug.refresh_from_db()
    assert plug.stage == "sealed"
    assert plug.healing_checks.count() == 1


def test_the_same_stage_on_another_day_is_a_check_of_its_own(plug, today):
    check_healing(plugs=[plug], stage="sealed", on=days_before(today, 7), today=today)
    assert len(check_healing(plugs=[plug], stage="sealed", on=today, today=today)) == 1
    plug.refresh_from_db()
    assert plug.checked_on == today


def test_a_later_word_on_the_same_day_counts(plug, today):
    check_healing(plugs=[plug], stage="sealed", on=today, today=today)
    check_healing(plugs=[plug], stage="encrusting", on=today, today=today)
    plug.refresh_from_db()
    assert plug.stage == "encrusting"


def test_a_check_entered_late_does_not_overtake_the_latest(plug, today):
    check_healing(plugs=[plug], stage="encrusting", on=today, today=today)
    check_healing(plugs=[plug], stage="sealed", on=days_before(today, 9), today=today)
    plug.refresh_from_db()
    assert (plug.stage, plug.checked_on) == ("encrusting", today)


def test_healed_counts_from_the_first_day_it_was_seen_so_without_a_break(plug, today):
    check_healing(plugs=[plug], stage="healed", on=days_before(today, 5), today=today)
    check_healing(plugs=[plug], stage="healed", on=today, today=today)
    plug.refresh_from_db()
    assert plug.healed_on == days_before(today, 5)
    check_healing(plugs=[plug], stage="healed", on=days_before(today, 8), today=today)
    plug.refresh_from_db()
    assert plug.healed_on == days_before(today, 8)
    check_healing(plugs=[plug], stage="encrusting", on=days_before(today, 6), today=today)
    plug.refresh_from_db()
    assert (plug.stage, plug.healed_on) == ("healed", days_before(today, 5))


def test_a_plug_that_lost_tissue_goes_back_and_is_not_ready(today):
    plug = ReadyPlugFactory()
    check_healing(plugs=[plug], stage="encrusting", on=today, today=today)
    plug.refresh_from_db()
    assert (plug.stage, plug.healed_on) == ("encrusting", None)
    assert not Plug.objects.ready_on(today).exists()


def test_with_one_plug_gone_none_is_checked(plug, today):
    dead = PlugFactory(fate="dead", ended_on=today)
    with pytest.raises(PlugGone, match=dead.code_in_clear):
        check_healing(plugs=[plug, dead], stage="sealed", on=today, today=today)
    assert not HealingCheck.objects.exists()


@pytest.mark.parametrize(("days", "words"), [(-1, "future"), (200, "comes before it was cut")])
def test_a_day_that_cannot_be_is_refused(plug, today, days, words):
    with pytest.raises(BadDate, match=words):
        check_healing(plugs=[plug], stage="sealed", on=days_before(today, days), today=today)
    assert not HealingCheck.objects.exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [({"stage": "cosy"}, "“cosy” is no healing stage"), ({"plugs": []}, "at least one"), ({"note": "x" * 201}, "201")],
)
def test_a_value_that_cannot_be_is_named(plug, today, change, words):
    with pytest.raises(BadValue, match=words):
        check_healing(**{"plugs": [plug], "stage": "sealed", "on": today, "today": today, **change})


def test_taking_back_a_tap_puts_every_plug_back_and_leaves_a_trace(today, keeper):
    record_cutting(cuts=[MotherCut(ColonyFactory(), 3)], cut_on=days_before(today, 20), today=today)
    plugs = list(Plug.objects.all())
    check_healing(plugs=plugs, stage="sealed", on=days_before(today, 10), today=today)
    act = uuid4()
    check_healing(plugs=plugs, stage="healed", on=today, today=today, act=act)
    taken = take_back_act(act=act, by=keeper)
    assert len(taken) == 3
    assert set(Plug.objects.values_list("stage", "checked_on", "healed_on")) == {
        ("sealed", days_before(today, 10), None)
    }
    gone = HealingCheck.objects.filter(act=act)
    assert all(check.withdrawn_by == keeper and check.withdrawn_at for check in gone)
    assert HealingCheck.objects.standing().count() == 3


def test_a_tap_is_taken_back_once(plug, today):
    act = uuid4()
    check_healing(plugs=[plug], on=today, today=today, act=act)
    take_back_act(act=act)
    with pytest.raises(AlreadyDone):
        take_back_act(act=act)
    with pytest.raises(AlreadyDone):
        take_back_act(act=uuid4())


def test_taking_back_the_only_check_leaves_the_plug_as_it_began(today):
    healed = acquire_plugs(lineage=LineageFactory(), count=1, on=days_before(today, 30), today=today)[0]
    check_healing(plugs=[healed], stage="encrusting", on=today, today=today)
    take_back_checks(checks=list(healed.healing_checks.all()))
    healed.refresh_from_db()
    assert (healed.stage, healed.checked_on, healed.healed_on) == (
        "healed",
        days_before(today, 30),
        days_before(today, 30),
    )


def test_after_a_check_is_taken_back_the_plug_can_be_checked_anew(plug, today):
    check_healing(plugs=[plug], on=today, today=today)
    take_back_checks(checks=list(plug.healing_checks.all()))
    assert len(check_healing(plugs=[plug], on=today, today=today)) == 1
    plug.refresh_from_db()
    assert plug.stage == "sealed"


def test_a_check_of_a_plug_that_left_stays(today):
    plug = PlugFactory(stage="encrusting")
    check_healing(plugs=[plug], stage="healed", on=today, today=today)
    Plug.objects.filter(pk=plug.pk).update(fate="sold", ended_on=today)
    with pytest.raises(PlugGone):
        take_back_checks(checks=list(plug.healing_checks.all()))
    assert HealingCheck.objects.standing().count() == 1


@pytest.mark.parametrize("number", [2, 40])
def test_checking_takes_as_many_queries_for_two_plugs_as_for_forty(django_assert_max_num_queries, today, number):
    plugs = PlugFactory.create_batch(number)
    with django_assert_max_num_queries(10):
        check_healing(plugs=plugs, on=today, today=today)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    entries=st.lists(st.tuples(st.integers(0, 20), st.sampled_from(HealingStage.values)), min_size=1, max_size=6),
    order=st.randoms(use_true_random=False),
)
def test_the_order_in_which_checks_are_entered_does_not_matter(entries, order):
    """With one check a day, the plug ends as the checks say when read by date."""
    today = date(2026, 6, 15)
    by_day = dict(entries)
    days = list(by_day)
    order.shuffle(days)
    plug = PlugFactory()
    for day in days:
        check_healing(plugs=[plug], stage=by_day[day], on=days_before(today, day), today=today)
    plug.refresh_from_db()
    latest = min(by_day)
    assert (plug.stage, plug.checked_on) == (by_day[latest], days_before(today, latest))
    healed_since = None
    for day in sorted(by_day):
        if by_day[day] != "healed":
            break
        healed_since = days_before(today, day)
    assert plug.healed_on == healed_since
