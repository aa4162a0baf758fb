import secrets

from django.db import models
from django.db.models import Q


def new_secret() -> str:
    return secrets.token_urlsafe(24)


class CalendarAddress(models.Model):
    """The secret part of the address under which a calendar program reads what is due; there is at most one row.

    A new secret shuts the old address.
    """

    secret = models.CharField(max_length=64, unique=True, default=new_secret, editable=False)
    made_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="one_calendar_address")]

    def __str__(self):
        return "Calendar address"
