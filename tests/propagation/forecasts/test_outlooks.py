"""When each mother can be cut next; kept until records change."""

import json
from datetime import date, timedelta

import numpy as np
import pytest
from django.test import override_settings
from django.urls import reverse

from propagation.forecasts import learning, outlooks
from propagation.forecasts.gathering import gather_colonies
from propagation.forecasts.keeping import model_from_json, model_to_json, state_to_json, states_from_json
from propagation.models import (
    Absence,
    Binding,
    Colony,
    ColonyOutlook,
    CutRule,
    ForecastMark,
    IncidentKind,
    LearnedGrowth,
    Lineage,
    SizeReading,
)
from propagation.tasks import follow_records
from propagation.yield_model.forecast import forecast_sizes
from tests.factories import ColonyFactory, CutEventFactory, IncidentFactory, PlacementFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)


def outlook(colony, day=TODAY):
    return outlooks.outlook_of(colony, day)


def test_a_large_mother_can_be_cut_now(grown):
    found = outlook(grown(first=60, gain=8, lineage__insurance_wanted=1))
    assert found.day == TODAY
    assert found.binds == Binding.NOTHING
    assert found.frags_low <= found.frags <= found.frags_high
    assert found.frags >= 4
    assert found.probability_today > 0.9
    assert 0 < found.usable <= found.frags_high
    assert any("size for 4 frags" in reason for reason in found.because)


def test_a_small_one_waits_for_its_size(grown):
    found = outlook(grown(first=30, gain=3))
    assert found.binds == Binding.SIZE
    assert TODAY < found.earliest < found.day < found.latest
    assert found.size_low < found.size < found.size_high < found.size_needed
    assert found.growth_a_month > 0


def test_rest_binds_after_a_cut(grown):
    colony = grown(first=100, gain=6, lineage__rest_days=60)
    CutEventFactory(mother=colony, session__cut_on=date(2026, 6, 10), frags=2)
    found = outlook(colony)
    assert found.binds == Binding.REST
    assert found.day == date(2026, 6, 10) + timedelta(days=60)


def test_open_tissue_loss_leaves_no_day(grown):
    colony = grown(first=60, gain=8)
    IncidentFactory(colony=colony, kind=IncidentKind.RAPID_TISSUE_LOSS, opened_on=date(2026, 6, 14))
    found = outlook(colony)
    assert (found.binds, found.day, found.growth_a_month) == (Binding.HEALTH, None, None)


def test_an_absence_puts_a_cut_off_until_somebody_is_there(grown):
    colony = grown(first=60, gain=8)
    Absence.objects.create(first_day=date(2026, 6, 20), last_day=date(2026, 7, 4))
    found = outlook(colony)
    assert (found.binds, found.day) == (Binding.ABSENCE, date(2026, 7, 5))


def test_no_room_for_so_many_frags(grown):
    colony = grown(first=60, gain=2)
    CutRule.objects.create(colony=colony, measure="diameter_mm", room=70, fewest_frags=8)
    assert outlook(colony).binds == Binding.ROOM


def test_a_colony_without_a_size_says_that_it_guesses():
    found = outlook(ColonyFactory())
    assert found.readings == 0
    assert any("never measured" in reason for reason in found.because)
    assert np.isfinite([found.size, found.size_low, found.size_high, found.frags_mean, found.usable]).all()


def test_a_colony_that_only_shrinks_is_told_so(grown):
    found = outlook(grown(first=70, gain=-2.5))
    assert found.day is None
    assert any("shrinking" in reason for reason in found.because)


def test_a_slip_of_the_point_is_set_aside_and_named(grown, signed_in):
    colony = grown(first=60, gain=4, last_on=TODAY - timedelta(days=30))
    before = outlook(colony).size
    SizeReading.objects.create(colony=colony, taken_on=TODAY, measure="diameter_mm", value=1120)
    found = outlook(colony)
    assert found.size == pytest.approx(before, rel=0.2)
    (absurd,) = found.absurd
    assert (absurd["day"], absurd["size"]) == ("2026-06-15", 1120)
    assert f"on 15 Jun 2026: {absurd['reason']}" in signed_in.get(reverse("colony", args=[colony.tag])).text


def test_it_is_kept_until_records_change(grown, django_assert_num_queries):
    colony = grown()
    outlooks.bring_up_to_date(TODAY)
    with django_assert_num_queries(2):
        assert outlooks.bring_up_to_date(TODAY) == 0
    assert not outlooks.needs_work(TODAY)
    SizeReading.objects.create(colony=colony, taken_on=TODAY - timedelta(days=1), measure="diameter_mm", value=87)
    assert outlooks.needs_work(TODAY)
    assert outlooks.bring_up_to_date(TODAY) == 1
    assert not ForecastMark.objects.exists()


def test_only_the_line_that_changed_is_worked_out_again(grown):
    changed, sister, other = grown(), None, grown()
    sister = grown(lineage=changed.lineage)
    outlooks.bring_up_to_date(TODAY)
    ColonyOutlook.objects.update(usable=99)
    SizeReading.objects.create(colony=changed, taken_on=TODAY, measure="height_mm", value=50)
    assert outlooks.bring_up_to_date(TODAY) == 2
    assert ColonyOutlook.objects.get(colony=other).usable == 99
    assert ColonyOutlook.objects.get(colony=sister).usable != 99


def test_a_new_day_is_worked_out_anew(grown):
    colony = grown()
    outlooks.bring_up_to_date(TODAY)
    tomorrow = TODAY + timedelta(days=1)
    assert outlooks.bring_up_to_date(tomorrow) == 1
    assert ColonyOutlook.objects.get(colony=colony).for_day == tomorrow


def test_one_that_ended_has_no_outlook(grown):
    colony = grown()
    outlooks.bring_up_to_date(TODAY)
    Colony.objects.filter(pk=colony.pk).update(ended_on=TODAY, end_reason="died")
    outlooks.bring_up_to_date(TODAY)
    assert not ColonyOutlook.objects.exists()


def test_without_any_colony_there_is_nothing_to_say():
    assert outlooks.bring_up_to_date(TODAY) == 0
    assert list(outlooks.current_outlooks(TODAY)) == []
    assert outlooks.outlooks_on(TODAY) == []


def test_another_day_is_answered_from_the_records_up_to_it_and_not_kept(grown):
    grown(first=40, gain=6, months=20)
    (then,) = outlooks.outlooks_on(date(2025, 6, 15))
    (now,) = outlooks.outlooks_on(TODAY)
    assert then.readings < now.readings
    assert then.size < now.size
    assert not ColonyOutlook.objects.exists()


def test_models_and_states_survive_being_kept(grown):
    for _ in range(3):
        grown(months=8)
    outlooks.bring_up_to_date(TODAY)
    row = LearnedGrowth.objects.get()
    model = model_from_json(json.loads(json.dumps(row.model)))
    assert json.loads(json.dumps(model_to_json(model))) == row.model
    group = gather_colonies(TODAY)
    states = outlooks.see(group, learning.Learned(row, model, row.lag_days))
    kept = states_from_json(json.loads(json.dumps([state_to_json(states, i) for i in range(3)])), states.identifiers)
    day = np.array([[TODAY.toordinal() + 100.0]])
    assert np.allclose(forecast_sizes(model, kept, day).quantile(0.9), forecast_sizes(model, states, day).quantile(0.9))


def test_what_another_version_kept_is_learned_anew(grown):
    grown()
    outlooks.bring_up_to_date(TODAY)
    LearnedGrowth.objects.update(model={"measure": "diameter_mm"})
    ForecastMark.objects.create(colony=None)
    assert outlooks.bring_up_to_date(TODAY) == 1
    assert LearnedGrowth.objects.count() == 2


def test_it_is_learned_again_when_outgrown(grown):
    grown(months=12)
    outlooks.bring_up_to_date(TODAY)
    assert learning.outgrown() == []
    grown(months=12)
    assert learning.outgrown() == [("diameter_mm", "branching")]
    follow_records.func()
    assert learning.outgrown() == []
    assert learning.latest_learned()["diameter_mm", "branching"].row.colonies == 2


def test_a_change_of_growth_form_is_followed(grown):
    colony = grown()
    outlooks.bring_up_to_date(TODAY)
    Lineage.objects.filter(pk=colony.lineage_id).update(growth_form="plating")
    found = outlook(colony)
    assert found.growth.growth_form == "plating"


def test_a_saved_form_sets_the_forecasts_to_work(grown, signed_in, today):
    colony = grown(last_on=today - timedelta(days=40))
    outlooks.bring_up_to_date(today)
    sent = {"value": "90", "measure": "diameter_mm", "day": today.isoformat(), "method": "ruler"}
    with override_settings(OUTLOOKS_FOLLOW_RECORDS=True):
        answer = signed_in.post(f"/colonies/{colony.tag}/measure/", sent)
    assert answer.status_code == 302, answer.content.decode()[:2000]
    assert not ForecastMark.objects.exists()
    assert ColonyOutlook.objects.get(colony=colony).seen_on == today


def test_water_that_is_off_forbids_a_cut(grown, monkeypatch):
    colony = grown(first=60, gain=8)
    placement = PlacementFactory(colony=colony)
    worry = "Alkalinity is 4.9 dKH in Bench tank, below 6.5 (tested 14 Jun 2026)."
    monkeypatch.setattr(
        "propagation.forecasts.gathering.water_worries", lambda day: {placement.spot.system_id: [worry]}
    )
    found = outlook(colony)
    assert found.binds == Binding.WATER
    assert worry in found.because


def test_a_change_while_it_works_is_not_lost(grown, monkeypatch):
    colony = grown(last_on=TODAY - timedelta(days=30))
    outlooks.bring_up_to_date(TODAY)
    Absence.objects.create(first_day=date(2027, 1, 1), last_day=date(2027, 1, 2))  # a mark of all
    gather = outlooks.gather_colonies

    def gather_then_change(*args, **kwargs):
        found = gather(*args, **kwargs)
        Absence.objects.create(first_day=TODAY, last_day=TODAY + timedelta(days=9))
        return found

    monkeypatch.setattr(outlooks, "gather_colonies", gather_then_change)
    outlooks.bring_up_to_date(TODAY)
    monkeypatch.setattr(outlooks, "gather_colonies", gather)
    assert outlooks.needs_work(TODAY)
    assert outlook(colony).day is None or outlook(colony).day > TODAY + timedelta(days=9)


def test_work_that_ends_half_way_is_done_by_the_next(grown, monkeypatch):
    colony = grown(last_on=TODAY - timedelta(days=30))
    outlooks.bring_up_to_date(TODAY)
    SizeReading.objects.create(colony=colony, taken_on=TODAY, measure="diameter_mm", value=120)

    def killed(*args, **kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr(outlooks, "work_out", killed)
    with pytest.raises(KeyboardInterrupt):
        outlooks.bring_up_to_date(TODAY)
    monkeypatch.undo()
    assert outlooks.needs_work(TODAY)
    assert outlook(colony).seen_on == TODAY
