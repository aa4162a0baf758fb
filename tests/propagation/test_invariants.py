"""Whatever a keeper does, in whatever order and on whatever days: what must always hold, holds.

Random histories of acts. An act may be refused with a sentence (RametError); anything else that is raised, such as the
database refusing what an act should have, fails the test.
"""

from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from propagation import codes
from propagation.actions.acquire import acquire_colony, acquire_plugs
from propagation.actions.check_healing import check_healing, find_dead
from propagation.actions.end_colony import bring_back_colony, end_colony
from propagation.actions.grow_on import grow_on
from propagation.actions.incidents import close_incident, open_incident
from propagation.actions.keep_colony import keep_colony
from propagation.actions.move_colony import correct_placement, move_colony
from propagation.actions.part_with import part_with
from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.actions.restart_system import SpotInTheNewBuild, Survivor, restart_system
from propagation.actions.take_size import correct_size, take_size
from propagation.errors import RametError
from propagation.models import (
    AllottedCode,
    Colony,
    Incident,
    Lineage,
    Placement,
    Plug,
    SizeReading,
    Spot,
    System,
)

pytestmark = pytest.mark.django_db

FIRST = date(2026, 1, 1)
TODAY = FIRST + timedelta(days=40)


class Keeper:
    """Does acts on whatever there is; ``a`` and ``b`` choose among it."""

    def __init__(self):
        self.lineages = [Lineage.objects.create(name=name) for name in ("Pewter Ninepin", "Zinc Harp")]
        system = System.objects.create(name="Build 0", started_on=FIRST)
        for name in ("Ledge", "Arch"):
            Spot.objects.create(system=system, name=name)
        Spot.objects.create(system=system, name="Rack", rack_rows=2, rack_columns=3)

    @staticmethod
    def one_of(rows, number):
        rows = list(rows.order_by("pk"))
        return rows[number % len(rows)] if rows else None

    def acquire_colony(self, a, b, on):
        spot = self.one_of(Spot.objects.all(), b) if b % 2 else None
        acquire_colony(lineage=self.lineages[a % 2], tag=f"T{b % 12}", on=on, today=TODAY, spot=spot)

    def acquire_plugs(self, a, b, on):
        rack = self.one_of(Spot.objects.racks(), b) if b % 2 else None
        acquire_plugs(lineage=self.lineages[a % 2], count=b % 4, on=on, today=TODAY, rack=rack)

    def cut(self, a, b, on):
        mother = self.one_of(Colony.objects.all(), a)
        if mother:
            size = Decimal(b % 50)
            cut = MotherCut(
                mother, b % 4, size_before=size, size_after=size / 2, measure="diameter_mm", reason="to see"
            )
            record_cutting(cuts=[cut], cut_on=on, today=TODAY, rack=self.one_of(Spot.objects.racks(), b))

    def heal(self, a, b, on):
        plug = self.one_of(Plug.objects.all(), a)
        if plug:
            check_healing(plugs=[plug], on=on, today=TODAY)

    def bury(self, a, b, on):
        plug = self.one_of(Plug.objects.all(), a)
        if plug:
            find_dead(plugs=[plug], reason="broken", on=on, today=TODAY)

    def part(self, a, b, on):
        plug = self.one_of(Plug.objects.all(), a)
        if plug:
            part_with(plugs=[plug], fate="sold", on=on, today=TODAY)

    def come_back(self, a, b, on):
        plug = self.one_of(Plug.objects.all(), a)
        if plug:
            acquire_plugs(
                lineage=self.lineages[b % 2], count=1, on=on, today=TODAY, kind="returned", returned_plug=plug
            )

    def grow(self, a, b, on):
        plug = self.one_of(Plug.objects.all(), a)
        if plug:
            grow_on(plug=plug, tag=f"T{b % 12}", on=on, today=TODAY, spot=self.one_of(Spot.objects.all(), b))

    def move(self, a, b, on):
        colony, spot = self.one_of(Colony.objects.all(), a), self.one_of(Spot.objects.all(), b)
        if colony:
            move_colony(colony=colony, spot=spot, on=on, today=TODAY)

    def put_right(self, a, b, on):
        placement = self.one_of(Placement.objects.all(), a)
        if placement:
            correct_placement(placement=placement, spot=self.one_of(Spot.objects.all(), b))

    def end(self, a, b, on):
        colony = self.one_of(Colony.objects.all(), a)
        if colony:
            end_colony(colony=colony, reason="died", on=on, today=TODAY)

    def bring_back(self, a, b, on):
        colony = self.one_of(Colony.objects.all(), a)
        if colony:
            bring_back_colony(colony=colony)

    def rename(self, a, b, on):
        colony = self.one_of(Colony.objects.all(), a)
        if colony:
            keep_colony(colony=colony, tag=f"T{b % 12}", note="")

    def measure(self, a, b, on):
        colony = self.one_of(Colony.objects.all(), a)
        if colony:
            take_size(colony=colony, value=Decimal(b - 5), measure="diameter_mm", on=on, today=TODAY, confirmed=a % 2)

    def measure_again(self, a, b, on):
        reading = self.one_of(SizeReading.objects.all(), a)
        if reading:
            correct_size(reading=reading, value=Decimal(b - 5), measure="polyps", on=on, today=TODAY, method="count")

    def worry(self, a, b, on):
        colony = self.one_of(Colony.objects.all(), a)
        if colony:
            open_incident(kind="pest", colony=colony, on=on, today=TODAY)

    def relax(self, a, b, on):
        incident = self.one_of(Incident.objects.all(), a)
        if incident:
            close_incident(incident=incident, on=on, today=TODAY)

    def restart(self, a, b, on):
        old = System.objects.order_by("-pk").first()
        spots = [SpotInTheNewBuild(spot.name, like=spot) for spot in old.spots.order_by("pk")]
        colonies = Colony.objects.filter(placements__until=None, placements__spot__system=old).order_by("pk")
        survivors = [
            Survivor(colony, spot_number=number % len(spots))
            if (a + number) % 3
            else Survivor(colony, end_reason="died")
            for number, colony in enumerate(colonies)
        ]
        restart_system(
            system=old,
            name=f"Build {System.objects.count()}",
            ended_on=on,
            started_on=on + timedelta(days=b % 3 - 1),
            today=TODAY,
            spots=spots,
            survivors=survivors,
        )


ACTS = [name for name, act in vars(Keeper).items() if callable(act) and not name.startswith("_") and name != "one_of"]
# Days run on as the history does, with a slip backwards now and then.
STEPS = st.lists(
    st.tuples(st.sampled_from(ACTS), st.integers(0, 30), st.integers(0, 60), st.integers(-3, 4)), max_size=30
)


def holds():
    """What must hold (DESIGN.md §4), read from the rows themselves."""
    colonies = {colony.pk: colony for colony in Colony.objects.select_related("grown_from__cut_event", "acquisition")}
    for colony in colonies.values():
        # Up the line of descent, never in a ring, always back to an acquisition, always of one lineage.
        seen, each = set(), colony
        while each is not None:
            assert each.pk not in seen
            seen.add(each.pk)
            assert each.lineage_id == colony.lineage_id
            plug = each.grown_from
            if plug is None:
                assert each.acquisition.lineage_id == each.lineage_id
                assert each.acquisition.acquired_on <= each.began_on
                break
            assert plug.lineage_id == each.lineage_id
            assert plug.fate == "grown_on"
            assert plug.began_on <= each.began_on
            each = colonies[plug.cut_event.mother_id] if plug.cut_event_id else None

        # At one spot at a time, in its own life, in a system that ran.
        stays = [
            (stay.since, stay.until or date.max, stay) for stay in colony.placements.select_related("spot__system")
        ]
        stays.sort(key=lambda stay: stay[:2])
        for (_, until, _), (since, _, _) in pairwise(stays):
            assert until <= since
        for since, until, stay in stays:
            assert colony.began_on <= since <= until
            assert since >= stay.spot.system.started_on
            if stay.until is None:
                assert colony.is_alive
                assert stay.spot.system.ended_on is None

        for cut in colony.cut_events.select_related("session"):
            assert colony.began_on <= cut.session.cut_on <= (colony.ended_on or date.max)

    for plug in Plug.objects.select_related("cut_event__mother", "acquisition"):
        assert (plug.cut_event is None) != (plug.acquisition is None)
        origin = plug.cut_event.mother if plug.cut_event else plug.acquisition
        assert plug.lineage_id == origin.lineage_id
        assert codes.read_code(plug.code) == plug.code

    given_out = [*Plug.objects.values_list("code", flat=True), *Colony.objects.values_list("code", flat=True)]
    assert len(given_out) == len(set(given_out))
    assert set(given_out) <= set(AllottedCode.objects.values_list("text", flat=True))
    tags = [tag.upper() for tag in Colony.objects.values_list("tag", flat=True)]
    assert len(tags) == len(set(tags))
    assert not SizeReading.objects.filter(value__lte=0).exists()
    for incident in Incident.objects.filter(closed_on=None):
        assert incident.colony is None or incident.colony.is_alive


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    derandomize=True,
)
@given(steps=STEPS)
def test_what_must_always_hold_holds_after_any_history(steps):
    with transaction.atomic():
        keeper, day = Keeper(), FIRST + timedelta(days=5)
        for act, a, b, days in steps:
            day = max(FIRST - timedelta(days=2), min(TODAY + timedelta(days=1), day + timedelta(days=days)))
            try:
                getattr(keeper, act)(a, b, day)
            except RametError as refusal:
                assert str(refusal).strip()  # noqa: PT017 - a refusal without a sentence helps nobody
        holds()
        transaction.set_rollback(True)


def test_a_history_in_which_everything_happens_is_possible():
    """The histories above would prove little if every act were refused."""
    keeper = Keeper()
    days = iter(FIRST + timedelta(days=number) for number in range(5, 40))
    for act, a, b in [
        ("acquire_colony", 0, 1),
        ("acquire_plugs", 0, 3),
        ("cut", 0, 23),
        ("heal", 0, 0),
        ("grow", 0, 4),
        ("measure", 0, 25),
        ("worry", 0, 0),
        ("relax", 0, 0),
        ("move", 0, 0),
        ("restart", 1, 2),
        ("cut", 1, 22),
        ("part", 1, 0),
        ("come_back", 1, 0),
        ("end", 1, 0),
    ]:
        getattr(keeper, act)(a, b, next(days))
        holds()
    assert System.objects.count() == 2
    assert Plug.objects.count() > 5
