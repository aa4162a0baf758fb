"""Learning how long plugs take to heal and how many make it, and keeping what was learned."""

from dataclasses import asdict
from datetime import date

from django.db import transaction
from django.utils import timezone
from django_tasks import task

from propagation.models import LearnedHealing
from propagation.readings.healing_records import healing_records, known_outcomes
from propagation.yield_model.healing import HealingModel, LineageHealing, learn_healing

# Learned again when plugs of known outcome grew by this share, and by at least so many. Common practice, no source.
GROWN_BY = 0.1
FEWEST_NEW = 10
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


def learn_healing_from_records(day: date) -> LearnedHealing:
    """Learn from the plugs as they were known on a day, and keep it; what was learned long before goes."""
    outcomes = known_outcomes()
    model = learn_healing(healing_records(day))
    learned = LearnedHealing.objects.create(learned_on=day, plugs=outcomes, model=to_dict(model))
    newest = list(LearnedHealing.objects.values_list("pk", flat=True)[:KEPT])
    LearnedHealing.objects.exclude(pk__in=newest).delete()
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
