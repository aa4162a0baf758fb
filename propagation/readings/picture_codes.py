"""Codes of plugs and colonies in a photo of their labels."""

import cv2
import numpy as np

from propagation.errors import NoCodeInPicture
from propagation.imaging.errors import NoSymbolFound
from propagation.imaging.symbol import find_symbols
from propagation.models import Colony, Plug
from propagation.readings.find import find_plug_or_colony
from propagation.readings.photo_labels import code_of_label, labels_of_photo
from propagation.sent_pictures import open_sent_picture

MOST_BYTES = 40 * 1024 * 1024  # the largest photos of phones are about 25 MB; common practice, no source
ENOUGH_PIXELS_A_SIDE = 4096  # a label that fills a twentieth of the picture still has 6 pixels a module


def codes_in_picture(data: bytes) -> list[str]:
    """The bare codes of plugs and colonies on the labels in a photo, e.g. ``["K7M42QXP"]``, each once.

    They come in the order of reading: from the top, then from the left. Whether a plug or a colony has such a code is
    for `find` to say.

    Raises PictureUnreadable for what is no picture, is too large or broken, and NoCodeInPicture if there is no label
    in it, or none of Ramet's.
    """
    pixels = _no_larger_than_needed(open_sent_picture(data, most_bytes=MOST_BYTES).pixels)
    try:
        seen = find_symbols(pixels)
    except NoSymbolFound as error:
        raise NoCodeInPicture(
            f"There is no readable code in the picture: {error.reason} You can also type the code."
        ) from error
    # A code of somebody else, or a scale card, may lie next to the label.
    found = [code for code in (code_of_label(symbol.text) for symbol in seen) if code]
    if not found:
        raise NoCodeInPicture("The code in the picture is not from a label of a plug or a colony.")
    return list(dict.fromkeys(found))


def text_aimed_at(data: bytes) -> str:
    """What the code nearest to the middle of a camera's frame says; empty while none can be read.

    Raises PictureUnreadable.
    """
    pixels = _no_larger_than_needed(open_sent_picture(data, most_bytes=MOST_BYTES).pixels)
    middle = np.array(pixels.shape[1::-1]) / 2
    try:
        seen = find_symbols(pixels)
    except NoSymbolFound:
        return ""
    return min(seen, key=lambda symbol: np.hypot(*(symbol.corners_px.mean(axis=0) - middle))).text


def labelled(text: str) -> Plug | Colony:
    """Whose label says this. Raises NoCodeInPicture for what is no label, NothingFound for what is nobody's here."""
    code = code_of_label(text)
    if not code:
        named = labels_of_photo([text])[0].named
        raise NoCodeInPicture(f"This is {named}, no label of a plug or a colony.")
    return find_plug_or_colony(code)


def _no_larger_than_needed(pixels: np.ndarray) -> np.ndarray:
    share = ENOUGH_PIXELS_A_SIDE / max(pixels.shape)
    return pixels if share >= 1 else cv2.resize(pixels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
