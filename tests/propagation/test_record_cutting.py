"""Recording a cutting session."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from propagation import codes
from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.errors import BadDate, RowErrors
from propagation.models import AllottedCode, CutEvent, CuttingSession, Plug, Preferences, SizeReading
from tests.factories import (
    ColonyFactory,
    CutEventFactory,
    IncidentFactory,
    PlacementFactory,
    PlugFactory,
    RackFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def mother():
    return ColonyFactory()


def test_saving_allots_a_code_to_every_plug(mother, today):
    session = record_cutting(cuts=[MotherCut(mother, 8)], cut_on=today, today=today)
    plugs = Plug.objects.filter(cut_event__session=session)
    assert plugs.count() == 8
    assert all(codes.read_code(plug.code) for plug in plugs)
    assert set(AllottedCode.objects.values_list("text", flat=True)) >= {plug.code for plug in plugs}
    assert {plug.lineage_id for plug in plugs} == {mother.lineage_id}


def test_a_second_submit_of_the_same_form_makes_no_second_session(mother, today):
    form = uuid4()
    first = record_cutting(cuts=[MotherCut(mother, 3)], cut_on=today, today=today, submission=form)
    second = record_cutting(cuts=[MotherCut(mother, 3)], cut_on=today, today=today, submission=form)
    assert first == second
    assert CuttingSession.objects.count() == 1
    assert Plug.objects.count() == 3


def test_sizes_before_and_after_become_size_readings(mother, today):
    record_cutting(
        cuts=[MotherCut(mother, 4, size_before=Decimal(180), size_after=Decimal(120), measure="diameter_mm")],
        cut_on=today,
        today=today,
    )
    readings = SizeReading.objects.filter(colony=mother).order_by("is_after_cut")
    assert [(reading.value, reading.is_after_cut) for reading in readings] == [(180, False), (120, True)]


def test_the_lineage_remembers_count_and_size_for_the_next_time(mother, today):
    record_cutting(cuts=[MotherCut(mother, 7, frag_size_mm=Decimal(20))], cut_on=today, today=today)
    mother.lineage.refresh_from_db()
    assert (mother.lineage.frags_per_cut, mother.lineage.frag_size_mm) == (7, 20)


def test_plugs_stand_on_the_rack_in_free_cells_and_the_rest_without_a_cell(mother, today):
    rack = RackFactory(rack_rows=2, rack_columns=2)
    record_cutting(cuts=[MotherCut(mother, 6)], cut_on=today, today=today, rack=rack)
    cells = Plug.objects.order_by("id").values_list("rack_row", "rack_column")
    assert list(cells) == [(1, 1), (1, 2), (2, 1), (2, 2), (None, None), (None, None)]
    assert Plug.objects.filter(rack=rack).count() == 6


def test_insurance_frags_are_set_aside(mother, today):
    record_cutting(cuts=[MotherCut(mother, 5, insurance=2)], cut_on=today, today=today)
    assert Plug.objects.insurance().count() == 2


@pytest.mark.parametrize("trouble", ["dead", "resting", "incident"])
def test_a_mother_better_left_alone_asks_for_a_reason(mother, today, trouble):
    if trouble == "dead":
        mother.ended_on, mother.end_reason = today, "died"
        mother.save()
    elif trouble == "resting":
        CutEventFactory(mother=mother, session__cut_on=today - timedelta(days=10))
    else:
        IncidentFactory(colony=mother, opened_on=today - timedelta(days=3))
    before = CuttingSession.objects.count()
    with pytest.raises(RowErrors) as refusal:
        record_cutting(cuts=[MotherCut(mother, 4)], cut_on=today, today=today)
    assert refusal.value.errors[0][1] == "reason"
    assert mother.tag in str(refusal.value)
    assert CuttingSession.objects.count() == before
    session = record_cutting(cuts=[MotherCut(mother, 4, reason="saving what is left")], cut_on=today, today=today)
    assert session.cut_events.get().reason == "saving what is left"


def test_an_outage_of_the_system_a_mother_stands_in_asks_for_a_reason(mother, today):
    here = PlacementFactory(colony=mother, until=today - timedelta(days=30))
    PlacementFactory(colony=mother, since=here.until)
    IncidentFactory(colony=None, system=here.spot.system, kind="outage", opened_on=today - timedelta(days=1))
    record_cutting(cuts=[MotherCut(mother, 1)], cut_on=today, today=today)  # it left that system a month ago

    neighbour = PlacementFactory(spot=here.spot).colony
    with pytest.raises(RowErrors, match=f"stands in {here.spot.system}, which has outage since"):
        record_cutting(cuts=[MotherCut(neighbour, 1)], cut_on=today, today=today)


def test_a_mother_rests_as_long_as_its_line_says_and_else_as_the_preferences_say(today):
    quick = ColonyFactory(lineage__rest_days=7)
    usual = ColonyFactory()
    for mother in (quick, usual):
        CutEventFactory(mother=mother, session__cut_on=today - timedelta(days=10))
    record_cutting(cuts=[MotherCut(quick, 1)], cut_on=today, today=today)
    Preferences.objects.create(pk=1, rest_days=11)
    with pytest.raises(RowErrors, match="rests until 16 Jun 2026"):
        record_cutting(cuts=[MotherCut(usual, 1)], cut_on=today, today=today)
    Preferences.objects.update(rest_days=10)
    record_cutting(cuts=[MotherCut(usual, 1)], cut_on=today, today=today)


def test_a_form_sent_twice_at_once_finds_the_session_of_the_first(mother, today, monkeypatch):
    form = uuid4()
    first = []

    def someone_else_is_quicker(cuts, mothers, cut_on):
        if not first:
            first.append(None)
            first[0] = record_cutting(cuts=[MotherCut(mother, 3)], cut_on=today, today=today, submission=form)
        return []

    monkeypatch.setattr("propagation.actions.record_cutting.wrong_in_sitting", someone_else_is_quicker)
    second = record_cutting(cuts=[MotherCut(mother, 3)], cut_on=today, today=today, submission=form)
    assert second == CuttingSession.objects.get()
    assert Plug.objects.count() == 3


def test_a_form_sent_twice_at_once_does_not_find_its_own_mothers_resting(mother, today, monkeypatch):
    form, looks = uuid4(), []
    first = record_cutting(cuts=[MotherCut(mother, 3)], cut_on=today, today=today, submission=form)
    look = CuttingSession.objects.filter

    def not_there_yet(**wanted):
        looks.append(wanted)
        return look(**wanted) if len(looks) > 1 else CuttingSession.objects.none()

    monkeypatch.setattr(CuttingSession.objects, "filter", not_there_yet)
    assert record_cutting(cuts=[MotherCut(mother, 3)], cut_on=today, today=today, submission=form) == first
    assert Plug.objects.count() == 3


def test_a_code_that_was_given_out_before_is_drawn_anew(mother, today, monkeypatch):
    used = PlugFactory().code
    draws = iter([used, codes.new_code()])
    monkeypatch.setattr("propagation.codes.new_code", lambda: next(draws))
    session = record_cutting(cuts=[MotherCut(mother, 1)], cut_on=today, today=today)
    assert Plug.objects.get(cut_event__session=session).code != used


def test_a_mother_that_was_dead_by_then_is_not_cut_whatever_the_reason(mother, today):
    mother.ended_on, mother.end_reason = today - timedelta(days=1), "died"
    mother.save()
    with pytest.raises(RowErrors, match="no longer alive"):
        record_cutting(cuts=[MotherCut(mother, 4, reason="why not")], cut_on=today, today=today)


@pytest.mark.parametrize(
    ("change", "column"),
    [
        ({"frags": 0}, "frags"),
        ({"frags": -3}, "frags"),
        ({"frags": 5000}, "frags"),
        ({"frag_size_mm": Decimal(-1)}, "size_mm"),
        ({"frag_size_mm": Decimal(900)}, "size_mm"),
        ({"size_before": Decimal(0), "measure": "diameter_mm"}, "before"),
        ({"size_before": Decimal(10), "size_after": Decimal(11), "measure": "diameter_mm"}, "after"),
        ({"size_before": Decimal(10)}, "measure"),
        ({"size_before": Decimal(10), "measure": "furlongs"}, "measure"),
        ({"size_before": Decimal("4.5"), "measure": "polyps"}, "before"),
        ({"insurance": 9}, "insurance"),
        ({"note": "x" * 501}, "note"),
    ],
)
def test_an_absurd_value_is_named_with_its_row_and_column(mother, today, change, column):
    good = MotherCut(ColonyFactory(), 4)
    with pytest.raises(RowErrors) as refusal:
        record_cutting(cuts=[good, replace(MotherCut(mother, 4), **change)], cut_on=today, today=today)
    assert [(row, found) for row, found, _ in refusal.value.errors] == [(2, column)]
    assert not CuttingSession.objects.exists()


@pytest.mark.parametrize("day", [date(2026, 6, 16), date(1926, 6, 15)])
def test_a_day_in_the_future_or_the_wrong_century_is_refused(mother, today, day):
    with pytest.raises(BadDate):
        record_cutting(cuts=[MotherCut(mother, 4)], cut_on=day, today=today)


def test_a_day_before_the_mother_began_is_refused(mother, today):
    with pytest.raises(RowErrors, match="began on"):
        record_cutting(cuts=[MotherCut(mother, 4)], cut_on=mother.began_on - timedelta(days=1), today=today)


def test_one_mother_twice_in_a_sitting_is_named(mother, today):
    with pytest.raises(RowErrors, match="twice"):
        record_cutting(cuts=[MotherCut(mother, 4), MotherCut(mother, 2)], cut_on=today, today=today)


def test_an_empty_sitting_is_refused(today):
    with pytest.raises(RowErrors, match="at least one mother"):
        record_cutting(cuts=[], cut_on=today, today=today)


@pytest.mark.parametrize(("mothers", "frags"), [(5, 20), (20, 20), (1, 1)])
def test_a_session_takes_at_most_fifteen_queries_whatever_the_count(
    django_assert_max_num_queries, today, mothers, frags
):
    rack = RackFactory(rack_rows=10, rack_columns=20)
    cuts = [
        MotherCut(mother, frags, size_before=Decimal(90), size_after=Decimal(60), measure="diameter_mm")
        for mother in ColonyFactory.create_batch(mothers)
    ]
    with django_assert_max_num_queries(15):  # the transaction's own statements are among them
        record_cutting(cuts=cuts, cut_on=today, today=today, rack=rack)
    assert CutEvent.objects.count() == mothers
    assert Plug.objects.count() == mothers * frags


def test_each_mother_of_a_sitting_keeps_what_it_was_cut_with(mother, today):
    other = ColonyFactory()
    cuts = [MotherCut(mother, 2, cut_with="bone_cutters"), MotherCut(other, 3, cut_with="band_saw")]
    record_cutting(cuts=[*cuts, MotherCut(ColonyFactory(), 1)], cut_on=today, today=today)
    assert list(CutEvent.objects.order_by("id").values_list("cut_with", flat=True)) == ["bone_cutters", "band_saw", ""]
    assert CutEvent.history.filter(mother=other).get().cut_with == "band_saw"


def test_a_tool_that_is_not_known_is_refused_by_name(mother, today):
    with pytest.raises(RowErrors, match="“laser”") as refusal:
        record_cutting(cuts=[MotherCut(mother, 2, cut_with="laser")], cut_on=today, today=today)
    ((row, column, sentence),) = refusal.value.errors
    assert (row, column) == (1, "cut_with")
    assert "bone_cutters" in sentence
    assert not CuttingSession.objects.exists()
