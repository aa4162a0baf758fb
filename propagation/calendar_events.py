"""What propagation puts in the calendar. Each contributor costs one query or two, whatever is kept."""

from datetime import date, timedelta

from django.db.models import Count, Min
from django.urls import reverse

from propagation.calendar import CalendarEvent, contributes_to_calendar
from propagation.dates import day_in_words
from propagation.models import Plug, Preferences
from propagation.readings.absences import absences_from


def _frags(number: int) -> str:
    return "1 frag" if number == 1 else f"{number} frags"


@contributes_to_calendar
def next_cuts(day: date):
    """The day of each living mother's next cut, as its outlook has it; one that went by is today's."""
    from propagation.forecasts.outlooks import current_outlooks  # scipy takes a second, which no command need wait for

    for outlook in current_outlooks(day).filter(day__isnull=False).order_by("day", "colony__tag"):
        colony, on = outlook.colony, max(outlook.day, day)
        lines = []
        if outlook.earliest and outlook.latest:
            lines.append(f"Likely between {day_in_words(outlook.earliest)} and {day_in_words(outlook.latest)}.")
        lines.append(f"{outlook.frags_low} to {_frags(outlook.frags_high)}, {outlook.frags} at even odds.")
        yield CalendarEvent(
            f"cut-{colony.code}",
            on,
            on,
            f"Cut {colony.tag} ({colony.lineage}): about {_frags(outlook.frags)}",
            "\n".join([*lines, *map(str, outlook.because)]),
            reverse("colony", args=[colony.tag]),
        )


@contributes_to_calendar
def healing_checks(day: date):
    """The next check of the plugs that heal, rack by rack."""
    every = timedelta(days=Preferences.current().check_days)
    racks = Plug.objects.healing().order_by().values("rack", "rack__name", "rack__system__name")
    for rack in racks.annotate(number=Count("pk"), oldest=Min("checked_on")).order_by("oldest", "rack"):
        on = max(rack["oldest"] + every, day)
        where = f"on {rack['rack__name']}, {rack['rack__system__name']}" if rack["rack"] else "without a rack"
        number = "1 plug heals" if rack["number"] == 1 else f"{rack['number']} plugs heal"
        yield CalendarEvent(
            f"check-{rack['rack'] or 'loose'}",
            on,
            on,
            f"Check plugs {where}",
            f"{number} there. The one not looked at for longest was seen on {day_in_words(rack['oldest'])}.",
            reverse("rack_grid", args=[rack["rack"]]) if rack["rack"] else reverse("rack"),
        )


@contributes_to_calendar
def absences(day: date):
    for absence in absences_from(day):
        yield CalendarEvent(
            f"away-{absence.pk}",
            absence.first_day,
            absence.last_day,
            "Away from the corals",
            absence.note or "Nobody is there; no cut is forecast that would heal meanwhile.",
            reverse("absence_edit", args=[absence.pk]),
        )
