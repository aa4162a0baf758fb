"""Measuring, and putting a wrong size right."""

from datetime import date
from decimal import Decimal

import pytest

from propagation.actions.changes import last_change
from propagation.actions.take_size import correct_size, strike_size, take_size
from propagation.errors import AlreadyDone, BadDate, BadValue, ChangedMeanwhile, UnlikelySize
from propagation.lengths import unit_of
from propagation.models import Preferences, SizeReading
from tests.factories import ColonyFactory, CutEventFactory, PlugFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def colony():
    return ColonyFactory(tag="M12")


def size(colony, value, *, day=date(2026, 6, 1), measure="diameter_mm", **more):
    return take_size(colony=colony, value=Decimal(value), measure=measure, on=day, today=date(2026, 6, 15), **more)


@pytest.mark.parametrize("value", ["0", "-3", "NaN", "0.001", "5001"])
def test_a_size_that_cannot_be_is_refused(colony, value):
    with pytest.raises(BadValue):
        size(colony, value)
    assert not SizeReading.objects.exists()


def test_polyps_are_counted_whole(colony):
    with pytest.raises(BadValue, match="counted whole"):
        size(colony, "3.5", measure="polyps")


@pytest.mark.parametrize("day", [date(2026, 6, 16), date(2023, 12, 31), date(1926, 6, 1)])
def test_a_size_is_of_a_day_in_the_life_of_the_colony(colony, day):
    with pytest.raises(BadDate):
        size(colony, "80", day=day)


@pytest.mark.parametrize(
    ("typed", "meant"), [("1250", "125"), ("12", "120"), ("4.7", "119.38"), ("3150", "124.02"), ("1.2", "120")]
)
def test_a_slip_of_the_point_or_of_the_unit_is_asked_about(colony, typed, meant):
    size(colony, "118", day=date(2026, 5, 1))
    with pytest.raises(UnlikelySize) as refusal:
        size(colony, typed, confirmed=False)
    assert refusal.value.likely == Decimal(meant)
    assert "Did you mean" in str(refusal.value)


def test_a_confirmed_size_is_saved_however_far_it_lies(colony):
    size(colony, "118", day=date(2026, 5, 1))
    assert size(colony, "12", confirmed=True).value == 12


def test_a_size_far_off_without_a_likely_slip_only_asks(colony):
    size(colony, "500", day=date(2026, 5, 1))
    with pytest.raises(UnlikelySize) as refusal:
        size(colony, "1", confirmed=False)
    assert refusal.value.likely is None
    assert "Put it right, or confirm that it is so." in str(refusal.value)


def test_another_measure_is_not_compared(colony):
    size(colony, "118", day=date(2026, 5, 1))
    assert size(colony, "8", measure="polyps", confirmed=False).value == 8


def test_the_diameter_of_a_plug_is_its_size(today):
    plug = PlugFactory()
    take_size(plug=plug, value=Decimal("31.5"), measure="diameter_mm", on=today, today=today)
    plug.refresh_from_db()
    assert plug.size_mm == Decimal("31.5")


def test_a_corrected_size_keeps_what_it_was_and_who_changed_it(colony, keeper, today):
    reading = size(colony, "80")
    correct_size(
        reading=reading,
        value=Decimal(85),
        measure="diameter_mm",
        on=date(2026, 6, 2),
        today=today,
        method="photo",
        by=keeper,
    )
    assert [row.value for row in reading.history.order_by("history_id")] == [80, 85]
    assert reading.history.latest().history_user == keeper


def test_a_size_that_was_never_taken_is_struck_out_with_a_trace(colony, keeper):
    reading = size(colony, "80")
    pk = reading.pk
    strike_size(reading=reading, by=keeper)
    assert not SizeReading.objects.exists()
    assert SizeReading.history.filter(id=pk, history_type="-", history_user=keeper).exists()


def test_a_size_taken_at_a_cut_is_corrected_with_its_session(today):
    cut = CutEventFactory()
    reading = SizeReading.objects.create(
        colony=cut.mother, cut_event=cut, taken_on=cut.session.cut_on, measure="diameter_mm", value=100
    )
    with pytest.raises(AlreadyDone, match="Correct it in its cutting session"):
        strike_size(reading=reading)


def test_two_people_correcting_one_size_are_told(colony, today):
    reading = size(colony, "80")
    opened = last_change(reading)
    again = {"reading": reading, "measure": "diameter_mm", "on": date(2026, 6, 1), "today": today, "method": "ruler"}
    correct_size(value=Decimal(81), based_on=opened, **again)
    with pytest.raises(ChangedMeanwhile):
        correct_size(value=Decimal(82), based_on=opened, **again)


# -- the page


def post(client, tag="M12", **more):
    told = {"value": "80", "measure": "diameter_mm", "method": "ruler", "day": "2026-06-01"} | more
    return client.post(f"/colonies/{tag}/measure/", told)


def test_the_page_chooses_the_measure_of_the_lineage(signed_in, colony):
    colony.lineage.measure = "polyps"
    colony.lineage.save()
    page = signed_in.get("/colonies/M12/measure/").content.decode()
    assert '<option value="polyps" selected>' in page
    assert '<option value="count" selected>' in page


def test_the_page_saves_a_size(signed_in, colony):
    assert post(signed_in, value="84.5").status_code == 302
    assert SizeReading.objects.get().value == Decimal("84.5")


def test_a_keeper_of_inches_types_inches(signed_in, colony):
    Preferences.objects.create(pk=1, length_unit="inch")
    post(signed_in, value="3.5")
    post(signed_in, value="4", measure="area_cm2")
    post(signed_in, value="7", measure="polyps")
    values = dict(SizeReading.objects.values_list("measure", "value"))
    assert values == {"diameter_mm": Decimal("88.90"), "area_cm2": Decimal("25.81"), "polyps": 7}
    assert "3.5&nbsp;in" in signed_in.get("/colonies/M12/").content.decode().replace("\u00a0", "&nbsp;")


def test_the_page_asks_about_an_unlikely_size_and_offers_what_was_meant(signed_in, colony):
    size(colony, "118", day=date(2026, 5, 1))
    answer = post(signed_in, value="1250", note="By the window")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Did you mean 125 mm?" in page
    assert '<button class="button primary" type="submit" name="value" value="125">' in page
    assert "By the window" in page
    assert SizeReading.objects.count() == 1
    post(signed_in, value="1250", confirmed="yes")
    assert SizeReading.objects.latest("pk").value == 1250


def test_half_a_polyp_is_noticed_on_the_page(signed_in, colony):
    assert "Polyps are counted whole" in post(signed_in, value="3.5", measure="polyps").content.decode()


def test_saving_can_go_on_to_the_next_that_wants_measuring(signed_in, colony):
    ColonyFactory(tag="M13")
    assert post(signed_in, then="next").url == "/colonies/M13/measure/"


def test_the_page_puts_a_size_right(signed_in, colony):
    reading = size(colony, "80")
    told = {"value": "82", "measure": "diameter_mm", "method": "photo", "day": "2026-06-01"}
    signed_in.post(f"/colonies/M12/sizes/{reading.pk}/", told | {"based_on": last_change(reading)})
    reading.refresh_from_db()
    assert (reading.value, reading.method) == (82, "photo")
    signed_in.post(f"/colonies/M12/sizes/{reading.pk}/", {"strike": "yes", "based_on": last_change(reading)})
    assert not SizeReading.objects.exists()


def test_a_size_that_is_put_right_is_asked_about_too(signed_in, colony):
    size(colony, "118", day=date(2026, 5, 1))
    reading = size(colony, "120")
    told = {"value": "1250", "measure": "diameter_mm", "method": "ruler", "day": "2026-06-01"}
    told["based_on"] = last_change(reading)
    answer = signed_in.post(f"/colonies/M12/sizes/{reading.pk}/", told)
    assert answer.status_code == 422
    assert "Did you mean 125 mm?" in answer.content.decode()
    signed_in.post(f"/colonies/M12/sizes/{reading.pk}/", told | {"confirmed": "yes"})
    reading.refresh_from_db()
    assert reading.value == 1250


def test_a_size_that_is_not_touched_does_not_drift_in_inches(signed_in, colony):
    Preferences.objects.create(pk=1, length_unit="inch")
    reading = size(colony, "80.00")
    shown = unit_of("diameter_mm", "inch").shown(reading.value)
    told = {"value": shown, "measure": "diameter_mm", "method": "ruler", "day": "2026-06-02"}
    signed_in.post(f"/colonies/M12/sizes/{reading.pk}/", told | {"based_on": last_change(reading)})
    reading.refresh_from_db()
    assert (reading.value, reading.taken_on) == (80, date(2026, 6, 2))
