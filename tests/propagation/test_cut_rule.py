"""How a line or a colony is cut: keeping it, what holds without it, its pages."""

from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from propagation.actions.changes import last_change
from propagation.actions.keep_cut_rule import keep_cut_rule
from propagation.errors import BadValue, ChangedMeanwhile
from propagation.models import CutRule, Preferences
from propagation.readings.cut_rule import what_holds
from tests.factories import ColonyFactory, CutEventFactory, LineageFactory

pytestmark = pytest.mark.django_db

DIAMETER = "diameter_mm"


@pytest.fixture
def line():
    return LineageFactory(name="Harbour Ember")


def text_of(answer):
    return answer.content.decode()


def test_a_rule_of_a_line_and_one_of_its_colony_are_kept_apart(line, keeper):
    colony = ColonyFactory(lineage=line)
    of_line = keep_cut_rule(lineage=line, fewest_frags=6, measure=DIAMETER, room=Decimal(200), by=keeper)
    of_colony = keep_cut_rule(colony=colony, rest_days=60, largest_share=30)
    assert (of_line.fewest_frags, of_line.room, of_line.measure) == (6, 200, DIAMETER)
    assert (of_colony.rest_days, of_colony.largest_share, of_colony.measure) == (60, 30, "")
    assert CutRule.objects.count() == 2
    assert of_line.history.get().history_user == keeper


def test_a_rule_is_changed_and_taken_away_when_nothing_is_set_any_more(line):
    rule = keep_cut_rule(lineage=line, fewest_frags=6)
    assert keep_cut_rule(lineage=line, fewest_frags=8).pk == rule.pk
    assert keep_cut_rule(lineage=line) is None
    assert not CutRule.objects.exists()
    assert CutRule.history.filter(id=rule.pk, history_type="-").exists()
    assert keep_cut_rule(lineage=line) is None


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"fewest_frags": 0}, "fewest_frags"),
        ({"fewest_frags": 201}, "fewest_frags"),
        ({"largest_share": 96}, "largest_share"),
        ({"rest_days": 30}, "rest_days"),
        ({"room": Decimal(100)}, "measure"),
        ({"room": Decimal(0), "measure": DIAMETER}, "room"),
        ({"room": Decimal("Infinity"), "measure": DIAMETER}, "room"),
        ({"keep_at_least": Decimal(9000), "measure": DIAMETER}, "keep_at_least"),
        ({"keep_at_least": Decimal("2.5"), "measure": "polyps"}, "keep_at_least"),
        ({"keep_at_least": Decimal(90), "frag_unit": Decimal(10), "room": Decimal(100), "measure": DIAMETER}, "room"),
    ],
)
def test_what_makes_no_sense_is_refused_at_its_field(line, told, field):
    with pytest.raises(BadValue) as refused:
        keep_cut_rule(lineage=line, **told)
    assert refused.value.field == field
    assert not CutRule.objects.exists()


def test_a_colony_that_ended_and_a_rule_of_nobody_are_refused(line):
    ended = ColonyFactory(lineage=line, ended_on=date(2026, 5, 1), end_reason="died")
    with pytest.raises(BadValue, match="ended on 1 May 2026"):
        keep_cut_rule(colony=ended, fewest_frags=3)
    with pytest.raises(BadValue, match="one lineage or of one colony"):
        keep_cut_rule(fewest_frags=3)


def test_two_people_changing_a_rule_are_told_apart(line):
    rule = keep_cut_rule(lineage=line, fewest_frags=6)
    seen = last_change(rule)
    keep_cut_rule(lineage=line, fewest_frags=7, based_on=seen)
    with pytest.raises(ChangedMeanwhile):
        keep_cut_rule(lineage=line, fewest_frags=8, based_on=seen)
    with pytest.raises(ChangedMeanwhile):
        keep_cut_rule(lineage=LineageFactory(), fewest_frags=8, based_on=seen)


def test_without_a_rule_holds_what_is_usual(line, today):
    holds = what_holds(line, DIAMETER, today)
    assert {name: each.value for name, each in holds.items()} == {
        "fewest_frags": 4,
        "largest_share": 50,
        "keep_at_least": 40,
        "frag_unit": 12,
        "room": None,
        "rest_days": 42,
    }
    assert holds["rest_days"].why == "as in the preferences"
    assert holds["room"].why == "no limit"


def test_a_colony_falls_back_to_its_line_and_sizes_only_in_their_measure(line, today):
    colony = ColonyFactory(lineage=line)
    Preferences.objects.update_or_create(pk=1, defaults={"rest_days": 50})
    keep_cut_rule(lineage=line, fewest_frags=6, measure=DIAMETER, room=Decimal(200))
    assert what_holds(line, DIAMETER, today)["fewest_frags"].value == 4, "a line falls back to the usual"
    holds = what_holds(line, DIAMETER, today, colony=colony)
    assert (holds["fewest_frags"].value, holds["fewest_frags"].why) == (6, "as Harbour Ember has it")
    assert holds["room"].value == 200
    assert holds["rest_days"].value == 50
    assert what_holds(line, "tle_cm", today, colony=colony)["room"].value is None
    line.rest_days = 21
    assert what_holds(line, DIAMETER, today, colony=colony)["rest_days"].value == 21


def test_what_a_frag_takes_is_learned_from_the_cuts_of_the_line(line, today):
    mother = ColonyFactory(lineage=line)
    CutEventFactory(mother=mother, frags=4, measure=DIAMETER, size_before=160, size_after=80)
    holds = what_holds(line, DIAMETER, today)["frag_unit"]
    assert holds.why == "learned from 1 cut of the line"
    assert 12 < holds.value < 20


def test_a_line_is_told_how_it_is_cut_in_the_keepers_unit(signed_in, line):
    Preferences.objects.update_or_create(pk=1, defaults={"length_unit": "inch"})
    address = reverse("lineage_cut_rule", args=[line.pk])
    page = text_of(signed_in.get(address))
    assert "Empty: 1.57 in, usual." in page
    assert "Empty: 4, usual." in page
    answer = signed_in.post(
        address, {"fewest_frags": "6", "measure": DIAMETER, "keep_at_least": "2", "room": "7,5", "based_on": "0"}
    )
    assert answer["Location"] == reverse("lineage", args=[line.pk])
    rule = CutRule.objects.get()
    assert (rule.keep_at_least, rule.room, rule.fewest_frags) == (Decimal("50.80"), Decimal("190.50"), 6)
    assert 'value="7.5"' in text_of(signed_in.get(address))
    assert address in text_of(signed_in.get(reverse("lineage", args=[line.pk])))


def test_a_size_that_was_not_touched_keeps_what_is_stored(signed_in, line):
    Preferences.objects.update_or_create(pk=1, defaults={"length_unit": "inch"})
    rule = keep_cut_rule(lineage=line, measure=DIAMETER, room=Decimal("123.45"))
    told = {"measure": DIAMETER, "room": "4.86", "fewest_frags": "5", "based_on": last_change(rule)}
    signed_in.post(reverse("lineage_cut_rule", args=[line.pk]), told)
    rule.refresh_from_db()
    assert (rule.room, rule.fewest_frags) == (Decimal("123.45"), 5)


def test_a_colony_shows_what_its_line_has_and_keeps_its_own(signed_in, line):
    colony = ColonyFactory(lineage=line)
    keep_cut_rule(lineage=line, fewest_frags=6)
    address = reverse("colony_cut_rule", args=[colony.tag])
    page = text_of(signed_in.get(address))
    assert "Empty: 6, as Harbour Ember has it." in page
    assert "Empty: 42 days, as in the preferences." in page
    told = {"rest_days": "60", "measure": DIAMETER, "based_on": "0"}
    assert signed_in.post(address, told)["Location"] == reverse("colony", args=[colony.tag])
    assert CutRule.objects.get(colony=colony).rest_days == 60
    assert address in text_of(signed_in.get(reverse("colony", args=[colony.tag])))


def test_a_refused_rule_loses_nothing_that_was_typed(signed_in, line):
    address = reverse("lineage_cut_rule", args=[line.pk])
    page = text_of(signed_in.post(address, {"measure": DIAMETER, "keep_at_least": "90", "room": "80"}))
    assert "must allow more than what must remain" in page
    assert 'value="90"' in page
    page = text_of(signed_in.post(address, {"measure": DIAMETER, "largest_share": "99"}))
    assert "95" in page
    assert not CutRule.objects.exists()


def test_no_such_line_or_colony(signed_in):
    assert signed_in.get(reverse("lineage_cut_rule", args=[999])).status_code == 404
    assert signed_in.get(reverse("colony_cut_rule", args=["nobody"])).status_code == 404
