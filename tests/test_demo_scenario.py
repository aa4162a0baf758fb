"""The demo's records tell the stories that they are there for, on whatever day they are built."""

from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from django.conf import settings
from django.db import transaction
from django.test import TestCase

from inventory.models import Availability, Claim, Hold, OfferPack, Safekeeping, Sale, SaleState, Trade, Waiting
from inventory.readings.sales import totals
from labels.demo_scenario import DemoScenario, diameter_of
from propagation.actions.sitting_file import record_sitting_file
from propagation.models import (
    Absence,
    Colony,
    CutEvent,
    CutRule,
    Incident,
    Lineage,
    Measure,
    Method,
    Placement,
    Plug,
    SizeReading,
    Spot,
    WaterTest,
)
from propagation.readings.living_copies import short_of_copies
from propagation.readings.system_comparison import FIRST_YEAR, compare, default_pair
from propagation.readings.water import water_worries
from propagation.readings.yield_record import yield_record
from propagation.yield_model.yield_record import Verdict

SCENARIO = settings.BASE_DIR / "fixtures" / "demo_scenario.toml"
SITTING = settings.BASE_DIR / "fixtures" / "demo_session.csv"
DAY = date(2026, 6, 15)
MONTH = 30.44


def sizes_of(tag):
    """Readings that belong to no cut: ``(day, size)``, the earliest first."""
    rows = SizeReading.objects.filter(colony__tag=tag, cut_event=None).order_by("taken_on", "id")
    return [(row.taken_on, float(row.value)) for row in rows]


def growth_a_month(sizes):
    (first_on, first), (last_on, last) = sizes[0], sizes[-1]
    return (last - first) / ((last_on - first_on).days / MONTH)


def readings_by_age(today):
    """Every size with its age, so that builds on different days can be set beside each other."""
    rows = SizeReading.objects.order_by("colony__tag", "taken_on", "id")
    return [
        (tag, (today - taken_on).days, measure, value)
        for tag, taken_on, measure, value in rows.values_list("colony__tag", "taken_on", "measure", "value")
    ]


class DemoScenarioTests(TestCase):
    @classmethod
    def setUpTestData(cls):
        DemoScenario(SCENARIO, today=DAY).build()

    def test_lines_that_lived_in_both_builds_grew_faster_in_the_second_which_has_more_light(self):
        first, second = default_pair()
        comparison = compare(first, second, youngest=FIRST_YEAR[0], oldest=FIRST_YEAR[1], day=DAY)[0]
        assert len(comparison.pairs) >= 5
        assert comparison.verdict == Verdict.SECOND
        assert comparison.lights[1] > comparison.lights[0]

    def test_lines_came_through_the_restart_moved_over_given_back_or_grown_on(self):
        first, second = default_pair()
        moved = Colony.objects.filter(placements__spot__system=first).filter(placements__spot__system=second)
        assert moved.distinct().count() >= 3
        later = Colony.objects.filter(began_on__gte=first.ended_on, began_on__lt=second.started_on + timedelta(days=60))
        given_back = later.filter(acquisition__returned_plug__cut_event__mother__ended_on=first.ended_on)
        grown_on = later.filter(grown_from__is_insurance=True, grown_from__began_on__lt=first.ended_on)
        assert given_back.count() >= 2
        assert grown_on.count() >= 2

    def test_what_a_friend_kept_came_home_after_the_loss_and_carries_the_line_on(self):
        home = Safekeeping.objects.filter(outcome=Safekeeping.Outcome.RETURNED)
        assert home.count() == 2
        for kept in home.select_related("plug__cut_event__mother"):
            lost = kept.plug.cut_event.mother
            back = Colony.objects.get(acquisition__returned_plug=kept.plug)
            assert lost.ended_on < back.began_on == kept.ended_on
            assert CutEvent.objects.filter(mother=back).exists()
        assert Safekeeping.objects.filter(ended_on=None).count() == 2

    def test_the_trade_has_all_that_a_trade_in_frags_brings(self):
        states = {sale.state for sale in Sale.objects.all()}
        assert {SaleState.DRAFT, SaleState.AGREED, SaleState.SENT, SaleState.CLOSED} <= states
        assert not Plug.objects.filter(fate="sold", sale_lines=None).exists()
        assert any(totals(sale).owed and totals(sale).paid for sale in Sale.objects.filter(left_on=None))
        assert set(Claim.objects.values_list("outcome", flat=True)) == {"replaced", "credit"}
        assert Trade.objects.get().lines.filter(acquisition__isnull=False).exists()
        assert Hold.objects.filter(deposit__gt=0).exists()
        assert Waiting.objects.exists()
        assert OfferPack.objects.exists()
        assert Availability.current().visibility == Availability.Visibility.PUBLIC

    def test_sizes_are_those_of_mothers_and_no_cut_takes_more_than_half(self):
        assert SizeReading.objects.count() > 600
        assert not SizeReading.objects.filter(value__lte=0).exists()
        sized = CutEvent.objects.filter(size_before__isnull=False, size_after__isnull=False)
        assert sized.count() > 35
        for event in sized.select_related("mother"):
            with self.subTest(event.mother.tag, before=event.size_before, after=event.size_after):
                assert event.size_after >= event.size_before / 2
                if event.measure == Measure.DIAMETER:
                    assert 60 <= event.size_before <= 180
                    assert event.size_after >= 45

    def test_an_encruster_branched_after_a_year_and_a_half(self):
        sizes = [(day, diameter_of(area)) for day, area in sizes_of("MP1")]
        turn = sizes[0][0] + timedelta(days=round(18 * MONTH))
        cut_on = CutEvent.objects.get(mother__tag="MP1").session.cut_on
        before = growth_a_month([each for each in sizes if each[0] <= turn])
        after = growth_a_month([each for each in sizes if turn <= each[0] < cut_on])
        assert Colony.objects.get(tag="MP1").lineage.growth_form == "encrusting"
        assert after > 2.5 * before

    def test_another_took_a_year_before_it_branched(self):
        sizes = sizes_of("RS1")
        turn = DAY - timedelta(days=round(9 * MONTH))
        cut_on = CutEvent.objects.get(mother__tag="RS1").session.cut_on
        before = growth_a_month([each for each in sizes if each[0] <= turn])
        after = growth_a_month([each for each in sizes if turn <= each[0] < cut_on])
        assert (turn - sizes[0][0]).days > 365
        assert after > 2.5 * before

    def test_one_stood_at_four_spots_within_two_years(self):
        placements = list(Placement.objects.filter(colony__tag="TW1").order_by("since"))
        assert len({placement.spot_id for placement in placements}) == 4
        assert (placements[-1].since - placements[0].since).days < 730

    def test_the_wild_one_browned_stalled_and_recovered(self):
        incident = Incident.objects.get(colony__tag="PN1")
        assert incident.kind == "browning"
        assert incident.colony.lineage.origin == "wild"
        sizes = sizes_of("PN1")
        cut_on = CutEvent.objects.get(mother__tag="PN1").session.cut_on
        stalled = growth_a_month([each for each in sizes if incident.opened_on <= each[0] <= incident.closed_on])
        recovered = growth_a_month([each for each in sizes if incident.closed_on < each[0] < cut_on])
        assert recovered > 3 * max(stalled, 0.3)

    def test_the_loved_one_was_lost_overnight_and_one_plug_is_left(self):
        loved = Colony.objects.get(tag="HF1")
        incident = loved.incidents.get()
        assert incident.kind == "rapid_tissue_loss"
        assert (loved.ended_on - incident.opened_on).days <= 3
        assert not Colony.objects.alive().filter(lineage=loved.lineage).exists()
        assert Plug.objects.insurance().filter(lineage=loved.lineage).count() == 1

    def test_one_gave_in_two_years_what_another_gave_in_four(self):
        records = {record.colony.tag: record for record in yield_record(DAY)}
        quick, slow = records["GW1"], records["AB1"]
        assert quick.frags == slow.frags
        assert quick.years < 2.1
        assert slow.years > 4
        assert quick.place < slow.place

    def test_one_was_looked_at_twice_and_one_never_measured(self):
        methods = SizeReading.objects.filter(colony__tag="PB1").values_list("method", flat=True)
        assert list(methods) == [Method.ESTIMATE] * 2
        assert not SizeReading.objects.filter(colony=Colony.objects.get(tag="WL1")).exists()

    def test_the_point_slipped_in_one_reading(self):
        sizes = [size for _, size in sizes_of("BF2")]
        slips = [here for before, here in pairwise(sizes) if here < before / 5]
        assert len(slips) == 1

    def test_one_has_no_size_after_its_last_cut(self):
        last = CutEvent.objects.filter(mother__tag="TO1").latest("session__cut_on")
        assert last.size_before is not None
        assert last.size_after is None

    def test_one_changed_its_measure_half_way(self):
        rows = SizeReading.objects.filter(colony__tag="QC1").order_by("taken_on", "id")
        measures = list(rows.values_list("measure", flat=True))
        assert list(dict.fromkeys(measures)) == [Measure.DIAMETER, Measure.AREA]
        assert measures == sorted(measures, key=[Measure.DIAMETER, Measure.AREA].index)
        assert min(measures.count(Measure.DIAMETER), measures.count(Measure.AREA)) > 8

    def test_one_has_no_room_and_one_line_is_cut_in_its_own_way(self):
        assert CutRule.objects.get(colony__tag="SL2").room is not None
        rule = CutRule.objects.get(lineage__name="Cinder Abacus")
        assert (rule.fewest_frags, rule.largest_share) == (6, 40)

    def test_the_water_swung_once_and_forbids_nothing_today(self):
        rows = WaterTest.objects.filter(parameter="alkalinity_dkh").order_by("taken_on")
        tests = list(rows.values_list("taken_on", "value"))
        swings = [
            later_on
            for (on, value), (later_on, later) in pairwise(tests)
            if (later_on - on).days <= 3 and abs(later - value) > Decimal(1)
        ]
        assert swings
        assert max(swings) < DAY - timedelta(days=60)
        assert water_worries(max(swings))
        assert water_worries(DAY) == {}
        assert WaterTest.objects.values("parameter").distinct().count() == 7

    def test_nobody_is_there_for_two_weeks_from_about_five_weeks_on(self):
        absence = Absence.objects.get()
        assert (absence.last_day - absence.first_day).days + 1 == 14
        assert 28 < (absence.first_day - DAY).days < 42

    def test_some_lines_are_short_of_living_copies_and_some_are_not(self):
        short = short_of_copies(Lineage.objects).count()
        assert 3 <= short <= Lineage.objects.count() - 8

    def test_lines_are_cut_in_the_way_of_their_growth_and_the_first_years_do_not_say_how(self):
        cuts = CutEvent.objects.order_by("session__cut_on")
        early = cuts.filter(session__cut_on__lt=DAY - timedelta(days=31 * MONTH))
        assert set(early.values_list("cut_with", flat=True)) == {""}
        late = cuts.filter(session__cut_on__gte=DAY - timedelta(days=29 * MONTH))
        pairs = set(late.values_list("mother__lineage__growth_form", "cut_with"))
        assert pairs >= {("branching", "bone_cutters"), ("plating", "band_saw"), ("polyps", "blade")}
        assert late.filter(cut_with="snapped", mother__tag="OP1").count() == 2
        assert not late.filter(cut_with="").exists()

    def test_the_sitting_of_the_demo_can_be_recorded(self):
        rack = Spot.objects.racks().in_running_systems().first()
        session = record_sitting_file(data=SITTING.read_bytes(), cut_on=DAY, today=DAY, rack=rack)
        assert session.cut_events.filter(reason="").count() == 5


class AnyDayTests(TestCase):
    def test_builds_are_alike_on_whatever_day_they_are_made(self):
        leap_day, new_year = (self.built_on(day) for day in (date(2028, 2, 29), date(2027, 1, 1)))
        assert len(leap_day) > 600
        assert leap_day == new_year

    def built_on(self, today):
        with transaction.atomic():
            DemoScenario(SCENARIO, today=today).build()
            readings = readings_by_age(today)
            transaction.set_rollback(True)
        return readings
