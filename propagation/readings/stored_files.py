"""Every file that the records name: is it there, and whole?"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

import av
from django.apps import apps
from django.db.models import FileField
from PIL import Image

from propagation.imaging.errors import ImagingError
from propagation.imaging.opening import MOST_PIXELS
from propagation.models import Photo

CHUNK = 1024 * 1024
ROWS = 500
FILMS = (".mp4",)
# What nobody names may be on its way into the records; after a day it is not.
ORPHAN_AFTER = timedelta(days=1)


@dataclass(frozen=True)
class FileTrouble:
    """A file that a record names and that is not as it should be."""

    record: object
    field: str
    path: str
    what: str

    @property
    def sentence(self) -> str:
        kind = self.record._meta.verbose_name
        return f"{kind.capitalize()} {self.record.pk} ({self.record}), {self.field}: {self.path} {self.what}."


def file_fields() -> Iterator[tuple[type, FileField]]:
    """Every field of every record that names a file; histories name none."""
    for model in apps.get_models():
        for field in model._meta.concrete_fields:
            if isinstance(field, FileField):
                yield model, field


def named_files() -> Iterator[tuple[object, str, object]]:
    """``(record, name of the field, file)`` of every file that the records name, one row in memory at a time."""
    for model, field in file_fields():
        rows = model._default_manager.exclude(**{field.name: ""}).order_by("pk")
        for record in rows.iterator(chunk_size=ROWS):
            yield record, field.name, getattr(record, field.name)


def check_file(record, field: str, file) -> FileTrouble | None:
    """What is wrong with a file, or None: an original must have its digest, a copy or a film must open whole."""
    try:
        with file.storage.open(file.name, "rb") as stored:
            what = _digest_differs(stored, record) if (type(record), field) == (Photo, "file") else _is_broken(stored)
    except FileNotFoundError:
        what = "is gone"
    except OSError as error:
        what = f"cannot be read: {error.strerror or error}"
    return FileTrouble(record, field, file.name, what) if what else None


def _digest_differs(stored, photo: Photo) -> str:
    digest, size = hashlib.sha256(), 0
    while chunk := stored.read(CHUNK):
        digest.update(chunk)
        size += len(chunk)
    if size != photo.size_bytes:
        return f"has {size} bytes, not {photo.size_bytes} as it came"
    return "" if digest.hexdigest() == photo.digest else "is not what came: its digest differs"


def _is_broken(stored) -> str:
    if not stored.read(1):
        return "is empty"
    stored.seek(0)
    if stored.name.lower().endswith(FILMS):
        return _is_no_film(stored)
    try:
        with Image.open(stored) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                return "is no picture of ours: it has too many pixels"
            for frame in range(getattr(picture, "n_frames", 1)):
                picture.seek(frame)
                picture.load()
    except (OSError, SyntaxError, ValueError, EOFError, ImagingError, Image.DecompressionBombError):
        return "is broken: it does not open whole"
    return ""


def _is_no_film(stored) -> str:
    try:
        with av.open(stored, "r") as film:
            frames = sum(1 for _ in film.decode(video=0))
    except (av.error.FFmpegError, OSError, ValueError, IndexError):
        return "is broken: it does not play to its end"
    return "" if frames else "is empty: it has no picture"


def check_all_files() -> Iterator[tuple[int, FileTrouble | None]]:
    """Each file that the records name in turn: ``(how many so far, what is wrong with it or None)``."""
    for number, (record, field, file) in enumerate(named_files(), 1):
        yield number, check_file(record, field, file)


def orphans(storage, now) -> Iterator[str]:
    """Files of a store that no record names and that have been there for a day: what a lost transaction left."""
    for folder in sorted(_folders()):
        yield from (path for path in _walk(storage, folder) if not _is_named(path) and _is_old(storage, path, now))


def _folders() -> set[str]:
    """The folders at the top in which files of records are kept."""
    return {"claims", "drafts", "films", "photo-copies", "photos"}


def _walk(storage, folder: str) -> Iterator[str]:
    try:
        folders, files = storage.listdir(folder)
    except FileNotFoundError:
        return
    for name in sorted(files):
        yield f"{folder}/{name}"
    for name in sorted(folders):
        yield from _walk(storage, f"{folder}/{name}")


def _is_named(path: str) -> bool:
    return any(model._default_manager.filter(**{field.name: path}).exists() for model, field in file_fields())


def _is_old(storage, path: str, now) -> bool:
    try:
        return now - storage.get_modified_time(path) > ORPHAN_AFTER
    except (FileNotFoundError, NotImplementedError):
        return False
