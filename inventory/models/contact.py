from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from simple_history.models import HistoricalRecords


class Contact(models.Model):
    """A person one buys from, sells to, trades with. As little about them as the job needs."""

    name = models.CharField(max_length=120)
    reach = models.CharField(
        "How to reach them",
        max_length=200,
        blank=True,
        help_text="A number, a nickname: only what you need.",
    )
    note = models.TextField(blank=True)

    history = HistoricalRecords()

    class Meta:
        ordering = [Lower("name")]
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="one_contact_per_name",
                violation_error_message="There is a contact of this name already.",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="contact_has_a_name"),
        ]

    def __str__(self):
        return self.name
