"""What the records say of colonies, as the yield model takes it."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.db.models import Q

from propagation.dates import day_in_words
from propagation.lengths import unit_of
from propagation.models import (
    Colony,
    CutEvent,
    CutRule,
    Incident,
    IncidentKind,
    Lineage,
    Measure,
    Method,
    Placement,
    Preferences,
    SizeReading,
)
from propagation.readings.absences import absences_from
from propagation.readings.healing_outlook import learned_healing
from propagation.readings.living_copies import with_living_copies
from propagation.readings.water import water_worries
from propagation.yield_model.frag_units import DEFAULT_SPREAD, FragUnit, default_frag_unit, learn_frag_unit
from propagation.yield_model.histories import ColonyHistory, Cut, Decline, Reading
from propagation.yield_model.next_cut import Circumstances, CutRules, default_rules

# While one of these is open, a colony is not forecast to grow; the others widen what is believed once they are over.
DECLINES = (
    IncidentKind.BROWNING,
    IncidentKind.BLEACHING,
    IncidentKind.SLOW_TISSUE_LOSS,
    IncidentKind.RAPID_TISSUE_LOSS,
)
# A colony is followed in the measure that it was mostly taken in over the days before its last size.
LATELY = timedelta(days=120)
# Two sizes of one day that differ by more than this, as a share of the smaller, cannot both be right.
DISAGREE = 0.15
# A size judged by eye, as a share of it (one standard deviation). Common practice, no source.
ERROR_BY_EYE = 0.15
# How sure a keeper is of a frag unit that they set themselves, as a share of it. Common practice, no source.
OWN_UNIT_SPREAD = 0.1
USUAL_FRAG_MM = 25.0


@dataclass
class ColonyRecords:
    """All that is known of one colony up to a day, in its measure."""

    colony: Colony
    measure: str
    history: ColonyHistory
    last_cut_on: date | None = None
    system: int | None = None
    open_incidents: list = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def key(self):
        """What its growth is learned together with."""
        return self.measure, self.colony.lineage.growth_form

    @property
    def readings(self) -> int:
        """How many sizes were taken, those before a cut included."""
        return len(self.history.readings) + sum(cut.before is not None for cut in self.history.cuts)


def gather_colonies(day: date, *, colonies=None) -> list[ColonyRecords]:
    """What was known on a day of these colonies (a queryset; all ever kept when not given). Nine queries."""
    if colonies is None:
        colonies = Colony.objects.all()
    found = list(colonies.filter(began_on__lte=day).select_related("lineage", "grown_from").order_by("pk"))
    ids = [colony.pk for colony in found]
    plug_of = {colony.grown_from_id: colony.pk for colony in found if colony.grown_from_id}
    readings, cuts, placements = defaultdict(list), defaultdict(list), defaultdict(list)
    rows = SizeReading.objects.filter(
        Q(colony__in=ids) | Q(plug__in=list(plug_of)), taken_on__lte=day, cut_event=None
    ).order_by("taken_on", "id")
    for row in rows:
        readings[row.colony_id or plug_of[row.plug_id]].append(row)
    events = CutEvent.objects.filter(mother__in=ids, frags__gt=0, session__cut_on__lte=day)
    for event in events.select_related("session").order_by("session__cut_on", "id"):
        cuts[event.mother_id].append(event)
    for placement in (
        Placement.objects.filter(colony__in=ids, since__lte=day).select_related("spot").order_by("since", "id")
    ):
        placements[placement.colony_id].append(placement)
    of_colony, of_system = _incidents(ids, day)
    units, length_unit = frag_units(day), Preferences.current().length_unit
    return [
        _records(
            colony,
            readings[colony.pk],
            cuts[colony.pk],
            placements[colony.pk],
            of_colony[colony.pk],
            of_system,
            units,
            day,
            length_unit,
        )
        for colony in found
    ]


def _incidents(ids, day):
    of_colony, of_system = defaultdict(list), defaultdict(list)
    rows = Incident.objects.filter(Q(colony__in=ids) | Q(system__isnull=False), opened_on__lte=day)
    for incident in rows.select_related("system").order_by("opened_on", "id"):
        if incident.colony_id:
            of_colony[incident.colony_id].append(incident)
        else:
            of_system[incident.system_id].append(incident)
    return of_colony, of_system


def _measure_of(colony, readings, cuts):
    taken = [(row.taken_on, row.measure) for row in readings]
    taken += [(event.session.cut_on, event.measure) for event in cuts if event.measure and event.size_before]
    if not taken:
        return colony.lineage.measure
    since = max(day for day, _ in taken) - LATELY
    counted = Counter(measure for day, measure in taken if day >= since)
    most = max(counted.values())
    if counted[colony.lineage.measure] == most:
        return colony.lineage.measure
    return max((day, measure) for day, measure in taken if counted[measure] == most)[1]


def _notes(readings, measure, length_unit):
    """What a keeper should know of the sizes that an outlook rests on."""
    notes = []
    unit = unit_of(measure, length_unit)
    days = defaultdict(list)
    for row in readings:
        if row.measure == measure:
            days[row.taken_on].append(row.value)
    for day, sizes in days.items():
        if float(max(sizes)) > float(min(sizes)) * (1 + DISAGREE):
            notes.append(
                f"Two sizes of {day_in_words(day)} disagree, {unit.text(min(sizes))} and {unit.text(max(sizes))}: "
                "strike out the wrong one."
            )
    other = Counter(row.measure for row in readings if row.measure != measure)
    for name, number in other.items():
        what = Measure(name).label.partition(" (")[0].lower()
        notes.append(
            f"It is followed by {Measure(measure).label.partition(' (')[0].lower()}; "
            f"{number} size{'s' if number > 1 else ''} by {what} {'do' if number > 1 else 'does'} not take part."
        )
    return notes


def _is_over(incident, day):
    return incident.closed_on is not None and incident.closed_on <= day


def _records(colony, readings, cuts, placements, own, of_system, units, day, length_unit):
    measure = _measure_of(colony, readings, cuts)
    moves = [placement.since for placement in placements[1:]]
    declines, open_ones = [], []
    for incident in own:
        over = _is_over(incident, day)
        if not over:
            open_ones.append(incident)
        if incident.kind in DECLINES:
            declines.append((incident.opened_on, incident.closed_on if over else None))
        elif over:
            moves.append(incident.closed_on)
    system = None
    for placement in placements:
        last = placement.until or day
        for incident in of_system.get(placement.spot.system_id, ()):
            if incident.opened_on <= last and placement.since <= (incident.closed_on or day):
                if _is_over(incident, day):
                    moves.append(incident.closed_on)
                elif placement.until is None or placement.until > day:
                    open_ones.append(incident)
        if placement.until is None or placement.until > day:
            system = placement.spot.system_id
    lineage = colony.lineage
    unit = units.get((lineage.pk, measure)) or usual_frag_unit(lineage, measure)
    history = ColonyHistory(
        identifier=str(colony.pk),
        lineage=str(colony.lineage_id),
        readings=tuple(_reading(row) for row in readings if row.measure == measure),
        cuts=tuple(_cut(event, measure) for event in cuts),
        moves=tuple(sorted({moved.toordinal() for moved in moves if moved >= colony.began_on})),
        declines=tuple(
            Decline(since.toordinal(), until.toordinal() if until is not None else None) for since, until in declines
        ),
        frag_unit=(unit.mean, unit.standard_deviation),
        started_on=colony.began_on.toordinal(),
    )
    return ColonyRecords(
        colony,
        measure,
        history,
        cuts[-1].session.cut_on if cuts else None,
        system,
        open_incidents=open_ones,
        notes=_notes(readings, measure, length_unit),
    )


def _reading(row):
    size = float(row.value)
    share = float(row.relative_error) / 100 if row.relative_error is not None else None
    if share is None and row.method == Method.ESTIMATE:
        share = ERROR_BY_EYE
    return Reading(row.taken_on.toordinal(), size, None if share is None else size * share)


def _cut(event, measure):
    same = event.measure == measure
    before = float(event.size_before) if same and event.size_before else None
    # Nothing left is no size; such a colony ends there.
    after = float(event.size_after) if same and event.size_after else None
    return Cut(event.session.cut_on.toordinal(), event.frags, before, after)


def usual_frag_unit(lineage: Lineage, measure: str) -> FragUnit:
    """What a frag of the line's own size takes where no cut has told: the growth form's, by length or by area."""
    mean, deviation = default_frag_unit(measure, lineage.growth_form)
    times = float(lineage.frag_size_mm) / USUAL_FRAG_MM
    times = {Measure.AREA: times**2, Measure.POLYPS: 1.0}.get(measure, times)
    return FragUnit(mean * times, deviation * times, 0)


def frag_units(day: date) -> dict[tuple[int, str], FragUnit]:
    """What one frag takes, per (lineage id, measure), learned from the cuts with sizes before and after. One query."""
    events = (
        CutEvent.objects.filter(
            frags__gt=0, size_before__isnull=False, size_after__isnull=False, session__cut_on__lte=day
        )
        .select_related("mother__lineage")
        .order_by("id")
    )
    groups = defaultdict(list)
    for event in events:
        groups[event.mother.lineage, event.measure].append(event)
    found = {}
    for (lineage, measure), group in groups.items():
        usual = usual_frag_unit(lineage, measure)
        found[lineage.pk, measure] = learn_frag_unit(
            [float(event.size_before) for event in group],
            [float(event.size_after) for event in group],
            [event.frags for event in group],
            default=usual.mean,
            default_spread=usual.mean * DEFAULT_SPREAD,
        )
    return found


def rules_of(records: list[ColonyRecords], day: date) -> list[CutRules]:
    """How each colony is cut: its own rule, else its line's, else what is usual for the growth form.

    Three queries, and what `learned_healing` takes.
    """
    own = {rule.colony_id: rule for rule in CutRule.objects.filter(colony__in=[r.colony.pk for r in records])}
    lines = {rule.lineage_id: rule for rule in CutRule.objects.filter(lineage__isnull=False)}
    units, healing, usual_rest = frag_units(day), learned_healing(day), Preferences.current().rest_days
    return [
        combine_rules(
            record.colony,
            record.measure,
            own=own.get(record.colony.pk),
            line=lines.get(record.colony.lineage_id),
            learned=units.get((record.colony.lineage_id, record.measure)),
            usual_rest=usual_rest,
            healed_share=healing.of(str(record.colony.lineage_id)).healed_share,
        )
        for record in records
    ]


def combine_rules(colony, measure, *, own, line, learned, usual_rest, healed_share=1.0) -> CutRules:
    """One colony's rules. Sizes of a rule count only in the measure they were set in."""

    def first(name, *, sized=False):
        for rule in (own, line):
            value = getattr(rule, name) if rule is not None else None
            if value is not None and (not sized or rule.measure == measure):
                return float(value)
        return None

    lineage = colony.lineage
    unit = learned or usual_frag_unit(lineage, measure)
    own_unit = first("frag_unit", sized=True)
    if own_unit is not None:
        unit = FragUnit(own_unit, own_unit * OWN_UNIT_SPREAD, 0)
    rest = own.rest_days if own is not None and own.rest_days is not None else lineage.rest_days
    changes = {
        "fewest_frags": first("fewest_frags"),
        "largest_share": first("largest_share"),
        "keep_at_least": first("keep_at_least", sized=True),
        "room": first("room", sized=True),
    }
    changes = {name: value for name, value in changes.items() if value is not None}
    if "fewest_frags" in changes:
        changes["fewest_frags"] = int(changes["fewest_frags"])
    if "largest_share" in changes:
        changes["largest_share"] /= 100
    return default_rules(
        measure,
        lineage.growth_form,
        frag_unit=unit,
        rest_days=float(usual_rest if rest is None else rest),
        healed_share=healed_share,
        **changes,
    )


def circumstances_of(records: list[ColonyRecords], day: date) -> list[Circumstances]:
    """What may forbid a cut of each colony on a day. Four queries."""
    water = water_worries(day)
    absences = tuple((a.first_day.toordinal(), a.last_day.toordinal()) for a in absences_from(day))
    lines = {record.colony.lineage_id for record in records}
    missing = {
        lineage.pk: max(lineage.insurance_wanted - lineage.living_copies, 0)
        for lineage in with_living_copies(Lineage.objects.filter(pk__in=lines))
    }
    return [
        Circumstances(
            last_cut_day=record.last_cut_on.toordinal() if record.last_cut_on else None,
            incidents=tuple(_incident_in_words(incident) for incident in record.open_incidents),
            water=tuple(water.get(record.system, ())),
            absences=absences,
            missing_copies=missing.get(record.colony.lineage_id, 0),
        )
        for record in records
    ]


def _incident_in_words(incident):
    what = incident.get_kind_display()
    where = f" in {incident.system}" if incident.system_id else ""
    return f"{what}{where} since {day_in_words(incident.opened_on)}."
