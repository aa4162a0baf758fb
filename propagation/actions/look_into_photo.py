"""Looking into a photo: opening it, copying it without metadata, sorting, dating and measuring it."""

import errno
import logging
from dataclasses import dataclass, field
from datetime import date, datetime

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from PIL import Image

from propagation.actions.measure_photo import (
    doubts_about_scale,
    last_outline_in,
    measurement_by_label,
    open_photo,
    propose_outline_in,
    ruler_of,
)
from propagation.actions.sort_photo import locked_photo
from propagation.errors import PictureUnreadable
from propagation.imaging.errors import ImagingError, NoSymbolFound
from propagation.imaging.measuring import ReadLabel, read_labels
from propagation.imaging.opening import OpenedPicture
from propagation.imaging.outline import Proposal
from propagation.models import Colony, Photo, PhotoMeasurement, Plug
from propagation.picture_copies import SCREEN_SIDE, THUMBNAIL_SIDE, bare_jpeg
from propagation.readings.photo_days import trouble_with_day
from propagation.readings.photo_labels import PhotoLabel, labels_of_photo, ruler_among, sort_by_labels
from propagation.turns import turn

logger = logging.getLogger(__name__)

LONGEST_TROUBLE = Photo._meta.get_field("trouble").max_length
FULL = "The disk is full, so no copy of it could be made. It is looked into again once there is room."
BROKE = "Looking into it failed by a fault of the program. The photo itself is kept; sort it by hand."
MIRRORED = (
    "It is a mirror image, as some front cameras make them. Sizes hold, but it lies the wrong way round beside others: "
    "take it with the main camera."
)


@dataclass
class _Seen:
    """What was found in a photo."""

    trouble: list[str] = field(default_factory=list)
    size_px: tuple[int, int] | None = None
    taken_at: datetime | None = None
    of: Colony | Plug | None = None
    screen: bytes | None = None
    thumbnail: bytes | None = None
    measurement: PhotoMeasurement | None = None


def look_into(*, photo_id: int, today: date, outline=None) -> bool:
    """Look into a photo that nobody has looked into yet. Returns whether this call did it.

    With an ``outline`` that is known already, shape (n, 2) in pixels, none is proposed.

    One photo is looked into by one process at a time, and what was found is written at once at the end: a process that
    dies half-way leaves the photo waiting. What is wrong with the photo becomes its ``trouble``, a sentence.
    """
    with turn(f"photo {photo_id}"):
        photo = Photo.objects.select_related("colony", "plug").filter(pk=photo_id, looked_at=None).first()
        if photo is None:
            return False
        try:
            seen = _look(photo, outline)
        except OSError:  # the store of files cannot be reached, or the disk: it waits and is asked for again
            raise
        except Exception:
            logger.exception("Photo %s could not be looked into.", photo_id)
            seen = _Seen(trouble=[BROKE])
        return _write_down(photo, seen, today=today)


def _look(photo: Photo, outline) -> _Seen:
    try:
        opened = open_photo(photo)
    except PictureUnreadable as error:
        return _Seen(trouble=[str(error)])
    seen = _Seen(size_px=opened.size_px, taken_at=opened.taken_at)
    if not photo.screen or not photo.thumbnail:
        screen = Image.fromarray(opened.pixels)
        seen.screen = bare_jpeg(screen, longest_side=SCREEN_SIDE)
        seen.thumbnail = bare_jpeg(screen, longest_side=THUMBNAIL_SIDE)
        del screen
    try:
        read = read_labels(opened)
    except NoSymbolFound as error:
        if photo.shows is None:
            seen.trouble.append(f"There is no readable code in it: {error.reason} Say what it is a picture of.")
        return seen
    labels = labels_of_photo(each.text for each in read)
    if photo.shows is None:
        sorted_out = sort_by_labels(labels)
        seen.of = sorted_out.of
        if sorted_out.trouble:
            seen.trouble.append(sorted_out.trouble)
    if any(each.is_mirrored for each in read):
        seen.trouble.append(MIRRORED)
    if not photo.measurements.exists():
        _measure(photo, opened, read, labels, seen, outline)
    return seen


def _measure(
    photo: Photo, opened: OpenedPicture, read: list[ReadLabel], labels: list[PhotoLabel], seen: _Seen, outline
):
    of = photo.shows or seen.of
    label = ruler_among(labels, of)
    if label is None:
        if of is not None:
            seen.trouble.append(
                f"How large the label of {of} was printed is not in the print record, so it is no ruler. Print it "
                "again, lay a scale card beside it, or set the scale by two points."
            )
        return
    try:
        ruler = ruler_of(read, label)
        if outline is not None:
            proposal = Proposal(outline, confidence=1.0)
        else:
            last = last_outline_in(ruler.plane, of)
            proposal = propose_outline_in(opened.pixels, read, last_outline_px=last)
        seen.measurement = measurement_by_label(
            photo,
            opened,
            ruler,
            label,
            proposal=proposal,
            doubts=doubts_about_scale(ruler, label, read, labels),
        )
    except ImagingError as error:
        seen.trouble.append(str(error))


def _write_down(photo: Photo, seen: _Seen, *, today: date) -> bool:
    """Write what was found, if nobody else has meanwhile; copies that are then of no use are deleted."""
    written = []
    try:
        for name in ("screen", "thumbnail"):
            data = getattr(seen, name)
            if data is not None:
                getattr(photo, name).save(f"{name}.jpg", ContentFile(data), save=False)
                written.append(getattr(photo, name))
        with transaction.atomic():
            is_ours = _apply(photo, seen, today=today)
    except BaseException as error:
        _delete(written)
        if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
            # It stays waiting, with the reason.
            Photo.objects.filter(pk=photo.pk, looked_at=None).update(trouble=FULL)
        raise
    if not is_ours:
        _delete(written)
    return is_ours


def _delete(files) -> None:
    for file in files:
        file.storage.delete(file.name)


def _apply(photo: Photo, seen: _Seen, *, today: date) -> bool:
    now = locked_photo(photo)
    if now.looked_at is not None:
        return False
    changed = ["looked_at", "trouble"]
    if seen.screen is not None:
        now.screen, now.thumbnail = photo.screen.name, photo.thumbnail.name
        changed += ["screen", "thumbnail"]
    if seen.size_px is not None:
        now.width, now.height = seen.size_px
        changed += ["width", "height"]
    if seen.taken_at is not None and now.dated_by == Photo.DatedBy.ARRIVAL:
        now.taken_on, now.taken_time = seen.taken_at.date(), seen.taken_at.time().replace(microsecond=0)
        now.dated_by = Photo.DatedBy.CAMERA
        changed += ["taken_on", "taken_time", "dated_by"]
    if seen.of is not None and now.shows is None:
        now.colony, now.plug = (seen.of, None) if isinstance(seen.of, Colony) else (None, seen.of)
        now.sorted_by = Photo.SortedBy.CODE
        changed += ["colony", "plug", "sorted_by"]
    trouble = [trouble_with_day(now, today=today), *seen.trouble]
    now.trouble = _as_one(trouble)
    now.looked_at = timezone.now()
    now._history_user = now.arrived_by
    now.save(update_fields=changed)
    if seen.measurement is not None and not now.measurements.exists():
        seen.measurement.photo = now
        seen.measurement.save()
    return True


def _as_one(sentences: list[str]) -> str:
    """As many whole sentences as fit, in their order; one that is longer than all by itself is cut."""
    told = ""
    for sentence in filter(None, sentences):
        longer = f"{told} {sentence}".strip()
        if len(longer) > LONGEST_TROUBLE:
            break
        told = longer
    return told or next(filter(None, sentences), "")[:LONGEST_TROUBLE]
