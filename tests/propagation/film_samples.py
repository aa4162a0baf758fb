"""Colonies with drawn photos whose sizes are in the records, for the tests of films."""

import io
from datetime import date, timedelta
from functools import cache

import numpy as np
from django.core.files.base import ContentFile
from django.utils import timezone
from PIL import Image

from propagation.imaging.drawn_growth import DrawnIndividual, draw_growth
from propagation.imaging.plane import Plane
from propagation.models import Photo, PhotoMeasurement
from propagation.photo_planes import plane_as_json

SIZE = (320, 240)
BEGAN = date(2025, 6, 1)


@cache
def drawn_at(form, seed, longest_mm, number):
    """A drawn photo; many tests want the same ones."""
    return draw_growth(
        DrawnIndividual(form, seed),
        longest_mm=longest_mm,
        text="HTTPS://RAMET.EXAMPLE/Q/7H2KQ9XM",
        size_px=SIZE,
        seed=number,
    )


def grown(colony, months=3, *, form="branching", seed=7, first_mm=28.0, a_month_mm=9.0, first_day=BEGAN, every=30):
    """Give a colony a measured photo a month, as a review leaves it; returns the drawn photos."""
    drawn = [drawn_at(form, seed, first_mm + month * a_month_mm, month) for month in range(months)]
    for month, picture in enumerate(drawn):
        measured_photo(colony, picture, first_day + timedelta(days=every * month))
    return drawn


def measured_photo(colony, drawn, day, *, accepted=True, number=0):
    """The photo and what was measured in it, written directly: the intake has tests of its own."""
    now = timezone.now()
    photo = Photo(
        digest=f"{colony.pk:020x}{day:%Y%m%d}{number:04d}".rjust(64, "0"),
        name=f"{colony.tag} {day}.jpg",
        suffix=".jpg",
        size_bytes=len(drawn.jpeg),
        width=SIZE[0],
        height=SIZE[1],
        arrived_at=now,
        taken_on=day,
        colony=colony,
        sorted_by=Photo.SortedBy.CODE,
        looked_at=now,
        reviewed_at=now if accepted else None,
        is_drawn=True,
    )
    photo.file.save("original.jpg", ContentFile(drawn.jpeg), save=False)
    bare = io.BytesIO()
    Image.fromarray(drawn.pixels).save(bare, "JPEG", quality=90)
    photo.screen.save("screen.jpg", ContentFile(bare.getvalue()), save=False)
    photo.save()
    plane = Plane(
        mm_from_pixel=drawn.mm_from_pixel,
        side_mm=drawn.label_mm,
        covariance=1e-9 * np.eye(8),
        size_px=SIZE,
        side_px=30.0,
    )
    PhotoMeasurement.objects.create(
        photo=photo,
        scale_by=PhotoMeasurement.ScaleBy.LABEL,
        read=drawn.text,
        label_mm=drawn.label_mm,
        plane=plane_as_json(plane),
        px_per_mm=2.0,
        outline=drawn.outline_px[::4].round(2).tolist(),
        outline_by=PhotoMeasurement.OutlineBy.PROPOSED,
        area_mm2=drawn.area_mm2,
        area_sd_mm2=drawn.area_mm2 * 0.02,
        longest_mm=drawn.longest_mm,
        longest_sd_mm=drawn.longest_mm * 0.01,
        accepted_at=now if accepted else None,
    )
    return photo
