"""Where files are kept: a folder, or an object store that speaks S3. Nothing else may know which."""

import os
import uuid
from pathlib import Path
from urllib.parse import parse_qs, unquote, urlsplit

from django.core.checks import Tags, Warning, register
from django.core.exceptions import ImproperlyConfigured
from django.core.files.storage import FileSystemStorage

DRAFTS = "drafts"  # a folder beside the files, on the same disk, so that a draft can be moved into its place
FILES_URL_FORM = "s3://BUCKET/FOLDER?endpoint=https://HOST&region=REGION"


class WholeFileStorage(FileSystemStorage):
    """Files in a folder, each of which is there whole or not at all.

    A file is written as a draft, forced to the disk and then put in its place. A machine that stops half-way leaves at
    most a draft, which no record names.
    """

    def _save(self, name, content):
        draft = Path(self.path(f"{DRAFTS}/{uuid.uuid4().hex}"))
        try:
            super()._save(str(draft.relative_to(self.location)), content)
            _force_to_disk(draft)
            while True:
                place = Path(self.path(name))
                place.parent.mkdir(parents=True, exist_ok=True)
                try:
                    _put_in_place(draft, place)
                except FileExistsError:
                    name = self.get_available_name(name)
                else:
                    break
        finally:
            draft.unlink(missing_ok=True)
        return place.relative_to(self.location).as_posix()


def _force_to_disk(path: Path) -> None:
    descriptor = os.open(path, os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _put_in_place(draft: Path, place: Path) -> None:
    """Give a draft its name. Raises FileExistsError if something has it."""
    try:
        os.link(draft, place)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if place.exists():
            raise FileExistsError(place) from None
        os.rename(draft, place)


def file_storage(url: str, *, key: str = "", secret: str = "") -> dict:
    """The entry of ``STORAGES`` for a FILES_URL; an empty one is the folder ``files`` of RAMET_HOME.

    Without ``key`` and ``secret`` they are looked for where every S3 program looks (``AWS_ACCESS_KEY_ID`` …).
    Raises ImproperlyConfigured with what is wrong.
    """
    if not url:
        return {"BACKEND": "config.files.WholeFileStorage"}
    parts = urlsplit(url)
    asked = {name: values[-1] for name, values in parse_qs(parts.query).items()}
    if parts.scheme != "s3" or not parts.hostname:
        raise ImproperlyConfigured(f"FILES_URL is “{url}”; write it as {FILES_URL_FORM}, or leave it empty.")
    if parts.username or parts.password:
        raise ImproperlyConfigured(
            "FILES_URL holds a key. Give it as FILES_KEY and FILES_SECRET: addresses are logged."
        )
    if unknown := sorted(asked.keys() - {"endpoint", "region"}):
        raise ImproperlyConfigured(f"FILES_URL has “{unknown[0]}”; write it as {FILES_URL_FORM}.")
    if bool(key) != bool(secret):
        raise ImproperlyConfigured("FILES_KEY and FILES_SECRET go together; give both, or neither.")
    return {
        "BACKEND": "storages.backends.s3.S3Storage",
        "OPTIONS": {
            "bucket_name": parts.hostname,
            "location": unquote(parts.path).strip("/"),
            "endpoint_url": asked.get("endpoint"),
            "region_name": asked.get("region"),
            "access_key": key or None,
            "secret_key": secret or None,
            "file_overwrite": False,
            "default_acl": None,  # nobody reads but by this program
            "max_memory_size": 2 * 1024 * 1024,  # what is read of an original lies on the disk beyond that
        },
    }


@register(Tags.files, deploy=True)
def files_travel_unseen(app_configs, **kwargs):
    """Pictures of a keeper must not travel in the clear."""
    from django.conf import settings

    endpoint = settings.STORAGES["default"].get("OPTIONS", {}).get("endpoint_url") or ""
    if endpoint.startswith("http://"):
        yield Warning(
            f"Files go to {endpoint} unencrypted.",
            hint="Use https:// in FILES_URL, unless it is this machine.",
            id="ramet.W001",
        )
