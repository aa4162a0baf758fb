from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from propagation.dates import day_in_words
from propagation.models.terms import IncidentKind


class IncidentQuerySet(models.QuerySet):
    def open(self):
        return self.filter(closed_on=None)


class Incident(models.Model):
    """Something wrong with a colony or with a whole system, opened and closed on a day."""

    colony = models.ForeignKey(
        "propagation.Colony", on_delete=models.PROTECT, null=True, blank=True, related_name="incidents"
    )
    system = models.ForeignKey(
        "propagation.System", on_delete=models.PROTECT, null=True, blank=True, related_name="incidents"
    )
    kind = models.CharField(max_length=17, choices=IncidentKind)
    opened_on = models.DateField()
    closed_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)

    history = HistoricalRecords()
    objects = IncidentQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_on", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(colony__isnull=False, system=None) | Q(colony=None, system__isnull=False),
                name="incident_concerns_a_colony_or_a_system",
            ),
            models.CheckConstraint(
                condition=Q(closed_on=None) | Q(closed_on__gte=F("opened_on")), name="incident_closes_after_it_opens"
            ),
        ]

    def __str__(self):
        return f"{self.get_kind_display()} of {self.colony or self.system} since {day_in_words(self.opened_on)}"

    @property
    def is_open(self) -> bool:
        return self.closed_on is None
