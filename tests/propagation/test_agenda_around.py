"""What the water and planned absences put on the page of today."""

from datetime import timedelta

import pytest
from django.urls import reverse

from propagation.agenda import due_on
from propagation.models import Absence, WaterTest
from tests.factories import PlugFactory, ReadyPlugFactory, SystemFactory

pytestmark = pytest.mark.django_db


def dues_with(icon, day):
    return [due for due in due_on(day) if due.icon == icon]


def make_test(system, day, value, parameter="alkalinity_dkh"):
    WaterTest.objects.create(system=system, parameter=parameter, taken_on=day, value=value)


def test_water_out_of_its_limits_is_due_by_system(today):
    reef = SystemFactory(name="Long reef")
    make_test(reef, today - timedelta(days=2), "5.9")
    make_test(reef, today - timedelta(days=1), "1.2", "phosphate_mgl")
    make_test(reef, today - timedelta(days=1), "1350", "magnesium_mgl")
    make_test(SystemFactory(), today, "8")
    [due] = dues_with("water", today)
    assert due.sentence == "Water in Long reef: alkalinity is low, phosphate is high"
    assert due.address == reverse("system_water", args=[reef.pk])
    assert (due.count, due.since) == (2, today - timedelta(days=2))
    assert dues_with("water", today + timedelta(days=40)) == []


@pytest.mark.parametrize(("days", "is_due"), [(0, False), (1, True), (14, True), (15, False)])
def test_an_absence_that_begins_soon_is_due_while_plugs_heal(today, days, is_due):
    Absence.objects.create(first_day=today + timedelta(days=days), last_day=today + timedelta(days=days + 7))
    assert dues_with("calendar", today) == []
    ReadyPlugFactory()
    assert dues_with("calendar", today) == [], "a healed plug needs nobody"
    PlugFactory()
    dues = [due for due in dues_with("calendar", today) if due.address == reverse("absences")]
    assert [due.count for due in dues] == ([1] if is_due else [])
    if is_due:
        assert "while 1 plug heals" in dues[0].sentence


def test_an_absence_called_off_is_not_due(today):
    PlugFactory()
    day = today + timedelta(days=3)
    Absence.objects.create(first_day=day, last_day=day, called_off_at="2026-06-01T00:00Z")
    assert dues_with("calendar", today) == []
