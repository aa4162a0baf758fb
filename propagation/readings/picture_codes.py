"""Codes of plugs and colonies in a photo of their labels."""

import io
import warnings

import zxingcpp
from PIL import Image, UnidentifiedImageError

from propagation import codes
from propagation.errors import CodeMistyped, NoCodeInPicture, PictureUnreadable
from propagation.readings.find import code_in

MOST_BYTES = 40 * 1024 * 1024  # the largest photos of phones are about 25 MB; common practice, no source
MOST_PIXELS = 120_000_000  # a phone's largest sensor has 108 million; what is larger is not a photo of a label
ENOUGH_PIXELS_A_SIDE = 4096  # a label that fills a twentieth of the picture still has 6 pixels a module
FORMATS = ("JPEG", "PNG", "WEBP")  # what phones and browsers send; other readers of Pillow stay shut


def _grey(data: bytes) -> Image.Image:
    """The picture in grey, no larger than it needs to be. Raises PictureUnreadable."""
    if not data:
        raise PictureUnreadable("The picture is empty; take it again.")
    if len(data) > MOST_BYTES:
        raise PictureUnreadable(
            f"The picture has {len(data) // 1024**2} MB, more than the {MOST_BYTES // 1024**2} MB that are taken; "
            "take it with a smaller size."
        )
    try:
        with warnings.catch_warnings():
            # The size is checked just below, before a single pixel is unpacked.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(data), formats=FORMATS)
            width, height = picture.size
            if width * height > MOST_PIXELS:
                raise Image.DecompressionBombError
            picture.draft("L", (ENOUGH_PIXELS_A_SIDE, ENOUGH_PIXELS_A_SIDE))
            grey = picture.convert("L")
    except Image.DecompressionBombError as error:
        raise PictureUnreadable("The picture has too many pixels; take it with a smaller size.") from error
    except UnidentifiedImageError as error:
        raise PictureUnreadable(
            "That file is not a picture that can be read; take a photo, or choose a JPEG, PNG or WebP file."
        ) from error
    except (OSError, SyntaxError, ValueError) as error:  # what Pillow raises for a file cut short or broken
        raise PictureUnreadable("The picture is broken or cut short; take it again.") from error
    if max(grey.size) > ENOUGH_PIXELS_A_SIDE:
        grey.thumbnail((ENOUGH_PIXELS_A_SIDE, ENOUGH_PIXELS_A_SIDE))
    return grey


def codes_in_picture(data: bytes) -> list[str]:
    """The bare codes of plugs and colonies on the labels in a photo, e.g. ``["K7M42QXP"]``, each once.

    They come in the order of reading: from the top, then from the left. Whether a plug or a colony has such a code is
    for `find` to say.

    Raises PictureUnreadable for what is no picture, is too large or broken, and NoCodeInPicture if there is no label
    in it, or none of Ramet's.
    """
    seen = zxingcpp.read_barcodes(_grey(data), formats=zxingcpp.BarcodeFormat.QRCode)
    seen = sorted(seen, key=lambda symbol: (symbol.position.top_left.y, symbol.position.top_left.x))
    found = []
    for symbol in seen:
        try:
            found.append(codes.read_code(code_in(symbol.text)))
        except CodeMistyped:
            continue  # somebody else's code next to the label
    if found:
        return list(dict.fromkeys(found))
    if seen:
        raise NoCodeInPicture("The code in the picture is not from a label of a plug or a colony.")
    raise NoCodeInPicture(
        "There is no readable code in the picture. Wipe the label, hold the phone straight above it and let it fill "
        "a third of the picture, or type the code."
    )
