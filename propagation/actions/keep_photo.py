"""Photos as they come: kept whole, once, and looked into in the background."""

import errno
import hashlib
import re
import warnings
from datetime import date
from pathlib import PurePath
from uuid import UUID

from django.core.files import File
from django.db import IntegrityError, transaction
from django.utils import timezone
from PIL import Image, UnidentifiedImageError
from pillow_heif import register_heif_opener

from propagation.actions.sort_photo import ask_to_look_into
from propagation.errors import BadValue, DiskFull, PictureUnreadable
from propagation.imaging.errors import PictureRefused
from propagation.imaging.opening import FORMATS, open_picture
from propagation.models import Photo, PhotoRound

register_heif_opener(thumbnails=False)

MOST_BYTES = 60 * 1024 * 1024  # the largest photos of phones are about 25 MB; common practice, no source
MOST_IN_A_ROUND = 500  # a bound against a slip; a round has about fifty
CHUNK = 1024 * 1024
LONGEST_NAME = Photo._meta.get_field("name").max_length
# What a file may be, by its content, and what it is called then.
SUFFIXES = {"JPEG": ".jpg", "MPO": ".jpg", "PNG": ".png", "WEBP": ".webp", "HEIF": ".heic"}


@transaction.atomic
def begin_photo_round(*, submission: UUID, by=None) -> PhotoRound:
    """The round that photos of one form, or of one page that sends them one by one, come into."""
    begun, _ = PhotoRound.objects.get_or_create(submission=submission, defaults={"begun_by": by})
    return begun


def keep_photo(*, file, name: str, today: date, round: PhotoRound | None = None, by=None) -> Photo:
    """Keep a photo as it came and have it looked into.

    ``file`` is open for reading bytes and can be read twice; it is never held in memory whole. The same bytes again are
    the photo that is there, in the round it came in first. A photo that is refused, or whose record cannot be written,
    leaves no file.

    Raises PictureUnreadable for what is no picture or too large, BadValue for a round that is full, DiskFull.
    """
    name = _plain_name(name)
    digest, size = _read_through(file, name)
    earlier = Photo.objects.filter(digest=digest).first()
    if earlier is not None:
        return earlier
    suffix = _suffix_of(file, name)
    if round is not None and round.photos.count() >= MOST_IN_A_ROUND:
        raise BadValue(f"There are {MOST_IN_A_ROUND} photos in this round already; begin another.")
    photo = Photo(
        digest=digest,
        name=name,
        suffix=suffix,
        size_bytes=size,
        round=round,
        arrived_at=timezone.now(),
        arrived_by=by,
        taken_on=today,
    )
    photo._history_user = by
    file.seek(0)
    try:
        photo.file.save(name, File(file), save=False)
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise DiskFull(name) from error
        raise
    try:
        with transaction.atomic():
            photo.save()
            ask_to_look_into(photo)
    except IntegrityError:
        photo.file.storage.delete(photo.file.name)
        # Somebody sent the same bytes at the same moment, and theirs are kept.
        return Photo.objects.get(digest=digest)
    except BaseException:
        photo.file.storage.delete(photo.file.name)
        raise
    return photo


def _plain_name(name: str) -> str:
    """The name alone, without folders and without what cannot be shown or stored."""
    name = re.sub(r"[\x00-\x1f\x7f\ud800-\udfff]", "", PurePath(str(name).replace("\\", "/")).name).strip()
    return name[-LONGEST_NAME:] or "photo"


def _read_through(file, name: str) -> tuple[str, int]:
    """SHA-256 and length of a file, read piece by piece. Raises PictureUnreadable if it is empty or too large."""
    digest, size = hashlib.sha256(), 0
    file.seek(0)
    while chunk := file.read(CHUNK):
        digest.update(chunk)
        size += len(chunk)
        if size > MOST_BYTES:
            raise PictureUnreadable(
                f"“{name}” has more than the {MOST_BYTES // 1024**2} MB that are taken; send it with a smaller size."
            )
    if not size:
        raise PictureUnreadable(f"“{name}” is empty; choose it again.")
    return digest.hexdigest(), size


def _suffix_of(file, name: str) -> str:
    """What the content is, whatever the name says. Raises PictureUnreadable for what is no picture that is read."""
    file.seek(0)
    try:
        with warnings.catch_warnings():
            # Nothing is unpacked here; how many pixels are too many is said when it is looked into.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            kind = Image.open(file, formats=FORMATS).format
    except Image.DecompressionBombError as error:
        raise PictureUnreadable(f"“{name}” has too many pixels; send it with a smaller size.") from error
    except UnidentifiedImageError as error:
        raise PictureUnreadable(f"“{name}” was not kept. {_why_no_picture(file)}") from error
    except (OSError, SyntaxError, ValueError, RuntimeError) as error:
        raise PictureUnreadable(f"“{name}” is broken or cut short; send it again.") from error
    return SUFFIXES[kind]


def _why_no_picture(file) -> str:
    """What a file is instead, as a sentence."""
    file.seek(0)
    try:
        open_picture(file.read(64))
    except PictureRefused as error:
        return str(error)
    return "It is broken; send it again."
