"""Opening a picture safely: from the bytes of a file to upright sRGB pixels, and when and with what it was taken."""

import contextlib
import io
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np
import pillow_heif
from PIL import Image, ImageCms, UnidentifiedImageError

from .errors import NotAPicture, PictureBroken, PictureEmpty, PictureTooLarge

MOST_PIXELS = 120_000_000  # a phone's largest sensor has 108 million; what is larger is no photo of a colony
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")  # what phones and browsers send; the other readers of Pillow stay shut

# EXIF 2.32, table 7 and following (from memory).
_EXIF_FOLDER = 0x8769
_TAKEN, _TAKEN_OFFSET, _DIGITIZED, _FOCAL_35MM = 0x9003, 0x9011, 0x9004, 0xA405
_ORIENTATION = 0x0112

_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}

_BEGINS_AS_PICTURE = (b"\xff\xd8\xff", b"\x89PNG\r\n")
_KNOWN_OTHERWISE: tuple[tuple[bytes, str], ...] = (
    (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "a ZIP archive or an office document"),
    (b"GIF8", "a GIF"),
    (b"<svg", "an SVG drawing"),
    (b"<?xml", "an XML file"),
    (b"<!DOC", "a web page"),
    (b"<html", "a web page"),
    (b"II*\x00", "a TIFF or a raw picture"),
    (b"MM\x00*", "a TIFF or a raw picture"),
    (b"BM", "a BMP"),
)


@dataclass(frozen=True)
class OpenedPicture:
    """A picture as it is to be looked at.

    ``pixels`` is uint8 RGB in sRGB, upright, shape (height, width, 3). ``taken_at`` is what the camera's clock showed,
    naive; ``utc_offset`` is None unless the camera told it. ``focal_35mm`` is the focal length as on 35 mm film.
    """

    pixels: np.ndarray
    format: str
    taken_at: datetime | None
    utc_offset: timedelta | None
    focal_35mm: float | None
    was_turned: bool
    frames: int
    notes: tuple[str, ...] = ()

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height, upright."""
        return self.pixels.shape[1], self.pixels.shape[0]


@lru_cache(maxsize=1)
def _ready() -> None:
    """Pillow learns HEIF once, and only the reading of one picture at a time."""
    pillow_heif.register_heif_opener(thumbnails=False)


def open_picture(data: bytes, *, most_pixels: int = MOST_PIXELS) -> OpenedPicture:
    """Open a JPEG, PNG, HEIC or WebP file; of an animation the first frame.

    The number of pixels is checked before one of them is unpacked. It takes about five bytes a pixel at most, besides
    the file.

    Raises
    ------
    PictureEmpty, NotAPicture, PictureTooLarge, PictureBroken
        All of them `errors.PictureRefused`.
    """
    if not data:
        raise PictureEmpty
    _ready()
    with warnings.catch_warnings():
        # Pillow's own limit is lower and only warns; ours is checked below. What is odd in EXIF is left out.
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        warnings.simplefilter("ignore", UserWarning)
        return _opened(data, most_pixels)


def _opened(data, most_pixels):
    try:
        picture = Image.open(io.BytesIO(data), formats=FORMATS)
    except UnidentifiedImageError as error:
        if data.startswith(_BEGINS_AS_PICTURE):
            raise PictureBroken from error
        raise NotAPicture(_what_it_is(data)) from error
    except Image.DecompressionBombError as error:
        raise PictureTooLarge(most_pixels) from error
    except (OSError, SyntaxError, ValueError, RuntimeError, EOFError) as error:  # a file broken in its first bytes
        raise PictureBroken from error
    width, height = picture.size
    if width * height > most_pixels:
        raise PictureTooLarge(most_pixels, (width, height))
    if not width or not height:
        raise PictureBroken
    kind, frames = picture.format, getattr(picture, "n_frames", 1)
    try:
        picture.seek(0)
        picture.load()
        exif = picture.getexif()
        folder = exif.get_ifd(_EXIF_FOLDER)
        profile = picture.info.get("icc_profile")
        orientation = exif.get(_ORIENTATION, 1)
        upright, notes = _as_srgb(picture, profile)
        if orientation in _TURNS:
            upright = upright.transpose(_TURNS[orientation])
        pixels = np.asarray(upright)
    except (OSError, SyntaxError, ValueError, RuntimeError, EOFError, MemoryError) as error:
        raise PictureBroken from error
    taken_at = _moment(folder.get(_TAKEN)) or _moment(folder.get(_DIGITIZED))
    return OpenedPicture(
        pixels=pixels,
        format="JPEG" if kind == "MPO" else kind,
        taken_at=taken_at,
        utc_offset=_offset(folder.get(_TAKEN_OFFSET)) if taken_at else None,
        focal_35mm=_positive(folder.get(_FOCAL_35MM)),
        was_turned=orientation in _TURNS,
        frames=frames,
        notes=notes,
    )


def _as_srgb(picture: Image.Image, profile: bytes | None) -> tuple[Image.Image, tuple[str, ...]]:
    """The picture as RGB in sRGB, what is transparent laid on white."""
    if picture.mode in ("I", "I;16", "I;16B", "I;16L", "F"):
        deep = np.asarray(picture, dtype=np.float32)
        top = 65535 if picture.mode != "F" or deep.max() > 255 else 255
        return Image.fromarray((np.clip(deep / top, 0, 1) * 255).round().astype(np.uint8)).convert("RGB"), ()
    if picture.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in picture.info:
        clear = picture.convert("RGBA")
        paper = Image.new("RGB", clear.size, "white")
        paper.paste(clear, mask=clear.getchannel("A"))
        picture = paper
    if profile:
        with contextlib.suppress(ImageCms.PyCMSError, OSError, ValueError):
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            if "srgb" in (ImageCms.getProfileDescription(source) or "").lower() and picture.mode == "RGB":
                return picture, ()
            if picture.mode in ("RGB", "CMYK", "L"):
                turned = ImageCms.profileToProfile(picture, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
                return turned, ()
        return picture.convert("RGB"), ("Its colour profile could not be used; the colours are taken as sRGB.",)
    return (picture if picture.mode == "RGB" else picture.convert("RGB")), ()


def _what_it_is(data: bytes) -> str | None:
    begins = data[:16].lstrip()
    return next((name for mark, name in _KNOWN_OTHERWISE if begins.startswith(mark)), None)


def _text(value):
    if isinstance(value, bytes):
        value = value.decode("ascii", "replace")
    return value.strip("\x00 ") if isinstance(value, str) else ""


def _read_or_none(reader: Callable, *values):
    try:
        return reader(*values)
    except (ValueError, TypeError, OverflowError, ZeroDivisionError):
        return None


def _moment(value) -> datetime | None:
    """What EXIF writes as ``2026:06:15 14:03:22``; None for nothing, or the nonsense cameras without a clock write."""
    day, _, time = _text(value).partition(" ")
    moment = _read_or_none(datetime.fromisoformat, f"{day.replace(':', '-')}T{time or '00:00:00'}")
    if moment is None or moment.year < 1990:
        return None
    return moment.replace(tzinfo=None)


def _offset(value) -> timedelta | None:
    """What EXIF writes as ``+02:00``."""
    text = _text(value)
    if text in ("Z", "z"):
        return timedelta(0)
    if len(text) != 6 or text[0] not in "+-" or text[3] != ":":
        return None
    hours, minutes = _read_or_none(int, text[1:3]), _read_or_none(int, text[4:])
    if hours is None or minutes is None or hours > 14 or minutes > 59:
        return None
    return timedelta(hours=hours, minutes=minutes) * (1 if text[0] == "+" else -1)


def _positive(value) -> float | None:
    number = _read_or_none(float, value) if value is not None else None
    return number if number and np.isfinite(number) and 5 <= number <= 1000 else None
