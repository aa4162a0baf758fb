"""What each mother has given over how long, and where that places her among the others."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Sum

from propagation.earnings import Earned, earned_by
from propagation.losses import NOTHING_LEFT, Left, Of, lost_after_leaving
from propagation.models import Colony, CutEvent, Placement
from propagation.readings.healing_records import cut_plugs
from propagation.yield_model.yield_record import FragRate, MotherRecord, rank_mothers

DAYS_A_YEAR = 365.25
# A mother of a week has no frags a year yet. Common practice, no source.
FEWEST_DAYS = 30


@dataclass(frozen=True)
class MotherYield:
    """One mother's record and her place in a ranking of all. Years count from the day she became a colony here, to
    her end or today. ``sure_of_place`` is the probability that her rate beats the next one's, None for the last.
    """

    colony: Colony
    place: int
    frags: int
    years: float
    usable: int
    healing: int
    earned: Earned | None
    rate: FragRate
    sure_of_place: float | None
    left: Left  # of her frags sold, how many were lost since


def years_as_colony(began_on: date, ended_on: date | None, day: date) -> float:
    """From the day a colony began to be kept here to its end or a day; at least 30 days."""
    return max(((ended_on or day) - began_on).days, FEWEST_DAYS) / DAYS_A_YEAR


def yield_record(day: date, *, by: str = "rate") -> list[MotherYield]:
    """Every colony that was ever cut, ranked by ``count``, ``rate``, ``usable`` or ``money``.

    Four queries, and one or two for each floor that knows of money or of losses after leaving.

    Usable are the frags that were seen healed, whatever became of them then; healing those of which it is not known
    yet.
    """
    frags = dict(
        CutEvent.objects.filter(frags__gt=0, session__cut_on__lte=day)
        .order_by()
        .values("mother")
        .annotate(total=Sum("frags"))
        .values_list("mother", "total")
    )
    usable, healing = _by_mother(cut_plugs().filter(healed_on__lte=day)), _by_mother(cut_plugs().healing())
    mothers = {
        str(colony.pk): colony
        for colony in Colony.objects.filter(cut_events__frags__gt=0, began_on__lte=day)
        .distinct()
        .select_related("lineage")
        .order_by("tag")
        if colony.pk in frags
    }
    earned = earned_by(colony.pk for colony in mothers.values())
    left = lost_after_leaving(Of.MOTHER, (colony.pk for colony in mothers.values()))
    records = [
        MotherRecord(
            identifier=key,
            lineage=str(colony.lineage_id),
            frags=frags[colony.pk],
            years=years_as_colony(colony.began_on, colony.ended_on, day),
            usable=usable.get(colony.pk, 0),
            money=float(earned[colony.pk].amount) if colony.pk in earned else 0.0,
        )
        for key, colony in mothers.items()
    ]
    return [
        MotherYield(
            colony=mothers[ranked.record.identifier],
            place=ranked.place,
            frags=ranked.record.frags,
            years=ranked.record.years,
            usable=ranked.record.usable,
            healing=healing.get(mothers[ranked.record.identifier].pk, 0),
            earned=earned.get(mothers[ranked.record.identifier].pk),
            rate=ranked.rate,
            sure_of_place=ranked.sure_of_place,
            left=left.get(mothers[ranked.record.identifier].pk, NOTHING_LEFT),
        )
        for ranked in rank_mothers(records, by=by)
    ]


def _by_mother(plugs) -> dict[int, int]:
    counted = plugs.order_by().values("cut_event__mother").annotate(total=Count("pk"))
    return dict(counted.values_list("cut_event__mother", "total"))


def only(rows: list[MotherYield], *, text="", system=None, lineage=None, alive=None) -> list[MotherYield]:
    """Those rows that are asked for; each keeps its place among all. At most one query.

    ``system`` keeps the mothers that ever stood in it.
    """
    if text:
        rows = [r for r in rows if text.lower() in f"{r.colony.tag}\n{r.colony.lineage.name}".lower()]
    if lineage is not None:
        rows = [r for r in rows if r.colony.lineage_id == lineage.pk]
    if alive is not None:
        rows = [r for r in rows if r.colony.is_alive == alive]
    if system is not None:
        stood = set(Placement.objects.filter(spot__system=system).values_list("colony", flat=True))
        rows = [r for r in rows if r.colony.pk in stood]
    return rows
