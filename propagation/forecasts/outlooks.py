"""When each mother can be cut next, for how many frags, how surely and why; kept until records change.

Triggers (`propagation.guards`) leave a mark whenever a record changes that an outlook rests on. Whoever asks next
brings the marked ones up to date; if nothing changed that is two cheap queries.
"""

import math
from collections.abc import Iterable
from datetime import date

import numpy as np
from django.db import transaction
from django.db.models import Exists, OuterRef, Q

from propagation.forecasts import learning, scoring
from propagation.forecasts.gathering import ColonyRecords, circumstances_of, gather_colonies, rules_of
from propagation.forecasts.keeping import state_to_json
from propagation.models import Binding, Colony, ColonyOutlook, ForecastMark
from propagation.yield_model.forecast import ColonyStates, forecast_sizes, view_colonies
from propagation.yield_model.histories import pad_histories
from propagation.yield_model.next_cut import next_cuts, size_needed

MONTH = 30
# The day of an outlook that records have overtaken.
LONG_PAST = date.min
# Marks are taken away in bites, since a statement holds only so many.
BITE = 5000


def current_outlooks(day: date):
    """The outlooks of all living colonies on a day, brought up to date first; a queryset.

    ``day`` is today: outlooks are kept for one day. For another day see `outlooks_on`.
    """
    bring_up_to_date(day)
    return ColonyOutlook.objects.filter(for_day=day).select_related("colony__lineage")


def outlook_of(colony: Colony, day: date) -> ColonyOutlook | None:
    """One colony's outlook today, brought up to date; None when it is not alive."""
    return current_outlooks(day).filter(colony=colony).select_related("colony__lineage", "growth").first()


def needs_work(day: date) -> bool:
    """Did records change, or the day, since outlooks were last brought up to date? Two queries."""
    return ForecastMark.objects.exists() or _out_of_date(day).exists()


def _out_of_date(day):
    return Colony.objects.alive().filter(began_on__lte=day).filter(
        ~Exists(ColonyOutlook.objects.filter(colony=OuterRef("pk"), for_day=day))
    )  # fmt: skip


def bring_up_to_date(day: date) -> int:
    """Work out again what changed; returns how many outlooks were written. Two people may do so at once.

    Marks are taken away before the records are read: a change that comes meanwhile leaves a mark of its own. What they
    named is out of date from then on, so nothing is lost if the work ends half-way.
    """
    named = _take_marks(day)
    chosen = _out_of_date(day)
    outlooks = []
    if chosen.exists():
        records = gather_colonies(day, colonies=chosen)
        outlooks = work_out(records, day)
        with transaction.atomic():
            fields = [field.name for field in ColonyOutlook._meta.concrete_fields if not field.primary_key]
            ColonyOutlook.objects.bulk_create(
                outlooks, update_conflicts=True, unique_fields=["colony"], update_fields=fields, batch_size=500
            )
            scoring.say(records, outlooks)
    if named:
        with transaction.atomic():
            scoring.score(named, day)
    return len(outlooks)


def _take_marks(day):
    """Turn marks into outlooks that are out of date; returns the ids of the colonies they named."""
    if not ForecastMark.objects.exists():
        return set()
    with transaction.atomic():
        marks = list(ForecastMark.objects.values_list("pk", "colony"))
        for start in range(0, len(marks), BITE):
            ForecastMark.objects.filter(pk__in=[pk for pk, _ in marks[start : start + BITE]]).delete()
        named = {colony for _, colony in marks if colony is not None}
        changed = ColonyOutlook.objects.all()
        if all(colony is not None for _, colony in marks):
            # What befalls one colony changes how many living copies its line has.
            lines = Colony.objects.filter(pk__in=named).values("lineage")
            changed = changed.filter(colony__lineage__in=lines)
        changed.update(for_day=LONG_PAST)
        ColonyOutlook.objects.filter(Q(colony__ended_on__isnull=False) | Q(colony__began_on__gt=day)).delete()
    return named


def outlooks_on(day: date, *, colonies=None) -> list[ColonyOutlook]:
    """What is or was to be said on any day, from the records up to that day; nothing is kept."""
    if colonies is None:
        colonies = Colony.objects.alive_on(day)
    return work_out(gather_colonies(day, colonies=colonies), day)


def work_out(records: list[ColonyRecords], day: date, *, learned=None) -> list[ColonyOutlook]:
    """Outlooks of living colonies, unsaved, in the order of the records; from what is in use, or what is given."""
    found = {}
    for _, group, taken, states, rules, circumstances in views(records, day, learned=learned):
        cuts = next_cuts(taken.model, states, rules, circumstances, float(day.toordinal()))
        ahead = float(day.toordinal()) + np.array([0.0, MONTH])
        sizes = forecast_sizes(taken.model, states, ahead[None, :])
        median, low, high = sizes.median, sizes.quantile(0.1), sizes.quantile(0.9)
        absurd = {}
        for item in states.absurd:
            absurd.setdefault(item.identifier, []).append(
                {"day": date.fromordinal(int(item.day)).isoformat(), "size": item.size, "reason": item.explanation}
            )
        for index, (record, rule, cut) in enumerate(zip(group, rules, cuts, strict=True)):
            now, later = float(median[index, 0]), float(median[index, 1])
            found[record.colony.pk] = ColonyOutlook(
                colony=record.colony,
                for_day=day,
                growth=taken.row,
                measure=record.measure,
                readings=record.readings,
                seen_on=date.fromordinal(int(states.last_day[index])),
                size=now,
                size_low=float(low[index, 0]),
                size_high=float(high[index, 0]),
                size_needed=float(
                    size_needed(rule.fewest_frags, rule.frag_unit.mean, rule.keep_at_least, rule.largest_share)
                ),
                growth_a_month=None if states.declining[index] or now <= 0 else later / now - 1,
                state=state_to_json(states, index),
                absurd=absurd.get(record.history.identifier, []),
                day=_day(cut.day),
                earliest=_day(cut.earliest),
                latest=_day(cut.latest),
                size_day=_day(cut.size_day),
                frags_low=cut.frags.low,
                frags=cut.frags.median,
                frags_high=cut.frags.high,
                frags_mean=cut.frags.mean,
                usable=cut.usable,
                for_insurance=cut.for_insurance,
                probability_today=cut.probability_today,
                binds=Binding(cut.binds),
                because=[*cut.because, *record.notes],
            )
    return [found[record.colony.pk] for record in records]


def views(records: list[ColonyRecords], day: date, *, learned=None) -> Iterable[tuple]:
    """Groups of colonies with the model they share: (key, records, Learned, ColonyStates, rules, circumstances).

    A measure and growth form that nothing was learned of yet is learned first, from every colony ever kept.
    """
    if not records:
        return
    known = dict(learned if learned is not None else learning.latest_learned())
    rules = dict(zip([r.colony.pk for r in records], rules_of(records, day), strict=True))
    circumstances = dict(zip([r.colony.pk for r in records], circumstances_of(records, day), strict=True))
    groups = learning.group_records(records)
    missing = [key for key in groups if key not in known]
    if missing:
        everybody = learning.group_records(gather_colonies(day))
        for key in missing:
            known[key] = learning.learn(everybody.get(key, []), key, day)
    for key, group in groups.items():
        yield (
            key,
            group,
            known[key],
            see(group, known[key]),
            [rules[record.colony.pk] for record in group],
            [circumstances[record.colony.pk] for record in group],
        )


def see(group: list[ColonyRecords], learned: learning.Learned) -> ColonyStates:
    """Where each colony of one measure and growth form stands after its last event."""
    measure, growth_form = group[0].key
    padded = pad_histories(
        [record.history for record in group], measure=measure, growth_form=growth_form, lag_days=learned.lag_days
    )
    return view_colonies(learned.model, padded)


def _day(ordinal):
    if ordinal is None or not math.isfinite(ordinal):
        return None
    return date.fromordinal(math.ceil(ordinal))
