"""Growth models learned from the collection, one for each measure and growth form, kept until enough has changed."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Max

from propagation.forecasts.gathering import ColonyRecords, gather_colonies
from propagation.forecasts.keeping import model_from_json, model_to_json
from propagation.models import LearnedGrowth, SizeReading
from propagation.yield_model import learn_lag, learn_model, pad_histories
from propagation.yield_model.pooling import GrowthModel

# Learned afresh when the readings grew by this share, and by at least so many. Common practice, no source.
GROWN_BY = 0.1
FEWEST_NEW = 10
# What was learned before the last few times is kept only while a stored forecast rests on it.
KEPT = 3


@dataclass(frozen=True)
class Learned:
    """A model in use: the row it is kept in, and the days without growth after a cut."""

    row: LearnedGrowth
    model: GrowthModel
    lag_days: float


def learn(records: list[ColonyRecords], key: tuple[str, str], day: date) -> Learned:
    """Learn one measure and growth form from the colonies at hand, and keep it."""
    measure, growth_form = key
    histories = [record.history for record in records]
    lag_days, _ = learn_lag(histories, measure=measure, growth_form=growth_form)
    padded = pad_histories(histories, measure=measure, growth_form=growth_form, lag_days=lag_days)
    model = learn_model(padded, measure=measure, growth_form=growth_form)
    row = LearnedGrowth.objects.create(
        measure=measure,
        growth_form=growth_form,
        learned_on=day,
        colonies=len(histories),
        readings=reading_counts().get(key, 0),
        lag_days=lag_days,
        model=model_to_json(model),
    )
    return Learned(row, model, lag_days)


def _in_use():
    """The latest row of each measure and growth form."""
    groups = LearnedGrowth.objects.order_by().values("measure", "growth_form")
    return LearnedGrowth.objects.filter(pk__in=groups.annotate(last=Max("pk")).values("last"))


def latest_learned() -> dict[tuple[str, str], Learned]:
    """What is in use now, by measure and growth form; rows kept by another version of the model are passed over."""
    newest = {}
    for row in _in_use():
        try:
            newest[row.measure, row.growth_form] = Learned(row, model_from_json(row.model), row.lag_days)
        except (KeyError, TypeError):
            continue
    return newest


def is_outgrown(row: LearnedGrowth, readings: int) -> bool:
    """Have readings come in (or been struck) since that make learning again worth the time?"""
    apart = abs(readings - row.readings)
    return apart >= FEWEST_NEW and apart >= GROWN_BY * row.readings


def group_records(records: list[ColonyRecords]) -> dict[tuple[str, str], list[ColonyRecords]]:
    """Records by measure and growth form."""
    groups = defaultdict(list)
    for record in records:
        groups[record.key].append(record)
    return dict(groups)


def reading_counts() -> dict[tuple[str, str], int]:
    """How many sizes of colonies are on record, by measure and growth form. One query."""
    rows = SizeReading.objects.filter(colony__isnull=False, is_after_cut=False).order_by()
    rows = rows.values("measure", "colony__lineage__growth_form").annotate(number=Count("pk"))
    return {(row["measure"], row["colony__lineage__growth_form"]): row["number"] for row in rows}


def outgrown() -> list[tuple[str, str]]:
    """What has been learned and should be learned again. Two queries."""
    counts = reading_counts()
    return [
        (row.measure, row.growth_form)
        for row in _in_use().defer("model")
        if is_outgrown(row, counts.get((row.measure, row.growth_form), 0))
    ]


def learn_what_is_outgrown(day: date) -> list[Learned]:
    """Learn again, from every colony ever kept, what has been outgrown; returns what was learned."""
    known, again, learned = latest_learned(), set(outgrown()), []
    for key, group in group_records(gather_colonies(day)).items():
        if key not in known or key in again:
            learned.append(learn(group, key, day))
    if learned:
        _prune()
    return learned


def _prune():
    for key in LearnedGrowth.objects.order_by().values("measure", "growth_form").distinct():
        newest = LearnedGrowth.objects.filter(**key).order_by("-pk").values_list("pk", flat=True)[:KEPT]
        LearnedGrowth.objects.filter(**key, outlooks=None, forecasts=None).exclude(pk__in=list(newest)).delete()
