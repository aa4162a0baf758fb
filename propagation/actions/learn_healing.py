"""Learning how long plugs take to heal and how many make it, and keeping what was learned."""

from dataclasses import asdict
from datetime import date

from django.db import transaction
from django.utils import timezone
from django_tasks import task

from propagation.models import LearnedHealing
from propagation.readings.healing_records import MOST_PLUGS, healing_records, known_outcomes
from propagation.yield_model.healing import HealingModel, LineageHealing, learn_healing

# Learned again when plugs of known outcome grew by this share, and by at least so many. Common practice, no source.
GROWN_BY = 0.1
FEWEST_NEW = 10
# The first time somebody waits for it, so it begins with the latest plugs; a worker then takes the rest.
AT_FIRST = 1_000
KEPT = 3  # rows; the latest one is used


def to_dict(model: HealingModel) -> dict:
    """A healing model as JSON keeps it."""
    return asdict(model)


def from_dict(kept: dict) -> HealingModel:
    """A healing model from what `to_dict` gave. Raises KeyError or TypeError for what another version kept."""
    return HealingModel(
        family=kept["family"],
        spread=kept["spread"],
        death_days=kept["death_days"],
        usual=LineageHealing(**kept["usual"]),
        lineages={lineage: LineageHealing(**figures) for lineage, figures in kept["lineages"].items()},
    )


def learn_healing_from_records(day: date, *, most: int = MOST_PLUGS) -> LearnedHealing:
    """Learn from the latest plugs as they were known on a day, and keep it; what was learned long before goes."""
    outcomes, records = known_outcomes(), healing_records(day, most=most)
    if len(records) < outcomes and most < MOST_PLUGS:
        outcomes = sum(plug.seen_healed is not None or plug.seen_dead is not None for plug in records)
    model = learn_healing(records)
    learned = LearnedHealing.objects.create(learned_on=day, plugs=outcomes, model=to_dict(model))
    newest = list(LearnedHealing.objects.values_list("pk", flat=True)[:KEPT])
    LearnedHealing.objects.exclude(pk__in=newest).delete()
    return learned


def learn_healing_at_first(day: date) -> LearnedHealing:
    """Learn while somebody waits."""
    learned = learn_healing_from_records(day, most=AT_FIRST)
    if is_outgrown(learned, known_outcomes()):
        follow_outcomes()
    return learned


def is_outgrown(learned: LearnedHealing, outcomes: int) -> bool:
    """Did outcomes come in (or were taken back) since that make learning again worth the time?"""
    apart = abs(outcomes - learned.plugs)
    return apart >= FEWEST_NEW and apart >= GROWN_BY * learned.plugs


@task()
def learn_healing_again() -> bool:
    """Learn again if what was learned is outgrown; returns whether it was."""
    learned = LearnedHealing.objects.first()
    if learned is not None and not is_outgrown(learned, known_outcomes()):
        return False
    learn_healing_from_records(timezone.localdate())
    return True


def follow_outcomes() -> None:
    """Outcomes of plugs were recorded or taken back: once that is saved, have a worker see whether to learn again."""
    transaction.on_commit(learn_healing_again.enqueue)
