"""Copies of photos that are gone or broken are made again from the originals."""

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from PIL import Image

from propagation.actions.measure_photo import open_photo
from propagation.actions.sort_photo import locked_photo
from propagation.models import Photo
from propagation.picture_copies import SCREEN_SIDE, THUMBNAIL_SIDE, bare_jpeg

SIDES = {"screen": SCREEN_SIDE, "thumbnail": THUMBNAIL_SIDE}


def mend_copy(*, photo: Photo, field: str) -> Photo:
    """Make the copy ``screen`` or ``thumbnail`` of a photo anew, whole, and let the old one go.

    Raises PictureUnreadable if the original cannot be opened either; then nothing changes.
    """
    picture = Image.fromarray(open_photo(photo).pixels)
    new = getattr(photo, field).field.generate_filename(photo, f"{field}.jpg")
    new = default_storage.save(new, ContentFile(bare_jpeg(picture, longest_side=SIDES[field])))
    try:
        with transaction.atomic():
            photo = locked_photo(photo)
            old = getattr(photo, field).name
            Photo.objects.filter(pk=photo.pk).update(**{field: new})  # what is shown has not changed: no history
            setattr(photo, field, new)
    except BaseException:
        default_storage.delete(new)
        raise
    if old:
        default_storage.delete(old)
    return photo


def delete_orphan(*, path: str) -> None:
    """Delete a file that no record names."""
    default_storage.delete(path)
