"""A photo from its bytes to a measurement that waits for a yes."""

import errno
import io
import struct
import zlib
from datetime import date, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone
from django_tasks_db.models import DBTaskResult
from PIL import Image

from labels.contents import address_of
from labels.models import PrintedLabel
from propagation import codes
from propagation.actions import keep_photo as keeping
from propagation.actions import look_into_photo as looking
from propagation.actions.keep_photo import keep_photo
from propagation.actions.look_again import look_again_at_left_behind
from propagation.actions.look_into_photo import look_into
from propagation.actions.sort_photo import sort_photo
from propagation.card_address import card_address
from propagation.errors import DiskFull, PictureUnreadable
from propagation.imaging.drawn import draw_photo
from propagation.lengths import plain
from propagation.models import Fate, Photo, PhotoMeasurement
from propagation.readings.photos import MOST_TRIES
from tests.factories import ColonyFactory, PlugFactory
from tests.propagation.photo_samples import BASE, as_file, kept, picture, picture_of, printed

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


def files_in(folder):
    return sorted(path for path in folder.rglob("*") if path.is_file()) if folder.exists() else []


def some_picture(seed=1):
    return as_file(picture("", seed=seed).pixels)


def full_disk(*args, **kwargs):
    raise OSError(errno.ENOSPC, "No space left on device")


# -- keeping


def test_the_same_file_again_is_the_photo_that_is_there(files, today):
    data = some_picture()
    first, second = kept(data, today), kept(data, today, name="copy of it.jpg")
    assert first == second
    assert second.name == "IMG_1.JPG"
    assert len(files_in(files / "photos")) == 1
    assert default_storage.open(first.file.name).read() == data


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (b"%PDF-1.7 and more", "The file is a PDF, not a picture"),
        (b"not a picture at all", "not a picture"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 40, "broken or cut short"),
    ],
)
def test_what_is_no_picture_is_named_whatever_it_is_called(files, today, data, words):
    with pytest.raises(PictureUnreadable, match=words) as refusal:
        kept(data, today, name="coral.jpg")
    assert "coral.jpg" in str(refusal.value)
    assert not files_in(files)
    assert not Photo.objects.exists()


def test_a_file_that_is_too_large_is_refused_before_it_is_kept(files, today, monkeypatch):
    monkeypatch.setattr(keeping, "MOST_BYTES", 1024)
    with pytest.raises(PictureUnreadable, match="more than the"):
        kept(some_picture(), today)
    assert not files_in(files)


def test_a_name_is_kept_without_its_folders(today):
    assert kept(some_picture(), today, name="C:\\Pictures\\\x00reef/../M12.jpg").name == "M12.jpg"


def test_a_full_disk_is_named_and_leaves_nothing(files, today, monkeypatch):
    monkeypatch.setattr("config.files._force_to_disk", full_disk)
    with pytest.raises(DiskFull, match="the disk is full"):
        kept(some_picture(), today)
    assert not files_in(files)
    assert not Photo.objects.exists()


def test_a_file_cut_short_on_its_way_to_the_disk_is_not_there(files):
    class CutShort(ContentFile):
        def chunks(self, chunk_size=None):
            yield b"the first half"
            full_disk()

    with pytest.raises(OSError, match="No space left"):
        default_storage.save("photos/half.jpg", CutShort(b""))
    assert not files_in(files)


def test_a_record_that_cannot_be_written_leaves_no_file(files, today, monkeypatch):
    def fail(photo):
        raise RuntimeError("The database went away.")

    monkeypatch.setattr(keeping, "ask_to_look_into", fail)
    with pytest.raises(RuntimeError):
        keep_photo(file=io.BytesIO(some_picture()), name="IMG.jpg", today=today)
    assert not files_in(files)
    assert not Photo.objects.exists()


# -- opening


def bomb(width, height):
    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    pixels = chunk(b"IDAT", zlib.compress(b"\0" * 99))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + pixels + chunk(b"IEND", b"")


def test_two_hundred_million_pixels_are_refused_before_one_is_unpacked(today):
    with pytest.raises(PictureUnreadable, match="too many pixels"):
        kept(bomb(16_000, 12_500), today)


def test_more_pixels_than_are_looked_into_are_named_on_the_photo(today):
    photo = kept(bomb(12_000, 11_000), today)
    assert "12000 × 11000 pixels" in photo.trouble
    assert photo.looked_at
    assert not photo.screen


def test_a_picture_cut_short_is_kept_and_named(today):
    data = some_picture()
    photo = kept(data[: len(data) // 2], today)
    assert "broken or cut short" in photo.trouble
    assert photo.shows is None


@pytest.mark.parametrize(("kind", "suffix"), [("JPEG", ".jpg"), ("PNG", ".png"), ("WEBP", ".webp"), ("HEIF", ".heic")])
def test_every_kind_of_picture_is_dated_turned_upright_and_copied_bare(today, colony, kind, suffix):
    drawn = picture_of(colony, label_mm=printed(colony)[colony.code])
    on_its_side = np.rot90(drawn.pixels)  # as a phone writes it: lying, with the turn beside it
    turned = 1 if kind == "HEIF" else 6
    data = as_file(drawn.pixels if kind == "HEIF" else on_its_side, kind=kind, turned=turned)
    photo = kept(data, today, name="of the camera")
    assert (photo.suffix, photo.colony, photo.sorted_by) == (suffix, colony, "code")
    assert (photo.width, photo.height) == drawn.pixels.shape[1::-1]
    assert (str(photo.taken_on), str(photo.taken_time), photo.dated_by) == ("2026-06-14", "09:30:05", "camera")
    for copy in (photo.screen, photo.thumbnail):
        data = copy.open("rb").read()
        assert not Image.open(io.BytesIO(data)).getexif()
        assert b"Invented" not in data
        assert b"Exif" not in data


def test_a_photo_without_a_date_is_of_the_day_it_came(today):
    photo = kept(as_file(picture("").pixels, taken_at=None), today)
    assert (photo.taken_on, photo.dated_by) == (today, "arrival")


def test_a_photo_of_tomorrow_is_asked_about(today, colony):
    drawn = picture_of(colony, label_mm=printed(colony)[colony.code])
    photo = kept(as_file(drawn.pixels, taken_at=datetime(2090, 1, 2, 3, 4)), timezone.localdate())  # noqa: DTZ001
    assert "2 Jan 2090, which lies in the future" in photo.trouble


def test_a_photo_from_before_the_colony_began_is_asked_about(today):
    colony = ColonyFactory(tag="M30", acquired_on=date(2026, 6, 15))
    drawn = picture_of(colony, label_mm=printed(colony)[colony.code])
    photo = kept(as_file(drawn.pixels), today)
    assert photo.colony == colony
    assert "before M30 began on 15 Jun 2026" in photo.trouble


# -- whose picture it is


def test_a_plug_is_told_by_its_label(today):
    plug = PlugFactory()
    photo = kept(as_file(picture_of(plug, label_mm=printed(plug)[plug.code]).pixels), today)
    assert photo.plug == plug


def test_the_label_of_a_plug_that_was_grown_on_is_that_of_its_colony(today):
    plug = PlugFactory(fate=Fate.GROWN_ON, ended_on=date(2026, 6, 1))
    grown = ColonyFactory(grown_from=plug, lineage=plug.lineage)
    photo = kept(as_file(picture(address_of(BASE, plug.code)).pixels), today)
    assert photo.colony == grown


def test_a_label_of_another_keeper_is_named(today):
    code = codes.new_code()
    photo = kept(as_file(picture(f"HTTPS://ELSE.EXAMPLE/Q/{code}").pixels), today)
    assert photo.shows is None
    assert f"{codes.in_clear(code)} at else.example is not one of yours" in photo.trouble


def test_a_code_of_something_else_is_named(today):
    photo = kept(as_file(picture("HTTPS://ELSE.EXAMPLE/HELLO").pixels), today)
    assert "is no label of a plug or a colony" in photo.trouble


def two_labels(first, other, *, label_mm=12.0, other_mm=12.0):
    return draw_photo(text=first, label_mm=float(label_mm), level="M", other=(other, float(other_mm), (30.0, 0.0)))


def test_two_labels_of_ours_are_both_named(today, colony):
    plug = PlugFactory()
    drawn = two_labels(address_of(BASE, colony.code), address_of(BASE, plug.code))
    photo = kept(as_file(drawn.pixels), today)
    assert photo.shows is None
    assert f"{colony.code_in_clear} of colony M12" in photo.trouble
    assert plug.code_in_clear in photo.trouble
    sort_photo(photo=photo, of=colony)
    photo.refresh_from_db()
    assert (photo.colony, photo.sorted_by) == (colony, "hand")


def test_a_strange_code_beside_the_label_does_not_matter(today, colony):
    drawn = two_labels(
        address_of(BASE, colony.code), "HTTPS://ELSE.EXAMPLE/HELLO", label_mm=printed(colony)[colony.code]
    )
    photo = kept(as_file(drawn.pixels), today)
    assert photo.colony == colony
    assert photo.measurements.get().scale_by == "label"


def test_a_mirror_image_is_named(today, colony):
    drawn = picture_of(colony, label_mm=printed(colony)[colony.code], mirrored=True)
    photo = kept(as_file(drawn.pixels), today)
    assert photo.colony == colony
    assert "mirror image" in photo.trouble


# -- the ruler


def test_a_label_is_as_large_as_the_print_record_says(today, colony):
    side = printed(colony)[colony.code]
    photo = kept(as_file(picture_of(colony, label_mm=side).pixels), today)
    measured = photo.measurements.get()
    assert (measured.label_mm, measured.scale_by, measured.doubts) == (side, "label", [])
    assert not photo.trouble


def test_a_label_that_was_never_printed_is_no_ruler(today, colony):
    photo = kept(as_file(picture_of(colony).pixels), today)
    assert photo.colony == colony
    assert "not in the print record" in photo.trouble
    assert not photo.measurements.exists()


def test_labels_printed_at_several_sizes_are_doubted(today, colony):
    printed(colony)
    PrintedLabel.objects.update(module_mm=0.9)
    side = printed(colony)[colony.code]
    photo = kept(as_file(picture_of(colony, label_mm=side).pixels), today)
    measured = photo.measurements.get()
    assert measured.label_mm == side
    assert f"was printed {plain(side)} mm wide last, and" in measured.doubts[0]


def test_a_scale_card_says_its_own_size_and_goes_before_the_label(today, colony):
    drawn = two_labels(address_of(BASE, colony.code), card_address(BASE, 20), label_mm=12.7, other_mm=20)
    photo = kept(as_file(drawn.pixels), today)
    measured = photo.measurements.get()
    assert photo.colony == colony
    assert (measured.scale_by, measured.label_mm) == ("card", Decimal(20))
    assert not photo.trouble


def test_a_label_of_another_size_than_recorded_is_found_out_by_the_card(today, colony):
    side = float(printed(colony)[colony.code])
    drawn = two_labels(address_of(BASE, colony.code), card_address(BASE, 20), label_mm=side * 1.2, other_mm=20)
    photo = kept(as_file(drawn.pixels), today)
    assert f"but it was printed {plain(side)} mm wide" in photo.measurements.get().doubts[0]


# -- twice, half-way, again


def test_looked_into_twice_it_is_done_once(today, colony):
    photo = kept(as_file(picture_of(colony, label_mm=printed(colony)[colony.code]).pixels), today)
    assert not look_into(photo_id=photo.pk, today=today)
    assert photo.measurements.count() == 1
    Photo.objects.update(looked_at=None)
    assert look_into(photo_id=photo.pk, today=today)
    assert photo.measurements.count() == 1
    assert Photo.objects.get().screen.name == photo.screen.name


def test_a_disk_that_fills_up_while_copies_are_made_leaves_it_waiting_with_the_reason(files, today, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr("config.files._force_to_disk", lambda path: None)
        patch.setattr(keeping, "ask_to_look_into", lambda photo: None)
        photo = kept(some_picture(), today)
    before = files_in(files)
    with monkeypatch.context() as patch:
        patch.setattr("config.files._force_to_disk", full_disk)
        with pytest.raises(OSError, match="No space left"):
            look_into(photo_id=photo.pk, today=today)
    photo.refresh_from_db()
    assert photo.looked_at is None
    assert "The disk is full" in photo.trouble
    assert files_in(files) == before
    assert look_into(photo_id=photo.pk, today=today)
    photo.refresh_from_db()
    assert "The disk is full" not in photo.trouble


def test_somebody_who_was_quicker_leaves_no_second_copies(files, today, monkeypatch):
    monkeypatch.setattr(keeping, "ask_to_look_into", lambda photo: None)
    photo = kept(some_picture(), today)
    look = looking._look

    def slowly(photo, outline):
        seen = look(photo, outline)
        Photo.objects.update(looked_at=timezone.now())
        return seen

    monkeypatch.setattr(looking, "_look", slowly)
    assert not look_into(photo_id=photo.pk, today=today)
    assert len(files_in(files)) == 1


def test_a_fault_of_the_program_is_named_and_the_photo_is_kept(files, today, monkeypatch, caplog):
    def fail(photo, outline):
        raise ZeroDivisionError

    monkeypatch.setattr(looking, "_look", fail)
    photo = kept(some_picture(), today)
    assert "fault of the program" in photo.trouble
    assert len(files_in(files)) == 1
    assert "could not be looked into" in caplog.text


def left_by_a_dead_worker(photo, *, tries=1, ago=timedelta(minutes=10)):
    then = timezone.now() - ago
    Photo.objects.filter(pk=photo.pk).update(looked_at=None, arrived_at=then)
    for _ in range(tries):
        DBTaskResult.objects.create(
            status="RUNNING",
            task_path="propagation.tasks.look_into_photo",
            args_kwargs={"args": [photo.pk], "kwargs": {}},
            started_at=then,
            run_after=then,
            backend_name="default",
        )


def test_a_photo_that_a_dead_worker_left_is_looked_into_again(today):
    photo = kept(some_picture(), today)
    left_by_a_dead_worker(photo, ago=timedelta(minutes=1))
    assert look_again_at_left_behind(now=timezone.now()) == 0  # that one may still be at work
    DBTaskResult.objects.all().delete()
    left_by_a_dead_worker(photo)
    assert look_again_at_left_behind(now=timezone.now()) == 1
    photo.refresh_from_db()
    assert photo.looked_at


def test_a_photo_that_waits_for_its_turn_is_not_asked_for_again(today):
    photo = kept(some_picture(), today)
    left_by_a_dead_worker(photo)
    DBTaskResult.objects.update(status="READY")
    assert look_again_at_left_behind(now=timezone.now()) == 0


def test_a_photo_that_ends_every_worker_is_given_up_with_a_sentence(today):
    photo = kept(some_picture(), today)
    left_by_a_dead_worker(photo, tries=MOST_TRIES)
    assert look_again_at_left_behind(now=timezone.now()) == 0
    photo.refresh_from_db()
    assert photo.looked_at
    assert "left alone" in photo.trouble
    assert not PhotoMeasurement.objects.exists()
