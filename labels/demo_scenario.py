"""Builds the demo scenario of fixtures/demo_scenario.toml through the same acts that a keeper uses.

Everything is placed in time by months before the day it is built, so the demo is never stale. A colony grows at a rate
that wanders a little from month to month, and sizes carry the small errors of a hand with a ruler. Each colony has
chances of its own with a fixed seed, so two builds are alike but for the codes, on whatever day they are made.
"""

import math
import random
import tomllib
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal
from itertools import combinations
from pathlib import Path

from django.db import transaction

from inventory.actions.keep_safe import came_back, leave_with
from inventory.models import AcquisitionTerms, Book, Contact, LineagePrice
from labels.demo_photos import photograph
from labels.demo_trade import DemoTrade
from propagation.actions.acquire import acquire_colony
from propagation.actions.check_healing import check_healing, find_dead
from propagation.actions.end_colony import end_colony
from propagation.actions.grow_on import grow_on
from propagation.actions.incidents import close_incident, open_incident
from propagation.actions.keep_cut_rule import keep_cut_rule
from propagation.actions.learn_healing import learn_healing_from_records
from propagation.actions.mark_labelled import mark_labelled
from propagation.actions.move_colony import move_colony
from propagation.actions.part_with import part_with
from propagation.actions.plan_absence import plan_absence
from propagation.actions.put_on_rack import put_on_rack
from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.actions.take_size import take_size
from propagation.actions.water_tests import record_water_tests
from propagation.forecasts import learning
from propagation.forecasts.gathering import gather_colonies
from propagation.forecasts.outlooks import bring_up_to_date
from propagation.forecasts.replaying import replay
from propagation.models import (
    Colony,
    CutEvent,
    Fate,
    ForecastMark,
    HealingStage,
    Lineage,
    Measure,
    Method,
    Plug,
    Preferences,
    Spot,
    System,
)

DAYS_IN_A_MONTH = 30.44
FRAG_SIZE_MM = 25  # common practice, no source
KEPT_FROM_A_RECENT_CUT = 90  # days: older plugs have found their way out, bar a few
MONTHS_REPLAYED = 10

# All of these are invented for the demo.
READING_ERROR = 0.02  # of a ruler against a bush: one standard deviation, as a share of the size
ERROR_BY_EYE = 0.1
RATE_WANDERS_BY = 0.06  # a month, natural-log units
RATE_REMEMBERS = 0.85  # share of a departure that is left after a month
FRAGS_DIFFER_BY = 0.08  # what one cut takes for a frag, as a share of what is usual for the mother
SLOWER_AFTER_A_MOVE = (60, 0.5)  # days, and the share of its growth
SLOWER_WHILE_UNWELL = 0.1
NO_GROWTH_AFTER_A_CUT = 7  # days
USUALLY_LOST = 0.1  # share of the plugs

METHODS = {Measure.POLYPS: Method.COUNT, Measure.AREA: Method.PHOTO}


def area_of(diameter_mm: float) -> float:
    """cm² of a round colony of this diameter."""
    return math.pi * diameter_mm**2 / 400


def diameter_of(area_cm2: float) -> float:
    """mm across a round colony of this area."""
    return math.sqrt(400 * area_cm2 / math.pi)


class Mother:
    """A colony of the scenario as it grows: ``size`` is its diameter in mm, or its heads where those are counted."""

    def __init__(self, told: dict, *, measure: str, day):
        self.told = told
        self.size = float(told.get("size", FRAG_SIZE_MM))
        self.began_on = self.grown_until = day(told.get("began", told.get("acquired")))
        self.ended_on = day(told["ended"][0]) if "ended" in told else None
        self.colony: Colony | None = None
        self.chance = random.Random(f"1884 {told['tag']}")  # noqa: S311 - a demo, not a secret
        self.measure, self.takes = measure, told.get("takes", 0)
        change = told.get("changes_measure")
        self.changes_measure = (day(change["ago"]), change["to"], change["takes"]) if change else None
        self.rates = [(self.began_on, told["rate"]), *((day(ago), rate) for ago, rate in told.get("rates", []))]
        self.unwell = [
            (day(opened), day(closed[0]) if closed else date.max) for _, opened, *closed in told.get("incidents", [])
        ]
        self.moved = [day(ago) for ago, _ in told.get("moves", [])]
        self.cut = [day(cut["ago"]) for cut in told.get("cuts", [])]
        self.by_eye = [day(ago) for ago in told.get("by_eye", [])]
        self.slips = [(day(slip["ago"]), slip["times"]) for slip in told.get("slips", [])]
        self.wandered = 0.0
        self.measured: list[tuple[date, str, Decimal]] = []

    def is_measured(self) -> bool:
        return self.told.get("measured", True)

    def readings_until(self, last: date) -> list[date]:
        """The days, about a month apart, on which a ruler was held against it."""
        days, day = [], self.began_on
        while self.is_measured() and day <= last:
            if day not in self.cut:
                days.append(day)
            day += timedelta(days=30 + self.chance.randrange(-3, 4))
        return days

    def grow(self, until: date, growth_on) -> None:
        """Let it grow to a day: slower while something is wrong, for a while after a move, and not after a cut.

        ``growth_on(day)`` is the share of its rate that the system of that day allows.
        """
        after_a_move, slower = SLOWER_AFTER_A_MOVE
        while self.grown_until < until:
            day = self.grown_until
            if (day - self.began_on).days % 30 == 0:
                self.wandered = RATE_REMEMBERS * self.wandered + self.chance.gauss(0, RATE_WANDERS_BY)
            rate = [rate for since, rate in self.rates if since <= day][-1] / DAYS_IN_A_MONTH
            rate *= math.exp(self.wandered) * growth_on(day)
            if any(opened <= day < closed for opened, closed in self.unwell):
                rate *= SLOWER_WHILE_UNWELL
            if any(0 <= (day - moved).days < after_a_move for moved in self.moved):
                rate *= slower
            if any(0 <= (day - cut).days < NO_GROWTH_AFTER_A_CUT for cut in self.cut):
                rate = 0
            self.size *= math.exp(rate) if self.measure == Measure.POLYPS else 1
            self.size += 0 if self.measure == Measure.POLYPS else rate
            self.grown_until += timedelta(days=1)
        if self.changes_measure and until >= self.changes_measure[0]:
            _, self.measure, self.takes = self.changes_measure

    def seen(self, error: float = READING_ERROR) -> Decimal:
        """What somebody reads off it, in whole units of its measure."""
        size = area_of(self.size) if self.measure == Measure.AREA else self.size
        return Decimal(max(1, round(size * (1 + self.chance.gauss(0, error)))))

    def lose(self, frags: int) -> None:
        """Frags are cut off it."""
        taken = frags * self.takes * (1 + self.chance.gauss(0, FRAGS_DIFFER_BY))
        if self.measure == Measure.AREA:
            self.size = diameter_of(area_of(self.size) - taken)
        else:
            self.size -= round(taken) if self.measure == Measure.POLYPS else taken


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
        self.mothers: dict[str, Mother] = {}
        self.systems: dict[str, System] = {}
        self.growth: list[tuple[date, float]] = []  # since when, and the share of a colony's rate
        self.spots: dict[tuple[str, str], Spot] = {}
        self.contacts: dict[str, Contact] = {}
        self.healing: dict[str, tuple[float, int]] = {}  # by lineage: the share lost, and the weeks to healed

    def day(self, months_ago: float) -> date:
        return self.today - timedelta(days=round(months_ago * DAYS_IN_A_MONTH))

    @transaction.atomic
    def build(self) -> None:
        """Write the whole scenario, or nothing."""
        self.keep_preferences()
        self.build_systems()
        self.meet_contacts()
        self.market = DemoTrade(self.story["trade"], contacts=self.contacts, today=self.today, by=self.by)
        self.name_lineages()
        for happening in sorted(self.happenings()):
            happening.act(happening.on)
        self.say_how_they_are_cut()
        self.test_water()
        self.plan_absences()
        self.market.play()

    def look_back(self) -> int:
        """Say what would have been said month by month, then learn from all; returns how many forecasts were stored.

        Takes longer than the build, so it is left to those who want to see how right forecasts were.
        """
        learn_healing_from_records(self.today)
        stored = replay([self.day(ago) for ago in range(1, MONTHS_REPLAYED + 1)], today=self.today)
        for key, group in learning.group_records(gather_colonies(self.today)).items():
            learning.learn(group, key, self.today)
        ForecastMark.objects.create(colony=None)
        bring_up_to_date(self.today)
        return stored

    def take_photos(self) -> int:
        """Photograph the colonies that the scenario says so of, as they were on the days they were measured.

        Returns how many photos were measured. They are drawn, and take a while, so a build does without them.
        """
        photographed = [mother for mother in self.mothers.values() if "photos" in mother.told]
        return photograph(photographed, base_address=self.story["keeper"]["base_address"], today=self.today, by=self.by)

    def films(self) -> list[dict]:
        """What to have films made of: each colony with photos, and two of one line side by side."""
        photographed = [mother.colony for mother in self.mothers.values() if "photos" in mother.told]
        asked = [{"colony": colony} for colony in photographed]
        for first, second in combinations(photographed, 2):
            if first.lineage_id == second.lineage_id:
                asked.append({"colony": second, "beside": first})
        return asked

    def keep_preferences(self):
        keeper = self.story["keeper"]
        told = {name: text for name, text in keeper.items() if name not in ("name", "currency")}
        Preferences.objects.update_or_create(pk=1, defaults=told)
        Book.objects.update_or_create(pk=1, defaults={"currency": keeper["currency"]})

    def build_systems(self):
        for told in self.story["systems"]:
            system = self.systems[told["name"]] = System.objects.create(
                name=told["name"],
                started_on=self.day(told["began"]),
                ended_on=self.day(told["ended"]) if "ended" in told else None,
                succeeds=self.systems.get(told.get("succeeds")),
                note=told.get("note", ""),
            )
            self.growth.append((system.started_on, told.get("growth", 1.0)))
        for told in self.story["spots"]:
            self.spots[told["system"], told["name"]] = Spot.objects.create(
                system=self.systems[told["system"]],
                name=told["name"],
                x_cm=told["x"],
                y_cm=told["y"],
                par=told["par"],
                rack_rows=told.get("rows"),
                rack_columns=told.get("columns"),
            )

    def growth_on(self, day: date) -> float:
        return [growth for since, growth in self.growth if since <= day][-1]

    def meet_contacts(self):
        for told in self.story["contacts"]:
            self.contacts[told["name"]] = Contact.objects.create(name=told["name"], reach=told["reach"])

    def name_lineages(self):
        for told in self.story["lineages"]:
            told = dict(told)
            price = told.pop("price", None)
            self.healing[told["name"]] = told.pop("lost", USUALLY_LOST), told.pop("healed_in_weeks", 4)
            lineage = Lineage.objects.create(**{"frag_size_mm": FRAG_SIZE_MM, **told})
            if price is not None:
                LineagePrice.objects.create(lineage=lineage, amount=price)

    # -- what happens, and when --

    def happenings(self):
        for system in System.objects.exclude(ended_on=None):
            yield Happening(system.ended_on, 8, lambda on, system=system: self.lose_racks(system, on))
        measures = dict(Lineage.objects.values_list("name", "measure"))
        for told in self.story["colonies"]:
            mother = Mother(told, measure=measures[told["lineage"]], day=self.day)
            self.mothers[told["tag"]] = mother
            yield Happening(mother.began_on, 0, lambda on, mother=mother: self.begin(mother, on))
            for kind, opened, *closed in told.get("incidents", []):
                yield Happening(self.day(opened), 1, lambda on, m=mother, k=kind, c=closed: self.trouble(m, k, c, on))
            for months, spot in told.get("moves", []):
                yield Happening(self.day(months), 2, lambda on, m=mother, s=spot: self.move(m, s, on))
            for on in mother.readings_until(min(self.today - timedelta(days=4), mother.ended_on or self.today)):
                yield Happening(on, 3, lambda on, m=mother: self.measure(m, on))
            for on in mother.by_eye:
                yield Happening(on, 3, lambda on, m=mother: self.look_at(m, on))
            for cut in told.get("cuts", []):
                yield Happening(self.day(cut["ago"]), 4, lambda on, m=mother, cut=cut: self.cut(m, cut, on))
            if mother.ended_on is not None:
                yield Happening(mother.ended_on, 9, lambda on, m=mother, why=told["ended"][1]: self.end(m, why, on))

    def begin(self, mother: Mother, on: date):
        told = mother.told
        lineage = Lineage.objects.get(name=told["lineage"])
        if "grown_from" in told:
            plug = Plug.objects.filter(
                cut_event__mother__tag=told["grown_from"], fate=Fate.KEPT, stage=HealingStage.HEALED, began_on__lt=on
            ).earliest("began_on", "id")
            mother.colony = grow_on(plug=plug, tag=told["tag"], on=on, today=self.today, by=self.by)
        elif "returned_from" in told:
            mother.colony = self.bring_home(told, on)
        else:
            mother.colony = acquire_colony(
                lineage=lineage, tag=told["tag"], on=on, today=self.today, kind=told["kind"], by=self.by
            )
            if "from" in told or "paid" in told:
                AcquisitionTerms.objects.create(
                    acquisition=mother.colony.acquisition,
                    contact=self.contacts.get(told.get("from")),
                    amount=told.get("paid"),
                    currency=Book.current().currency if "paid" in told else "",
                )
        mark_labelled(colonies=[mother.colony], at=datetime.combine(on, time(20), tzinfo=UTC))
        self.move(mother, told["spot"], on)

    def bring_home(self, told: dict, on: date) -> Colony:
        """The mother was lost; a frag of hers that a friend had kept comes back, grown into a colony."""
        left = Plug.objects.filter(cut_event__mother__tag=told["returned_from"], fate=Fate.GIVEN).earliest(
            "began_on", "id"
        )
        kept = leave_with(
            plug=left, contact=self.contacts[told["kept_by"]], on=left.ended_on, today=self.today, by=self.by
        )
        home = came_back(safekeeping=kept, on=on, tag=told["tag"], today=self.today, by=self.by)
        return home.colonies.get()

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
        incident = open_incident(kind=kind, colony=mother.colony, on=on, today=self.today, by=self.by)
        if closed:
            close_incident(incident=incident, on=self.day(closed[0]), today=self.today, by=self.by)

    def measure(self, mother: Mother, on: date):
        mother.grow(on, self.growth_on)
        value = mother.seen()
        mother.measured.append((on, mother.measure, value))
        if mother.slips and on >= mother.slips[0][0]:
            _, times = mother.slips.pop(0)
            value = value * Decimal(str(times))
        self.take(mother, value, METHODS.get(mother.measure, Method.RULER), on)

    def look_at(self, mother: Mother, on: date):
        """Its size judged by eye, to the half centimetre."""
        mother.grow(on, self.growth_on)
        self.take(mother, Decimal(5 * round(mother.seen(ERROR_BY_EYE) / 5)), Method.ESTIMATE, on)

    def take(self, mother: Mother, value: Decimal, method: str, on: date):
        take_size(
            colony=mother.colony,
            value=value,
            measure=mother.measure,
            on=on,
            today=self.today,
            method=method,
            by=self.by,
        )

    def cut(self, mother: Mother, told: dict, on: date):
        mother.grow(on, self.growth_on)
        before = mother.seen()
        mother.lose(told["frags"])
        after = min(mother.seen(), before)
        sizes = {"before": (before, None), "none": (None, None)}.get(told.get("sizes"), (before, after))
        session = record_cutting(
            cuts=[
                MotherCut(
                    mother.colony,
                    told["frags"],
                    frag_size_mm=Decimal(FRAG_SIZE_MM),
                    size_before=sizes[0],
                    size_after=sizes[1],
                    measure=mother.measure,
                    insurance=told.get("insurance", 0),
                    cut_with=self.tool_of(mother, told),
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
        self.heal(mother, plugs, on)

    def tool_of(self, mother: Mother, told: dict) -> str:
        """What a mother is cut with; empty for the years in which that was not noted."""
        tools = self.story["cut_with"]
        if told["ago"] > tools["noted_for"]:
            return ""
        return told.get("cut_with", tools[mother.colony.lineage.growth_form])

    def heal(self, mother: Mother, plugs: list[Plug], cut_on: date):
        """Weekly checks until today; some are lost on the way; old plugs find their way out."""
        lost, weeks_to_heal = self.healing[mother.told["lineage"]]
        chance = mother.chance
        checks, deaths = defaultdict(list), defaultdict(list)
        for plug in plugs:
            dies, week_of_death = chance.random() < lost, chance.choice([1, 2, 3])
            weeks = [1, weeks_to_heal // 2 + chance.randrange(2), weeks_to_heal + chance.randrange(2)]
            reason = chance.choice(["tissue_loss", "never_sealed", "broken"])
            dies = dies and not plug.is_insurance
            for week, stage in zip(
                weeks, (HealingStage.SEALED, HealingStage.ENCRUSTING, HealingStage.HEALED), strict=True
            ):
                if not dies or week < week_of_death:
                    checks[week, stage].append(plug)
            if dies:
                deaths[week_of_death, reason].append(plug)
        for (week, stage), group in sorted(checks.items()):
            on = cut_on + timedelta(weeks=week)
            if on <= self.today:
                check_healing(plugs=group, stage=stage, on=on, today=self.today, by=self.by)
        for (week, reason), group in sorted(deaths.items()):
            on = cut_on + timedelta(weeks=week)
            if on <= self.today:
                find_dead(plugs=group, reason=reason, on=on, today=self.today, by=self.by)
        if (self.today - cut_on).days > KEPT_FROM_A_RECENT_CUT:
            self.part_with_most(plugs, cut_on)

    def part_with_most(self, plugs: list[Plug], cut_on: date):
        """All that healed but for one leave, and what is set aside stays."""
        kept = Plug.objects.filter(pk__in=[plug.pk for plug in plugs], fate=Fate.KEPT, is_insurance=False)
        leaving = list(kept.filter(stage=HealingStage.HEALED).order_by("id"))[:-1]
        sold = []
        for number, plug in enumerate(leaving):
            on = min(self.today, cut_on + timedelta(days=50 + 4 * number))
            fate = [Fate.GIVEN, Fate.SOLD, Fate.SOLD, Fate.TRADED][number % 4]
            if fate == Fate.SOLD:
                sold.append(plug)
            else:
                part_with(plugs=[plug], fate=fate, on=on, today=self.today, by=self.by)
            if sold and (fate != Fate.SOLD or plug == leaving[-1]):
                self.market.sell_long_ago(sold, on)
                sold = []

    def lose_racks(self, system: System, on: date):
        """What still stood on the racks of a build when it ended went with it, but for what was set aside."""
        standing = Plug.objects.kept().filter(rack__system=system)
        saved = list(standing.filter(is_insurance=True))
        if saved:
            put_on_rack(plugs=saved, rack=None, by=self.by)
        lost = list(standing.filter(is_insurance=False))
        if lost:
            find_dead(plugs=lost, reason="outage", on=on, today=self.today, by=self.by)

    def end(self, mother: Mother, why: str, on: date):
        end_colony(colony=mother.colony, reason=why, on=on, today=self.today, by=self.by)

    # -- how they are cut, the water, the days to come --

    def say_how_they_are_cut(self):
        for told in self.story["cut_rules"]:
            told = dict(told)
            if "lineage" in told:
                told["lineage"] = Lineage.objects.get(name=told["lineage"])
            if "colony" in told:
                told["colony"] = Colony.objects.get(tag=told["colony"])
            for size in ("keep_at_least", "frag_unit", "room"):
                if size in told:
                    told[size] = Decimal(told[size])
            keep_cut_rule(by=self.by, **told)

    def test_water(self):
        """Tests of the last weeks; around the swing only what swung was tested, and more often."""
        water = self.story["water"]
        swing = water["swing"]
        chance = random.Random("1884 water")  # noqa: S311 - a demo, not a secret
        swing_began = self.day(swing["ago"])
        swung = [swing_began + timedelta(days=swing["every"] * number) for number in range(len(swing["values"]))]
        last = self.today - timedelta(days=2)
        days = defaultdict(dict)
        for told in water["parameters"]:
            strayed, exact = 0.0, Decimal(1).scaleb(-told["places"])
            day = last - timedelta(weeks=water["weeks"])
            while day <= last:
                strayed = 0.6 * strayed + chance.gauss(0, 0.8 * told["wobble"])
                strayed = max(-2 * told["wobble"], min(2 * told["wobble"], strayed))
                if told["name"] != swing["name"] or not swung[0] - timedelta(days=5) < day < swung[-1]:
                    days[day][told["name"]] = Decimal(told["usual"] + strayed).quantize(exact, ROUND_HALF_UP)
                day += timedelta(days=told["every"])
        for day, value in zip(swung, swing["values"], strict=True):
            days[day][swing["name"]] = Decimal(str(value))
        for day, values in sorted(days.items()):
            note = swing["note"] if day == swung[1] else ""
            record_water_tests(
                system=self.systems[water["system"]], values=values, on=day, today=self.today, note=note, by=self.by
            )

    def plan_absences(self):
        for told in self.story["absences"]:
            first = self.today + timedelta(days=told["in_days"])
            plan_absence(
                first_day=first,
                last_day=first + timedelta(days=told["days"] - 1),
                today=self.today,
                note=told["note"],
                by=self.by,
            )
