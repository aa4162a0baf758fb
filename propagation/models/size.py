from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from propagation.dates import day_in_words
from propagation.models.terms import Measure, Method


class SizeReading(models.Model):
    """One measured size of a colony or plug."""

    colony = models.ForeignKey(
        "propagation.Colony", on_delete=models.PROTECT, null=True, blank=True, related_name="size_readings"
    )
    plug = models.ForeignKey(
        "propagation.Plug", on_delete=models.PROTECT, null=True, blank=True, related_name="size_readings"
    )
    # Written when a session is saved with sizes, so correcting the session corrects them.
    cut_event = models.ForeignKey(
        "propagation.CutEvent", on_delete=models.PROTECT, null=True, blank=True, related_name="size_readings"
    )
    is_after_cut = models.BooleanField(default=False)
    taken_on = models.DateField()
    measure = models.CharField(max_length=11, choices=Measure)
    value = models.DecimalField(max_digits=10, decimal_places=2)
    method = models.CharField(max_length=8, choices=Method, default=Method.RULER)
    relative_error = models.DecimalField(
        "Uncertainty (one standard deviation, % of the size)",
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="Empty: what is usual for the method.",
    )
    note = models.CharField(max_length=200, blank=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["-taken_on", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(colony__isnull=False, plug=None) | Q(colony=None, plug__isnull=False),
                name="size_is_of_a_colony_or_a_plug",
            ),
            models.CheckConstraint(condition=Q(value__gt=0), name="size_is_positive"),
            models.CheckConstraint(
                condition=Q(relative_error=None) | Q(relative_error__gt=0), name="size_uncertainty_is_positive"
            ),
        ]

    def __str__(self):
        return f"{self.value.normalize():f} {Measure(self.measure).unit} on {day_in_words(self.taken_on)}"
