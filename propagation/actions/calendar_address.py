"""The secret address under which a calendar program reads what is to come."""

from django.db import transaction

from propagation.models import CalendarAddress
from propagation.models.calendar import new_secret


@transaction.atomic
def renew_calendar_address() -> CalendarAddress:
    """Make the address, or a new one that shuts the old."""
    address, _ = CalendarAddress.objects.update_or_create(pk=1, defaults={"secret": new_secret()})
    return address


@transaction.atomic
def switch_off_calendar() -> None:
    """No address leads to the calendar any more."""
    CalendarAddress.objects.all().delete()
