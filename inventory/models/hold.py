from django.conf import settings
from django.db import models
from django.db.models import Q


class HoldQuerySet(models.QuerySet):
    def active_on(self, day):
        """Holds that bind on a day: not released, and not past the day they end."""
        return self.filter(released_on=None, until__gte=day)

    def ended_by(self, day):
        """Holds whose last day is past and that nobody has released yet."""
        return self.filter(released_on=None, until__lt=day)


class Hold(models.Model):
    """A plug promised to a contact until a day (that day included)."""

    plug = models.ForeignKey("propagation.Plug", on_delete=models.PROTECT, related_name="holds")
    contact = models.ForeignKey("inventory.Contact", on_delete=models.PROTECT, related_name="holds")
    until = models.DateField()
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    released_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    objects = HoldQuerySet.as_manager()

    class Meta:
        ordering = ["until", "id"]
        constraints = [
            # One promise at a time, whatever the code above forgets.
            models.UniqueConstraint(fields=["plug"], condition=Q(released_on=None), name="one_open_hold_per_plug"),
        ]
        indexes = [models.Index(fields=["until"], condition=Q(released_on=None), name="open_holds")]

    def __str__(self):
        return f"{self.plug} for {self.contact} until {self.until}"
