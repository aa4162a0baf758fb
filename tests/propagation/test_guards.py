"""The database refuses what must never be, whatever the code above forgets."""

from datetime import date, timedelta

import pytest
from django.db import DatabaseError, transaction

from propagation.models import Colony, CutEvent, CuttingSession, Placement, Plug
from tests.factories import (
    AcquisitionFactory,
    ColonyFactory,
    CutEventFactory,
    HoldFactory,
    LineageFactory,
    PlacementFactory,
    PlugFactory,
    RackFactory,
    ReadyPlugFactory,
    SpotFactory,
    SystemFactory,
)

pytestmark = pytest.mark.django_db


def refused(write):
    with pytest.raises(DatabaseError), transaction.atomic():
        write()


def test_a_plug_has_exactly_one_origin():
    plug = PlugFactory()
    refused(lambda: Plug.objects.filter(pk=plug.pk).update(cut_event=None))
    acquisition = AcquisitionFactory(lineage=plug.lineage, acquired_on=plug.began_on)
    refused(lambda: Plug.objects.filter(pk=plug.pk).update(acquisition=acquisition))


def test_a_plug_has_the_lineage_of_its_origin():
    plug = PlugFactory()
    refused(lambda: Plug.objects.filter(pk=plug.pk).update(lineage=LineageFactory()))
    refused(lambda: PlugFactory(lineage=LineageFactory()))


def test_a_plug_begins_on_the_day_of_its_origin():
    plug = PlugFactory()
    refused(lambda: Plug.objects.filter(pk=plug.pk).update(began_on=plug.began_on + timedelta(days=1)))


def test_the_origin_of_a_labelled_plug_does_not_change():
    plug = PlugFactory(labelled_at="2026-04-02T10:00Z")
    other = CutEventFactory(session=plug.cut_event.session, mother=ColonyFactory(lineage=plug.lineage))
    refused(lambda: Plug.objects.filter(pk=plug.pk).update(cut_event=other))


def test_a_plug_keeps_its_code_for_life():
    plug = PlugFactory()
    refused(lambda: Plug.objects.filter(pk=plug.pk).update(code="22222222"))


def test_a_colony_has_exactly_one_origin_of_its_own_lineage():
    colony = ColonyFactory()
    refused(lambda: Colony.objects.filter(pk=colony.pk).update(acquisition=None))
    refused(lambda: Colony.objects.filter(pk=colony.pk).update(lineage=LineageFactory()))
    refused(lambda: Colony.objects.filter(pk=colony.pk).update(grown_from=PlugFactory()))


def test_a_colony_begins_after_the_cut_of_the_plug_it_grew_from():
    plug = PlugFactory(fate="grown_on", ended_on=date(2026, 6, 1))
    refused(lambda: ColonyFactory(grown_from=plug, lineage=plug.lineage, began_on=plug.began_on))


def test_a_line_of_descent_cannot_close_into_a_ring():
    plug = PlugFactory(fate="grown_on", ended_on=date(2026, 6, 1))
    child = ColonyFactory(grown_from=plug, lineage=plug.lineage)
    refused(lambda: CutEvent.objects.filter(pk=plug.cut_event_id).update(mother=child))


def test_a_cut_needs_a_living_mother_on_that_day():
    mother = ColonyFactory(ended_on=date(2026, 3, 1), end_reason="died")
    refused(lambda: CutEventFactory(mother=mother))
    late = ColonyFactory(acquired_on=date(2026, 5, 1))
    refused(lambda: CutEventFactory(mother=late))


def test_a_colony_that_was_cut_cannot_have_ended_before():
    event = CutEventFactory()
    refused(lambda: Colony.objects.filter(pk=event.mother_id).update(ended_on=date(2026, 3, 1), end_reason="died"))


def test_a_session_does_not_move_to_a_day_before_its_mother_began():
    event = CutEventFactory()
    refused(lambda: CuttingSession.objects.filter(pk=event.session_id).update(cut_on=date(2023, 1, 1)))


def test_placements_do_not_overlap():
    placement = PlacementFactory(until=date(2025, 1, 1))
    refused(lambda: PlacementFactory(colony=placement.colony, since=date(2024, 12, 31)))
    PlacementFactory(colony=placement.colony, since=date(2025, 1, 1))
    refused(lambda: PlacementFactory(colony=placement.colony, since=date(2026, 1, 1)))
    refused(lambda: Placement.objects.filter(pk=placement.pk).update(until=date(2025, 2, 1)))


def test_two_kept_plugs_do_not_stand_in_one_cell():
    rack = RackFactory()
    PlugFactory(rack=rack, rack_row=1, rack_column=1)
    refused(lambda: PlugFactory(rack=rack, rack_row=1, rack_column=1))
    refused(lambda: PlugFactory(rack=rack, rack_row=9, rack_column=1))
    refused(lambda: PlugFactory(rack=SpotFactory(), rack_row=1, rack_column=1))


def test_a_rack_does_not_shrink_under_its_plugs():
    rack = RackFactory(rack_rows=4)
    PlugFactory(rack=rack, rack_row=4, rack_column=1)
    refused(lambda: type(rack).objects.filter(pk=rack.pk).update(rack_rows=3))


def test_a_restart_begins_after_the_system_it_succeeds():
    old = SystemFactory(started_on=date(2024, 1, 1))
    refused(lambda: SystemFactory(succeeds=old, started_on=date(2023, 1, 1)))


def test_one_plug_has_one_open_hold():
    hold = HoldFactory()
    refused(lambda: HoldFactory(plug=hold.plug))


@pytest.mark.parametrize(
    "fields",
    [
        {"fate": "dead", "ended_on": date(2026, 5, 1)},
        {"fate": "sold", "ended_on": date(2026, 5, 1)},
        {"fate": "grown_on", "ended_on": date(2026, 5, 1)},
        {"is_insurance": True},
    ],
)
def test_only_a_kept_plug_that_is_not_insurance_is_held(fields):
    plug = ReadyPlugFactory(**fields)
    refused(lambda: HoldFactory(plug=plug))


def test_a_plug_that_is_not_healed_is_not_held():
    plug = PlugFactory()
    refused(lambda: HoldFactory(plug=plug))


def test_a_plug_that_left_has_a_day():
    plug = PlugFactory()
    refused(lambda: Plug.objects.filter(pk=plug.pk).update(fate="sold"))
    refused(lambda: Plug.objects.filter(pk=plug.pk).update(fate="sold", ended_on=plug.began_on - timedelta(days=1)))
