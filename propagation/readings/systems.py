"""What a keeper asks of systems: what stands where, and a plan of the spots."""

from dataclasses import dataclass

from django.db.models import Count, Prefetch, Q, QuerySet

from propagation.models import Fate, Placement, Spot, System

PLAN_WIDTH = 600  # of the view box; the drawing shrinks to the page
MARGIN = 34


def systems_with_counts() -> QuerySet:
    """Systems with ``spot_count``, ``colony_count`` (standing there now) and the one they succeed."""
    return System.objects.select_related("succeeds").annotate(
        spot_count=Count("spots", distinct=True),
        colony_count=Count("spots__placements", filter=Q(spots__placements__until=None), distinct=True),
    )


def spots_with_what_stands(system: System) -> list[Spot]:
    """The spots of a system by name, each with ``standing`` (current placements) and ``plug_count``. Two queries."""
    here = Placement.objects.current().select_related("colony__lineage").order_by("colony__tag")
    return list(
        system.spots.annotate(plug_count=Count("plugs", filter=Q(plugs__fate=Fate.KEPT)))
        .prefetch_related(Prefetch("placements", queryset=here, to_attr="standing"))
        .order_by("name")
    )


@dataclass(frozen=True)
class Mark:
    """A spot on the plan: its number in the table, its place, whether it is a rack, how much stands there."""

    number: int
    x: float
    y: float
    is_rack: bool
    spot: Spot


@dataclass(frozen=True)
class Plan:
    width: int
    height: int
    marks: list[Mark]


def plan_of(spots: list[Spot]) -> Plan | None:
    """A plan seen from above, the front at the bottom; None while no spot has coordinates. No query."""
    placed = [(number, spot) for number, spot in enumerate(spots, 1) if spot.x_cm is not None and spot.y_cm is not None]
    if not placed:
        return None
    left, right = min(0, *(s.x_cm for _, s in placed), 0), max(s.x_cm for _, s in placed)
    front, back = min(0, *(s.y_cm for _, s in placed), 0), max(s.y_cm for _, s in placed)
    # Room beyond the last spot, as much as there is before the first.
    right = max(right + min(s.x_cm for _, s in placed) - left, left + 10)
    back = max(back + min(s.y_cm for _, s in placed) - front, front + 10)
    scale = (PLAN_WIDTH - 2 * MARGIN) / float(right - left)
    height = min(max(round(float(back - front) * scale), 60), 500)
    up = height / float(back - front)
    marks = [
        Mark(
            number,
            round(MARGIN + float(spot.x_cm - left) * scale, 1),
            round(MARGIN + height - float(spot.y_cm - front) * up, 1),
            spot.is_rack,
            spot,
        )
        for number, spot in placed
    ]
    return Plan(PLAN_WIDTH, height + 2 * MARGIN, marks)


def chain_of(system: System) -> tuple[list[System], list[System]]:
    """The systems before this one, nearest first, and after it. One query a restart; a keeper has a handful."""
    before, each = [], system.succeeds
    while each is not None:
        before.append(each)
        each = each.succeeds
    after, each = [], System.objects.filter(succeeds=system).first()
    while each is not None:
        after.append(each)
        each = System.objects.filter(succeeds=each).first()
    return before, after
