"""Measuring in photographs: pixels in, millimetres and colours out. No Django, no settings, no clock.

A printed code in the picture is identity, ruler and white reference at once (DESIGN, Photos). The usual way through:

    opened = open_picture(data)                  # opening: bytes → upright sRGB pixels, when it was taken
    labels = read_labels(opened)                 # every code in it, its corners and its plane
    measured = measure(                          # area, longest diameter, colour, each with how sure it is
        opened, outline_px=…, label_mm=12.0, symbol=labels[0],
        label_sd_mm=0.03,                        # print holds its scale to about 0.2 %
        height_sd_mm=5,                          # how far the colony may stand out of the label's plane
        outline_sd_px=HAND_OUTLINE_SD_PX,        # how far the outline may be off
    )
    if measured.poor: …                          # a clause for the keeper: why not to trust it
    plane = plane_from_points(opened.size_px, (x, y), (x, y), 50.0)  # no label: two points of known distance
    measure_outline(plane, outline_px)           # measuring: sizes alone

Modules: `errors` (refusals), `opening`, `symbol` (find, read, know its modules), `plane` (the homography to mm and how
sure it is), `measuring`, `colour` (white reference, CIELAB, CIEDE2000), `card` (where everything on a scale card is),
`ruler` (whether a card's code is as large as recorded), `drawn` (photographs drawn with known truth, for tests and the
demo).

Places in a picture are (x, y) in pixels of the upright picture; the middle of the first pixel is (0, 0). Places on the
plane are mm from the top left corner of the printed symbol, x along its upper edge, y down its left edge.
"""

from .card import CARDS, ScaleCard
from .colour import ColourSeen, WhiteReference, colour_difference, colour_inside, lab_from_srgb
from .errors import ImagingError, NoSymbolFound, PictureRefused
from .measuring import (
    HAND_OUTLINE_SD_PX,
    Measured,
    ReadLabel,
    SizeMeasured,
    choose_label,
    measure,
    measure_outline,
    read_labels,
    side_seen_mm,
    white_reference,
)
from .opening import OpenedPicture, open_picture
from .plane import Plane, apply_homography, fit_plane, focal_in_pixels, plane_from_points
from .ruler import RulerSeen, look_at_rulers
from .symbol import FoundSymbol, find_symbols

__all__ = [
    "CARDS",
    "HAND_OUTLINE_SD_PX",
    "ColourSeen",
    "FoundSymbol",
    "ImagingError",
    "Measured",
    "NoSymbolFound",
    "OpenedPicture",
    "PictureRefused",
    "Plane",
    "ReadLabel",
    "RulerSeen",
    "ScaleCard",
    "SizeMeasured",
    "WhiteReference",
    "apply_homography",
    "choose_label",
    "colour_difference",
    "colour_inside",
    "find_symbols",
    "fit_plane",
    "focal_in_pixels",
    "lab_from_srgb",
    "look_at_rulers",
    "measure",
    "measure_outline",
    "open_picture",
    "plane_from_points",
    "read_labels",
    "side_seen_mm",
    "white_reference",
]
