"""A restart: the old build ends, a new one begins, and what survives moves over, in one act."""

from dataclasses import dataclass
from datetime import date

from django.db import transaction

from propagation.actions.days import check_day
from propagation.actions.end_system import WhereTo, end_system
from propagation.actions.keep_system import keep_spot, keep_system
from propagation.dates import day_in_words
from propagation.errors import AlreadyDone, BadDate, BadValue, RametError, RowErrors
from propagation.models import Colony, Spot, System


@dataclass(frozen=True)
class SpotInTheNewBuild:
    """A spot that the new system has: one of the old build taken over, or one that is new."""

    name: str
    like: Spot | None = None
    par: int | None = None


@dataclass(frozen=True)
class Survivor:
    """Where a colony goes: the place of its new spot in the list of spots, or a reason for its end, or neither yet."""

    colony: Colony
    spot_number: int | None = None
    end_reason: str = ""


@transaction.atomic
def restart_system(
    *,
    system: System,
    name: str,
    ended_on: date,
    started_on: date,
    today: date,
    spots: list[SpotInTheNewBuild] = (),
    survivors: list[Survivor] = (),
    note: str = "",
    by=None,
) -> System:
    """End the old system and begin the new one that succeeds it; returns the new one.

    A colony leaves its old spot on the day the old build ended and stands at its new one from that day, or from the day
    the new build began if that is later. Plugs go with their rack where it is taken over. A system that ended before
    can still be given its restart. Raises AlreadyDone, BadDate, NameTaken, RowErrors; then nothing is saved.
    """
    old = System.objects.select_for_update().get(pk=system.pk)
    successor = System.objects.filter(succeeds=old).first()
    if successor is not None:
        raise AlreadyDone(
            f"{old} was restarted already: {successor} succeeds it since {day_in_words(successor.started_on)}."
        )
    check_day(started_on, today=today, what="The start of the new build")
    if started_on <= old.started_on:
        raise BadDate(
            f"The new build cannot begin on {day_in_words(started_on)}: {old}, which "
            f"it succeeds, began on {day_in_words(old.started_on)}.",
            field="started_on",
        )
    new = keep_system(system=System(name=name, started_on=started_on, succeeds=old, note=note), today=today, by=by)
    made = _make_spots(new, spots, by=by)
    if old.ended_on is not None:
        if survivors:
            raise AlreadyDone(
                f"{old} ended on {day_in_words(old.ended_on)} already, so nothing stands in it that could move over."
            )
        return new
    end_system(
        system=old,
        on=ended_on,
        today=today,
        where_to=[_where_to(survivor, made) for survivor in survivors],
        plugs_to={
            wish.like.pk: spot for wish, spot in zip(spots, made, strict=True) if wish.like is not None and spot.is_rack
        },
        by=by,
    )
    return new


def _make_spots(new: System, wishes, *, by) -> list[Spot]:
    made, wrong = [], []
    for row, wish in enumerate(wishes, 1):
        like = wish.like or Spot()
        spot = Spot(
            system=new,
            name=wish.name,
            par=wish.par,
            x_cm=like.x_cm,
            y_cm=like.y_cm,
            rack_rows=like.rack_rows,
            rack_columns=like.rack_columns,
        )
        try:
            made.append(keep_spot(spot=spot, by=by))
        except RametError as error:
            wrong.append((row, "spot", str(error)))
    if wrong:
        raise RowErrors(wrong)
    return made


def _where_to(survivor: Survivor, made: list[Spot]) -> WhereTo:
    if survivor.spot_number is None:
        return WhereTo(survivor.colony, end_reason=survivor.end_reason)
    if not 0 <= survivor.spot_number < len(made):
        raise BadValue(f"{survivor.colony.tag} goes to a spot that the new build does not have; choose another.")
    return WhereTo(survivor.colony, spot=made[survivor.spot_number])
