"""The calendar as a file that calendar programs read (RFC 5545)."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta

from django.utils.crypto import salted_hmac
from icalendar import Calendar, Event

from propagation.calendar import events_from

REFRESH = timedelta(hours=6)


def calendar_feed(day: date, *, absolute: Callable[[str], str]) -> bytes:
    """Everything to come from a day on, as all-day events; ``absolute`` makes a whole address of a path of this site.

    The same records give the same bytes all day long, so that whoever has them need not fetch them again.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Ramet//Frag propagation//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", "Ramet")
    calendar.add("name", "Ramet")  # RFC 7986 §5.1
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})  # RFC 7986 §5.7
    calendar.add("x-published-ttl", "PT6H")
    stamp = datetime.combine(day, time(), UTC)
    # Unlike those of any other keeper, and the same after the address was renewed.
    keeper = salted_hmac("propagation.calendar", "uid").hexdigest()[:12]
    for each in events_from(day):
        event = Event()
        event.add("uid", f"{each.key}@{keeper}.ramet")
        event.add("dtstamp", stamp)
        event.add("dtstart", each.first_day)
        event.add("dtend", each.last_day + timedelta(days=1))  # the first day after it, RFC 5545 §3.6.1
        event.add("summary", " ".join(each.summary.split()))
        event.add("description", each.description)
        event.add("url", absolute(each.address))
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    return calendar.to_ical()
