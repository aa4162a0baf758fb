"""Today: the numbers, what is due, and how to begin."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from propagation.agenda import due_on
from propagation.models import Colony, Plug, SizeReading
from propagation.readings.at_a_glance import at_a_glance
from propagation.readings.living_copies import lines_on_one_copy
from tests.factories import (
    AcquisitionFactory,
    ColonyFactory,
    CutEventFactory,
    CuttingSessionFactory,
    IncidentFactory,
    LineageFactory,
    PlugFactory,
    RackFactory,
    ReadyPlugFactory,
    SystemFactory,
)

pytestmark = pytest.mark.django_db


def text(answer):
    return answer.content.decode()


def dues(day, icon):
    return [due for due in due_on(day) if due.icon == icon]


# Beginning


def test_a_new_keeper_is_led_through_the_first_steps(signed_in):
    told = text(signed_in.get(reverse("today")))
    assert told.index("Name your system") < told.index("Name a line") < told.index("Bring in what you have")
    assert reverse("system_new") in told


def test_a_step_that_is_done_is_ticked_and_the_next_stands_out(signed_in):
    SystemFactory()
    told = text(signed_in.get(reverse("today")))
    assert 'class="step done"' in told
    assert told.count('class="step now"') == 1
    assert "button primary" in told.split("Name a line")[-2] + told.split("Name a line")[-1]


def test_once_something_was_cut_the_day_is_shown_instead(signed_in):
    CutEventFactory()
    told = text(signed_in.get(reverse("today")))
    assert "Begin in four steps" not in told
    assert "What is due" in told


def test_what_is_due_is_not_hidden_from_a_keeper_who_has_not_cut_yet(signed_in):
    IncidentFactory(colony__tag="ILL", opened_on=timezone.localdate())
    told = text(signed_in.get(reverse("today")))
    assert "Begin in four steps" in told
    assert "Look after ILL" in told


# The numbers


def test_the_numbers_at_a_glance(today):
    ColonyFactory(ended_on=today, end_reason="died")
    event = CutEventFactory()
    PlugFactory.create_batch(2, cut_event=event)
    ReadyPlugFactory(cut_event=event)
    ReadyPlugFactory(cut_event=event, is_insurance=True)
    glance = at_a_glance(today)
    assert (glance.mothers, glance.healing, glance.ready) == (1, 2, 1)


def test_a_line_stands_on_one_copy_when_one_colony_or_one_kept_plug_is_left(today):
    lone_colony = ColonyFactory(lineage__name="A lone colony").lineage
    two = LineageFactory(name="Two colonies")
    ColonyFactory.create_batch(2, lineage=two)
    PlugFactory(cut_event=CutEventFactory(mother__lineage__name="A colony and a plug"))
    lone_plug = PlugFactory(acquisition=AcquisitionFactory(lineage__name="One plug")).lineage
    PlugFactory.create_batch(2, acquisition=AcquisitionFactory(lineage__name="Two plugs"))
    sold_of = CutEventFactory(mother__lineage__name="What was sold is no copy")
    PlugFactory(cut_event=sold_of, fate="sold", ended_on="2026-05-01")
    LineageFactory(name="Lost")
    assert list(lines_on_one_copy()) == [lone_colony, lone_plug, sold_of.mother.lineage]


# What is due


def test_checks_are_due_rack_by_rack(today):
    rack = RackFactory(name="North shelf")
    PlugFactory.create_batch(3, rack=rack, checked_on=today - timedelta(days=8))
    PlugFactory(checked_on=today - timedelta(days=9))
    PlugFactory(checked_on=today - timedelta(days=6))
    ReadyPlugFactory(checked_on=today - timedelta(days=60))
    loose, on_rack = dues(today, "rack")
    assert (on_rack.sentence, on_rack.count) == ("Check 3 plugs on North shelf", 3)
    assert on_rack.address == reverse("rack_grid", args=[rack.pk])
    assert (loose.sentence, loose.address) == ("Check 1 plug without a rack", reverse("rack"))


def test_colonies_long_unmeasured_are_named_longest_first(today):
    for tag, days in (("OLD", 90), ("FRESH", 5), ("LONG", 40)):
        colony = ColonyFactory(tag=tag)
        SizeReading.objects.create(
            colony=colony, taken_on=today - timedelta(days=days), measure="diameter_mm", value=90
        )
    ColonyFactory(tag="NEW", acquired_on=today - timedelta(days=3))
    ColonyFactory(tag="DEAD", ended_on=today, end_reason="died")
    [due] = dues(today, "ruler")
    assert due.sentence == "Measure OLD and LONG"
    assert (due.count, due.since) == (2, today - timedelta(days=90))


def test_one_colony_to_measure_leads_to_its_own_form(today):
    colony = ColonyFactory()
    [due] = dues(today, "ruler")
    assert due.address == reverse("colony_measure", args=[colony.tag])


def test_open_incidents_are_due_until_they_close(today):
    IncidentFactory(colony__tag="ILL")
    IncidentFactory(colony__tag="WELL", closed_on=today)
    [due] = dues(today, "incident")
    assert (due.sentence, due.count) == ("Look after ILL", 1)


def test_lines_on_one_copy_are_named(today):
    lineage = ColonyFactory(lineage__name="Kettle Sundial").lineage
    [due] = dues(today, "insurance")
    assert due.sentence == "Make a second copy of Kettle Sundial"
    assert due.address == reverse("lineage", args=[lineage.pk])


def test_mothers_large_enough_rested_and_well_are_ready_to_cut(today):
    def measured(tag, size, days_since_cut):
        cut = CutEventFactory(mother__tag=tag, session__cut_on=today - timedelta(days=days_since_cut))
        SizeReading.objects.create(colony=cut.mother, taken_on=today, measure="diameter_mm", value=size)

    measured("LARGE", 190, 200)
    measured("SMALL", 50, 200)
    measured("RESTING", 190, 20)
    measured("ILL", 190, 200)
    IncidentFactory(colony=Colony.objects.get(tag="ILL"))
    [due] = dues(today, "cut")
    assert due.sentence.startswith("Cut LARGE: about ")
    assert (due.address, due.count) == (reverse("next_cuts"), 1)


def test_a_session_just_saved_can_be_looked_over(today):
    CuttingSessionFactory(cut_on=today - timedelta(days=30))
    session = CuttingSessionFactory(cut_on=today)
    [due] = dues(today, "sessions")
    assert due.address == reverse("session", args=[session.pk])


def test_many_names_are_counted_and_not_listed(today):
    IncidentFactory.create_batch(9)
    [due] = dues(today, "incident")
    assert due.sentence.endswith("and 6 more")


def test_nothing_due_says_so(signed_in):
    day = timezone.localdate()
    event = CutEventFactory(session__cut_on=day - timedelta(days=200), frags=1)
    SizeReading.objects.create(colony=event.mother, taken_on=day, measure="diameter_mm", value=90)
    ReadyPlugFactory(cut_event=event, labelled_at=timezone.now(), is_insurance=True, checked_on=day, healed_on=day)
    told = text(signed_in.get(reverse("today")))
    assert "Nothing is due today" in told


def test_every_thing_due_is_a_link_to_where_it_is_done(signed_in):
    day = timezone.localdate()
    IncidentFactory(opened_on=day)
    event = CutEventFactory(session__cut_on=day - timedelta(days=30))
    PlugFactory(cut_event=event, checked_on=day - timedelta(days=20))
    told = text(signed_in.get(reverse("today")))
    for due in due_on(day):
        assert f'href="{due.address}"'.replace("&", "&amp;") in told
        assert signed_in.get(due.address).status_code == 200


def test_the_page_costs_the_same_whatever_is_kept(signed_in, django_assert_num_queries):
    day = timezone.localdate()

    def grow(number):
        for _ in range(number):
            event = CutEventFactory(session__cut_on=day - timedelta(days=45))
            rack = RackFactory()
            PlugFactory.create_batch(3, cut_event=event, rack=rack, checked_on=day - timedelta(days=30))
            ColonyFactory()
            IncidentFactory(opened_on=day - timedelta(days=2))

    grow(2)
    signed_in.get(reverse("today"))  # works out the next cuts, which are then kept
    with CaptureQueriesContext(connection) as few:
        signed_in.get(reverse("today"))
    number = len(few)
    grow(8)
    assert Plug.objects.count() == 30
    signed_in.get(reverse("today"))
    with django_assert_num_queries(number):
        signed_in.get(reverse("today"))
    assert number <= 48
