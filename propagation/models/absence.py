from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from propagation.dates import day_in_words


class AbsenceQuerySet(models.QuerySet):
    def standing(self):
        """Absences that hold: those that were not called off."""
        return self.filter(called_off_at=None)

    def not_over(self, day):
        return self.filter(last_day__gte=day)


class Absence(models.Model):
    """Days on which nobody is there to watch a cut heal. One that does not take place is called off, not deleted."""

    first_day = models.DateField()
    last_day = models.DateField()
    note = models.CharField(max_length=200, blank=True)
    called_off_at = models.DateTimeField(null=True, blank=True, editable=False)

    history = HistoricalRecords()
    objects = AbsenceQuerySet.as_manager()

    class Meta:
        ordering = ["first_day", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(last_day__gte=F("first_day")), name="absence_ends_after_it_begins")
        ]

    def __str__(self):
        return f"Away from {day_in_words(self.first_day)} to {day_in_words(self.last_day)}"
