"""Two at once: one photo is kept, looked into and taken into the records once."""

import io

import pytest

from propagation.actions import keep_photo as keeping
from propagation.actions.accept_measurement import accept_measurement
from propagation.actions.keep_photo import keep_photo
from propagation.actions.look_into_photo import look_into
from propagation.models import Photo, PhotoMeasurement, SizeReading
from tests.factories import ColonyFactory
from tests.inventory.conftest import at_once  # noqa: F401 - a fixture
from tests.propagation.photo_samples import as_file, picture_of, printed
from tests.propagation.test_photo_sizes import measured, photo_of


@pytest.fixture(autouse=True)
def files(settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT, settings.RAMET_HOME = tmp_path / "files", tmp_path
    monkeypatch.setattr(keeping, "ask_to_look_into", lambda photo: None)
    return settings.MEDIA_ROOT


def drawn_file():
    colony = ColonyFactory()
    return as_file(picture_of(colony, label_mm=printed(colony)[colony.code]).pixels)


def test_the_same_file_from_two_phones_is_one_photo_and_one_file(at_once, files, today):  # noqa: F811
    data = drawn_file()

    def keep():
        return keep_photo(file=io.BytesIO(data), name="a.jpg", today=today).pk

    first, second = at_once([keep, keep])
    assert first == second
    assert len([path for path in files.rglob("*") if path.is_file()]) == 1


def test_two_workers_look_into_a_photo_once(at_once, files, today):  # noqa: F811
    photo = keep_photo(file=io.BytesIO(drawn_file()), name="a.jpg", today=today)

    def look():
        return look_into(photo_id=photo.pk, today=today)

    assert sorted(at_once([look, look])) == [False, True]
    assert at_once([PhotoMeasurement.objects.count, PhotoMeasurement.objects.count]) == [1, 1]
    assert len([path for path in files.rglob("*") if path.is_file() and "lock" not in str(path)]) == 3


def test_two_who_say_yes_take_the_sizes_once(at_once, today):  # noqa: F811
    photo = photo_of(today, colony=ColonyFactory())
    both = [measured(photo), measured(photo, area=1250.0)]
    answers = at_once([lambda one=one: accept_measurement(measurement=one, today=today) for one in both])
    assert not [each for each in answers if isinstance(each, Exception)]
    assert at_once([SizeReading.objects.count]) == [2]
    assert at_once([PhotoMeasurement.objects.exclude(accepted_at=None).count]) == [1]
    assert at_once([Photo.objects.exclude(reviewed_at=None).count]) == [1]
