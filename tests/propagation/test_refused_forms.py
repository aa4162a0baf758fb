"""A form that is refused says so by its status as well as on its page; one that is only opened does not."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from propagation.models import Absence, SizeReading
from tests.factories import IncidentFactory, PlacementFactory, PlugFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def addresses():
    """Of every page with a form that may be refused, by what it is about."""
    place = PlacementFactory()
    colony, system = place.colony, place.spot.system
    size = SizeReading.objects.create(
        colony=colony, taken_on=date(2026, 5, 1), value=80, measure="diameter_mm", method="ruler"
    )
    incident = IncidentFactory(colony=colony)
    away = Absence.objects.create(first_day=localdate(), last_day=localdate() + timedelta(days=3))
    pages = {
        (): ["lineage_new", "system_new", "incident_new", "absence_new", "preferences", "photos_add"],
        (colony.lineage_id,): ["lineage_edit", "lineage_cut_rule"],
        (colony.tag,): [
            "colony_edit",
            "colony_cut_rule",
            "colony_move",
            "colony_place_correct",
            "colony_measure",
            "colony_end",
        ],
        (colony.tag, size.pk): ["size_correct"],
        (system.pk,): ["system_edit", "system_end", "system_restart", "spot_new", "water_test"],
        (system.pk, "ph"): ["system_water_limits"],
        ("ph",): ["water_limits"],
        (place.spot_id,): ["spot_edit"],
        (incident.pk,): ["incident_close"],
        (away.pk,): ["absence_edit"],
        (PlugFactory().code,): ["plug_grow_on", "plug_correct"],
    }
    return [reverse(name, args=about) for about, names in pages.items() for name in names]


def test_an_empty_form_that_is_sent_is_refused_and_one_that_is_opened_is_not(signed_in, addresses):
    opened = {address: signed_in.get(address) for address in addresses}
    refused = {address: signed_in.post(address) for address in addresses}
    assert {address: answer.status_code for address, answer in opened.items()} == dict.fromkeys(addresses, 200)
    assert {address: answer.status_code for address, answer in refused.items()} == dict.fromkeys(addresses, 422)
    assert not [address for address, answer in opened.items() if b"data-refused" in answer.content]
    assert not [address for address, answer in refused.items() if b"data-refused" not in answer.content]
