"""Measuring in a photo: by its label, by two points, or anew with an outline that was mended."""

from collections.abc import Sequence
from decimal import Decimal

import numpy as np
from django.db import transaction

from propagation.actions.sort_photo import locked_photo, refuse_set_aside, save_photo
from propagation.errors import BadValue, PictureUnreadable
from propagation.imaging.card import ScaleCard, card_with_symbol
from propagation.imaging.colour import NO_WHITE, colour_inside
from propagation.imaging.errors import ImagingError, NoWhite
from propagation.imaging.measuring import (
    HAND_OUTLINE_SD_PX,
    PROPOSED_OUTLINE_SD_PX,
    USUAL_HEIGHT_SD_MM,
    ReadLabel,
    measure_outline,
    read_labels,
    side_seen_mm,
    white_reference,
)
from propagation.imaging.opening import OpenedPicture, open_picture
from propagation.imaging.outline import Proposal, propose, propose_box
from propagation.imaging.plane import Plane, plane_from_points
from propagation.imaging.polygons import box_around
from propagation.lengths import plain
from propagation.models import Colony, Photo, PhotoMeasurement, Plug
from propagation.photo_planes import doubts_of_scale, plane_as_json, plane_from_json
from propagation.readings.photo_labels import PhotoLabel

PRINT_SD = 0.002  # of a label's side: a printer holds its scale to about 0.2 % (common practice, no source)
SIDE_DIFFERS = 0.03  # seen by another label: more than both prints and planes are off (common practice, no source)
MOST_POINTS = 5000  # of an outline
DECIMALS_OF_A_PIXEL = 2


def ruler_of(read: Sequence[ReadLabel], label: PhotoLabel) -> ReadLabel:
    """The reading in the picture of a label, with its plane in mm."""
    found = max((each for each in read if each.text == label.text), key=lambda each: each.px_per_module)
    side = float(label.side_mm)
    plane = found.plane.scaled(side, sd_mm=PRINT_SD * side)
    return ReadLabel(found.text, found.symbol, plane)


def doubts_about_scale(ruler: ReadLabel, label: PhotoLabel, read: Sequence[ReadLabel], labels) -> list[str]:
    """Sentences on what speaks against the size of the label that is measured by."""
    doubts = []
    if not label.is_card and label.printed.others_mm:
        others = " and ".join(f"{plain(side)}" for side in label.printed.others_mm)
        doubts.append(
            f"The code of {label.named} was printed {plain(label.side_mm)} mm wide last, and {others} mm before. "
            "With another of these labels in the picture the sizes are wrong."
        )
    for each in labels:
        if each.text == label.text or each.side_mm is None:
            continue
        seen = side_seen_mm(next(one for one in read if one.text == each.text), ruler.plane)
        if abs(seen / float(each.side_mm) - 1) > SIDE_DIFFERS:
            doubts.append(
                f"By the code of {label.named} that of {each.named} is {seen:.1f} mm wide, but it was printed "
                f"{plain(each.side_mm)} mm wide. One of them is not the label that the records mean, or was scaled in "
                "print."
            )
    return doubts


def measurement_by_label(
    photo: Photo,
    opened: OpenedPicture,
    ruler: ReadLabel,
    label: PhotoLabel,
    *,
    proposal: Proposal | None,
    doubts: Sequence[str] = (),
) -> PhotoMeasurement:
    """What is measured by a label, not yet saved; without an outline the scale alone."""
    made = PhotoMeasurement(
        photo=photo,
        scale_by=PhotoMeasurement.ScaleBy.CARD if label.is_card else PhotoMeasurement.ScaleBy.LABEL,
        read=label.text[: PhotoMeasurement._meta.get_field("read").max_length],
        label_mm=label.side_mm,
    )
    _take_plane(made, ruler.plane, doubts)
    if proposal is not None:
        card = card_of(label.card_mm) if label.is_card else None
        try:
            _take_outline(
                made, ruler.plane, proposal.points, PhotoMeasurement.OutlineBy.PROPOSED, outline_sd=proposal.sds
            )
        except ImagingError:
            return made  # the scale holds; an outline is drawn by hand
        made.doubts.extend(proposal.doubts)
        made.colour = colour_in(opened.pixels, proposal.points, ruler, card)
    return made


def card_of(side_mm: Decimal) -> ScaleCard | None:
    """The scale card whose code has this side; None for a size that no card has, whose paper is white all the same."""
    try:
        return card_with_symbol(float(side_mm))
    except ValueError:
        return None


def propose_outline_in(
    pixels: np.ndarray, read: Sequence[ReadLabel], *, last_outline_px: np.ndarray | None = None
) -> Proposal | None:
    """The outline of what the picture is of, where it seems to be; None if nothing stands out.

    ``last_outline_px`` is that of the picture before, brought into this one.
    """
    labels_px = [each.corners_px for each in read]
    try:
        box = propose_box(pixels, labels_px, last_outline_px=last_outline_px)
        if box is None:
            return None
        first = propose(pixels, box=box, labels_px=labels_px)
        if first.is_sure:
            return first
        # The box was found, not drawn: one that fits what was seen in it tells whether that holds.
        return propose(pixels, box=box_around(first.points), labels_px=labels_px)
    except ImagingError:
        return None


def last_outline_in(plane: Plane, of: Colony | Plug | None) -> np.ndarray | None:
    """The outline last measured of a colony or plug, as far from its label as then, in the pixels of this plane."""
    if of is None:
        return None
    kind = "colony" if isinstance(of, Colony) else "plug"
    measured = PhotoMeasurement.objects.filter(
        **{f"photo__{kind}": of}, photo__set_aside_on=None, outline__isnull=False
    )
    last = measured.order_by("-photo__taken_on", "-photo_id", "-id").first()
    if last is None:
        return None
    there = plane_from_json(last.plane).to_mm(np.array(last.outline, dtype=float))
    outline = plane.to_pixels(there)
    return outline if np.isfinite(outline).all() else None


def colour_in(pixels, outline_px, ruler: ReadLabel | None, card=None) -> dict | None:
    """The colour inside an outline after the white reference of a label, as it is kept; None where there is none."""
    notes = []
    white = NO_WHITE
    if ruler is not None:
        try:
            white = white_reference(pixels, ruler, card=card)
        except NoWhite as error:
            notes.append(str(error))
    try:
        seen = colour_inside(pixels, np.asarray(outline_px, dtype=float), white)
    except NoWhite:
        return None
    return {
        "mean": [round(value, 2) for value in seen.lab],
        "spread": [round(value, 2) for value in seen.spread],
        "white": white.source,
        "clipped": int(seen.clipped),
        "notes": [*notes, *seen.notes],
    }


def _take_plane(made: PhotoMeasurement, plane: Plane, doubts: Sequence[str]) -> None:
    made.plane = plane_as_json(plane, doubts)
    made.px_per_mm = plane.px_per_mm()
    made.tilt_deg = plane.tilt_deg
    made.doubts = [*doubts]
    if plane.poor:
        made.doubts.append(_sentence(plane.poor))


def _take_outline(made: PhotoMeasurement, plane: Plane, outline_px, by: str, *, outline_sd=(0.0, 0.0)) -> None:
    """Measure an outline in a plane. Raises BadOutline, BadScale."""
    by_hand = by == PhotoMeasurement.OutlineBy.KEEPER
    size = measure_outline(
        plane,
        outline_px,
        height_sd_mm=USUAL_HEIGHT_SD_MM,
        outline_sd_px=HAND_OUTLINE_SD_PX if by_hand else PROPOSED_OUTLINE_SD_PX,
        outline_sd=outline_sd,
    )
    made.outline = np.round(np.asarray(outline_px, dtype=float), DECIMALS_OF_A_PIXEL).tolist()
    made.outline_by = by
    made.area_mm2, made.area_sd_mm2 = size.area_mm2, size.sd_area_mm2
    made.longest_mm, made.longest_sd_mm = size.longest_mm, size.sd_longest_mm
    if size.poor and not plane.poor:
        made.doubts.append(_sentence(size.poor))


def _sentence(clause: str) -> str:
    clause = clause.strip()
    return clause[:1].upper() + clause[1:] + ("" if clause.endswith((".", "!", "?")) else ".")


def open_photo(photo: Photo) -> OpenedPicture:
    """The pixels of a photo's original. Raises PictureUnreadable."""
    try:
        with photo.file.open("rb") as file:
            return open_picture(file.read())
    except FileNotFoundError as error:
        raise PictureUnreadable(
            f"The file of {photo} is gone. Put it back from a copy of the folder of files, or add the photo again."
        ) from error
    except ImagingError as error:
        raise PictureUnreadable(str(error)) from error


def mend_outline(
    *, photo: Photo, outline: Sequence[Sequence[float]], based_on: PhotoMeasurement | None = None, by=None
) -> PhotoMeasurement:
    """Measure with an outline drawn or mended by hand, in the scale that the photo has; what was measured before stays.

    ``based_on`` is the measurement whose scale is meant, by default the last. Raises BadValue for an outline that
    cannot be measured or a photo without a scale, AlreadyDone for one set aside, PictureUnreadable.
    """
    outline = _checked_outline(outline)
    refuse_set_aside(photo)
    base = based_on or photo.measurements.order_by("-id").first()
    if base is None:
        raise BadValue(f"{photo} has no scale yet. Set one by two points of known distance.", field="outline")
    plane = plane_from_json(base.plane)
    made = PhotoMeasurement(photo=photo, scale_by=base.scale_by, read=base.read, label_mm=base.label_mm, made_by=by)
    _take_plane(made, plane, doubts_of_scale(base.plane))
    try:
        _take_outline(made, plane, outline, PhotoMeasurement.OutlineBy.KEEPER)
    except ImagingError as error:
        raise BadValue(str(error), field="outline") from error
    opened = open_photo(photo)
    made.colour = colour_in(opened.pixels, outline, _ruler_again(opened, base, plane))
    return _keep(photo, made)


def _ruler_again(opened: OpenedPicture, base: PhotoMeasurement, plane: Plane) -> ReadLabel | None:
    """The label that was measured by, read again for the white of its paper."""
    if not base.read:
        return None
    try:
        read = read_labels(opened)
    except ImagingError:
        return None
    found = [each for each in read if each.text == base.read]
    return ReadLabel(found[0].text, found[0].symbol, plane) if found else None


def scale_by_points(
    *, photo: Photo, first: Sequence[float], last: Sequence[float], distance_mm: Decimal, by=None
) -> PhotoMeasurement:
    """Give a photo a scale by two points of known distance; an outline that it has is measured anew by it.

    Raises BadValue for points or a distance that give none, AlreadyDone for a photo set aside.
    """
    refuse_set_aside(photo)
    if not photo.width:
        raise BadValue(f"{photo} could not be opened, so there is nothing to measure in it.")
    try:
        plane = plane_from_points((photo.width, photo.height), first, last, float(distance_mm))
    except (ImagingError, TypeError, ValueError) as error:
        sentence = str(error) if isinstance(error, ImagingError) else "It takes two points in the picture."
        raise BadValue(sentence, field="marks") from error
    base = photo.measurements.order_by("-id").first()
    made = PhotoMeasurement(photo=photo, scale_by=PhotoMeasurement.ScaleBy.POINTS, made_by=by)
    _take_plane(made, plane, ())
    if base is not None and base.outline:
        try:
            outline_sd, outline_doubts = _said_of_outline(base)
            _take_outline(made, plane, base.outline, base.outline_by, outline_sd=outline_sd)
        except ImagingError as error:
            raise BadValue(str(error), field="marks") from error
        made.doubts.extend(outline_doubts)
        made.colour = base.colour
    return _keep(photo, made)


def _said_of_outline(measured: PhotoMeasurement) -> tuple[tuple[float, float], list[str]]:
    """How unsure its outline was, as relative sds of area and longest diameter, and the sentences on that.

    Both are what is left of what was said of the sizes after what the scale alone says of them.
    """
    plane = plane_from_json(measured.plane)
    by_scale = PhotoMeasurement()
    _take_outline(by_scale, plane, measured.outline, measured.outline_by)
    pairs = (
        (measured.area_sd_mm2 / measured.area_mm2, by_scale.area_sd_mm2 / by_scale.area_mm2),
        (measured.longest_sd_mm / measured.longest_mm, by_scale.longest_sd_mm / by_scale.longest_mm),
    )
    outline_sd = tuple(max(said**2 - scale**2, 0.0) ** 0.5 for said, scale in pairs)
    _take_plane(by_scale, plane, doubts_of_scale(measured.plane))
    _take_outline(by_scale, plane, measured.outline, measured.outline_by, outline_sd=outline_sd)
    return outline_sd, [doubt for doubt in measured.doubts if doubt not in by_scale.doubts]


def _checked_outline(outline) -> np.ndarray:
    try:
        points = np.array(outline, dtype=float)
    except (TypeError, ValueError) as error:
        raise BadValue("The outline is not understood; draw it again.", field="outline") from error
    if points.ndim != 2 or points.shape[1:] != (2,) or not 3 <= len(points) <= MOST_POINTS:
        raise BadValue("An outline has at least three points; draw it around the coral.", field="outline")
    return points


@transaction.atomic
def _keep(photo: Photo, made: PhotoMeasurement) -> PhotoMeasurement:
    """Save what was measured by hand. The photo is to be reviewed again; sizes in the records stay until then."""
    photo = locked_photo(photo)
    made.photo = photo
    made.save()
    if photo.reviewed_at:
        photo.reviewed_at = None
        save_photo(photo, "reviewed_at", by=made.made_by)
    return made
