"""What was brought to the market table: more of it, one less, and the end of the market."""

from collections.abc import Iterable
from datetime import date

from django.db import transaction

from inventory.models import BroughtPlug
from inventory.readings.chosen import MOST_CHOSEN
from propagation.errors import AlreadyDone, BadValue, PlugGone
from propagation.models import Plug


@transaction.atomic
def bring_to_market(*, plugs: Iterable[Plug], today: date) -> int:
    """These lie on the table of today too; returns how many did not before. Lists of earlier days are put away.

    Two who bring at once bring all of it. Raises PlugGone, and BadValue for more than a table holds.
    """
    plugs = list(plugs)
    for plug in plugs:
        if not plug.is_kept:
            raise PlugGone(plug, "brought")
    BroughtPlug.objects.filter(day__lt=today).delete()
    lie_there = set(BroughtPlug.objects.filter(day=today).values_list("plug", flat=True))
    new = {plug.pk for plug in plugs} - lie_there
    if len(lie_there) + len(new) > MOST_CHOSEN:
        raise BadValue(f"{len(lie_there) + len(new)} plugs are too many for one table; {MOST_CHOSEN} fit.")
    BroughtPlug.objects.bulk_create(
        (BroughtPlug(day=today, plug_id=pk) for pk in sorted(new)), ignore_conflicts=True
    )  # another may bring the same in this very moment
    return len(new)


def leave_at_home(*, plug: Plug, today: date) -> None:
    """It was not brought after all. Raises AlreadyDone if it is not on the list of today."""
    gone, _ = BroughtPlug.objects.filter(day=today, plug=plug).delete()
    if not gone:
        raise AlreadyDone(f"{plug.code_in_clear} is not on the list of what was brought today.")


def end_market(*, today: date) -> None:
    """The list of what was brought is put away; what was sold stays in the sales. Ended twice is ended once."""
    BroughtPlug.objects.filter(day__lte=today).delete()
