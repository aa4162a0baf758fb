"""Photographs for tests: drawn with known truth, by a camera that tells when and where."""

import functools
import io
import struct
import zlib
from datetime import datetime

from django.utils.html import strip_tags
from PIL import Image
from pillow_heif import from_pillow

from labels.actions.print_labels import print_labels
from labels.contents import address_of
from labels.readings.stocks import FIRST_STOCK, find_stock
from propagation.actions.keep_photo import keep_photo
from propagation.imaging.drawn import Circumstances, DrawnColony, draw_photo
from propagation.label_sizes import label_sizes

BASE = "https://ramet.example"
TAKEN = datetime(2026, 6, 14, 9, 30, 5)  # noqa: DTZ001 - a camera knows no zone
SMALL = {"least_px": (640, 480)}
# Codes of things that are drawn again and again: the same label gives the same picture.
DRAWN_CODES = ["7PHXEY94", "4T5HH2KD", "HCT3QZ99", "ZPQAE7NN", "7SXF6CBG"]


def printed(*things, stock=FIRST_STOCK, **more):
    """Print the labels of plugs and colonies; returns the sides of their codes in mm, by code."""
    plugs = [thing for thing in things if not hasattr(thing, "tag")]
    colonies = [thing for thing in things if hasattr(thing, "tag")]
    print_labels(stock=find_stock(stock), plugs=plugs, colonies=colonies, base_address=BASE, **more)
    return {code: size.side_mm for code, size in label_sizes(thing.code for thing in things).items()}


@functools.lru_cache(maxsize=24)
def picture(text="", *, label_mm=12.0, longest_mm=40.0, seed=3, **circumstances):
    """A drawn photo of a colony with a label; drawn once, so its pixels are not to be changed."""
    drawn = draw_photo(
        text=text,
        label_mm=float(label_mm),
        level="M",
        colony=DrawnColony(form="plating", longest_mm=longest_mm, at_mm=(45.0, 8.0), seed=seed),
        circumstances=Circumstances(**{"px_per_module": 7.0, "tilt_deg": 8.0, **SMALL} | circumstances),
        seed=seed,
    )
    drawn.pixels.flags.writeable = False
    return drawn


def picture_of(thing, **more):
    return picture(address_of(BASE, thing.code), **more)


def as_file(pixels, *, taken_at=TAKEN, kind="JPEG", turned=1) -> bytes:
    """The bytes that a camera writes, with time, place and device; ``turned`` is the EXIF orientation."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Invented", "Camera 1", turned
    if taken_at:
        exif.get_ifd(0x8769)[0x9003] = f"{taken_at:%Y:%m:%d %H:%M:%S}"
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 12.0)
    written = io.BytesIO()
    Image.fromarray(pixels).save(written, kind, quality=93, exif=exif)
    return written.getvalue()


def as_heic(jpeg: bytes) -> bytes:
    """The same picture as other phones write it, with all that its EXIF says."""
    written = io.BytesIO()
    picture = Image.open(io.BytesIO(jpeg))
    from_pillow(picture).save(written, quality=90, exif=picture.getexif().tobytes())
    return written.getvalue()


def bomb(side=60_000) -> bytes:
    """A small PNG that says it has very many pixels."""

    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    pixels = zlib.compress(b"\0" * 99)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


def kept(data: bytes, today, name="IMG_1.JPG", **more):
    """A photo that was added; tests look into it at once."""
    photo = keep_photo(file=io.BytesIO(data), name=name, today=today, **more)
    photo.refresh_from_db()
    return photo


def text_of(answer) -> str:
    """The words of a page, each apart from the next by one space."""
    return " ".join(strip_tags(answer.content.decode()).split())
