from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower


class LabelStock(models.Model):
    """The geometry of a sheet or roll of labels, in millimetres."""

    class Kind(models.TextChoices):
        SHEET = "sheet", "Sheet"
        ROLL = "roll", "Roll"

    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=5, choices=Kind, default=Kind.SHEET)
    page_width_mm = models.FloatField("Page width (mm)", validators=[MinValueValidator(5), MaxValueValidator(1000)])
    page_height_mm = models.FloatField("Page height (mm)", validators=[MinValueValidator(5), MaxValueValidator(1500)])
    label_width_mm = models.FloatField("Label width (mm)", validators=[MinValueValidator(5), MaxValueValidator(500)])
    label_height_mm = models.FloatField("Label height (mm)", validators=[MinValueValidator(5), MaxValueValidator(500)])
    columns = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(50)])
    rows = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(100)])
    left_mm = models.FloatField("Left margin (mm)", default=0, validators=[MinValueValidator(0)])
    top_mm = models.FloatField("Top margin (mm)", default=0, validators=[MinValueValidator(0)])
    pitch_x_mm = models.FloatField(
        "From one label's left edge to the next (mm)", default=0, validators=[MinValueValidator(0)]
    )
    pitch_y_mm = models.FloatField(
        "From one label's top edge to the next (mm)", default=0, validators=[MinValueValidator(0)]
    )
    corner_radius_mm = models.FloatField("Corner radius (mm)", default=0, validators=[MinValueValidator(0)])
    is_shipped = models.BooleanField(default=False, editable=False)  # came with Ramet, not defined by the keeper

    class Meta:
        ordering = ["kind", "name"]
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="one_stock_per_name",
                violation_error_message="There is a stock of this name already.",
            ),
            models.CheckConstraint(
                condition=Q(page_width_mm__gt=0, page_height_mm__gt=0, label_width_mm__gt=0, label_height_mm__gt=0)
                & Q(columns__gte=1, rows__gte=1),
                name="stock_measures_positive",
            ),
        ]

    def __str__(self):
        return self.name

    @property
    def labels_per_page(self) -> int:
        return self.columns * self.rows
