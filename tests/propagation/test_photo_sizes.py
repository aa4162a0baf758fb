"""Sizes from photos enter the records like others, once, and leave them again."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from propagation.actions.accept_measurement import accept_measurement, keep_as_picture, take_back_measurement
from propagation.actions.measure_photo import scale_by_points
from propagation.actions.sort_photo import date_photo, hide_photo, set_aside_photo, show_photo, sort_photo
from propagation.actions.take_size import correct_size, strike_size, take_size
from propagation.errors import AlreadyDone, BadDate, BadValue, MeasurementDoubtful, UnlikelySize
from propagation.models import Fate, Photo, PhotoMeasurement, SizeReading
from propagation.readings.photos import next_to_review
from tests.factories import ColonyFactory, PlugFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def colony():
    return ColonyFactory(tag="M12")


def photo_of(today, *, number=0, **of):
    return Photo.objects.create(
        digest=f"{number:064d}",
        file="photos/x.jpg",
        screen="photo-copies/x.jpg",
        name=f"IMG_{number}.jpg",
        suffix=".jpg",
        size_bytes=1,
        width=400,
        height=300,
        arrived_at=timezone.now(),
        looked_at=timezone.now(),
        taken_on=today,
        sorted_by="code" if of else "",
        **of,
    )


def measured(photo, area=1200.0, longest=50.0, **more):
    outline = {
        "outline": [[1, 1], [9, 1], [9, 9]],
        "outline_by": "proposed",
        "area_mm2": area,
        "area_sd_mm2": area * 0.02,
        "longest_mm": longest,
        "longest_sd_mm": longest * 0.01,
    }
    return PhotoMeasurement.objects.create(photo=photo, scale_by="label", plane={}, px_per_mm=10.0, **(outline | more))


def sizes(**of):
    return {each.measure: (each.value, each.relative_error) for each in SizeReading.objects.filter(**of)}


def test_area_and_longest_diameter_enter_with_their_uncertainties(colony, today, keeper):
    made = accept_measurement(measurement=measured(photo_of(today, colony=colony)), today=today, by=keeper)
    assert sizes(colony=colony) == {
        "area_cm2": (Decimal(12), Decimal(2)),
        "diameter_mm": (Decimal(50), Decimal(1)),
    }
    assert {each.method for each in (made.area_reading, made.longest_reading)} == {"photo"}
    assert made.photo.reviewed_at
    assert made.photo.history.first().history_user == keeper


def test_the_same_yes_twice_is_one(colony, today):
    one = measured(photo_of(today, colony=colony))
    accept_measurement(measurement=one, today=today)
    accept_measurement(measurement=one, today=today)
    assert SizeReading.objects.count() == 2


def test_another_outline_corrects_with_trace_instead_of_doubling(colony, today, keeper):
    photo = photo_of(today, colony=colony)
    first = accept_measurement(measurement=measured(photo), today=today)
    second = accept_measurement(measurement=measured(photo, area=1300.0, longest=52.0), today=today, by=keeper)
    assert sizes(colony=colony) == {
        "area_cm2": (Decimal(13), Decimal(2)),
        "diameter_mm": (Decimal(52), Decimal(1)),
    }
    first.refresh_from_db()
    assert (first.accepted_at, first.area_reading) == (None, None)
    assert [row.value for row in second.area_reading.history.all()] == [Decimal(13), Decimal(12)]
    assert second.area_reading.history.first().history_user == keeper


def test_what_was_taken_back_is_out_of_the_records_and_to_be_reviewed(colony, today):
    photo = photo_of(today, colony=colony)
    one = measured(photo)
    accept_measurement(measurement=one, today=today)
    assert next_to_review() is None
    take_back_measurement(photo=photo)
    assert not SizeReading.objects.exists()
    assert SizeReading.history.filter(history_type="-").count() == 2
    assert next_to_review() == photo
    accept_measurement(measurement=one, today=today)
    assert SizeReading.objects.count() == 2


def test_a_photo_and_a_calliper_that_disagree_are_both_kept(colony, today):
    take_size(colony=colony, value=Decimal(47), measure="diameter_mm", on=today, today=today)
    accept_measurement(measurement=measured(photo_of(today, colony=colony)), today=today)
    values = SizeReading.objects.filter(measure="diameter_mm").values_list("method", "value")
    assert set(values) == {("ruler", Decimal(47)), ("photo", Decimal(50))}


def test_what_is_doubtful_needs_a_yes(colony, today):
    doubtful = measured(photo_of(today, colony=colony), doubts=["The label is bent."])
    with pytest.raises(MeasurementDoubtful, match="The label is bent"):
        accept_measurement(measurement=doubtful, today=today)
    assert not SizeReading.objects.exists()
    accept_measurement(measurement=doubtful, today=today, confirmed=True)
    assert SizeReading.objects.count() == 2


def test_a_size_far_from_the_one_before_needs_a_yes(colony, today):
    take_size(colony=colony, value=Decimal(1), measure="area_cm2", on=today - timedelta(days=9), today=today)
    far = measured(photo_of(today, colony=colony))
    with pytest.raises(UnlikelySize):
        accept_measurement(measurement=far, today=today)
    assert SizeReading.objects.count() == 1
    far.refresh_from_db()
    assert far.accepted_at is None


def test_a_photo_from_before_the_colony_began_gives_no_size(today):
    colony = ColonyFactory(acquired_on=date(2026, 6, 1))
    photo = photo_of(date(2026, 5, 1), colony=colony)
    with pytest.raises(BadDate):
        accept_measurement(measurement=measured(photo), today=today)
    date_photo(photo=photo, on=date(2026, 6, 2), today=today)
    accept_measurement(measurement=photo.measurements.get(), today=today)
    assert SizeReading.objects.first().taken_on == date(2026, 6, 2)


@pytest.mark.parametrize(
    "act",
    [
        lambda photo, today: sort_photo(photo=photo, of=ColonyFactory()),
        lambda photo, today: date_photo(photo=photo, on=today - timedelta(days=1), today=today),
        lambda photo, today: set_aside_photo(photo=photo, today=today),
    ],
    ids=["sort", "date", "set aside"],
)
def test_while_its_sizes_are_in_the_records_a_photo_stays_what_it_is(colony, today, act):
    photo = photo_of(today, colony=colony)
    accept_measurement(measurement=measured(photo), today=today)
    with pytest.raises(AlreadyDone, match="Take them back first"):
        act(photo, today)


def test_a_size_from_a_photo_is_put_right_at_the_photo(colony, today):
    made = accept_measurement(measurement=measured(photo_of(today, colony=colony)), today=today)
    with pytest.raises(AlreadyDone, match="measured in the photo"):
        strike_size(reading=made.area_reading)
    told = {"value": Decimal(9), "measure": "area_cm2", "on": today, "today": today, "method": "ruler"}
    with pytest.raises(AlreadyDone, match="measured in the photo"):
        correct_size(reading=made.area_reading, **told)


def test_without_an_outline_or_a_colony_there_is_no_size(colony, today):
    bare = {"outline": None, "outline_by": "", "area_mm2": None, "area_sd_mm2": None} | {
        "longest_mm": None,
        "longest_sd_mm": None,
    }
    with pytest.raises(BadValue, match="no outline yet"):
        accept_measurement(measurement=measured(photo_of(today, colony=colony), **bare), today=today)
    with pytest.raises(BadValue, match="Say first what"):
        accept_measurement(measurement=measured(photo_of(today, number=1)), today=today)
    with pytest.raises(BadValue, match="Say first what"):
        keep_as_picture(photo=photo_of(today, number=2))


def test_a_plug_that_was_recorded_by_mistake_has_no_picture(today):
    plug = PlugFactory(fate=Fate.VOID, ended_on=today)
    with pytest.raises(BadValue, match="recorded by mistake"):
        sort_photo(photo=photo_of(today), of=plug)


def test_only_what_shows_something_known_is_shown_to_others(colony, today):
    with pytest.raises(BadValue, match="Say first"):
        show_photo(photo=photo_of(today))
    photo = show_photo(photo=photo_of(today, number=1, colony=colony))
    assert photo.is_shown
    assert not set_aside_photo(photo=photo, today=today).is_shown
    with pytest.raises(BadValue, match="set aside"):
        show_photo(photo=photo)
    assert not hide_photo(photo=photo).is_shown


def test_two_points_of_known_distance_set_the_scale(colony, today):
    photo = photo_of(today, colony=colony)
    made = scale_by_points(photo=photo, first=(10, 10), last=(210, 10), distance_mm=Decimal(20))
    assert made.px_per_mm == pytest.approx(10)
    assert (made.scale_by, made.tilt_deg) == ("points", None)
    for points, words in [(((10, 10), (10, 10)), "too close"), (((-50, 0), (10, 10)), "in the picture")]:
        with pytest.raises(BadValue, match=words):
            scale_by_points(photo=photo, first=points[0], last=points[1], distance_mm=Decimal(20))


def test_the_queue_goes_on_from_a_photo_and_comes_round(colony, today):
    photos = [photo_of(today, number=number, colony=colony) for number in range(3)]
    assert next_to_review() == photos[0]
    assert next_to_review(after=photos[0]) == photos[1]
    assert next_to_review(after=photos[2]) == photos[0]
    for photo in photos[:2]:
        keep_as_picture(photo=photo)
    assert next_to_review(after=photos[2]) is None


def test_the_database_itself_takes_one_yes_per_photo(colony, today):
    photo = photo_of(today, colony=colony)
    for _ in range(2):
        measured(photo)
    with pytest.raises(IntegrityError), transaction.atomic():
        photo.measurements.update(accepted_at=timezone.now())
