from django.db import models
from django.db.models import F, Q
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
    # One found to be the same person as another gives all that it had to that one and stays for its history alone.
    merged_into = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="merged", editable=False
    )
    # What was known of them was struck out at their wish, here and in every history; the books keep a number.
    forgotten_on = models.DateField(null=True, blank=True, editable=False)

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
            models.CheckConstraint(condition=~Q(merged_into=F("id")), name="contact_is_not_merged_into_itself"),
        ]

    def __str__(self):
        return self.name
