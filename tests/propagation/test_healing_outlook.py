"""Ready windows: what the checks say of healing, what is learned from it, and when it is learned again."""

from datetime import date, timedelta

import pytest

from propagation.actions import learn_healing as learning
from propagation.actions.check_healing import check_healing, find_dead, take_back_checks
from propagation.actions.correct_plug import void_plug
from propagation.actions.part_with import part_with
from propagation.models import Fate, LearnedHealing, Plug
from propagation.readings.healing_outlook import (
    healed_shares,
    healing_lines,
    healing_records,
    in_ten,
    learned_healing,
    ready_windows,
)
from propagation.yield_model.healing import PlugHealing, learn_healing
from tests.factories import (
    CUT_DAY,
    AcquisitionFactory,
    ColonyFactory,
    CutEventFactory,
    LineageFactory,
    PlugFactory,
    ReadyPlugFactory,
)

pytestmark = pytest.mark.django_db

TODAY = date(2026, 6, 15)


def day(number):
    return CUT_DAY + timedelta(days=number)


def seen(plug, number, stage):
    return check_healing(plugs=[plug], stage=stage, on=day(number), today=TODAY)


def healed_batch(lineage, number, *, after=28, before=21):
    """Plugs of one line that were fresh at one check and healed at the next."""
    event = CutEventFactory(mother=ColonyFactory(lineage=lineage))
    plugs = [PlugFactory(cut_event=event) for _ in range(number)]
    check_healing(plugs=plugs, stage="sealed", on=day(before), today=TODAY)
    check_healing(plugs=plugs, stage="healed", on=day(after), today=TODAY)
    return plugs


# -- what the checks say


def test_a_plug_healed_between_the_last_check_before_and_the_first_that_found_it_healed():
    plug = PlugFactory()
    seen(plug, 7, "sealed")
    seen(plug, 21, "encrusting")
    seen(plug, 30, "healed")
    seen(plug, 40, "healed")
    assert healing_records(TODAY) == [PlugHealing(str(plug.lineage_id), 21.0, 30.0, None)]


def test_a_dead_plug_is_known_to_the_check_that_found_it():
    plug = PlugFactory()
    seen(plug, 7, "sealed")
    find_dead(plugs=[plug], reason="tissue_loss", on=day(12), today=TODAY)
    assert healing_records(TODAY) == [PlugHealing(str(plug.lineage_id), 7.0, None, 12.0)]


def test_one_that_died_after_it_had_healed_counts_as_healed():
    plug = PlugFactory()
    seen(plug, 20, "healed")
    find_dead(plugs=[plug], reason="pest", on=day(60), today=TODAY)
    assert healing_records(TODAY) == [PlugHealing(str(plug.lineage_id), 0.0, 20.0, None)]


def test_a_plug_that_left_or_still_heals_is_known_up_to_its_last_check():
    left, healing = PlugFactory(), PlugFactory()
    for plug in (left, healing):
        seen(plug, 10, "sealed")
    part_with(plugs=[left], fate=Fate.GIVEN, on=day(15), today=TODAY)
    assert {(r.seen_fresh, r.seen_healed, r.seen_dead) for r in healing_records(TODAY)} == {(10.0, None, None)}


def test_mistakes_and_what_came_from_others_are_left_out():
    wrong = PlugFactory()
    void_plug(plug=wrong, reason="counted twice", today=TODAY)
    PlugFactory(acquisition=AcquisitionFactory())
    kept = PlugFactory()
    (check,) = seen(kept, 20, "healed")
    take_back_checks(checks=[check])
    assert healing_records(TODAY) == [PlugHealing(str(kept.lineage_id), 0.0, None, None)]


def test_what_came_later_was_not_known_then():
    plug = PlugFactory()
    seen(plug, 10, "sealed")
    seen(plug, 20, "healed")
    assert healing_records(day(15)) == [PlugHealing(str(plug.lineage_id), 10.0, None, None)]
    assert healing_records(day(-1)) == []


def test_a_stage_entered_without_a_check_counts_too():
    plug = ReadyPlugFactory(healed_on=day(21))
    assert healing_records(TODAY) == [PlugHealing(str(plug.lineage_id), 0.0, 21.0, None)]


def test_healed_on_the_day_of_the_cut_does_not_wreck_what_is_learned():
    lineage = LineageFactory()
    healed_batch(lineage, 12)
    before = learn_healing(healing_records(TODAY)).of(str(lineage.pk)).median_days
    plug = PlugFactory(cut_event=CutEventFactory(mother=ColonyFactory(lineage=lineage)))
    seen(plug, 0, "healed")
    after = learn_healing(healing_records(TODAY)).of(str(lineage.pk)).median_days
    assert after == pytest.approx(before, rel=0.25)


def test_only_the_latest_plugs_are_read(django_assert_num_queries):
    plugs = [PlugFactory() for _ in range(4)]
    with django_assert_num_queries(2):
        records = healing_records(TODAY, most=2)
    assert [record.lineage for record in records] == [str(plug.lineage_id) for plug in plugs[2:]]


# -- what is learned


def test_without_any_plug_common_practice_stands():
    model = learned_healing(TODAY)
    assert model.usual.plugs == 0
    assert 15 < model.of("1").median_days < 40
    assert LearnedHealing.objects.count() == 1


def test_it_is_kept_and_read_back_as_it_was(django_assert_num_queries):
    lineage = LineageFactory()
    healed_batch(lineage, 9)
    learned = learned_healing(TODAY)
    with django_assert_num_queries(1):
        assert learned_healing(TODAY) == learned
    assert 21 <= learned.of(str(lineage.pk)).median_days <= 28
    assert learned.of(str(lineage.pk)).plugs == 9


def test_what_another_version_kept_is_learned_afresh():
    LearnedHealing.objects.create(learned_on=TODAY, plugs=3, model={"family": "gompertz"})
    assert learned_healing(TODAY).usual.plugs == 0
    assert LearnedHealing.objects.count() == 2


def test_it_is_learned_again_after_ten_outcomes_and_not_before(django_capture_on_commit_callbacks):
    learned_healing(TODAY)
    lineage = LineageFactory()
    with django_capture_on_commit_callbacks(execute=True):
        healed_batch(lineage, 9)
    assert learned_healing(TODAY).usual.plugs == 0
    with django_capture_on_commit_callbacks(execute=True):
        healed_batch(lineage, 1)
    assert learned_healing(TODAY).usual.plugs == 10


def test_a_large_collection_waits_for_a_tenth():
    assert not learning.is_outgrown(LearnedHealing(plugs=1000), 1099)
    assert learning.is_outgrown(LearnedHealing(plugs=1000), 1100)
    assert learning.is_outgrown(LearnedHealing(plugs=1000), 900)


def test_the_first_time_takes_the_latest_plugs_and_a_worker_the_rest(monkeypatch, django_capture_on_commit_callbacks):
    monkeypatch.setattr(learning, "AT_FIRST", 5)
    healed_batch(LineageFactory(), 20)
    with django_capture_on_commit_callbacks(execute=True):
        assert learned_healing(TODAY).usual.plugs == 5
    assert learned_healing(TODAY).usual.plugs == 20


def test_only_the_last_few_are_kept():
    for _ in range(5):
        learning.learn_healing_from_records(TODAY)
    assert LearnedHealing.objects.count() == learning.KEPT


# -- windows


def test_a_window_begins_after_the_last_look_and_its_days_are_in_order():
    plug = PlugFactory()
    seen(plug, 20, "encrusting")
    window = ready_windows([Plug.objects.get()], TODAY)[plug.pk]
    assert day(20) <= window.earliest <= window.likely <= window.latest
    assert 0 < window.probability < 1


def test_a_later_look_moves_the_window_on():
    plug = PlugFactory()
    before = ready_windows([plug], TODAY)[plug.pk]
    seen(plug, 40, "encrusting")
    plug.refresh_from_db()
    after = ready_windows([plug], TODAY)[plug.pk]
    assert after.likely > before.likely


def test_healed_gone_and_acquired_plugs_have_no_window(django_assert_num_queries):
    gone = PlugFactory(fate=Fate.SOLD, ended_on=TODAY)
    bought = PlugFactory(acquisition=AcquisitionFactory())
    healed = ReadyPlugFactory()
    with django_assert_num_queries(0):
        assert ready_windows([healed, gone, bought], TODAY) == {}


def test_windows_cost_one_query_for_any_number(django_assert_num_queries):
    plugs = [PlugFactory() for _ in range(6)]
    learned_healing(TODAY)
    with django_assert_num_queries(1):
        assert len(ready_windows(plugs, TODAY)) == 6


@pytest.mark.parametrize(
    ("probability", "words"), [(0.99, "nearly all"), (0.9, "9 in 10"), (0.34, "3 in 10"), (0.01, "hardly any")]
)
def test_a_chance_in_words(probability, words):
    assert in_ten(probability) == words


# -- the lines


def test_lines_are_told_apart_by_how_they_heal():
    quick, slow = LineageFactory(name="Quick"), LineageFactory(name="Slow")
    healed_batch(quick, 15, before=10, after=14)
    healed_batch(slow, 15, before=42, after=49)
    PlugFactory(cut_event=CutEventFactory(mother=ColonyFactory(lineage=slow)))
    first, second = healing_lines(TODAY).lines
    assert (first.lineage, second.lineage) == (quick, slow)
    assert first.figures.median_days_high < second.figures.median_days_low
    assert (first.healing, second.healing) == (0, 1)
    assert not first.leans_on_others


def test_a_line_with_few_plugs_says_that_it_leans_on_the_others():
    healed_batch(LineageFactory(), 2)
    (line,) = healing_lines(TODAY).lines
    assert line.leans_on_others


def test_the_curve_rises_from_nothing_to_the_share_that_makes_it_within_its_band():
    healed_batch(LineageFactory(), 15)
    found = healing_lines(TODAY)
    for line in (found.lines[0], found.usual):
        curve = healed_shares(found.model, line)
        assert (curve[0].days, curve[0].share) == (0, 0)
        assert [point.share for point in curve] == sorted(point.share for point in curve)
        assert all(point.low <= point.share <= point.high <= 1 for point in curve)
        assert curve[-1].share == pytest.approx(line.figures.healed_share, rel=0.03)
        past_half = next(point.days for point in curve if point.share >= line.figures.healed_share / 2)
        assert past_half == pytest.approx(line.figures.median_days, abs=curve[1].days)


def test_a_line_that_is_asked_for_is_found_and_any_other_word_gives_the_usual():
    healed_batch(lineage := LineageFactory(), 2)
    found = healing_lines(TODAY)
    assert found.of(str(lineage.pk)).lineage == lineage
    for odd in (None, "", "x", "99999999999999999999"):
        assert found.of(odd) is found.usual
