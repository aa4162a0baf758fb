from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from simple_history.models import HistoricalRecords


class ContactQuerySet(models.QuerySet):
    def known(self):
        """Contacts one deals with: those that were merged into another, or forgotten, are kept for the books alone."""
        return self.filter(merged_into=None, forgotten_on=None)


# Whoever is not named at a market is this one contact: a sale has a buyer, the books have their sum, and of the person
# nothing is kept. It is like any other contact: it may be renamed, and the next such sale makes a new one.
NOBODY_NAMED = "Somebody at the market"


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
    objects = ContactQuerySet.as_manager()

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

    @property
    def is_nobody_named(self) -> bool:
        """Does it stand for everybody who was not named at a market?"""
        return self.name == NOBODY_NAMED
