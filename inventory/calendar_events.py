"""What the inventory floor puts in the calendar: no name of anybody stands there."""

from django.db.models import Count
from django.urls import reverse

from inventory.models import Hold
from propagation.calendar import CalendarEvent, contributes_to_calendar


@contributes_to_calendar
def holds_that_end(day):
    """The days on which holds end, with how many. One query."""
    days = Hold.objects.active_on(day).order_by().values("until").annotate(number=Count("pk")).order_by("until")
    for each in days:
        words = "A hold ends" if each["number"] == 1 else f"{each['number']} holds end"
        yield CalendarEvent(
            f"holds-{each['until']:%Y%m%d}",
            each["until"],
            each["until"],
            words,
            "Ask before it ends, or the plugs are free again the day after.",
            f"{reverse('holds')}?which=soon",
        )
