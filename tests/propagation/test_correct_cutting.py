"""Correcting a session that was saved."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest

from propagation.actions.correct_cutting import CutCorrection, as_recorded, correct_cutting
from propagation.actions.grow_on import grow_on
from propagation.actions.part_with import part_with
from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.errors import BadDate, ChangedMeanwhile, RowErrors
from propagation.models import AllottedCode, Colony, CutEvent, Fate, HealingCheck, Plug, SizeReading
from tests.factories import ColonyFactory, CutEventFactory, RackFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def cut_on(today):
    return today - timedelta(days=10)


@pytest.fixture
def session(cut_on, today, keeper):
    mother = ColonyFactory(tag="M012")
    return record_cutting(cuts=[MotherCut(mother, 8, Decimal(25))], cut_on=cut_on, today=today, by=keeper)


@pytest.fixture
def correct(today, keeper):
    """Correct the only cut of a session, or the given rows, as the keeper."""

    def act(session, *rows, void=(), cut_on=None, note="", version=1, **change):
        if change or void:
            event = session.cut_events.get()
            rows = [CutCorrection(event, replace(as_recorded(event), **change), tuple(plug.pk for plug in void))]
        return correct_cutting(
            session=session,
            corrections=list(rows),
            cut_on=cut_on or session.cut_on,
            note=note,
            version=version,
            today=today,
            by=keeper,
        )

    return act


def plugs_of(session):
    return Plug.objects.filter(cut_event__session=session).exclude(fate=Fate.VOID).order_by("id")


def label(plugs):
    Plug.objects.filter(pk__in=[plug.pk for plug in plugs]).update(labelled_at="2026-06-05T12:00Z")


def test_fewer_frags_void_plugs_without_a_label_first(session, correct):
    label(plugs_of(session)[:6])
    without_label = set(Plug.objects.filter(labelled_at=None))
    correct(session, frags=6)
    assert set(Plug.objects.filter(fate=Fate.VOID)) == without_label
    assert session.cut_events.get().frags == plugs_of(session).count() == 6


def test_a_voided_plug_keeps_its_code_which_is_never_used_again(session, correct):
    codes_before = set(AllottedCode.objects.values_list("text", flat=True))
    correct(session, frags=5)
    voided = set(Plug.objects.filter(fate=Fate.VOID).values_list("code", flat=True))
    assert len(voided) == 3
    assert voided <= codes_before <= set(AllottedCode.objects.values_list("text", flat=True))


def test_which_labelled_plugs_go_is_for_the_keeper_to_say(session, correct):
    label(plugs_of(session))
    with pytest.raises(RowErrors, match="choose which of them") as refusal:
        correct(session, frags=6)
    assert [(row, column) for row, column, _ in refusal.value.errors] == [(1, "void")]
    assert plugs_of(session).count() == 8
    picked = list(plugs_of(session)[2:4])
    correct(session, frags=6, void=picked)
    assert set(Plug.objects.filter(fate=Fate.VOID)) == set(picked)


@pytest.mark.parametrize(("frags", "picks"), [(7, 2), (8, 1), (9, 1)])
def test_more_voids_than_frags_too_many_are_refused(session, correct, frags, picks):
    with pytest.raises(RowErrors) as refusal:
        correct(session, frags=frags, void=list(plugs_of(session)[:picks]))
    assert refusal.value.errors[0][1] == "void"


@pytest.fixture
def moves_on(monkeypatch, today):
    """Let a plug leave, be grown on or be promised."""

    def act(plug, fate):
        if fate == "sold":
            part_with(plugs=[plug], fate=Fate.SOLD, on=today, today=today)
        elif fate == "grown on":
            grow_on(plug=plug, tag="G1", on=today, today=today)
        else:
            source = lambda ids: {plug.pk: "to Alex until 3 Dec 2026"} if plug.pk in ids else {}  # noqa: E731
            monkeypatch.setattr("propagation.promises._sources", [source])

    return act


@pytest.mark.parametrize("fate", ["sold", "promised", "grown on"])
def test_a_plug_that_left_or_is_promised_is_not_voided(session, correct, moves_on, fate):
    plug = plugs_of(session).last()
    moves_on(plug, fate)
    with pytest.raises(RowErrors, match=f"{plug.code_in_clear} is {fate}.*cannot be voided"):
        correct(session, frags=7, void=[plug])
    with pytest.raises(RowErrors, match="The least it can have is 1"):
        correct(session, frags=0)
    correct(session, frags=1)
    assert plugs_of(session).get() == plug


def test_more_frags_are_new_plugs_with_new_codes_on_the_rack_of_the_others(today, keeper, correct):
    rack = RackFactory(rack_rows=1, rack_columns=4)
    session = record_cutting(cuts=[MotherCut(ColonyFactory(), 2)], cut_on=today, today=today, rack=rack)
    made = correct(session, frags=3).new_plugs
    assert [(plug.rack, plug.rack_row, plug.rack_column) for plug in made] == [(rack, 1, 3)]
    assert plugs_of(session).count() == 3
    assert len({plug.code for plug in plugs_of(session)}) == 3


def test_another_mother_of_another_lineage_takes_its_labelled_plugs_along(session, correct):
    label(plugs_of(session))
    codes = set(plugs_of(session).values_list("code", flat=True))
    right = ColonyFactory(tag="M013")
    done = correct(session, mother=right)
    assert {plug.lineage for plug in plugs_of(session)} == {right.lineage}
    assert {plug.code for plug in plugs_of(session)} == codes
    assert {plug.code for plug in done.print_again} == codes


@pytest.mark.parametrize("fate", ["sold", "promised", "grown on"])
def test_plugs_that_moved_on_do_not_change_lineage(session, correct, moves_on, fate):
    plug = plugs_of(session).first()
    moves_on(plug, fate)
    before = session.cut_events.get().mother
    with pytest.raises(RowErrors, match=f"another lineage: {plug.code_in_clear} is {fate}"):
        correct(session, mother=ColonyFactory())
    assert session.cut_events.get().mother == before
    sister = ColonyFactory(lineage=before.lineage)
    correct(session, mother=sister)
    assert session.cut_events.get().mother == sister


def test_two_mothers_that_were_confused_change_places(cut_on, today, correct):
    one, other = ColonyFactory(), ColonyFactory()
    session = record_cutting(cuts=[MotherCut(one, 3), MotherCut(other, 5)], cut_on=cut_on, today=today)
    first, second = session.cut_events.order_by("id")
    label(plugs_of(session))
    correct(
        session,
        CutCorrection(first, replace(as_recorded(first), mother=other)),
        CutCorrection(second, replace(as_recorded(second), mother=one)),
    )
    assert list(session.cut_events.order_by("id").values_list("mother", "frags")) == [(other.pk, 3), (one.pk, 5)]
    assert Plug.objects.filter(lineage=other.lineage).count() == 3


def test_one_mother_twice_in_a_session_is_refused(cut_on, today, correct):
    one, other = ColonyFactory(), ColonyFactory()
    session = record_cutting(cuts=[MotherCut(one, 3), MotherCut(other, 5)], cut_on=cut_on, today=today)
    first = session.cut_events.order_by("id").first()
    with pytest.raises(RowErrors, match="twice"):
        correct(session, CutCorrection(first, replace(as_recorded(first), mother=other)))


def test_a_mother_taken_out_leaves_no_plugs_and_may_be_added_again(session, correct):
    mother = session.cut_events.get().mother
    label(plugs_of(session))
    correct(session, frags=0)
    assert not plugs_of(session).exists()
    correct(session, CutCorrection(None, MotherCut(mother, 2)), version=2)
    assert plugs_of(session).count() == 2


def test_a_forgotten_mother_is_added(session, correct):
    forgotten = ColonyFactory()
    done = correct(session, CutCorrection(None, MotherCut(forgotten, 4)))
    assert len(done.new_plugs) == 4
    assert session.cut_events.get(mother=forgotten).frags == 4
    assert session.cut_events.count() == 2


def test_a_forgotten_mother_that_rests_asks_for_a_reason(session, correct, cut_on):
    resting = CutEventFactory(session__cut_on=cut_on - timedelta(days=5)).mother
    with pytest.raises(RowErrors) as refusal:
        correct(session, CutCorrection(None, MotherCut(resting, 4)))
    assert refusal.value.errors[0][1] == "reason"


def test_sizes_are_corrected_with_their_readings(cut_on, today, correct):
    mother = ColonyFactory()
    session = record_cutting(
        cuts=[MotherCut(mother, 1, size_before=Decimal(90), size_after=Decimal(60), measure="diameter_mm")],
        cut_on=cut_on,
        today=today,
    )
    right = ColonyFactory(lineage=mother.lineage)
    correct(session, mother=right, size_before=None, size_after=Decimal(66))
    reading = SizeReading.objects.get()
    assert (reading.colony, reading.value, reading.is_after_cut) == (right, 66, True)
    event = session.cut_events.get()
    assert event.history.earliest().size_before == 90


def test_the_frag_size_goes_to_plugs_that_were_not_measured_on_their_own(session, correct):
    measured = plugs_of(session).first()
    Plug.objects.filter(pk=measured.pk).update(size_mm=Decimal(31))
    correct(session, frag_size_mm=Decimal(20))
    assert sorted(plugs_of(session).values_list("size_mm", flat=True)) == [20] * 7 + [31]


def test_the_day_moves_with_everything_that_was_cut(session, correct, cut_on):
    day_before = cut_on - timedelta(days=1)
    correct(session, cut_on=day_before)
    assert set(plugs_of(session).values_list("began_on", "checked_on")) == {(day_before, day_before)}


def test_the_day_does_not_move_past_what_happened_to_a_plug(session, correct, cut_on, today):
    plug = plugs_of(session).first()
    HealingCheck.objects.create(plug=plug, checked_on=cut_on + timedelta(days=2), stage="sealed")
    with pytest.raises(BadDate, match=plug.code_in_clear):
        correct(session, cut_on=cut_on + timedelta(days=3))
    with pytest.raises(BadDate, match="future"):
        correct(session, cut_on=today + timedelta(days=1))


def test_the_day_does_not_move_to_before_a_mother_began(session, correct):
    Colony.objects.update(began_on=session.cut_on)
    with pytest.raises(RowErrors, match="began on"):
        correct(session, cut_on=session.cut_on - timedelta(days=1))


def test_what_it_was_who_changed_it_and_when_stay_on_record(session, correct, keeper):
    correct(session, frags=7, note="counted again")
    record = session.history.latest()
    assert record.history_change_reason == "note “” → “counted again”; M012 8 → 7 frags"
    assert record.history_user == keeper
    event = session.cut_events.get()
    assert [row.frags for row in event.history.order_by("history_id")] == [8, 7]
    voided = Plug.objects.get(fate=Fate.VOID)
    assert [row.fate for row in voided.history.order_by("history_id")] == [Fate.KEPT, Fate.VOID]


def test_two_people_correcting_one_session_the_second_is_told(session, correct):
    correct(session, frags=7)
    with pytest.raises(ChangedMeanwhile):
        correct(session, frags=9, version=1)
    assert session.cut_events.get().frags == 7


def test_the_same_correction_sent_twice_is_done_once(session, correct):
    rows = [CutCorrection(None, MotherCut(ColonyFactory(), 4))]
    correct(session, *rows)
    again = correct(session, *rows, version=1)
    assert again.changes == []
    assert plugs_of(session).count() == 12


def test_one_bad_row_and_nothing_is_corrected(session, correct, today):
    event = session.cut_events.get()
    with pytest.raises(RowErrors):
        correct(
            session,
            CutCorrection(event, replace(as_recorded(event), frags=7)),
            CutCorrection(None, MotherCut(ColonyFactory(), 5000)),
        )
    assert CutEvent.objects.get().frags == plugs_of(session).count() == 8


def test_a_count_that_was_a_slip_is_not_remembered(session, correct):
    correct(session, frags=6)
    assert session.cut_events.get().mother.lineage.frags_per_cut == 6


def test_what_was_cut_with_is_corrected_and_what_it_was_stays_on_record(session, correct):
    assert correct(session, cut_with="band_saw").changes == ["M012 cut with nothing noted → band saw"]
    event = session.cut_events.get()
    assert event.cut_with == "band_saw"
    assert list(event.history.values_list("cut_with", flat=True)) == ["band_saw", ""]
    assert correct(session, version=2, cut_with="").changes == ["M012 cut with band saw → nothing noted"]
    with pytest.raises(RowErrors, match="“laser”"):
        correct(session, version=3, cut_with="laser")


def test_a_correction_of_something_else_leaves_what_was_cut_with(session, correct):
    correct(session, cut_with="blade")
    correct(session, version=2, frags=7)
    assert session.cut_events.get().cut_with == "blade"
