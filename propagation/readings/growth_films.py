"""A colony's measured pictures in order of time, and the films made of them."""

import hashlib
import io
import json
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import PurePosixPath

from django.db.models import Count, Q, QuerySet
from django.utils.functional import cached_property

from propagation.dates import day_in_words
from propagation.errors import PictureUnreadable
from propagation.lengths import INCH, unit_of
from propagation.models import Colony, GrowthFilm, Measure, Photo, PhotoMeasurement

FEWEST_PICTURES = 2
WORK = 1  # counted up when films come out otherwise of the same pictures
LEFT_BEHIND_AFTER = timedelta(minutes=10)  # a film takes half a minute; a worker that was killed never ends it
DAYS_IN_A_MONTH = 30.44
STRIP, POSTER, PLACEMENTS = ".strip.jpg", ".poster.jpg", ".json"
# What is made with a film and named by no record; it goes with the film and comes again with it.
BESIDE = "film-parts"


@dataclass(frozen=True, eq=False)
class MeasuredPicture:
    """A picture of a day and what was measured in it."""

    photo: Photo
    measurement: PhotoMeasurement
    age_days: int

    @property
    def day(self) -> date:
        return self.photo.taken_on

    @property
    def area_cm2(self) -> float:
        return self.measurement.area_mm2 / 100

    @property
    def age_words(self) -> str:
        """E.g. ``12 days`` or ``18 months``, from the day the colony began."""
        months = round(self.age_days / DAYS_IN_A_MONTH)
        if months < 2:
            return f"{self.age_days} day{'' if self.age_days == 1 else 's'}"
        return f"{months} months"

    def size_words(self, length_unit: str) -> str:
        return f"{unit_of(Measure.DIAMETER, length_unit).text(self.measurement.longest_mm)} across"

    @property
    def mm_from_pixel(self):
        return self.measurement.plane["mm_from_pixel"]


def measured_pictures(colony: Colony) -> list[MeasuredPicture]:
    """The pictures whose sizes are in the records, the oldest first, one a day: the surest. One query."""
    accepted = (
        PhotoMeasurement.objects.filter(
            photo__colony=colony,
            photo__set_aside_on=None,
            photo__width__isnull=False,
            accepted_at__isnull=False,
            outline__isnull=False,
        )
        .select_related("photo")
        .order_by("photo__taken_on", "photo_id")
    )
    of_a_day: dict[date, PhotoMeasurement] = {}
    for each in accepted:
        before = of_a_day.get(each.photo.taken_on)
        if before is None or _doubt(each) < _doubt(before):
            of_a_day[each.photo.taken_on] = each
    return [MeasuredPicture(each.photo, each, (day - colony.began_on).days) for day, each in of_a_day.items()]


def _doubt(measurement):
    return measurement.area_sd_mm2 / measurement.area_mm2


def digest_of(*subjects: tuple[Colony, list[MeasuredPicture]], length_unit: str) -> str:
    """What tells one film from another: the same pictures, planes, outlines and words make the same film."""
    told = [
        [
            colony.tag,
            colony.lineage.name,
            str(colony.began_on),
            [
                [
                    picture.photo.digest,
                    str(picture.day),
                    picture.mm_from_pixel,
                    picture.measurement.outline,
                    str(picture.measurement.label_mm),
                ]
                for picture in pictures
            ],
        ]
        for colony, pictures in subjects
    ]
    return hashlib.sha256(json.dumps([WORK, length_unit, told]).encode()).hexdigest()


def companions_of(colony: Colony) -> QuerySet:
    """Other colonies with pictures enough for a film side by side: the same line first, then by tag."""
    accepted = Q(photos__measurements__accepted_at__isnull=False, photos__set_aside_on=None)
    return (
        Colony.objects.exclude(pk=colony.pk)
        .annotate(n_pictures=Count("photos__taken_on", filter=accepted, distinct=True))
        .filter(n_pictures__gte=FEWEST_PICTURES)
        .select_related("lineage")
        .order_by("tag")
    )


@dataclass(frozen=True)
class GrowthInPictures:
    """What the page of a colony shows of its growth.

    ``film`` is the latest that is whole, ``coming`` one that is being made, ``failed`` one that could not be.
    """

    colony: Colony
    pictures: list[MeasuredPicture]
    to_review: int
    digest: str
    film: GrowthFilm | None
    coming: GrowthFilm | None
    failed: GrowthFilm | None
    side_by_side: list[GrowthFilm]
    companions: list[Colony]
    length_unit: str
    is_left_behind: bool

    @property
    def is_enough(self) -> bool:
        return len(self.pictures) >= FEWEST_PICTURES

    @property
    def is_current(self) -> bool:
        """Is the film made of the pictures there are now?"""
        return self.film is not None and self.film.digest == self.digest

    @cached_property
    def kin(self) -> list[Colony]:
        return [each for each in self.companions if each.lineage_id == self.colony.lineage_id]

    @cached_property
    def others(self) -> list[Colony]:
        return [each for each in self.companions if each.lineage_id != self.colony.lineage_id]

    @property
    def version(self) -> str:
        """Of the pictures in the strip, for their addresses."""
        return f"{self.digest[:12]}{'a' if self.is_current else ''}"

    headings = ("Day", "Age", "Longest diameter", "Area")

    @property
    def rows(self) -> list[list]:
        return rows_of(self.pictures, self.length_unit)


def rows_of(pictures: list[MeasuredPicture], length_unit: str) -> list[list]:
    """Day, age and sizes of each picture, as the table beside a film says them."""
    return [
        [
            day_in_words(each.day),
            each.age_words,
            unit_of(Measure.DIAMETER, length_unit).text(each.measurement.longest_mm),
            unit_of(Measure.AREA, length_unit).text(each.area_cm2),
        ]
        for each in pictures
    ]


def growth_in_pictures(colony: Colony, *, now: datetime, length_unit: str) -> GrowthInPictures:
    """What there is to be shown of a colony's growth. Two queries, three if pictures are enough, four if none is."""
    pictures = measured_pictures(colony)
    is_enough = len(pictures) >= FEWEST_PICTURES
    films = list(colony.films.select_related("beside__lineage")) if is_enough else []
    alone = [film for film in films if film.beside_id is None]
    coming = next((film for film in alone if film.made_at is None and not film.trouble), None)
    return GrowthInPictures(
        colony=colony,
        pictures=pictures,
        to_review=0 if is_enough else Photo.objects.to_review().filter(colony=colony).count(),
        digest=digest_of((colony, pictures), length_unit=length_unit) if is_enough else "",
        film=next((film for film in alone if film.made_at), None),
        coming=coming,
        failed=next((film for film in alone[:1] if film.trouble), None),
        side_by_side=[film for film in films if film.beside_id and film.made_at],
        companions=list(companions_of(colony)) if is_enough else [],
        length_unit=length_unit,
        is_left_behind=coming is not None and is_left_behind(coming, now),
    )


def is_left_behind(film: GrowthFilm, now: datetime) -> bool:
    """Has nobody ended it for so long that its worker must be gone?"""
    return film.made_at is None and film.asked_at < now - LEFT_BEHIND_AFTER


# -- from records to pictures


def film_subject(colony: Colony, pictures: list[MeasuredPicture], *, length_unit: str):
    """The colony as it stands in a film."""
    from propagation.imaging.film import Subject

    return Subject(colony.tag, colony.lineage.name, [film_picture(each, length_unit=length_unit) for each in pictures])


def film_picture(picture: MeasuredPicture, *, length_unit: str):
    """A picture as it stands in a film: opened when its turn comes."""
    import numpy as np

    from propagation.imaging.film import FilmPicture

    photo, measured = picture.photo, picture.measurement
    is_by_code = measured.scale_by != PhotoMeasurement.ScaleBy.POINTS and measured.label_mm
    return FilmPicture(
        open=lambda: _opened(photo),
        size_px=(photo.width, photo.height),
        mm_from_px=np.array(picture.mm_from_pixel, dtype=float),
        outline_px=np.array(measured.outline, dtype=float),
        day=picture.age_days,
        words=day_in_words(picture.day),
        more_words=f"{picture.size_words(length_unit)} · {picture.age_words}",
        label_mm=float(measured.label_mm) if is_by_code else None,
    )


def _opened(photo: Photo):
    """The pixels of the copy for the screen, or of the original where there is none. Raises PictureUnreadable."""
    from propagation.imaging.errors import ImagingError
    from propagation.imaging.opening import open_picture

    kept = photo.screen or photo.file
    try:
        with kept.open("rb") as file:
            return open_picture(file.read()).pixels
    except FileNotFoundError as error:
        raise PictureUnreadable(
            f"The file of {photo} is gone. Put it back from a copy of the folder of files, or set the photo aside."
        ) from error
    except ImagingError as error:
        raise PictureUnreadable(f"{photo}: {error}") from error


# -- what lies beside a film


def beside(film: GrowthFilm, suffix: str) -> str:
    """The name of a file that was made with a film."""
    return f"{BESIDE}/{PurePosixPath(film.mp4.name).stem}{suffix}"


def is_whole(film: GrowthFilm) -> bool:
    """Is every file of a film there?"""
    if not film.made_at:
        return False
    also = [POSTER] if film.beside_id else [POSTER, STRIP, PLACEMENTS]
    names = [film.mp4.name, film.webp.name, *(beside(film, suffix) for suffix in also)]
    return all(film.mp4.storage.exists(name) for name in names)


def placements_as_json(placements, pictures: list[MeasuredPicture]) -> bytes:
    """How each picture lies in a film, by its photo."""
    kept = {
        str(pictures[index].photo.pk): {"film_from_px": placed.film_from_px.tolist(), "sure": bool(placed.is_sure)}
        for index, placed in placements.items()
    }
    return json.dumps(kept).encode()


def _placements_of(film: GrowthFilm | None) -> dict[int, list]:
    if film is None:
        return {}
    try:
        with film.mp4.storage.open(beside(film, PLACEMENTS)) as file:
            return {int(photo): kept["film_from_px"] for photo, kept in json.loads(file.read()).items()}
    except (OSError, ValueError, KeyError):  # without, pictures are shown as they were taken
        return {}


CELL_PX = 320


def growth_cell(colony: Colony, photo_pk: int, *, length_unit: str) -> bytes | None:
    """One picture of a colony at the scale of all of them, as a JPEG of its pixels alone; None if it is none of them.

    Turned as in the film, if there is one of these pictures, else as it was taken. Two queries. Raises
    PictureUnreadable.
    """
    import numpy as np
    from PIL import Image

    from propagation.imaging.alignment import Placement
    from propagation.imaging.strip import draw_cell, place_as_taken, scale_of_cells

    pictures = measured_pictures(colony)
    wanted = next((each for each in pictures if each.photo.pk == photo_pk), None)
    if wanted is None:
        return None
    digest = digest_of((colony, pictures), length_unit=length_unit)
    film = colony.films.filter(beside=None, digest=digest, made_at__isnull=False).first()
    placed = _placements_of(film).get(photo_pk)
    drawn = [film_picture(each, length_unit=length_unit) for each in pictures]
    picture = drawn[pictures.index(wanted)]
    placement = Placement(np.array(placed), 0.0, True) if placed else place_as_taken(picture)
    cell = draw_cell(picture, placement, px_per_mm=scale_of_cells(drawn, CELL_PX), cell_px=CELL_PX)
    return jpeg_of(Image.fromarray(cell))


def jpeg_of(picture) -> bytes:
    """A drawn picture as JPEG; it knows nothing but its pixels."""
    written = io.BytesIO()
    picture.save(written, "JPEG", quality=86)
    return written.getvalue()


def is_in_inches(length_unit: str) -> bool:
    return length_unit == INCH
