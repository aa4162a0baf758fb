"""Copies of pictures that may be handed on: their pixels alone."""

import io

from PIL import Image

SCREEN_SIDE = 1600  # fills a screen; pixels
THUMBNAIL_SIDE = 400
QUALITY = 88


def bare_jpeg(picture: Image.Image, *, longest_side: int) -> bytes:
    """A picture as a JPEG of its pixels alone, no longer than so many pixels on a side.

    What is saved of a picture that was read from a file takes its comment, place and device along; so the pixels go
    into a new one first. Colours are taken as sRGB.
    """
    if picture.mode != "RGB":
        picture = picture.convert("RGB")
    smaller = picture.copy()
    smaller.thumbnail((longest_side, longest_side), Image.Resampling.LANCZOS)
    bare = Image.new("RGB", smaller.size)
    bare.paste(smaller)
    written = io.BytesIO()
    bare.save(written, "JPEG", quality=QUALITY)
    return written.getvalue()
