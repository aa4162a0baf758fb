from dataclasses import dataclass
from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from propagation.dates import day_in_words
from propagation.models.terms import WaterParameter


@dataclass(frozen=True)
class WaterLimits:
    """What a parameter should lie between, and how far it may move within so many days."""

    low: Decimal
    high: Decimal
    largest_swing: Decimal
    swing_days: int


# For stony corals. Common practice, no source, all of them; the keeper sets their own per system.
USUAL_LIMITS = {
    WaterParameter.TEMPERATURE: WaterLimits(Decimal("23.5"), Decimal("27.5"), Decimal("2"), 2),
    WaterParameter.SALINITY: WaterLimits(Decimal("33"), Decimal("36.5"), Decimal("1.5"), 3),
    WaterParameter.ALKALINITY: WaterLimits(Decimal("6.5"), Decimal("10"), Decimal("1"), 3),
    WaterParameter.CALCIUM: WaterLimits(Decimal("380"), Decimal("480"), Decimal("40"), 7),
    WaterParameter.MAGNESIUM: WaterLimits(Decimal("1200"), Decimal("1500"), Decimal("100"), 7),
    WaterParameter.NITRATE: WaterLimits(Decimal("0.5"), Decimal("25"), Decimal("10"), 7),
    WaterParameter.PHOSPHATE: WaterLimits(Decimal("0.01"), Decimal("0.2"), Decimal("0.1"), 7),
    WaterParameter.PH: WaterLimits(Decimal("7.8"), Decimal("8.6"), Decimal("0.5"), 3),
}


class WaterRange(models.Model):
    """A keeper's own limits of one parameter, for one system or, without one, for all."""

    system = models.ForeignKey(
        "propagation.System", on_delete=models.PROTECT, null=True, blank=True, related_name="water_ranges"
    )
    parameter = models.CharField(max_length=14, choices=WaterParameter)
    low = models.DecimalField("At least", max_digits=8, decimal_places=3)
    high = models.DecimalField("At most", max_digits=8, decimal_places=3)
    largest_swing = models.DecimalField("Largest swing", max_digits=8, decimal_places=3)
    swing_days = models.PositiveSmallIntegerField(
        "Within days", default=3, validators=[MinValueValidator(1), MaxValueValidator(60)]
    )

    history = HistoricalRecords()

    class Meta:
        ordering = ["system", "parameter"]
        constraints = [
            models.UniqueConstraint(fields=["system", "parameter"], name="one_water_range_per_system_and_parameter"),
            models.UniqueConstraint(
                fields=["parameter"], condition=Q(system=None), name="one_water_range_for_all_per_parameter"
            ),
            models.CheckConstraint(condition=Q(low__gte=0, low__lt=F("high")), name="water_range_runs_upwards"),
            models.CheckConstraint(condition=Q(largest_swing__gt=0), name="water_swing_is_positive"),
            models.CheckConstraint(condition=Q(swing_days__range=(1, 60)), name="water_swing_has_days"),
        ]

    def __str__(self):
        return f"{self.get_parameter_display()} {self.low}–{self.high}"

    @property
    def limits(self) -> WaterLimits:
        return WaterLimits(self.low, self.high, self.largest_swing, self.swing_days)


class WaterTestQuerySet(models.QuerySet):
    def standing(self):
        """Tests that hold: those that were not taken back."""
        return self.filter(withdrawn_at=None)


class WaterTest(models.Model):
    """One parameter of a system measured on a day; one entered by mistake is taken back, not deleted."""

    system = models.ForeignKey("propagation.System", on_delete=models.PROTECT, related_name="water_tests")
    parameter = models.CharField(max_length=14, choices=WaterParameter)
    taken_on = models.DateField()
    value = models.DecimalField(max_digits=8, decimal_places=3)
    note = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField(auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True, editable=False)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+", editable=False
    )

    objects = WaterTestQuerySet.as_manager()

    class Meta:
        ordering = ["-taken_on", "-id"]
        constraints = [models.CheckConstraint(condition=Q(value__gte=0), name="water_value_is_not_negative")]
        indexes = [models.Index(fields=["system", "parameter", "-taken_on"], name="water_tests_of_system")]

    def __str__(self):
        what = f"{self.get_parameter_display()} {self.value.normalize():f}"
        return f"{what} in {self.system} on {day_in_words(self.taken_on)}"

    @property
    def unit(self) -> str:
        return WaterParameter(self.parameter).unit
