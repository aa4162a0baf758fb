"""What a keeper asks of colonies."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery
from django.urls import reverse

from propagation.models import Colony, CutEvent, EndReason, Fate, HealingStage, Incident, Placement, SizeReading


def colonies_for_list() -> QuerySet:
    """Colonies with their lineage and, without a further query, ``spot_name``, ``system_name``, ``last_cut_on``,
    ``measured_on`` and ``has_open_incident``.
    """
    here = Placement.objects.current().filter(colony=OuterRef("pk"))
    cuts = CutEvent.objects.filter(mother=OuterRef("pk"), frags__gt=0).order_by("-session__cut_on")
    readings = SizeReading.objects.filter(colony=OuterRef("pk")).order_by("-taken_on")
    return Colony.objects.select_related("lineage").annotate(
        spot_name=Subquery(here.values("spot__name")[:1]),
        system_name=Subquery(here.values("spot__system__name")[:1]),
        last_cut_on=Subquery(cuts.values("session__cut_on")[:1]),
        measured_on=Subquery(readings.values("taken_on")[:1]),
        has_open_incident=Exists(Incident.objects.open().filter(colony=OuterRef("pk"))),
    )


def long_unmeasured(colonies: QuerySet, *, days: int, today: date) -> QuerySet:
    """Living colonies without a size of the last so many days that have been kept for at least as long."""
    since = today - timedelta(days=days)
    recent = SizeReading.objects.filter(colony=OuterRef("pk"), taken_on__gt=since)
    return colonies.filter(~Exists(recent), ended_on=None, began_on__lte=since)


def next_to_measure(after: Colony, *, days: int, today: date) -> Colony | None:
    """The next colony by tag that wants measuring, round again from the first."""
    waiting = long_unmeasured(Colony.objects.exclude(pk=after.pk), days=days, today=today).order_by("tag")
    return waiting.filter(tag__gt=after.tag).first() or waiting.first()


@dataclass(frozen=True)
class FragFates:
    """What became of the frags of a mother, in numbers."""

    healing: int
    ready: int
    sold: int
    left: int
    dead: int
    grown_on: int

    @property
    def all(self) -> int:
        return self.healing + self.ready + self.sold + self.left + self.dead + self.grown_on


FATES = {
    "healing": Q(plugs__fate=Fate.KEPT) & ~Q(plugs__stage=HealingStage.HEALED),
    "healed": Q(plugs__fate=Fate.KEPT, plugs__stage=HealingStage.HEALED),
    "sold": Q(plugs__fate=Fate.SOLD),
    "left": Q(plugs__fate__in=[Fate.TRADED, Fate.GIVEN]),
    "dead": Q(plugs__fate=Fate.DEAD),
    "grown_on": Q(plugs__fate=Fate.GROWN_ON),
}


def cuts_of(colony: Colony) -> list[CutEvent]:
    """The cuts of a mother, latest first, each with the fates of its frags counted. One query."""
    return list(
        colony.cut_events.filter(frags__gt=0)
        .select_related("session")
        .annotate(**{f"n_{name}": Count("plugs", filter=which) for name, which in FATES.items()})
        .order_by("-session__cut_on", "-pk")
    )


def fates_of(cuts: list[CutEvent]) -> FragFates:
    """The fates of all frags of the given cuts together; no query."""

    def total(name):
        return sum(getattr(cut, f"n_{name}") for cut in cuts)

    return FragFates(total("healing"), total("healed"), total("sold"), total("left"), total("dead"), total("grown_on"))


def grown_from_its_frags(colony: Colony) -> QuerySet:
    """The colonies that began as frags of this one."""
    return Colony.objects.filter(grown_from__cut_event__mother=colony).select_related("grown_from").order_by("began_on")


def life_line(colony: Colony, *, cuts, placements, incidents, readings, offspring) -> list[dict]:
    """Everything that happened to a colony, latest first, for parts/timeline.html. Takes what the page has at hand."""
    events = [_beginning(colony)]
    for placement in placements:
        spot = placement.spot
        light = f"{spot.par} PAR" if spot.par else ""
        events.append({"day": placement.since, "icon": "move", "title": f"At {spot}", "detail": light})
    for cut in cuts:
        events.append(
            {
                "day": cut.session.cut_on,
                "icon": "cut",
                "title": f"Cut: {cut.frags} frag{'s' if cut.frags != 1 else ''}",
                "detail": " · ".join(filter(None, [cut.get_cut_with_display(), cut.reason or cut.note])),
                "url": reverse("session", args=[cut.session_id]),
            }
        )
    for incident in incidents:
        events.append(
            {
                "day": incident.opened_on,
                "icon": "incident",
                "title": incident.get_kind_display(),
                "detail": incident.note,
                "warning": True,
            }
        )
        if incident.closed_on:
            events.append(
                {"day": incident.closed_on, "icon": "check", "title": f"{incident.get_kind_display()} is over"}
            )
    if readings:
        first = min(readings, key=lambda reading: (reading.taken_on, reading.pk))
        events.append({"day": first.taken_on, "icon": "ruler", "title": "First measured"})
    for child in offspring:
        events.append(
            {
                "day": child.began_on,
                "icon": "grown-on",
                "title": f"{child.tag} grown from one of its frags",
                "url": reverse("colony", args=[child.tag]),
            }
        )
    if colony.ended_on:
        events.append(
            {
                "day": colony.ended_on,
                "icon": "stage-dead",
                "title": EndReason(colony.end_reason).label,
                "warning": colony.end_reason == EndReason.DIED,
            }
        )
    # On one day the beginning comes first, so it stands last.
    return sorted(events, key=lambda event: event["day"])[::-1]


def _beginning(colony: Colony) -> dict:
    if colony.grown_from_id:
        plug = colony.grown_from
        mother = f" of {plug.cut_event.mother}" if plug.cut_event_id else ""
        return {"day": colony.began_on, "icon": "grown-on", "title": f"Grown on from {plug.code_in_clear}{mother}"}
    return {"day": colony.began_on, "icon": "acquired", "title": colony.acquisition.get_kind_display()}


def last_sizes(readings) -> list[SizeReading]:
    """The latest reading of each measure; ``readings`` come latest first."""
    found = {}
    for reading in readings:
        found.setdefault(reading.measure, reading)
    return list(found.values())
