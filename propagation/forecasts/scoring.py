"""What was said, stored when it is said, and set against what came: so that forecasts can be judged by their past.

A forecast is stored for every day on which a reading or a cut gave cause to say something new of a colony. It is scored
at the first, third and fifth reading after it, as long as the colony was not cut in between.
"""

from bisect import bisect_right
from collections import defaultdict
from datetime import date

import numpy as np
from django.utils import timezone

from propagation.forecasts.keeping import model_from_json, states_from_json
from propagation.models import ColonyOutlook, CutEvent, Forecast, ForecastScore, LearnedGrowth, SizeReading
from propagation.yield_model.forecast import forecast_sizes

STEPS = (1, 3, 5)


def say(records, outlooks: list[ColonyOutlook], *, replayed: bool = False) -> int:
    """Store what the outlooks say, for colonies with something new on record; returns how many were stored.

    A slip put right on the day it was made is said anew; later, what was said stays said.
    """
    today = timezone.localdate()
    known = {
        (row.colony_id, row.measure, row.made_for): row
        for row in Forecast.objects.filter(
            colony__in=[outlook.colony_id for outlook in outlooks],
            made_for__in={outlook.seen_on for outlook in outlooks},
        )
    }
    fresh, mended = [], []
    for record, outlook in zip(records, outlooks, strict=True):
        if not record.readings:
            continue  # a guess from the published rates alone is no forecast of this colony
        size, rate = _plain_words(record.history)
        said = {
            "growth_id": outlook.growth_id,
            "readings": outlook.readings,
            "last_size": size,
            "last_rate": rate,
            "state": outlook.state,
        }
        old = known.get((outlook.colony_id, outlook.measure, outlook.seen_on))
        if old is None:
            fresh.append(
                Forecast(
                    colony_id=outlook.colony_id,
                    measure=outlook.measure,
                    made_for=outlook.seen_on,
                    replayed=replayed,
                    **said,
                )
            )
        elif timezone.localdate(old.made_at) == today and (old.last_size, old.readings) != (size, outlook.readings):
            for name, value in said.items():
                setattr(old, name, value)
            mended.append(old)
    Forecast.objects.bulk_create(fresh, batch_size=500, ignore_conflicts=True)
    if mended:
        ForecastScore.objects.filter(forecast__in=mended).delete()
        Forecast.objects.bulk_update(mended, ["growth_id", "readings", "last_size", "last_rate", "state"])
    return len(fresh)


def _plain_words(history):
    """The last size known, and the size a day between the last two sizes that no cut lies between."""
    sizes = [(reading.day, reading.size) for reading in history.readings]
    sizes += [(cut.day, cut.before) for cut in history.cuts if cut.before is not None]
    sizes.sort()
    after = [(cut.day, cut.after) for cut in history.cuts if cut.after is not None]
    last_cut = max((cut.day for cut in history.cuts), default=-np.inf)
    since = [item for item in sizes if item[0] > last_cut]
    since = [item for item in after if item[0] == last_cut] + since
    if not since:
        return (sizes[-1][1] if sizes and not history.cuts else None), None
    days = {}
    for day, size in since:
        days[day] = size
    ordered = sorted(days.items())
    rate = None
    if len(ordered) > 1:
        (before, old), (now, new) = ordered[-2:]
        rate = (new - old) / (now - before)
    return ordered[-1][1], rate


def score(colonies, day: date) -> int:
    """Set the stored forecasts of colonies (ids) against the readings that have come since, up to a day.

    Returns how many scores were written. What a correction changed is scored anew.
    """
    forecasts = list(Forecast.objects.filter(colony__in=colonies, made_for__lt=day))
    if not forecasts:
        return 0
    ids = {forecast.colony_id for forecast in forecasts}
    readings, cuts, absurd = _readings_of(ids, day), _cut_days_of(ids), _absurd_of(ids)
    old = {(row.forecast_id, row.steps): row for row in ForecastScore.objects.filter(forecast__in=forecasts)}
    due = defaultdict(list)
    for forecast in forecasts:
        rows = readings.get((forecast.colony_id, forecast.measure), [])
        first = bisect_right(rows, forecast.made_for, key=lambda row: row.taken_on)
        until = next((cut for cut in cuts.get(forecast.colony_id, ()) if cut > forecast.made_for), date.max)
        for steps in STEPS:
            row = rows[first + steps - 1] if first + steps <= len(rows) else None
            if row is None or row.taken_on > until or (row.taken_on, row.measure) in absurd.get(row.colony_id, ()):
                continue
            known = old.pop((forecast.pk, steps), None)
            if known is None or (known.outcome, known.taken_on) != (float(row.value), row.taken_on):
                due[forecast.growth_id].append((forecast, row, steps))
    # What no longer stands: a reading struck out or set aside, or a cut entered late.
    ForecastScore.objects.filter(pk__in=[row.pk for row in old.values()]).delete()
    models = LearnedGrowth.objects.in_bulk(due)
    written = [row for growth, items in due.items() for row in _score_together(models[growth], items)]
    ForecastScore.objects.bulk_create(
        written,
        batch_size=500,
        update_conflicts=True,
        unique_fields=["forecast", "steps"],
        update_fields=["reading", "taken_on", "outcome", "median", "rank", "crps"],
    )
    return len(written)


def _readings_of(ids, day):
    """Sizes by colony and measure, one a day: what a later forecast could have meant, so not those after a cut."""
    found = defaultdict(dict)
    rows = SizeReading.objects.filter(colony__in=ids, is_after_cut=False, taken_on__lte=day)
    for row in rows.order_by("taken_on", "id"):
        found[row.colony_id, row.measure][row.taken_on] = row
    return {key: list(days.values()) for key, days in found.items()}


def _cut_days_of(ids):
    found = defaultdict(list)
    rows = CutEvent.objects.filter(mother__in=ids, frags__gt=0).order_by("session__cut_on")
    for mother, cut_on in rows.values_list("mother", "session__cut_on"):
        found[mother].append(cut_on)
    return found


def _absurd_of(ids):
    return {
        colony: {(date.fromisoformat(item["day"]), measure) for item in absurd}
        for colony, measure, absurd in ColonyOutlook.objects.filter(colony__in=ids)
        .exclude(absurd=[])
        .values_list("colony", "measure", "absurd")
    }


def _score_together(growth: LearnedGrowth, items):
    """Scores of forecasts that rest on one model; none when it was kept by another version, which cannot be read."""
    try:
        model = model_from_json(growth.model)
        states = states_from_json([forecast.state for forecast, _, _ in items], [str(f.pk) for f, _, _ in items])
    except (KeyError, TypeError):
        return []
    days = np.array([row.taken_on.toordinal() for _, row, _ in items], dtype=float)
    outcomes = np.array([float(row.value) for _, row, _ in items])
    seen = forecast_sizes(model, states, days, as_reading=True)
    medians, ranks = seen.median, 1 - seen.probability_at_least(outcomes)
    crps = seen.ranked_score(outcomes)
    return [
        ForecastScore(
            forecast=forecast,
            reading=row,
            steps=steps,
            taken_on=row.taken_on,
            outcome=float(outcomes[index]),
            median=float(medians[index]),
            rank=float(np.clip(ranks[index], 0, 1)),
            crps=float(crps[index]),
        )
        for index, (forecast, row, steps) in enumerate(items)
    ]
