"""A new outline for a photo, from a box or a few strokes drawn by hand. Nothing is written."""

from collections.abc import Sequence

from propagation.actions.measure_photo import open_photo
from propagation.errors import BadValue
from propagation.imaging.errors import ImagingError, NoSymbolFound
from propagation.imaging.measuring import read_labels
from propagation.imaging.outline import propose_outline as propose_in
from propagation.imaging.polygons import box_around
from propagation.models import Photo
from propagation.photo_planes import plane_from_json

MOST_STROKES = 40
MOST_STROKE_POINTS = 4000
MORE_THAN_LAST = 0.2  # of its sides


def propose_outline(
    *,
    photo: Photo,
    box: Sequence[float] | None = None,
    inside: Sequence[Sequence[Sequence[float]]] = (),
    outside: Sequence[Sequence[Sequence[float]]] = (),
) -> list[list[float]]:
    """The outline of the coral in a box and by strokes that belong to it or do not, in pixels of the upright photo.

    Without a box the last outline says where to look. Raises BadValue, PictureUnreadable.
    """
    for strokes in (inside, outside):
        if len(strokes) > MOST_STROKES or sum(map(len, strokes)) > MOST_STROKE_POINTS:
            raise BadValue("These are too many strokes; a few short ones are enough.", field="strokes")
    if box is None:
        box = _box_of_last(photo, inside)
    if box is None and not inside:
        raise BadValue("Draw a box around the coral first.", field="box")
    opened = open_photo(photo)
    try:
        found = propose_in(opened.pixels, box=box, inside=inside, outside=outside, labels_px=_labels_in(photo, opened))
    except ImagingError as error:
        raise BadValue(str(error), field="box") from error
    return [[round(float(x), 1), round(float(y), 1)] for x, y in found]


def _labels_in(photo, opened):
    """Where the label lies: as it was kept with what was measured by it, else by reading the codes anew."""
    by_label = photo.measurements.exclude(read="").order_by("-id").first()
    if by_label is not None:
        return [plane_from_json(by_label.plane).corners_px]
    try:
        return [each.corners_px for each in read_labels(opened)]
    except NoSymbolFound:
        return []


def _box_of_last(photo, inside):
    """A little more than the last outline and what is said to belong to it, or None without one."""
    last = photo.measurements.exclude(outline=None).order_by("-id").first()
    if last is None:
        return None
    points = [*last.outline, *(point for stroke in inside for point in stroke)]
    left, top, right, bottom = box_around(points, larger=MORE_THAN_LAST)
    return max(0.0, left), max(0.0, top), min(float(photo.width), right), min(float(photo.height), bottom)
