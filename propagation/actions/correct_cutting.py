"""Correcting a session that was saved: a wrong count, a wrong mother, sizes, the day. What it was stays on record."""

from collections import Counter
from dataclasses import dataclass, field, replace
from datetime import date

from django.db import transaction
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from propagation.actions.allot_codes import allot_codes
from propagation.actions.days import check_day
from propagation.actions.put_on_rack import free_cells
from propagation.actions.record_cutting import (
    MotherCut,
    cautions_on,
    check_cut,
    event_of,
    new_plugs,
    size_readings_of,
)
from propagation.dates import day_in_words
from propagation.errors import BadDate, ChangedMeanwhile, RowErrors
from propagation.models import (
    Colony,
    CutEvent,
    CuttingSession,
    CutTool,
    Fate,
    HealingCheck,
    Lineage,
    Measure,
    Plug,
    SizeReading,
    Spot,
)
from propagation.promises import promises_of

LEFT = (Fate.SOLD, Fate.TRADED, Fate.GIVEN, Fate.GROWN_ON)
PLUG_FIELDS = ["lineage", "began_on", "checked_on", "size_mm", "fate", "ended_on", "rack", "rack_row", "rack_column"]
EVENT_FIELDS = ["mother", "frags", "frag_size_mm", "cut_with", "measure", "size_before", "size_after", "reason", "note"]


@dataclass(frozen=True)
class CutCorrection:
    """What one row of a session should have been.

    ``event`` is the cut as it was recorded, None for a mother that was forgotten. No frags takes the mother out.
    ``void`` are the ids of the plugs to void when there were fewer frags.
    """

    event: CutEvent | None
    cut: MotherCut
    void: tuple[int, ...] = ()


@dataclass(frozen=True)
class Corrected:
    """What a correction did: the sentences that stay on record, the plugs that came, the labels to print again."""

    session: CuttingSession
    changes: list[str] = field(default_factory=list)
    new_plugs: list[Plug] = field(default_factory=list)
    print_again: list[Plug] = field(default_factory=list)


@transaction.atomic
def correct_cutting(
    *,
    session: CuttingSession,
    corrections: list[CutCorrection],
    cut_on: date,
    note: str,
    version: int,
    today: date,
    by=None,
) -> Corrected:
    """Make a saved session say what was really cut.

    More frags become new plugs with new codes. With fewer, plugs without a label are voided first, then those that the
    keeper picked; a code is never used again. Under another mother plugs keep their codes and take its lineage. Rows
    that are not mentioned stay as they are. ``version`` is the one that the correction was based on.

    Raises ChangedMeanwhile if somebody else corrected it since, RowErrors naming row and column, BadDate.
    """
    session = CuttingSession.objects.select_for_update().get(pk=session.pk)
    work = _Correction(session, corrections, cut_on=cut_on, note=note.strip(), today=today, by=by)
    if not work.changes and not work.picked:  # also the same correction sent twice
        return Corrected(session)
    if session.version != version:
        raise ChangedMeanwhile(f"The session of {day_in_words(session.cut_on)}")
    work.refuse_what_is_wrong()
    return work.save()


class _Correction:
    """One correction while it is made; the session is locked."""

    def __init__(self, session, corrections, *, cut_on, note, today, by):
        self.session, self.cut_on, self.note, self.today, self.by = session, cut_on, note, today, by
        self.old_day = session.cut_on
        self.events = {
            event.pk: event
            for event in session.cut_events.select_for_update(of=("self",)).select_related("mother__lineage")
        }
        self.plugs = {pk: [] for pk in self.events}
        for plug in Plug.objects.select_for_update().filter(cut_event__in=self.events).order_by("id"):
            self.plugs[plug.cut_event_id].append(plug)
        self.to_void: dict[int, list[Plug]] = {}
        self.checked: dict[int, date] = {}  # the first healing check of each plug
        self.corrections = [self._of_this_session(correction) for correction in corrections]
        mentioned = {correction.event.pk for correction in self.corrections if correction.event}
        self.corrections += [
            CutCorrection(event, as_recorded(event)) for event in self.events.values() if event.pk not in mentioned
        ]
        self.mothers = {
            mother.pk: mother
            for mother in Colony.objects.with_rest(cut_on, leave_out_session=session)
            .select_for_update(of=("self",))
            .select_related("lineage")
            .filter(pk__in=[correction.cut.mother.pk for correction in self.corrections])
            .order_by("pk")
        }
        self.changes = self._changes()

    def _of_this_session(self, correction):
        """The row with its event as it is now; a forgotten mother that has been added since is that event."""
        if correction.event is not None:
            event = self.events[correction.event.pk]
            gone = {plug.pk for plug in self.plugs[event.pk] if plug.fate == Fate.VOID}
            return replace(correction, event=event, void=tuple(pk for pk in correction.void if pk not in gone))
        for event in self.events.values():
            same = event.mother_id == correction.cut.mother.pk and event.frags == correction.cut.frags
            if same and event.frags and not _differences(event, correction.cut):
                return replace(correction, event=event)
        return correction

    @property
    def picked(self) -> bool:
        return any(correction.void for correction in self.corrections)

    # -- what changes, in words

    def _changes(self) -> list[str]:
        said = []
        if self.cut_on != self.session.cut_on:
            said.append(f"cut on {day_in_words(self.session.cut_on)} → {day_in_words(self.cut_on)}")
        if self.note != self.session.note:
            said.append(f"note “{self.session.note}” → “{self.note}”")
        for correction in self.corrections:
            if correction.event is None:
                said.append(f"{correction.cut.mother.tag} added with {_frags(correction.cut.frags)}")
                continue
            differences = _differences(correction.event, correction.cut)
            if differences:
                said.append(f"{correction.event.mother.tag} {', '.join(differences)}")
        return said

    # -- what is wrong

    def refuse_what_is_wrong(self):
        check_day(self.cut_on, today=self.today, what="A cutting session")
        if self.cut_on != self.old_day:
            self._check_new_day()
        cautions = cautions_on(self.mothers.values(), self.cut_on)
        times = Counter(correction.cut.mother.pk for correction in self.corrections if correction.cut.frags)
        wrong = []
        for row, correction in enumerate(self.corrections, 1):
            event = correction.event
            if event is not None and not self._changes_anything(correction):
                continue
            cut = replace(correction.cut, mother=self.mothers[correction.cut.mother.pk])
            if event is None or cut.frags:
                # A mother that was cut for a good reason, or before the trouble was known, is not asked for again.
                anew = event is None or event.mother_id != cut.mother.pk or not event.frags
                anew = anew or self.cut_on != self.old_day
                of_mother = cautions.get(cut.mother.pk, []) if anew else []
                wrong += check_cut(cut, row=row, cut_on=self.cut_on, cautions=of_mother)
                if times[cut.mother.pk] > 1:
                    wrong.append((row, "mother", f"{cut.mother.tag} is in this session twice; add its frags together."))
            if event is not None and cut.frags >= 0:
                wrong += self._check_plugs(row, correction)
        if wrong:
            raise RowErrors(wrong)

    def _changes_anything(self, correction) -> bool:
        differences = _differences(correction.event, correction.cut)
        return bool(differences or correction.void or self.cut_on != self.old_day)

    def _check_plugs(self, row, correction):
        event, cut = correction.event, correction.cut
        plugs = [plug for plug in self.plugs[event.pk] if plug.fate != Fate.VOID]
        promises = promises_of(plugs)
        if cut.mother.pk != event.mother_id and self.mothers[cut.mother.pk].lineage_id != event.mother.lineage_id:
            for plug in plugs:
                why = _why_fixed(plug, promises) if plug.fate in LEFT or plug.pk in promises else ""
                if why:
                    yield (
                        row,
                        "mother",
                        f"The cut of {event.mother.tag} cannot become one of {cut.mother.tag}, which is of another "
                        f"lineage: {plug.code_in_clear} {why}.",
                    )
        fewer = event.frags - cut.frags
        if fewer > 0:
            yield from self._choose_voids(row, correction, plugs, promises, fewer)
        elif correction.void:
            yield (
                row,
                "void",
                f"Plugs of {event.mother.tag} are chosen to be voided, but the number of frags is not less: "
                f"set it to {max(event.frags - len(correction.void), 0)}, or choose none.",
            )

    def _choose_voids(self, row, correction, plugs, promises, fewer):
        tag = correction.event.mother.tag
        can_go = [plug for plug in plugs if plug.is_kept and plug.pk not in promises]
        picked = [plug for plug in plugs if plug.pk in correction.void]
        fixed = [plug for plug in picked if plug not in can_go]
        for plug in fixed:
            yield (row, "void", f"Plug {plug.code_in_clear} {_why_fixed(plug, promises)}, so it cannot be voided.")
        if fixed:
            return
        if len(picked) > fewer:
            yield (
                row,
                "void",
                f"{len(picked)} plugs of {tag} are chosen to be voided, but {_frags(correction.event.frags)} → "
                f"{_frags(correction.cut.frags)} takes only {fewer}.",
            )
            return
        if len(can_go) < fewer:
            staying = [f"{p.code_in_clear} {_why_fixed(p, promises)}" for p in plugs if p not in can_go]
            yield (
                row,
                "frags",
                f"{tag} cannot go down to {_frags(correction.cut.frags)}: {'; '.join(staying)}. "
                f"The least it can have is {len(plugs) - len(can_go)}.",
            )
            return
        # The last ones first: the keeper reads a sitting from its beginning.
        unlabelled = [plug for plug in reversed(can_go) if plug.labelled_at is None and plug not in picked]
        voids = (picked + unlabelled)[:fewer]
        if len(voids) < fewer and correction.cut.frags == 0:
            voids = can_go
        if len(voids) < fewer:
            yield (
                row,
                "void",
                f"{fewer - len(voids)} more of the plugs of {tag} must go, and the rest have printed labels: choose "
                "which of them were never there.",
            )
            return
        self.to_void[correction.event.pk] = voids

    def _check_new_day(self):
        plugs = [plug for of_event in self.plugs.values() for plug in of_event if plug.fate != Fate.VOID]
        grown = {
            colony.grown_from_id: colony for colony in Colony.objects.filter(grown_from__in=[plug.pk for plug in plugs])
        }
        self.checked = dict(
            HealingCheck.objects.standing()
            .filter(plug__in=plugs)
            .order_by("-checked_on")
            .values_list("plug", "checked_on")
        )
        for plug in plugs:
            then = None
            first_check = self.checked.get(plug.pk) or plug.healed_on
            if first_check is not None and first_check < self.cut_on:
                then = f"was checked on {first_check}"
            elif plug.ended_on is not None and plug.ended_on < self.cut_on:
                then = f"is {plug.get_fate_display().lower()} since {day_in_words(plug.ended_on)}"
            elif plug.pk in grown and grown[plug.pk].began_on <= self.cut_on:
                then = f"became {grown[plug.pk].tag} on {grown[plug.pk].began_on}"
            if then:
                raise BadDate(
                    f"The session cannot move to {day_in_words(self.cut_on)}: plug {plug.code_in_clear} {then}.",
                    field="day",
                )

    # -- writing

    def save(self) -> Corrected:
        reason = "; ".join(self.changes)
        changed = [c for c in self.corrections if c.event is not None and self._changes_anything(c)]
        # Parked without frags, cuts can change mothers among themselves and the day can move in any order.
        CutEvent.objects.filter(pk__in=[c.event.pk for c in changed]).update(frags=0)
        self.session.cut_on, self.session.note = self.cut_on, self.note
        self.session.version += 1
        self.session._history_user, self.session._change_reason = self.by, reason
        self.session.save()

        more, print_again = [], []
        for correction in changed:
            event, cut = correction.event, correction.cut
            before = (event.frags, event.frag_size_mm, event.mother.tag, event.mother.lineage_id)
            grew = cut.frags - event.frags
            _apply(event, cut, self.mothers[cut.mother.pk])
            self._follow(event, before, print_again)
            if grew > 0:
                more.append((event, grew))
            self._remember(event, before)
        bulk_update_with_history(
            [c.event for c in changed],
            CutEvent,
            EVENT_FIELDS,
            default_user=self.by,
            default_change_reason=reason,
        )
        forgotten = bulk_create_with_history(
            [
                event_of(c.cut, session=self.session, mother=self.mothers[c.cut.mother.pk])
                for c in self.corrections
                if c.event is None and c.cut.frags
            ],
            CutEvent,
            default_user=self.by,
            default_change_reason=reason,
        )
        more += [(event, event.frags) for event in forgotten]
        self._save_plugs(reason)
        made = self._make_plugs(more, reason)
        for event in [*(c.event for c in changed), *forgotten]:
            self._correct_sizes(event, reason)
        return Corrected(self.session, self.changes, made, print_again)

    def _follow(self, event, before, print_again):
        """The plugs of a cut take the lineage, the day and the size of the cut as it is now; voids are voided."""
        _, old_size, old_tag, old_lineage = before
        voids = self.to_void.get(event.pk, [])
        for plug in self.plugs[event.pk]:
            plug.lineage_id = event.mother.lineage_id
            if self.cut_on != self.old_day:
                plug.began_on = self.cut_on
                if plug.pk not in self.checked:
                    plug.checked_on = plug.healed_on or self.cut_on
                if plug.fate == Fate.VOID:
                    plug.ended_on = max(plug.ended_on, self.cut_on)
            if plug.size_mm == old_size:  # not measured on its own since
                plug.size_mm = event.frag_size_mm
            if plug in voids:
                plug.fate, plug.ended_on = Fate.VOID, self.today
                plug.rack = plug.rack_row = plug.rack_column = None
            other_words = (
                event.mother.tag != old_tag or event.mother.lineage_id != old_lineage or self.cut_on != self.old_day
            )
            if other_words and plug.is_kept and plug.labelled_at is not None:
                print_again.append(plug)

    def _save_plugs(self, reason):
        plugs = [plug for of_event in self.plugs.values() for plug in of_event]
        now = {plug.pk: plug for plug in Plug.objects.filter(pk__in=[plug.pk for plug in plugs])}
        attributes = [Plug._meta.get_field(name).attname for name in PLUG_FIELDS]
        changed = [p for p in plugs if any(getattr(p, name) != getattr(now[p.pk], name) for name in attributes)]
        if changed:
            bulk_update_with_history(changed, Plug, PLUG_FIELDS, default_user=self.by, default_change_reason=reason)

    def _make_plugs(self, more, reason) -> list[Plug]:
        """New plugs stand on the rack where most of the sitting stands."""
        total = sum(count for _, count in more)
        if not total:
            return []
        racks = Counter(p.rack_id for of_event in self.plugs.values() for p in of_event if p.is_kept and p.rack_id)
        rack = Spot.objects.filter(pk__in=[pk for pk, _ in racks.most_common(1)]).first()
        plugs = new_plugs(
            more,
            cut_on=self.cut_on,
            codes=allot_codes(count=total),
            cells=free_cells(rack, count=total) if rack else (),
            insurance={c.cut.mother.pk: c.cut.insurance for c in self.corrections if c.event is None},
        )
        return bulk_create_with_history(plugs, Plug, default_user=self.by, default_change_reason=reason)

    def _correct_sizes(self, event, reason):
        wanted = {reading.is_after_cut: reading for reading in size_readings_of(event, self.cut_on)}
        if not event.frags:
            wanted = {}
        for reading in SizeReading.objects.filter(cut_event=event):
            reading._history_user, reading._change_reason = self.by, reason
            right = wanted.pop(reading.is_after_cut, None)
            if right is None:
                reading.delete()
                continue
            names = ("colony_id", "taken_on", "measure", "value")
            if any(getattr(reading, name) != getattr(right, name) for name in names):
                for name in names:
                    setattr(reading, name, getattr(right, name))
                reading.save()
        SizeReading.objects.bulk_create(wanted.values())

    def _remember(self, event, before):
        """A count that was a slip is not the lineage's usual count."""
        if event.frags and event.frags != before[0]:
            Lineage.objects.filter(pk=event.mother.lineage_id, frags_per_cut=before[0]).update(
                frags_per_cut=event.frags
            )


def as_recorded(event: CutEvent) -> MotherCut:
    """A cut as it stands, as it would be entered."""
    return MotherCut(
        mother=event.mother,
        frags=event.frags,
        frag_size_mm=event.frag_size_mm,
        size_before=event.size_before,
        size_after=event.size_after,
        measure=event.measure,
        reason=event.reason,
        note=event.note,
        cut_with=event.cut_with,
    )


def _frags(count: int) -> str:
    return "1 frag" if count == 1 else f"{count} frags"


def _why_fixed(plug: Plug, promises: dict[int, str]) -> str:
    if plug.pk in promises:
        return f"is promised {promises[plug.pk]}"
    return f"is {plug.get_fate_display().lower()} since {day_in_words(plug.ended_on)}"


def _measure_of(cut: MotherCut) -> str:
    return cut.measure if cut.size_before is not None or cut.size_after is not None else ""


def _differences(event: CutEvent, cut: MotherCut) -> list[str]:
    """In what the row differs from the cut as it stands: ``["8 → 7 frags", "is M013"]``."""
    if event.frags == 0 and cut.frags == 0:
        return []
    if cut.frags == 0:
        return [f"taken out ({_frags(event.frags)})"]
    said = []
    if cut.mother.pk != event.mother_id:
        said.append(f"was {cut.mother.tag}")
    if cut.frags != event.frags:
        said.append(f"{event.frags} → {_frags(cut.frags)}")
    numbers = [
        ("frag size", event.frag_size_mm, cut.frag_size_mm),
        ("size before", event.size_before, cut.size_before),
        ("size after", event.size_after, cut.size_after),
    ]
    said += [f"{name} {_number(was)} → {_number(now)}" for name, was, now in numbers if was != now]
    if event.measure != _measure_of(cut):
        said.append(f"measured by {_measure_name(event.measure)} → {_measure_name(_measure_of(cut))}")
    if event.cut_with != cut.cut_with:
        said.append(f"cut with {_tool_name(event.cut_with)} → {_tool_name(cut.cut_with)}")
    texts = [("reason", event.reason, cut.reason.strip()), ("note", event.note, cut.note.strip())]
    said += [f"{name} “{was}” → “{now}”" for name, was, now in texts if was != now]
    return said


def _number(value) -> str:
    if value is None:
        return "none"
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _measure_name(measure: str) -> str:
    return Measure(measure).label.lower() if measure in Measure.values else measure or "nothing"


def _tool_name(tool: str) -> str:
    return CutTool(tool).label.lower() if tool in CutTool.values else tool or "nothing noted"


def _apply(event: CutEvent, cut: MotherCut, mother: Colony) -> None:
    if cut.frags == 0:
        event.frags = 0
        return
    event.mother = mother
    event.frags, event.frag_size_mm, event.cut_with = cut.frags, cut.frag_size_mm, cut.cut_with
    event.measure, event.size_before, event.size_after = _measure_of(cut), cut.size_before, cut.size_after
    event.reason, event.note = cut.reason.strip(), cut.note.strip()
