"""Recording a cutting session: the act that must be fastest, and that is saved whole or not at all."""

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from uuid import UUID, uuid4

from django.db import IntegrityError, transaction
from django.db.models import F, Q
from simple_history.utils import bulk_create_with_history

from propagation.actions.allot_codes import give_out_codes
from propagation.actions.days import check_day
from propagation.actions.put_on_rack import free_cells
from propagation.dates import day_in_words
from propagation.errors import RowErrors
from propagation.lengths import plain
from propagation.models import (
    Colony,
    CutEvent,
    CuttingSession,
    CutTool,
    HealingStage,
    Incident,
    Lineage,
    Measure,
    Plug,
    SizeReading,
    Spot,
)
from propagation.models.cutting import MOST_FRAGS_AT_A_CUT

SMALLEST_FRAG_MM = Decimal(3)  # common practice, no source: less does not hold on a plug
LARGEST_FRAG_MM = Decimal(300)
LONGEST_NOTE = CutEvent._meta.get_field("note").max_length
LONGEST_REASON = CutEvent._meta.get_field("reason").max_length
TRIES = 5  # a code or a cell that somebody else took at the same moment is drawn anew


@dataclass(frozen=True)
class MotherCut:
    """One mother's part of a sitting, as it was entered."""

    mother: Colony
    frags: int
    frag_size_mm: Decimal | None = None
    size_before: Decimal | None = None
    size_after: Decimal | None = None
    measure: str = ""
    reason: str = ""
    note: str = ""
    insurance: int = 0
    cut_with: str = ""


@dataclass(frozen=True)
class Caution:
    """Why a mother should rather be left alone on a day."""

    kind: str  # "dead", "resting" or "incident"
    sentence: str


def open_incidents_of(colonies, day: date) -> dict[int, list[Incident]]:
    """What was wrong on a day with each colony, or with the system it stood in: ``{colony id: [Incident, …]}``.

    One query.
    """
    ids = [colony.pk for colony in colonies]
    standing = {
        "system__spots__placements__colony__in": ids,
        "system__spots__placements__since__lte": day,
    }
    still_there = Q(system__spots__placements__until=None) | Q(system__spots__placements__until__gt=day)
    rows = (
        Incident.objects.filter(
            Q(colony__in=ids) | (Q(**standing) & still_there),
            Q(closed_on=None) | Q(closed_on__gt=day),
            opened_on__lte=day,
        )
        .select_related("system")
        .annotate(stands_there=F("system__spots__placements__colony"))
        .order_by("opened_on", "id")
    )
    found: dict[int, list[Incident]] = {}
    for incident in rows:
        of_colony = found.setdefault(incident.colony_id or incident.stands_there, [])
        if incident not in of_colony:
            of_colony.append(incident)
    return found


def cautions_on(mothers, day: date) -> dict[int, list[Caution]]:
    """Why each of the mothers should be left alone on a day: ``{colony id: [Caution, …]}``.

    One query for mothers from ``Colony.objects.with_rest(day)``, one more for others.
    """
    mothers = list(mothers)
    unasked = [mother.pk for mother in mothers if not hasattr(mother, "last_cut_on")]
    if unasked:
        asked = Colony.objects.with_rest(day).in_bulk(unasked)
        mothers = [asked.get(mother.pk, mother) for mother in mothers]
    incidents = open_incidents_of(mothers, day)
    found: dict[int, list[Caution]] = {}
    for mother in mothers:
        cautions = []
        if mother.ended_on is not None and mother.ended_on <= day:
            cautions.append(
                Caution("dead", f"ended on {day_in_words(mother.ended_on)} ({mother.get_end_reason_display().lower()})")
            )
        if mother.rested_on is not None and day < mother.rested_on:
            cautions.append(
                Caution(
                    "resting",
                    f"was cut on {day_in_words(mother.last_cut_on)} and rests until {day_in_words(mother.rested_on)}",
                )
            )
        for incident in incidents.get(mother.pk, []):
            where = f"stands in {incident.system}, which has" if incident.system_id else "has"
            what = incident.get_kind_display().lower()
            cautions.append(Caution("incident", f"{where} {what} since {day_in_words(incident.opened_on)}"))
        if cautions:
            found[mother.pk] = cautions
    return found


def check_cut(cut: MotherCut, *, row: int, cut_on: date, cautions: list[Caution]) -> list[tuple[int, str | None, str]]:
    """Return what is wrong with one mother's part, as ``(row, column, sentence)``."""
    wrong = []
    tag = cut.mother.tag

    def say(column, sentence):
        wrong.append((row, column, sentence))

    if not 1 <= cut.frags <= MOST_FRAGS_AT_A_CUT:
        say("frags", f"{cut.frags} frags from {tag} cannot be right; give a number from 1 to {MOST_FRAGS_AT_A_CUT}.")
    if not 0 <= cut.insurance <= max(cut.frags, 0):
        say("insurance", f"{cut.insurance} insurance frags of {cut.frags} from {tag}: set aside at most what was cut.")
    if cut.frag_size_mm is not None and not SMALLEST_FRAG_MM <= cut.frag_size_mm <= LARGEST_FRAG_MM:
        say(
            "size_mm",
            f"A frag of {plain(cut.frag_size_mm)} mm from {tag} cannot be right; "
            f"give {SMALLEST_FRAG_MM} to {LARGEST_FRAG_MM} mm.",
        )
    if cut.cut_with and cut.cut_with not in CutTool.values:
        say("cut_with", f"{tag} cannot be cut with “{cut.cut_with}”; use one of {', '.join(CutTool.values)}.")
    has_sizes = cut.size_before is not None or cut.size_after is not None
    if has_sizes and not cut.measure:
        say("measure", f"The sizes of {tag} need a measure: {', '.join(Measure.values)}.")
    if cut.measure and cut.measure not in Measure.values:
        say("measure", f"“{cut.measure}” is no measure; use one of {', '.join(Measure.values)}.")
    if cut.size_before is not None and cut.size_before <= 0:
        say("before", f"The size of {tag} before the cut must be more than nothing, not {plain(cut.size_before)}.")
    if cut.size_after is not None and cut.size_after < 0:
        say("after", f"The size of {tag} after the cut cannot be {plain(cut.size_after)}.")
    for column, size in (("before", cut.size_before), ("after", cut.size_after)):
        if size is not None and size >= 10**8:
            say(column, f"A size of {plain(size)} for {tag} cannot be right.")
        if size is not None and cut.measure == Measure.POLYPS and size != size.to_integral_value():
            say(column, f"Polyps are counted whole; {plain(size)} for {tag} cannot be right.")
    if cut.size_before is not None and cut.size_after is not None and cut.size_after > cut.size_before:
        after, before = plain(cut.size_after), plain(cut.size_before)
        say("after", f"{tag} cannot be larger after the cut ({after}) than before it ({before}).")
    for column, text, most in (("note", cut.note, LONGEST_NOTE), ("reason", cut.reason, LONGEST_REASON)):
        if len(text) > most:
            say(column, f"The {column} for {tag} has {len(text)} characters; {most} fit.")
    if cut.mother.began_on > cut_on:
        say("mother", f"{tag} began on {day_in_words(cut.mother.began_on)}, after the cut on {day_in_words(cut_on)}.")
    elif cut.mother.ended_on is not None and cut.mother.ended_on < cut_on:
        say(
            "mother",
            f"{tag} was no longer alive on {day_in_words(cut_on)}: it ended on {day_in_words(cut.mother.ended_on)} "
            f"({cut.mother.get_end_reason_display().lower()}).",
        )
    elif cautions and not cut.reason.strip():
        because = " and ".join(caution.sentence for caution in cautions)
        say("reason", f"{tag} {because}. Give a reason to cut it all the same, or leave it out.")
    return wrong


def size_readings_of(event: CutEvent, cut_on: date) -> list[SizeReading]:
    """The readings that the sizes before and after a cut are."""
    readings = []
    for value, is_after in ((event.size_before, False), (event.size_after, True)):
        if value:
            readings.append(
                SizeReading(
                    colony_id=event.mother_id,
                    cut_event=event,
                    is_after_cut=is_after,
                    taken_on=cut_on,
                    measure=event.measure,
                    value=value,
                )
            )
    return readings


def new_plugs(events_and_counts, *, cut_on: date, codes: list[str], insurance=None, cells=()) -> list[Plug]:
    """Unsaved plugs for ``(event, count)`` pairs, with the codes handed out in order.

    ``insurance`` is ``{mother id: how many are set aside}``; ``cells`` are ``(rack, row, column)`` to stand them in.
    """
    insurance = dict(insurance or {})
    codes, cells, plugs = iter(codes), iter(cells), []
    for event, count in events_and_counts:
        for number in range(count):
            rack, row, column = next(cells, (None, None, None))
            plugs.append(
                Plug(
                    code=next(codes),
                    lineage_id=event.mother.lineage_id,
                    cut_event=event,
                    began_on=cut_on,
                    checked_on=cut_on,
                    size_mm=event.frag_size_mm,
                    stage=HealingStage.FRESH,
                    is_insurance=number < insurance.get(event.mother_id, 0),
                    rack=rack,
                    rack_row=row,
                    rack_column=column,
                )
            )
    return plugs


def record_cutting(
    *,
    cuts: list[MotherCut],
    cut_on: date,
    today: date,
    submission: UUID | None = None,
    note: str = "",
    rack: Spot | None = None,
    by=None,
) -> CuttingSession:
    """Save one sitting: the session, a cut event per mother, a plug with a code per frag, the sizes.

    The same ``submission`` sent again returns the session that it made the first time. With a ``rack`` the plugs are
    put into its free cells in order, as many as fit; the rest stand on the rack without a cell.

    At most 15 statements whatever the count, the transaction's own included. Raises RowErrors naming every row and
    column that is wrong, BadDate for the day of the sitting; then nothing is saved.
    """
    submission = submission or uuid4()
    check_day(cut_on, today=today, what="A cutting session")
    for tries_left in reversed(range(TRIES)):
        try:
            with transaction.atomic():
                return _save(cuts, cut_on=cut_on, submission=submission, note=note, rack=rack, by=by)
        except (IntegrityError, RowErrors) as refusal:
            # Sent twice at once: the other one has made the session, and its mothers rest from it by now.
            earlier = CuttingSession.objects.filter(submission=submission).first()
            if earlier is not None:
                return earlier
            # Otherwise a code or a cell was taken meanwhile, and both are drawn anew.
            if isinstance(refusal, RowErrors) or not tries_left:
                raise
    raise AssertionError("the loop above returns or raises")


def _save(cuts, *, cut_on, submission, note, rack, by) -> CuttingSession:
    earlier = CuttingSession.objects.filter(submission=submission).first()
    if earlier is not None:
        return earlier
    if not cuts:
        raise RowErrors([(1, "mother", "Choose at least one mother.")])
    mothers = _locked_mothers(cuts, cut_on)
    wrong = wrong_in_sitting(cuts, mothers, cut_on)
    if wrong:
        raise RowErrors(wrong)

    session = CuttingSession(cut_on=cut_on, note=note, submission=submission, saved_by=by)
    session._history_user = by
    session.save()
    events = bulk_create_with_history(
        [event_of(cut, session=session, mother=mothers[cut.mother.pk]) for cut in cuts], CutEvent, default_user=by
    )
    total = sum(cut.frags for cut in cuts)
    plugs = new_plugs(
        [(event, event.frags) for event in events],
        cut_on=cut_on,
        codes=give_out_codes(count=total),
        insurance={cut.mother.pk: cut.insurance for cut in cuts},
        cells=free_cells(rack, count=total) if rack else (),
    )
    bulk_create_with_history(plugs, Plug, default_user=by)
    # Their first state needs no row of history: the cut event has the sizes as they were entered.
    SizeReading.objects.bulk_create([reading for event in events for reading in size_readings_of(event, cut_on)])
    remember_defaults(cuts, mothers)
    return session


def _locked_mothers(cuts, cut_on: date) -> dict[int, Colony]:
    """The mothers as they are now, locked, so that none is ended between the check and the save."""
    return {
        mother.pk: mother
        for mother in Colony.objects.with_rest(cut_on)
        .select_for_update(of=("self",))
        .select_related("lineage")
        .filter(pk__in=[cut.mother.pk for cut in cuts])
        .order_by("pk")
    }


def wrong_in_sitting(cuts, mothers: dict[int, Colony], cut_on: date) -> list[tuple[int, str | None, str]]:
    """Everything that is wrong in a sitting, as ``(row, column, sentence)``; one query.

    ``mothers`` are those of the cuts as they are now, from ``Colony.objects.with_rest(cut_on)``.
    """
    cautions = cautions_on(mothers.values(), cut_on)
    times = Counter(cut.mother.pk for cut in cuts)
    wrong = []
    for row, cut in enumerate(cuts, 1):
        now = replace(cut, mother=mothers[cut.mother.pk])
        wrong += check_cut(now, row=row, cut_on=cut_on, cautions=cautions.get(cut.mother.pk, []))
        if times[cut.mother.pk] > 1:
            wrong.append((row, "mother", f"{cut.mother.tag} is in this sitting twice; add its frags together."))
    return wrong


def event_of(cut: MotherCut, *, session: CuttingSession, mother: Colony) -> CutEvent:
    """An unsaved cut event with what was entered for one mother."""
    return CutEvent(
        session=session,
        mother=mother,
        frags=cut.frags,
        frag_size_mm=cut.frag_size_mm,
        cut_with=cut.cut_with,
        measure=cut.measure if cut.size_before is not None or cut.size_after is not None else "",
        size_before=cut.size_before,
        size_after=cut.size_after,
        reason=cut.reason.strip(),
        note=cut.note,
    )


def remember_defaults(cuts, mothers) -> None:
    """Keep the count, the frag size and the measure of this sitting as the lineages' defaults for the next."""
    changed = {}
    for cut in cuts:
        lineage = changed.setdefault(mothers[cut.mother.pk].lineage_id, mothers[cut.mother.pk].lineage)
        lineage.frags_per_cut = cut.frags
        if cut.frag_size_mm is not None:
            lineage.frag_size_mm = cut.frag_size_mm
        if cut.measure:
            lineage.measure = cut.measure
    Lineage.objects.bulk_update(changed.values(), ["frags_per_cut", "frag_size_mm", "measure"])
