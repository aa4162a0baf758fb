"""Builds the demo scenario of fixtures/demo_scenario.toml through the same acts that a keeper uses.

Everything is placed in time by months before the day it is built, so the demo is never stale. Sizes carry the small
errors of a hand with a ruler; the seed is fixed, so two builds on one day are alike but for the codes.
"""

import random
import tomllib
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path

from django.db import transaction

from inventory.models import AcquisitionTerms, Book, Contact, LineagePrice
from propagation.actions.acquire import acquire_colony
from propagation.actions.check_healing import check_healing, find_dead
from propagation.actions.end_colony import end_colony
from propagation.actions.grow_on import grow_on
from propagation.actions.incidents import close_incident, open_incident
from propagation.actions.mark_labelled import mark_labelled
from propagation.actions.move_colony import move_colony
from propagation.actions.part_with import part_with
from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.actions.take_size import take_size
from propagation.models import (
    Colony,
    CutEvent,
    Fate,
    HealingStage,
    Lineage,
    Measure,
    Plug,
    Preferences,
    Spot,
    System,
)

DAYS_IN_A_MONTH = 30.44
FRAG_SIZE_MM = 25  # common practice, no source
READING_ERROR = 0.02  # one standard deviation of a ruler against a bush; invented for the demo
KEPT_FROM_A_RECENT_CUT = 90  # days: older plugs have found their way out, bar a few


@dataclass
class Mother:
    """A colony of the scenario as it grows."""

    story: dict
    size: float
    grown_until: date
    colony: Colony | None = None
    measure: str = Measure.DIAMETER


@dataclass(order=True)
class Happening:
    """Something that happens on a day; the order settles what comes first on one day."""

    on: date
    order: int
    act: object = field(compare=False)


class DemoScenario:
    """Reads the scenario and plays it from its first day to today."""

    def __init__(self, path: Path, *, today: date, by=None):
        self.story = tomllib.loads(path.read_text(encoding="utf-8"))
        self.today = today
        self.by = by
        self.chance = random.Random(1884)  # noqa: S311 - a demo, not a secret
        self.mothers: dict[str, Mother] = {}
        self.spots: dict[tuple[str, str], Spot] = {}
        self.contacts: dict[str, Contact] = {}

    def day(self, months_ago: float) -> date:
        return self.today - timedelta(days=round(months_ago * DAYS_IN_A_MONTH))

    @transaction.atomic
    def build(self) -> None:
        """Write the whole scenario, or nothing."""
        self.keep_preferences()
        self.build_systems()
        self.meet_contacts()
        self.name_lineages()
        for happening in sorted(self.happenings()):
            happening.act(happening.on)

    def keep_preferences(self):
        keeper = self.story["keeper"]
        Preferences.objects.update_or_create(
            pk=1, defaults={"display_name": keeper["display_name"], "base_address": keeper["base_address"]}
        )
        Book.objects.update_or_create(pk=1, defaults={"currency": keeper["currency"]})

    def build_systems(self):
        systems = {}
        for told in self.story["systems"]:
            systems[told["name"]] = System.objects.create(
                name=told["name"],
                started_on=self.day(told["began"]),
                ended_on=self.day(told["ended"]) if "ended" in told else None,
                succeeds=systems.get(told.get("succeeds")),
                note=told.get("note", ""),
            )
        for told in self.story["spots"]:
            self.spots[told["system"], told["name"]] = Spot.objects.create(
                system=systems[told["system"]],
                name=told["name"],
                x_cm=told["x"],
                y_cm=told["y"],
                par=told["par"],
                rack_rows=told.get("rows"),
                rack_columns=told.get("columns"),
            )

    def meet_contacts(self):
        for told in self.story["contacts"]:
            self.contacts[told["name"]] = Contact.objects.create(name=told["name"], reach=told["reach"])

    def name_lineages(self):
        for told in self.story["lineages"]:
            told = dict(told)
            price = told.pop("price", None)
            lineage = Lineage.objects.create(**{"frag_size_mm": FRAG_SIZE_MM, **told})
            if price is not None:
                LineagePrice.objects.create(lineage=lineage, amount=price)

    # -- what happens, and when --

    def happenings(self):
        for system in System.objects.exclude(ended_on=None):
            yield Happening(system.ended_on, 8, lambda on, system=system: self.lose_racks(system, on))
        for told in self.story["colonies"]:
            mother = Mother(
                told,
                size=float(told.get("size", FRAG_SIZE_MM)),
                grown_until=self.day(told.get("began", told.get("acquired"))),
            )
            self.mothers[told["tag"]] = mother
            yield Happening(mother.grown_until, 0, lambda on, mother=mother: self.begin(mother, on))
            ended = self.day(told["ended"][0]) if "ended" in told else None
            for kind, opened, *closed in told.get("incidents", []):
                yield Happening(self.day(opened), 1, lambda on, m=mother, k=kind, c=closed: self.trouble(m, k, c, on))
            for months, spot in told.get("moves", []):
                yield Happening(self.day(months), 2, lambda on, m=mother, s=spot: self.move(m, s, on))
            cut_days = {self.day(months) for months, _ in told.get("cuts", [])}
            reading = mother.grown_until + timedelta(days=1)
            while reading <= min(self.today - timedelta(days=4), ended or self.today):
                if reading not in cut_days:
                    yield Happening(reading, 3, lambda on, m=mother: self.measure(m, on))
                reading += timedelta(days=30 + self.chance.randrange(-3, 4))
            for months, frags in told.get("cuts", []):
                yield Happening(self.day(months), 4, lambda on, m=mother, n=frags: self.cut(m, n, on))
            if ended is not None:
                yield Happening(ended, 9, lambda on, m=mother, why=told["ended"][1]: self.end(m, why, on))

    def begin(self, mother: Mother, on: date):
        told = mother.story
        lineage = Lineage.objects.get(name=told["lineage"])
        mother.measure = lineage.measure
        if "grown_from" in told:
            plug = Plug.objects.filter(
                cut_event__mother__tag=told["grown_from"], fate=Fate.KEPT, stage=HealingStage.HEALED, began_on__lt=on
            ).earliest("began_on", "id")
            mother.colony = grow_on(plug=plug, tag=told["tag"], on=on, today=self.today, by=self.by)
        else:
            returned = None
            if "returned_from" in told:
                returned = Plug.objects.filter(cut_event__mother__tag=told["returned_from"], fate=Fate.GIVEN).earliest(
                    "began_on", "id"
                )
            mother.colony = acquire_colony(
                lineage=lineage,
                tag=told["tag"],
                on=on,
                today=self.today,
                kind="returned" if returned else told["kind"],
                returned_plug=returned,
                by=self.by,
            )
            if "from" in told or "paid" in told:
                AcquisitionTerms.objects.create(
                    acquisition=mother.colony.acquisition,
                    contact=self.contacts.get(told.get("from")),
                    amount=told.get("paid"),
                )
        mark_labelled(colonies=[mother.colony], at=datetime.combine(on, time(20), tzinfo=UTC))
        self.move(mother, told["spot"], on)
        self.measure(mother, on)

    def spot_on(self, name: str, on: date) -> Spot:
        """The spot of this name in the system that ran on a day."""
        return next(
            spot
            for (_, spot_name), spot in self.spots.items()
            if spot_name == name
            and spot.system.started_on <= on
            and (spot.system.ended_on is None or on <= spot.system.ended_on)
        )

    def rack_on(self, on: date) -> Spot:
        """The first rack of the running system that has room."""
        racks = [
            spot
            for spot in self.spots.values()
            if spot.is_rack
            and spot.system.started_on <= on
            and (spot.system.ended_on is None or on <= spot.system.ended_on)
        ]
        for rack in racks:
            if Plug.objects.kept().filter(rack=rack, rack_row__isnull=False).count() + 8 <= (
                rack.rack_rows * rack.rack_columns
            ):
                return rack
        return racks[-1]

    def move(self, mother: Mother, spot: str, on: date):
        move_colony(colony=mother.colony, spot=self.spot_on(spot, on), on=on, today=self.today, by=self.by)

    def trouble(self, mother: Mother, kind: str, closed: list, on: date):
        self.grow(mother, on)
        incident = open_incident(kind=kind, colony=mother.colony, on=on, today=self.today, by=self.by)
        if closed:
            close_incident(incident=incident, on=self.day(closed[0]), today=self.today, by=self.by)

    def grow(self, mother: Mother, on: date) -> None:
        """Let it grow to a day: slower while something is wrong, for a while after a move, and just after a cut."""
        told = mother.story
        day = mother.grown_until
        while day < on:
            rate = told["rate"] / DAYS_IN_A_MONTH
            for _, opened, *closed in told.get("incidents", []):
                if self.day(opened) <= day < (self.day(closed[0]) if closed else self.today):
                    rate *= 0.1
            if any(0 <= (day - self.day(months)).days < 60 for months, _ in told.get("moves", [])):
                rate *= 0.5
            if any(0 <= (day - self.day(months)).days < 7 for months, _ in told.get("cuts", [])):
                rate = 0
            mother.size += rate
            day += timedelta(days=1)
        mother.grown_until = max(on, mother.grown_until)

    def reading(self, mother: Mother) -> Decimal:
        size = mother.size * (1 + self.chance.gauss(0, READING_ERROR))
        return Decimal(max(1, round(size)))

    def measure(self, mother: Mother, on: date):
        self.grow(mother, on)
        take_size(
            colony=mother.colony,
            value=self.reading(mother),
            measure=mother.measure,
            on=on,
            today=self.today,
            method="count" if mother.measure == Measure.POLYPS else "ruler",
            by=self.by,
        )

    def cut(self, mother: Mother, frags: int, on: date):
        self.grow(mother, on)
        before = self.reading(mother)
        mother.size *= 1 - min(0.45, 0.05 * frags)
        session = record_cutting(
            cuts=[
                MotherCut(
                    mother.colony,
                    frags,
                    frag_size_mm=Decimal(FRAG_SIZE_MM),
                    size_before=before,
                    size_after=min(self.reading(mother), before),
                    measure=mother.measure,
                    insurance=mother.story.get("insurance", 0),
                    reason="the scenario says so",
                )
            ],
            cut_on=on,
            today=self.today,
            rack=self.rack_on(on),
            by=self.by,
        )
        CutEvent.objects.filter(session=session).update(reason="")
        plugs = list(Plug.objects.filter(cut_event__session=session).order_by("id"))
        mark_labelled(plugs=plugs, at=datetime.combine(on, time(20), tzinfo=UTC))
        self.heal(plugs, on)

    def heal(self, plugs: list[Plug], cut_on: date):
        """Weekly checks until today; one in ten is lost on the way; old plugs find their way out."""
        for plug in plugs:
            dies_in_week = self.chance.choice([1, 2, 3]) if self.chance.random() < 0.1 and not plug.is_insurance else 99
            weeks = [1, 2 + self.chance.randrange(2), 4 + self.chance.randrange(2)]
            stages = [HealingStage.SEALED, HealingStage.ENCRUSTING, HealingStage.HEALED]
            for week, stage in zip(weeks, stages, strict=True):
                on = cut_on + timedelta(days=7 * week)
                if on > self.today:
                    break
                if week >= dies_in_week:
                    find_dead(
                        plugs=[plug],
                        reason=self.chance.choice(["tissue_loss", "never_sealed", "broken"]),
                        on=on,
                        today=self.today,
                        by=self.by,
                    )
                    break
                check_healing(plugs=[plug], stage=stage, on=on, today=self.today, by=self.by)
        kept = Plug.objects.filter(pk__in=[plug.pk for plug in plugs], fate=Fate.KEPT, is_insurance=False)
        if (self.today - cut_on).days > KEPT_FROM_A_RECENT_CUT:
            leaving = list(kept.filter(stage=HealingStage.HEALED).order_by("id"))[:-1]
            for number, plug in enumerate(leaving):
                part_with(
                    plugs=[plug],
                    fate=[Fate.GIVEN, Fate.SOLD, Fate.SOLD, Fate.TRADED][number % 4],
                    on=min(self.today, cut_on + timedelta(days=50 + 4 * number)),
                    today=self.today,
                    by=self.by,
                )

    def lose_racks(self, system: System, on: date):
        """What still stood on the racks of a build when it ended went with it."""
        standing = list(Plug.objects.kept().filter(rack__system=system))
        find_dead(plugs=standing, reason="outage", on=on, today=self.today, by=self.by)

    def end(self, mother: Mother, why: str, on: date):
        self.grow(mother, on)
        end_colony(colony=mother.colony, reason=why, on=on, today=self.today, by=self.by)
