"""Files of photos: where they are kept is nobody's business, and a command looks after them."""

import io
import json
import os
import time
from datetime import timedelta

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.core.files.base import ContentFile, File
from django.core.files.storage import Storage, default_storage
from django.core.management import CommandError, call_command
from django.test import override_settings
from django.utils import timezone

from config.files import file_storage, files_travel_unseen
from propagation.models import GrowthFilm, Photo
from propagation.readings.stored_files import file_fields
from tests.factories import ColonyFactory
from tests.propagation.photo_samples import as_file, kept, picture, picture_of, printed


def check(**options):
    """``(what the command says, exit code)``."""
    out = io.StringIO()
    try:
        call_command("check_files", json=True, stdout=out, **options)
    except CommandError:
        return json.loads(out.getvalue()), 1
    return json.loads(out.getvalue()), 0


@pytest.fixture
def photo(db, files, today):
    return kept(as_file(picture("").pixels), today)


def test_whole_files_are_whole(photo):
    said, code = check()
    assert (said["checked"], said["wrong"], code) == (3, [], 0)


@pytest.mark.parametrize("field", ["file", "screen", "thumbnail"])
@pytest.mark.parametrize("harm", ["gone", "cut short", "empty"])
def test_what_is_gone_or_broken_is_named(photo, field, harm):
    path = getattr(photo, field).path
    if harm == "gone":
        os.unlink(path)
    else:
        os.truncate(path, 0 if harm == "empty" else os.path.getsize(path) // 2)
    said, code = check()
    assert code == 1
    (sentence,) = said["wrong"]
    assert f"Photo {photo.pk} (IMG_1.JPG), {field}: {getattr(photo, field).name}" in sentence


def test_an_original_that_was_changed_is_found_out(photo):
    with open(photo.file.path, "r+b") as file:
        file.seek(500)
        file.write(b"\0\1")
    said, code = check()
    assert code == 1
    assert "its digest differs" in said["wrong"][0]


def test_lost_copies_are_made_again_and_lost_originals_are_not(photo):
    os.unlink(photo.screen.path)
    os.truncate(photo.thumbnail.path, 10)
    said, code = check(mend=True)
    assert (len(said["mended"]), said["wrong"], code) == (2, [], 0)
    assert check() == ({"checked": 3, "wrong": [], "mended": [], "named_by_nobody": [], "deleted": False}, 0)
    os.unlink(photo.file.path)
    photo.refresh_from_db()
    os.unlink(photo.screen.path)
    said, code = check(mend=True)
    assert (len(said["wrong"]), code) == (2, 1)


def test_what_no_record_names_is_told_and_deleted_after_a_day(photo):
    lost = default_storage.save("photos/2026/lost.jpg", ContentFile(b"x"))
    fresh = default_storage.save("photos/2026/fresh.jpg", ContentFile(b"x"))
    yesterday = time.time() - timedelta(days=2).total_seconds()
    os.utime(default_storage.path(lost), (yesterday, yesterday))
    os.utime(photo.file.path, (yesterday, yesterday))
    assert check()[0]["named_by_nobody"] == [lost]
    assert default_storage.exists(lost)
    check(mend=True)
    assert not default_storage.exists(lost)
    assert default_storage.exists(fresh)
    assert default_storage.exists(photo.file.name)


@pytest.mark.django_db
def test_films_are_looked_at_too(files, tmp_path):
    film = GrowthFilm(colony=ColonyFactory(), digest="d" * 64, made_at=timezone.now())
    film.mp4.save("film.mp4", ContentFile(b"\0\0\0\x18ftypisom, and nothing more"), save=False)
    film.save()
    said, code = check()
    assert code == 1
    assert "does not play to its end" in said["wrong"][0]


def test_every_record_with_a_file_is_looked_at():
    named = {(model.__name__, field.name) for model, field in file_fields()}
    assert named >= {
        ("Photo", "file"),
        ("Photo", "screen"),
        ("Photo", "thumbnail"),
        ("GrowthFilm", "mp4"),
        ("GrowthFilm", "webp"),
        ("ClaimPicture", "file"),
    }
    assert not [name for name, _ in named if name.startswith("Historical")]


class ObjectStore(Storage):
    """A store of whole objects under names: without folders or local paths, as S3."""

    objects = {}

    def _open(self, name, mode="rb"):
        if name not in self.objects:
            raise FileNotFoundError(f"File does not exist: {name}")
        return File(io.BytesIO(self.objects[name]), name)

    def _save(self, name, content):
        self.objects[name] = b"".join(content.chunks())
        return name

    def exists(self, name):
        return name in self.objects

    def delete(self, name):
        self.objects.pop(name, None)

    def listdir(self, path):
        return [], [name.removeprefix(f"{path}/") for name in self.objects if name.startswith(f"{path}/")]

    def get_modified_time(self, name):
        return timezone.now()


@pytest.mark.django_db
def test_nothing_rests_on_a_local_path(signed_in, today):
    here = f"{__name__}.ObjectStore"
    with override_settings(
        STORAGES={
            "default": {"BACKEND": here},
            "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
        }
    ):
        colony = ColonyFactory()
        drawn = picture_of(colony, label_mm=printed(colony)[colony.code])
        photo = kept(as_file(drawn.pixels), today)
        assert (photo.colony, photo.measurements.count()) == (colony, 1)
        for name in ("original", "screen", "thumbnail"):
            answer = signed_in.get(f"/photos/{photo.pk}/{name}")
            assert b"".join(answer.streaming_content)
        assert check()[1] == 0
        photo.screen.storage.delete(photo.screen.name)
        assert check()[1] == 1
        assert check(mend=True)[1] == 0
        photo.file.storage.delete(photo.file.name)
        assert signed_in.get(f"/photos/{photo.pk}/original").status_code == 404


def test_files_are_kept_in_a_folder_unless_told_otherwise():
    assert file_storage("")["BACKEND"] == "config.files.WholeFileStorage"


def test_an_object_store_is_told_by_one_address():
    storage = file_storage(
        "s3://reef/ramet/files?endpoint=https://s3.example&region=eu-1", key="the key", secret="the secret"
    )
    assert storage["BACKEND"] == "storages.backends.s3.S3Storage"
    assert (
        storage["OPTIONS"]
        | {
            "bucket_name": "reef",
            "location": "ramet/files",
            "endpoint_url": "https://s3.example",
            "region_name": "eu-1",
            "access_key": "the key",
            "secret_key": "the secret",
            "file_overwrite": False,
        }
        == storage["OPTIONS"]
    )


@pytest.mark.parametrize(
    ("url", "more", "words"),
    [
        ("ftp://reef", {}, "write it as s3://"),
        ("s3://", {}, "write it as s3://"),
        ("s3://key:secret@reef", {}, "FILES_KEY and FILES_SECRET"),
        ("s3://reef?endpiont=https://s3.example", {}, "has “endpiont”"),
        ("s3://reef", {"key": "the key"}, "go together"),
    ],
)
def test_a_wrong_address_of_the_store_is_named(url, more, words):
    with pytest.raises(ImproperlyConfigured, match=words):
        file_storage(url, **more)


def test_pictures_that_travel_in_the_clear_are_warned_of(settings):
    settings.STORAGES = {"default": file_storage("s3://reef?endpoint=http://s3.example")}
    assert [each.id for each in files_travel_unseen(None)] == ["ramet.W001"]
    settings.STORAGES = {"default": file_storage("s3://reef?endpoint=https://s3.example")}
    assert not list(files_travel_unseen(None))


def test_the_bucket_is_asked_as_its_settings_say():
    """django-storages with botocore's own stub: names, keys and a missing file go through as they should."""
    from botocore.stub import Stubber
    from storages.backends.s3 import S3Storage

    storage = S3Storage(
        **file_storage("s3://reef/ramet?endpoint=https://s3.example&region=eu-1", key="k", secret="s")["OPTIONS"]
    )
    with Stubber(storage.connection.meta.client) as stub:
        stub.add_client_error("head_object", "404", http_status_code=404)
        assert not storage.exists("photos/2026/a.jpg")
        stub.add_client_error("head_object", "404", http_status_code=404)
        with pytest.raises(FileNotFoundError):
            storage.open("photos/2026/a.jpg")
        stub.add_response("delete_object", {}, {"Bucket": "reef", "Key": "ramet/photos/2026/a.jpg"})
        storage.delete("photos/2026/a.jpg")
        stub.assert_no_pending_responses()


@pytest.mark.django_db
def test_a_photo_keeps_the_name_that_it_has_in_the_store(photo):
    stored = Photo.objects.get(pk=photo.pk).file.name
    assert stored.startswith(f"photos/{photo.arrived_at:%Y}/")
    assert "IMG" not in stored  # nobody can guess it
