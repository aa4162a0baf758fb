"""Photos: pictures as they came, what was measured in them, and the films made of them."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.timezone import localdate
from simple_history.models import HistoricalRecords

from propagation.dates import day_in_words


def original_path(photo, name):
    """Where an original is kept: by the year it arrived, under a name nobody can guess."""
    return f"photos/{photo.arrived_at:%Y}/{uuid.uuid4().hex}{photo.suffix}"


def copy_path(photo, name):
    """Where a copy without metadata is kept."""
    return f"photo-copies/{photo.arrived_at:%Y}/{uuid.uuid4().hex}.jpg"


class PhotoRound(models.Model):
    """Photos that were handed over together, mostly the round of a month."""

    begun_at = models.DateTimeField(auto_now_add=True)
    begun_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    # Set when the page is opened: what is sent in parts, or twice, comes into one round.
    submission = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)

    class Meta:
        ordering = ["-begun_at", "-id"]

    def __str__(self):
        return f"Photos of {day_in_words(localdate(self.begun_at))}"


class PhotoQuerySet(models.QuerySet):
    def waiting(self):
        """Photos that nobody has looked into yet: the worker will."""
        return self.filter(looked_at=None)

    def unsorted(self):
        """Looked into, of no colony and no plug: to be sorted by hand."""
        return self.filter(looked_at__isnull=False, colony=None, plug=None, set_aside_on=None)

    def to_review(self):
        """Measured, and neither accepted nor set aside."""
        return self.filter(
            Q(colony__isnull=False) | Q(plug__isnull=False),
            looked_at__isnull=False,
            reviewed_at=None,
            set_aside_on=None,
        )

    def in_use(self):
        """Photos that show something known and were not set aside."""
        return self.filter(Q(colony__isnull=False) | Q(plug__isnull=False), set_aside_on=None)

    def shown(self):
        """Photos that others may see."""
        return self.in_use().filter(is_shown=True)


class Photo(models.Model):
    """One picture of a colony or a plug. The original stays as it came; others see copies without metadata only."""

    class DatedBy(models.TextChoices):
        CAMERA = "camera", "By the camera"
        KEEPER = "keeper", "By hand"
        ARRIVAL = "arrival", "By the day it was added"

    class SortedBy(models.TextChoices):
        CODE = "code", "By the code in it"
        HAND = "hand", "By hand"

    file = models.FileField(upload_to=original_path, max_length=200)
    digest = models.CharField(max_length=64, unique=True, editable=False, help_text="SHA-256 of the file as it came.")
    name = models.CharField("Name of the file", max_length=255)
    suffix = models.CharField(max_length=8)
    size_bytes = models.PositiveBigIntegerField()
    width = models.PositiveIntegerField(null=True, blank=True, help_text="Upright, in pixels.")
    height = models.PositiveIntegerField(null=True, blank=True)
    round = models.ForeignKey(PhotoRound, on_delete=models.PROTECT, null=True, blank=True, related_name="photos")
    arrived_at = models.DateTimeField()
    arrived_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    taken_on = models.DateField()
    taken_time = models.TimeField(null=True, blank=True, help_text="As the camera's clock showed it.")
    dated_by = models.CharField(max_length=7, choices=DatedBy, default=DatedBy.ARRIVAL)
    colony = models.ForeignKey(
        "propagation.Colony", on_delete=models.PROTECT, null=True, blank=True, related_name="photos"
    )
    plug = models.ForeignKey("propagation.Plug", on_delete=models.PROTECT, null=True, blank=True, related_name="photos")
    sorted_by = models.CharField(max_length=4, choices=SortedBy, blank=True)

    looked_at = models.DateTimeField(null=True, blank=True, help_text="When it was opened, sorted and measured.")
    trouble = models.CharField("What is wrong with it", max_length=300, blank=True)
    reviewed_at = models.DateTimeField(null=True, blank=True)
    set_aside_on = models.DateField(null=True, blank=True)
    is_shown = models.BooleanField("Others may see it", default=False)
    is_drawn = models.BooleanField("Drawn, not taken", default=False, editable=False)
    note = models.CharField(max_length=200, blank=True)

    # Copies of the pixels alone.
    screen = models.FileField(upload_to=copy_path, max_length=200, blank=True, editable=False)
    thumbnail = models.FileField(upload_to=copy_path, max_length=200, blank=True, editable=False)

    history = HistoricalRecords(excluded_fields=["file", "screen", "thumbnail"])
    objects = PhotoQuerySet.as_manager()

    class Meta:
        ordering = ["-taken_on", "-taken_time", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(colony=None) | Q(plug=None), name="photo_is_of_one_thing"),
            models.CheckConstraint(
                condition=Q(colony=None, plug=None, sorted_by="") | (~Q(colony=None, plug=None) & ~Q(sorted_by="")),
                name="photo_was_sorted_somehow",
            ),
            models.CheckConstraint(
                condition=Q(is_shown=False) | ~Q(colony=None, plug=None), name="photo_shown_is_of_something"
            ),
            models.CheckConstraint(
                condition=Q(reviewed_at=None) | ~Q(colony=None, plug=None), name="photo_reviewed_is_of_something"
            ),
        ]
        indexes = [
            models.Index(fields=["colony", "-taken_on", "-id"], name="photos_of_a_colony"),
            models.Index(fields=["plug", "-taken_on", "-id"], name="photos_of_a_plug"),
            models.Index(fields=["id"], condition=Q(reviewed_at=None, set_aside_on=None), name="photos_not_done"),
        ]

    def __str__(self):
        return self.name

    @property
    def shows(self):
        """The colony or plug it is of, or None."""
        return self.colony or self.plug


class PhotoMeasurement(models.Model):
    """What was measured in a photo, once: the scale, the outline and the numbers. A mended outline makes another."""

    class ScaleBy(models.TextChoices):
        LABEL = "label", "By a label"
        CARD = "card", "By a scale card"
        POINTS = "points", "By two points"

    class OutlineBy(models.TextChoices):
        PROPOSED = "proposed", "Proposed"
        KEEPER = "keeper", "Drawn by hand"

    photo = models.ForeignKey(Photo, on_delete=models.PROTECT, related_name="measurements")
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    scale_by = models.CharField(max_length=6, choices=ScaleBy)
    read = models.CharField("What the code says", max_length=300, blank=True)
    label_mm = models.DecimalField("Side of the code (mm)", max_digits=6, decimal_places=2, null=True, blank=True)
    plane = models.JSONField(help_text="3 × 3 homography from upright pixels to mm, with what else its maker needs.")
    px_per_mm = models.FloatField()
    tilt_deg = models.FloatField(null=True, blank=True)
    outline = models.JSONField(null=True, blank=True, help_text="[[x, y], …] in pixels of the upright picture.")
    outline_by = models.CharField(max_length=8, choices=OutlineBy, blank=True)
    area_mm2 = models.FloatField(null=True, blank=True)
    area_sd_mm2 = models.FloatField(null=True, blank=True)
    longest_mm = models.FloatField(null=True, blank=True)
    longest_sd_mm = models.FloatField(null=True, blank=True)
    colour = models.JSONField(
        null=True, blank=True, help_text="CIELAB (D65, 2°): mean, spread, what the white was taken from."
    )
    doubts = models.JSONField(default=list, help_text="Sentences on what makes it less sure.")
    accepted_at = models.DateTimeField(null=True, blank=True)
    area_reading = models.OneToOneField(
        "propagation.SizeReading", on_delete=models.PROTECT, null=True, blank=True, related_name="area_measurement"
    )
    longest_reading = models.OneToOneField(
        "propagation.SizeReading", on_delete=models.PROTECT, null=True, blank=True, related_name="longest_measurement"
    )

    class Meta:
        ordering = ["photo", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["photo"], condition=Q(accepted_at__isnull=False), name="one_accepted_measurement_per_photo"
            ),
            models.CheckConstraint(
                condition=Q(outline=None, area_mm2=None, longest_mm=None)
                | Q(outline__isnull=False, area_mm2__gt=0, longest_mm__gt=0, area_sd_mm2__gt=0, longest_sd_mm__gt=0),
                name="measured_sizes_come_with_outline_and_uncertainty",
            ),
            models.CheckConstraint(condition=Q(px_per_mm__gt=0), name="scale_is_positive"),
        ]

    def __str__(self):
        return f"Measured in {self.photo}"


class GrowthFilm(models.Model):
    """A film of a colony's pictures at one scale, or of two colonies side by side at equal age."""

    colony = models.ForeignKey("propagation.Colony", on_delete=models.PROTECT, related_name="films")
    beside = models.ForeignKey(
        "propagation.Colony", on_delete=models.PROTECT, null=True, blank=True, related_name="films_beside"
    )
    # Of the pictures, their planes and outlines: the same ones make the same film, which need not be made again.
    digest = models.CharField(max_length=64)
    asked_at = models.DateTimeField(auto_now_add=True)
    made_at = models.DateTimeField(null=True, blank=True)
    trouble = models.CharField(max_length=300, blank=True)
    frames = models.PositiveIntegerField(default=0)
    mp4 = models.FileField(upload_to="films/%Y/", max_length=200, blank=True)
    webp = models.FileField(upload_to="films/%Y/", max_length=200, blank=True)

    class Meta:
        ordering = ["-asked_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["colony", "digest"], condition=Q(beside=None), name="one_film_of_the_same_pictures"
            ),
            models.UniqueConstraint(
                fields=["colony", "beside", "digest"],
                condition=Q(beside__isnull=False),
                name="one_film_of_the_same_pictures_side_by_side",
            ),
        ]

    def __str__(self):
        return f"Film of {self.colony}" + (f" beside {self.beside}" if self.beside_id else "")
