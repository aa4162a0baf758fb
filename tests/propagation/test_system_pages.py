"""Systems, their spots, their ends and restarts."""

from datetime import date

import pytest

from propagation.actions.changes import last_change
from propagation.actions.end_system import WhereTo, end_system
from propagation.actions.keep_system import keep_spot, keep_system
from propagation.actions.restart_system import SpotInTheNewBuild, Survivor, restart_system
from propagation.errors import AlreadyDone, BadDate, BadValue, ChangedMeanwhile, NameTaken, RowErrors
from propagation.models import Colony, Incident, Spot, System
from propagation.readings.systems import plan_of
from tests.factories import (
    ColonyFactory,
    CutEventFactory,
    PlacementFactory,
    PlugFactory,
    RackFactory,
    SpotFactory,
    SystemFactory,
)

pytestmark = pytest.mark.django_db

END = date(2026, 5, 1)
BEGIN = date(2026, 5, 10)


@pytest.fixture
def old():
    return SystemFactory(name="First build")


@pytest.fixture
def standing(old):
    """Three colonies at one spot of the old build."""
    ledge = SpotFactory(system=old, name="Ledge", par=220)
    return [PlacementFactory(spot=ledge, colony=ColonyFactory(tag=tag)) for tag in ("A1", "B1", "C1")]


def restart(old, **more):
    given = {"system": old, "name": "Second build", "ended_on": END, "started_on": BEGIN, "today": date(2026, 6, 15)}
    return restart_system(**given | more)


# -- keeping


def test_a_system_does_not_begin_after_what_happened_in_it(old, standing, today):
    old.started_on = date(2025, 1, 1)
    with pytest.raises(BadDate, match="A colony stood in First build on 10 Jan 2024"):
        keep_system(system=old, today=today)


def test_a_system_does_not_begin_in_the_future_or_in_the_wrong_century(today):
    for day in (date(2026, 6, 16), date(1926, 1, 1)):
        with pytest.raises(BadDate):
            keep_system(system=System(name="Reef", started_on=day), today=today)


def test_one_name_is_one_system(old, today):
    with pytest.raises(NameTaken):
        keep_system(system=System(name="first BUILD", started_on=END), today=today)


def test_a_rack_does_not_shrink_under_its_plugs():
    rack = RackFactory(name="Rack A", rack_rows=4, rack_columns=6)
    plug = PlugFactory(rack=rack, rack_row=4, rack_column=2)
    rack.rack_rows = 3
    with pytest.raises(BadValue) as refusal:
        keep_spot(spot=rack)
    assert f"{plug.code_in_clear} (row 4, column 2)" in str(refusal.value)
    rack.refresh_from_db()
    assert rack.rack_rows == 4


def test_a_rack_with_plugs_stays_a_rack():
    rack = RackFactory()
    PlugFactory(rack=rack)
    rack.rack_rows = rack.rack_columns = None
    with pytest.raises(BadValue, match="Move them first"):
        keep_spot(spot=rack)


def test_a_dead_plug_does_not_hold_a_rack():
    rack = RackFactory(rack_rows=4)
    PlugFactory(rack=rack, rack_row=4, rack_column=2, fate="dead", ended_on=END)
    rack.rack_rows = 3
    keep_spot(spot=rack)
    rack.refresh_from_db()
    assert rack.rack_rows == 3


def test_a_rack_has_rows_and_columns(old):
    with pytest.raises(BadValue, match="both its rows and its columns"):
        keep_spot(spot=Spot(system=old, name="Shelf", rack_rows=3))


def test_two_people_changing_one_spot_are_told():
    spot = SpotFactory()
    opened = last_change(spot)
    keep_spot(spot=spot, based_on=opened)
    with pytest.raises(ChangedMeanwhile):
        keep_spot(spot=spot, based_on=opened)


# -- ending


def test_when_a_system_ends_every_colony_goes_where_it_was_told(old, standing, today):
    elsewhere = SpotFactory()
    moved, ended, waiting = (each.colony for each in standing)
    incident = Incident.objects.create(system=old, kind="outage", opened_on=date(2026, 4, 1))
    end_system(
        system=old,
        on=END,
        today=today,
        where_to=[WhereTo(moved, spot=elsewhere), WhereTo(ended, end_reason="died")],
    )
    assert moved.placements.current().get().spot == elsewhere
    assert Colony.objects.get(pk=ended.pk).ended_on == END
    assert not waiting.placements.current().exists()
    assert Colony.objects.get(pk=waiting.pk).is_alive
    incident.refresh_from_db()
    assert incident.closed_on == END


def test_a_system_ends_once_and_not_before_it_began(old, today):
    with pytest.raises(BadDate):
        end_system(system=old, on=date(2022, 1, 1), today=today)
    end_system(system=old, on=END, today=today)
    with pytest.raises(AlreadyDone):
        end_system(system=old, on=END, today=today)


def test_plugs_of_an_ended_system_are_left_without_a_rack(old, today):
    plug = PlugFactory(rack=RackFactory(system=old), rack_row=1, rack_column=1)
    end_system(system=old, on=END, today=today)
    plug.refresh_from_db()
    assert (plug.rack, plug.rack_row) == (None, None)


# -- restarting


def test_a_restart_moves_what_survives_and_ends_what_did_not(old, standing):
    survivor, dead, waiting = (each.colony for each in standing)
    new = restart(
        old,
        spots=[SpotInTheNewBuild("Low ledge", like=standing[0].spot, par=180), SpotInTheNewBuild("Arch")],
        survivors=[Survivor(survivor, spot_number=0), Survivor(dead, end_reason="died"), Survivor(waiting)],
    )
    old.refresh_from_db()
    assert (old.ended_on, new.succeeds, new.started_on) == (END, old, BEGIN)
    place = survivor.placements.current().get()
    assert (place.spot.name, place.spot.par, place.spot.system, place.since) == ("Low ledge", 180, new, BEGIN)
    assert survivor.placements.get(spot__system=old).until == END
    assert Colony.objects.get(pk=dead.pk).ended_on == END
    assert not waiting.placements.current().exists()


def test_plugs_go_with_a_rack_that_is_taken_over(old):
    rack = RackFactory(system=old, name="Rack A")
    left = RackFactory(system=old, name="Rack B")
    plug = PlugFactory(rack=rack, rack_row=2, rack_column=3)
    other = PlugFactory(rack=left, rack_row=1, rack_column=1)
    new = restart(old, spots=[SpotInTheNewBuild("Rack A", like=rack, par=200)])
    plug.refresh_from_db()
    other.refresh_from_db()
    assert (plug.rack.system, plug.rack_row, plug.rack_column) == (new, 2, 3)
    assert other.rack is None


def test_a_restart_before_the_old_system_began_is_refused(old):
    with pytest.raises(BadDate, match="First build, which it succeeds, began on 1 Jan 2023"):
        restart(old, started_on=date(2022, 12, 31))
    assert System.objects.count() == 1


def test_a_system_is_restarted_once(old):
    restart(old)
    with pytest.raises(AlreadyDone, match="Second build succeeds it"):
        restart(old, name="Third build")


def test_a_system_that_ended_before_is_still_given_its_restart(today):
    ended = SystemFactory(ended_on=END)
    new = restart(ended, ended_on=END)
    assert new.succeeds == ended


def test_one_colony_that_cannot_go_holds_the_whole_restart(old, standing):
    cut = CutEventFactory(mother=standing[1].colony, session__cut_on=date(2026, 5, 5))
    with pytest.raises(RowErrors) as refusal:
        restart(
            old,
            spots=[SpotInTheNewBuild("Ledge", like=standing[0].spot)],
            survivors=[Survivor(standing[0].colony, 0), Survivor(cut.mother, end_reason="died")],
        )
    assert [column for _, column, _ in refusal.value.errors] == ["B1"]
    old.refresh_from_db()
    assert old.ended_on is None
    assert System.objects.count() == 1
    assert standing[0].colony.placements.count() == 1


def test_two_spots_of_one_name_are_refused_with_their_row(old):
    with pytest.raises(RowErrors, match="Row 2, spot"):
        restart(old, spots=[SpotInTheNewBuild("Ledge"), SpotInTheNewBuild("ledge")])


# -- the pages


def test_an_empty_list_shows_the_way_on(signed_in):
    assert "No system yet" in signed_in.get("/systems/").content.decode()


def test_the_list_counts_colonies_and_tells_what_ended(signed_in, old, standing):
    SystemFactory(name="Gone build", ended_on=END)
    page = signed_in.get("/systems/").content.decode()
    assert '<span class="big-number">3</span>' in page
    assert "1 Jan 2023 to 1 May 2026" in page


def test_the_page_shows_spots_light_and_what_stands_where(signed_in, old, standing):
    spot = standing[0].spot
    Spot.objects.filter(pk=spot.pk).update(x_cm=20, y_cm=15)
    RackFactory(system=old, name="Rack A")
    page = signed_in.get(f"/systems/{old.pk}/").content.decode()
    assert "Plan of First build with 1 spots" in page
    assert "220" in page
    assert "Rack 4 × 6" in page
    assert "/colonies/A1/" in page


def test_the_page_costs_the_same_for_few_and_many_spots(signed_in, old, django_assert_num_queries):
    PlacementFactory(spot=SpotFactory(system=old))
    with django_assert_num_queries(9):
        signed_in.get(f"/systems/{old.pk}/")
    for _ in range(8):
        PlacementFactory(spot=SpotFactory(system=old))
    with django_assert_num_queries(9):
        signed_in.get(f"/systems/{old.pk}/")


def test_the_page_tells_the_chain_of_restarts(signed_in, old):
    second = restart(old)
    assert "Succeeded by" in signed_in.get(f"/systems/{old.pk}/").content.decode()
    page = signed_in.get(f"/systems/{second.pk}/").content.decode()
    assert "Succeeds" in page
    assert "First build" in page


def test_a_plan_puts_the_front_below_and_left_to_the_left():
    left = SpotFactory.build(x_cm=10, y_cm=5)
    right_back = SpotFactory.build(x_cm=90, y_cm=40)
    nowhere = SpotFactory.build(x_cm=None, y_cm=None)
    plan = plan_of([left, nowhere, right_back])
    first, second = plan.marks
    assert first.x < second.x
    assert first.y > second.y
    assert (first.number, second.number) == (1, 3)
    assert all(0 < mark.x < plan.width and 0 < mark.y < plan.height for mark in plan.marks)
    assert plan_of([nowhere]) is None


def test_the_page_saves_a_system_and_its_spots(signed_in):
    signed_in.post("/systems/new/", {"name": "Bench tank", "started_on": "2026-01-01"})
    system = System.objects.get()
    answer = signed_in.post(f"/systems/{system.pk}/spots/new/", {"name": "Ledge", "par": "250", "another": "yes"})
    assert answer.url == f"/systems/{system.pk}/spots/new/"
    assert system.spots.get().par == 250


def test_a_taken_spot_name_keeps_what_was_typed(signed_in, old):
    SpotFactory(system=old, name="Ledge")
    page = signed_in.post(f"/systems/{old.pk}/spots/new/", {"name": "LEDGE", "par": "333"}).content.decode()
    assert "There is a spot in First build named LEDGE already" in page
    assert 'value="333"' in page


def test_the_page_names_the_plugs_that_hold_a_rack(signed_in):
    rack = RackFactory()
    plug = PlugFactory(rack=rack, rack_row=4, rack_column=6)
    told = {"name": rack.name, "rack_rows": "2", "rack_columns": "2", "based_on": last_change(rack)}
    page = signed_in.post(f"/spots/{rack.pk}/", told).content.decode()
    assert plug.code_in_clear in page


def test_the_page_ends_a_system(signed_in, old, standing):
    told = {f"colony_{each.colony_id}": "end:died" for each in standing} | {"day": "2026-05-01"}
    signed_in.post(f"/systems/{old.pk}/end/", told)
    old.refresh_from_db()
    assert old.ended_on == END
    assert not Colony.objects.alive().exists()


def test_the_page_restarts_a_system_in_one_act(signed_in, old, standing):
    ledge = standing[0].spot
    told = {
        "name": "Second build",
        "ended_on": "2026-05-01",
        "started_on": "2026-05-10",
        f"spot_{ledge.pk}_kept": "on",
        f"spot_{ledge.pk}_name": "Low ledge",
        f"spot_{ledge.pk}_par": "150",
        "new_1_name": "Arch",
        "new_1_par": "310",
        f"colony_{standing[0].colony_id}": f"spot_{ledge.pk}",
        f"colony_{standing[1].colony_id}": "new_1",
        f"colony_{standing[2].colony_id}": "end:died",
    }
    answer = signed_in.post(f"/systems/{old.pk}/restart/", told)
    new = System.objects.get(succeeds=old)
    assert answer.url == f"/systems/{new.pk}/"
    spots = {
        each.colony.placements.filter(until=None).values_list("spot__name", flat=True).first() for each in standing
    }
    assert spots == {"Low ledge", "Arch", None}


def test_a_colony_cannot_go_to_a_spot_that_is_not_taken_over(signed_in, old, standing):
    ledge = standing[0].spot
    told = {"name": "Second build", "ended_on": "2026-05-01", "started_on": "2026-05-10"}
    told |= {f"colony_{each.colony_id}": f"spot_{ledge.pk}" for each in standing}
    page = signed_in.post(f"/systems/{old.pk}/restart/", told).content.decode()
    assert "This spot is not in the new build." in page
    assert 'value="Second build"' in page
    assert System.objects.count() == 1
