from datetime import date

from django.db import transaction
from django.db.models import Max

from propagation.actions.acquire import new_colony
from propagation.actions.days import check_day
from propagation.actions.move_colony import move_colony
from propagation.dates import day_in_words
from propagation.errors import BadDate, PlugGone
from propagation.models import Colony, Fate, Plug, Spot
from propagation.promises import refuse_promised


@transaction.atomic
def grow_on(
    *, plug: Plug, tag: str, on: date, today: date, spot: Spot | None = None, note: str = "", by=None
) -> Colony:
    """A plug becomes a colony with its own tag; the thread of descent goes on through the plug.

    Raises PlugGone, PlugPromised, BadDate, AlreadyDone (the tag was used before).
    """
    plug = Plug.objects.select_for_update().select_related("lineage").get(pk=plug.pk)
    if not plug.is_kept:
        raise PlugGone(plug, "grown on")
    refuse_promised([plug])
    check_day(on, today=today, what=f"Growing on {plug.code_in_clear}", not_before=plug.began_on, because="it came")
    if plug.cut_event_id and on <= plug.began_on:
        raise BadDate(
            f"{plug.code_in_clear} was cut on {day_in_words(plug.began_on)}; it can be grown on from the day after.",
            field="day",
        )
    seen = plug.healing_checks.standing().aggregate(last=Max("checked_on"))["last"]
    check_day(on, today=today, what=f"Growing on {plug.code_in_clear}", not_before=seen, because="it was checked")
    plug.fate, plug.ended_on = Fate.GROWN_ON, on
    plug.rack = plug.rack_row = plug.rack_column = None
    plug._history_user = by
    plug.save()
    colony = new_colony(tag=tag, lineage=plug.lineage, grown_from=plug, began_on=on, note=note, by=by)
    if spot is not None:
        move_colony(colony=colony, spot=spot, on=on, today=today, by=by)
    return colony
