"""Following plugs through healing; every change is a dated check."""

from datetime import date

from django.db import transaction
from simple_history.utils import bulk_update_with_history

from propagation.actions.days import check_day
from propagation.errors import BadValue, PlugGone
from propagation.models import Fate, HealingCheck, HealingStage, LossReason, Plug


def _locked(plugs, *, on: date, today: date, wish: str) -> list[Plug]:
    """Lock the plugs and make sure that each is kept and was there on the day."""
    locked = list(Plug.objects.select_for_update().filter(pk__in=[plug.pk for plug in plugs]).order_by("pk"))
    for plug in locked:
        if not plug.is_kept:
            raise PlugGone(plug, wish)
        check_day(
            on, today=today, what=f"A check of {plug.code_in_clear}", not_before=plug.began_on, because="it was cut"
        )
    return locked


@transaction.atomic
def check_healing(*, plugs, stage: str | None = None, on: date, today: date, note: str = "", by=None) -> list[Plug]:
    """Record the stage that plugs were seen in on a day; without a stage each moves on to its next one.

    A check may be entered late: the plug's own stage is then that of its latest check. Raises PlugGone, BadDate, and
    BadValue for a stage that does not exist.
    """
    if stage is not None and stage not in HealingStage.values:
        raise BadValue(f"“{stage}” is no healing stage; use one of {', '.join(HealingStage.values)}.", field="stage")
    locked = _locked(plugs, on=on, today=today, wish="checked")
    checks = []
    for plug in locked:
        seen = HealingStage(stage) if stage else (HealingStage(plug.stage).next or HealingStage.HEALED)
        checks.append(HealingCheck(plug=plug, checked_on=on, stage=seen, note=note, recorded_by=by))
        if on >= plug.checked_on:
            plug.stage, plug.checked_on = seen, on
            plug.healed_on = (plug.healed_on or on) if seen == HealingStage.HEALED else None
        elif seen == HealingStage.HEALED and plug.stage == HealingStage.HEALED:
            plug.healed_on = min(plug.healed_on, on)
    HealingCheck.objects.bulk_create(checks)
    bulk_update_with_history(locked, Plug, ["stage", "checked_on", "healed_on"], default_user=by)
    return locked


@transaction.atomic
def find_dead(*, plugs, reason: str, on: date, today: date, note: str = "", by=None) -> list[Plug]:
    """Record that plugs were found dead on a day, and why.

    Raises PlugGone, BadDate, and BadValue for a reason that does not exist.
    """
    if reason not in LossReason.values:
        raise BadValue(f"“{reason}” is no reason; use one of {', '.join(LossReason.values)}.", field="reason")
    locked = _locked(plugs, on=on, today=today, wish="marked dead again")
    for plug in locked:
        plug.fate, plug.loss_reason, plug.ended_on = Fate.DEAD, reason, on
    HealingCheck.objects.bulk_create(
        [
            HealingCheck(plug=plug, checked_on=on, stage=plug.stage, found_dead=True, note=note, recorded_by=by)
            for plug in locked
        ]
    )
    bulk_update_with_history(locked, Plug, ["fate", "loss_reason", "ended_on"], default_user=by)
    return locked
