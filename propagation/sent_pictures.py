"""Pictures that are sent with a form and looked at once: opened, or refused with a sentence."""

from propagation.errors import PictureUnreadable
from propagation.imaging.errors import PictureRefused
from propagation.imaging.opening import OpenedPicture, open_picture


def open_sent_picture(data: bytes, *, most_bytes: int) -> OpenedPicture:
    """The picture, upright. A view reads one byte more than ``most_bytes`` of a file, so none fills the memory.

    Raises PictureUnreadable for what is no picture, broken, or too large.
    """
    if len(data) > most_bytes:
        raise PictureUnreadable(
            f"The picture has more than the {most_bytes // 1024**2} MB that are taken. Take it with a smaller size."
        )
    try:
        return open_picture(data)
    except PictureRefused as error:
        raise PictureUnreadable(str(error)) from error
