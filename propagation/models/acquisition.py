from django.db import models
from simple_history.models import HistoricalRecords

from propagation.dates import day_in_words


class Pack(models.Model):
    """Several plugs or colonies that came together, often of several lineages."""

    name = models.CharField(max_length=120)
    acquired_on = models.DateField()
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-acquired_on", "-id"]

    def __str__(self):
        return self.name


class Acquisition(models.Model):
    """Plugs or colonies of one lineage that came from outside: the top of a line of descent, or its return.

    From whom and at what price stands on the inventory floor.
    """

    class Kind(models.TextChoices):
        BOUGHT = "bought", "Bought"
        GIFT = "gift", "Gift"
        TRADE = "trade", "Trade"
        RETURNED = "returned", "Came back"
        FOUND = "found", "Kept since before the records"

    lineage = models.ForeignKey("propagation.Lineage", on_delete=models.PROTECT, related_name="acquisitions")
    acquired_on = models.DateField()
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.BOUGHT)
    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, null=True, blank=True, related_name="acquisitions")
    returned_plug = models.ForeignKey(
        "propagation.Plug",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="returns",
        help_text="The plug that left and of which this is a part or the whole, when it came back.",
    )
    note = models.TextField(blank=True)
    # Set when the page is opened: the same form sent twice finds what the first one brought in.
    submission = models.UUIDField(unique=True, null=True, blank=True, editable=False)

    history = HistoricalRecords(excluded_fields=["submission"])

    class Meta:
        ordering = ["-acquired_on", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(returned_plug=None) | models.Q(kind="returned"),
                name="only_a_return_names_the_plug_that_left",
            ),
        ]

    def __str__(self):
        return f"{self.lineage} · {self.get_kind_display().lower()} on {day_in_words(self.acquired_on)}"
