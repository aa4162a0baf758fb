from django.db import models

from propagation.dates import day_in_words


class BroughtPlug(models.Model):
    """A plug that was brought to the market table of a day; the list is for that day alone, on every phone."""

    day = models.DateField()
    plug = models.ForeignKey("propagation.Plug", on_delete=models.PROTECT, related_name="brought_to_markets")

    class Meta:
        ordering = ["day", "id"]
        constraints = [models.UniqueConstraint(fields=["day", "plug"], name="brought_once_to_a_market")]

    def __str__(self):
        return f"{self.plug} on {day_in_words(self.day)}"
