"""What propagation puts on the agenda of a day. Each contributor costs one query or two, whatever is kept."""

from datetime import date, timedelta

from django.db.models import Count, F, Min, OuterRef, Subquery
from django.db.models.functions import Coalesce
from django.urls import reverse

from propagation.agenda import Due, contributes_to_agenda
from propagation.models import Colony, CuttingSession, Incident, Plug, Preferences, SizeReading
from propagation.readings.absences import absences_from
from propagation.readings.living_copies import lines_on_one_copy
from propagation.readings.photo_colour import colours_drifted
from propagation.readings.photos import colonies_to_photograph, photo_counts
from propagation.readings.water import water_now

MOST_NAMED = 3  # names in a sentence; the rest is counted
SESSION_SHOWN_DAYS = 2  # a sitting just saved is the likeliest to want correcting
ABSENCE_SHOWN_DAYS = 14


def _some(names, more: int) -> str:
    """``A, B, C and 4 more``."""
    names = list(names)[:MOST_NAMED]
    rest = more - len(names)
    if rest > 0:
        return f"{', '.join(names)} and {rest} more"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _plugs(number: int) -> str:
    return "1 plug" if number == 1 else f"{number} plugs"


@contributes_to_agenda(order=10)
def sessions_just_saved(day: date):
    """Sittings of the last days, to correct or to print for."""
    sessions = CuttingSession.objects.filter(cut_on__range=(day - timedelta(days=SESSION_SHOWN_DAYS), day))
    for session in sessions.annotate(frags=Count("cut_events__plugs")).order_by("-cut_on", "-id")[:3]:
        when = {0: "today", 1: "yesterday"}.get(
            (day - session.cut_on).days, f"on {session.cut_on.day} {session.cut_on:%b}"
        )
        yield Due(
            f"Session cut {when}: look it over",
            reverse("session", args=[session.pk]),
            count=session.frags,
            since=session.cut_on,
            icon="sessions",
        )


@contributes_to_agenda(order=20)
def incidents_open(day: date):
    """What is wrong and not over."""
    open_ones = list(
        Incident.objects.open()
        .filter(opened_on__lte=day)
        .select_related("colony", "system")
        .order_by("opened_on", "id")
    )
    if not open_ones:
        return
    where = _some((str(incident.colony or incident.system) for incident in open_ones), len(open_ones))
    yield Due(
        f"Look after {where}",
        reverse("incidents"),
        count=len(open_ones),
        since=open_ones[0].opened_on,
        icon="incident",
    )


@contributes_to_agenda(order=25)
def water_out_of_its_limits(day: date):
    """Systems whose latest tests of the last 30 days lie out of their limits, or swing."""
    for water in water_now(day):
        if water.out:
            what = ", ".join(each.in_words for each in water.out)
            yield Due(
                f"Water in {water.system}: {what}",
                reverse("system_water", args=[water.system_id]),
                count=len(water.out),
                since=min(each.taken_on for each in water.out),
                icon="water",
            )


@contributes_to_agenda(order=28)
def absences_that_near(day: date):
    """An absence that begins soon while plugs heal: somebody must look after them."""
    near = [each for each in absences_from(day) if day < each.first_day <= day + timedelta(days=ABSENCE_SHOWN_DAYS)]
    healing = Plug.objects.healing().count() if near else 0
    if healing:
        first = near[0].first_day
        yield Due(
            f"You are away from {first.day} {first:%b} while {_plugs(healing)} {'heals' if healing == 1 else 'heal'}: "
            "find somebody to look in",
            reverse("absences"),
            count=healing,
            icon="calendar",
        )


@contributes_to_agenda(order=30)
def checks_due(day: date):
    """Plugs that heal and were not looked at for as long as the preferences say, rack by rack."""
    due_since = day - timedelta(days=Preferences.current().check_days)
    racks = (
        Plug.objects.due_for_check(due_since)
        .order_by()
        .values("rack", "rack__name")
        .annotate(number=Count("pk"), oldest=Min("checked_on"))
        .order_by("oldest", "rack")
    )
    for rack in racks:
        place = f"on {rack['rack__name']}" if rack["rack"] else "without a rack"
        yield Due(
            f"Check {_plugs(rack['number'])} {place}",
            reverse("rack_grid", args=[rack["rack"]]) if rack["rack"] else reverse("rack"),
            count=rack["number"],
            since=rack["oldest"],
            icon="rack",
        )


@contributes_to_agenda(order=60)
def lines_that_stand_on_one_copy(day: date):
    """Lines that one death would end."""
    lines = list(lines_on_one_copy())
    if not lines:
        return
    one = len(lines) == 1
    yield Due(
        f"Make a second copy of {_some((line.name for line in lines), len(lines))}",
        reverse("lineage", args=[lines[0].pk]) if one else reverse("lineages"),
        count=len(lines),
        icon="insurance",
    )


@contributes_to_agenda(order=70)
def colonies_long_unmeasured(day: date):
    """Living colonies whose size was last taken longer ago than the preferences say."""
    due_since = day - timedelta(days=Preferences.current().measure_days)
    last = SizeReading.objects.filter(colony=OuterRef("pk")).order_by("-taken_on").values("taken_on")[:1]
    colonies = (
        Colony.objects.alive()
        .annotate(measured_on=Coalesce(Subquery(last), F("began_on")))
        .filter(measured_on__lte=due_since)
        .order_by("measured_on", "tag")
        .values_list("tag", "measured_on")
    )
    colonies = list(colonies)
    if not colonies:
        return
    one = len(colonies) == 1
    yield Due(
        f"Measure {_some((tag for tag, _ in colonies), len(colonies))}",
        reverse("colony_measure", args=[colonies[0][0]]) if one else reverse("colonies"),
        count=len(colonies),
        since=colonies[0][1],
        icon="ruler",
    )


@contributes_to_agenda(order=35)
def photos_to_review(day: date):
    """Photos that were measured and wait for a yes, and those that nobody could sort."""
    counts = photo_counts()
    if counts.to_review:
        number = counts.to_review
        yield Due(
            "Review a photo" if number == 1 else f"Review {number} photos",
            reverse("photo_review"),
            count=number,
            icon="photo",
        )
    if counts.unsorted:
        number = counts.unsorted
        yield Due(
            "Say what a photo is of" if number == 1 else f"Say what {number} photos are of",
            f"{reverse('photos')}?which=unsorted",
            count=number,
            icon="photo",
        )


@contributes_to_agenda(order=72)
def colours_that_drift(day: date):
    """Colonies whose colour has clearly drifted, for a week in a month at most; an incident puts them to rest."""
    drifted = colours_drifted(day)
    if len(drifted) > MOST_NAMED:
        tags = _some((tag for tag, _ in drifted), len(drifted))
        yield Due(
            f"Look at the colours of {tags}: where so many drift, the light may have changed",
            reverse("colonies"),
            count=len(drifted),
            icon="photo",
        )
        return
    for tag, drift in drifted:
        yield Due(
            f"Look at the colour of {tag}: {drift.way} over {drift.span_words}",
            f"{reverse('colony', args=[tag])}#colour",
            icon="photo",
        )


@contributes_to_agenda(order=75)
def colonies_to_be_photographed(day: date):
    """Living colonies without a photo for a month, once any was ever photographed. It can wait, so it is never late."""
    tags = colonies_to_photograph(day)
    if tags:
        yield Due(
            f"Photograph {_some(tags, len(tags))}",
            reverse("photos_add"),
            count=len(tags),
            icon="camera",
        )


@contributes_to_agenda(order=25)
def mothers_ready_to_cut(day: date):
    """Mothers whose next cut has come: large enough, rested, well, and with somebody there to watch them heal."""
    from propagation.forecasts.outlooks import current_outlooks  # scipy takes a second, which no command need wait for

    mothers = current_outlooks(day).filter(day__lte=day).order_by("-frags", "colony__tag")
    mothers = list(mothers.values_list("colony__tag", "frags"))
    if mothers:
        yield Due(
            f"Cut {_some((tag for tag, _ in mothers), len(mothers))}: about {sum(frags for _, frags in mothers)} frags",
            reverse("next_cuts"),
            count=len(mothers),
            icon="cut",
        )
