"""Lines of descent: from a plug or colony up to the acquisition, and down to everything that came of it.

Each way is one recursive query that SQLite and PostgreSQL read alike, and answers with plain rows: a line of two
hundred generations or a million descendants would be slow as model instances.

Upwards a row is one generation: a plug, the cut it came from and the mother it was cut from, or the acquisition it came
with; a mother that was itself acquired carries that acquisition in the same row. A line goes on through a plug that
left and came back (``Acquisition.returned_plug``).

Downwards the query climbs from stem to stem, and a row is one plug on its stem. A stem is what bears plugs: a colony,
or what came back of a plug that left. A stem without plugs has one row, in which the plug is None.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date
from typing import NamedTuple

from django.db import connection
from django.db.models import Count

from propagation.codes import in_clear
from propagation.models import Colony, Fate, Plug

UPWARDS = """
WITH RECURSIVE thread (
    depth, plug_id, plug_code, plug_began_on, plug_fate, plug_ended_on, cut_event_id, session_id, frags,
    colony_id, colony_code, tag, colony_began_on, colony_ended_on,
    acquisition_id, acquired_on, acquired_as, plug_above_id
) AS (
    {start}
    UNION ALL
    SELECT t.depth + 1, p.id, p.code, p.began_on, p.fate, p.ended_on, e.id, e.session_id, e.frags,
        c.id, c.code, c.tag, c.began_on, c.ended_on,
        a.id, a.acquired_on, a.kind, COALESCE(c.grown_from_id, a.returned_plug_id)
    FROM thread t
    JOIN propagation_plug p ON p.id = t.plug_above_id
    LEFT JOIN propagation_cutevent e ON e.id = p.cut_event_id
    LEFT JOIN propagation_colony c ON c.id = e.mother_id
    LEFT JOIN propagation_acquisition a ON a.id = COALESCE(p.acquisition_id, c.acquisition_id)
)
SELECT * FROM thread
"""

UP_FROM_PLUG = UPWARDS.format(
    start="""
    SELECT 0, p.id, p.code, p.began_on, p.fate, p.ended_on, e.id, e.session_id, e.frags,
        c.id, c.code, c.tag, c.began_on, c.ended_on,
        a.id, a.acquired_on, a.kind, COALESCE(c.grown_from_id, a.returned_plug_id)
    FROM propagation_plug p
    LEFT JOIN propagation_cutevent e ON e.id = p.cut_event_id
    LEFT JOIN propagation_colony c ON c.id = e.mother_id
    LEFT JOIN propagation_acquisition a ON a.id = COALESCE(p.acquisition_id, c.acquisition_id)
    WHERE p.id = %s
"""
)

UP_FROM_COLONY = UPWARDS.format(
    start="""
    SELECT 0, CAST(NULL AS bigint), CAST(NULL AS varchar(8)), CAST(NULL AS date), CAST(NULL AS varchar(8)),
        CAST(NULL AS date), CAST(NULL AS bigint), CAST(NULL AS bigint), CAST(NULL AS smallint),
        c.id, c.code, c.tag, c.began_on, c.ended_on,
        a.id, a.acquired_on, a.kind, COALESCE(c.grown_from_id, a.returned_plug_id)
    FROM propagation_colony c
    LEFT JOIN propagation_acquisition a ON a.id = c.acquisition_id
    WHERE c.id = %s
"""
)

# The climb carries stems only, an eighth of the plugs or fewer, and reads no row of a plug; the plugs are read once, at
# the end. A recursive term may name itself once only (PostgreSQL), so both kinds of stem hang on one join. An
# acquisition brings plugs or colonies, never both.
DOWNWARDS = """
WITH RECURSIVE stem (
    depth, from_plug_id, colony_id, colony_code, tag, colony_began_on, colony_ended_on, acquisition_id, acquired_on
) AS (
    {start}
    UNION ALL
    SELECT s.depth + 1, COALESCE(p.id, r.id), COALESCE(c.id, b.id), COALESCE(c.code, b.code), COALESCE(c.tag, b.tag),
        COALESCE(c.began_on, b.began_on), COALESCE(c.ended_on, b.ended_on), a.id, a.acquired_on
    FROM stem s
    LEFT JOIN propagation_cutevent e ON e.mother_id = s.colony_id
    LEFT JOIN propagation_plug p ON p.cut_event_id = e.id
    LEFT JOIN propagation_plug r ON r.acquisition_id = s.acquisition_id
    LEFT JOIN propagation_colony c ON c.grown_from_id = COALESCE(p.id, r.id)
    LEFT JOIN propagation_acquisition a ON a.returned_plug_id = COALESCE(p.id, r.id)
    LEFT JOIN propagation_colony b ON b.acquisition_id = a.id
    WHERE COALESCE(c.id, a.id) IS NOT NULL
)
SELECT s.depth, s.from_plug_id, s.colony_id, s.colony_code, s.tag, s.colony_began_on, s.colony_ended_on,
    s.acquisition_id, s.acquired_on, e.id, e.session_id,
    COALESCE(p.id, r.id), COALESCE(p.code, r.code), COALESCE(p.began_on, r.began_on), COALESCE(p.fate, r.fate),
    COALESCE(p.stage, r.stage), COALESCE(p.is_insurance, r.is_insurance), COALESCE(p.ended_on, r.ended_on)
FROM stem s
LEFT JOIN propagation_cutevent e ON e.mother_id = s.colony_id AND e.frags > 0
LEFT JOIN propagation_plug p ON p.cut_event_id = e.id AND p.fate <> 'void'
LEFT JOIN propagation_plug r ON r.acquisition_id = s.acquisition_id AND r.fate <> 'void'
"""

DOWN_FROM_PLUG = DOWNWARDS.format(
    start="""
    SELECT 0, p.id, COALESCE(c.id, b.id), COALESCE(c.code, b.code), COALESCE(c.tag, b.tag),
        COALESCE(c.began_on, b.began_on), COALESCE(c.ended_on, b.ended_on), a.id, a.acquired_on
    FROM propagation_plug p
    LEFT JOIN propagation_colony c ON c.grown_from_id = p.id
    LEFT JOIN propagation_acquisition a ON a.returned_plug_id = p.id
    LEFT JOIN propagation_colony b ON b.acquisition_id = a.id
    WHERE p.id = %s AND COALESCE(c.id, a.id) IS NOT NULL
"""
)
DOWN_FROM_COLONY = DOWNWARDS.format(
    start="""
    SELECT 0, CAST(NULL AS bigint), c.id, c.code, c.tag, c.began_on, c.ended_on,
        CAST(NULL AS bigint), CAST(NULL AS date)
    FROM propagation_colony c
    WHERE c.id = %s
"""
)


class Generation(NamedTuple):
    """One generation upwards; what does not apply is None."""

    depth: int
    plug_id: int | None
    plug_code: str | None
    plug_began_on: date | None
    plug_fate: str | None
    plug_ended_on: date | None
    cut_event_id: int | None
    session_id: int | None
    frags: int | None
    colony_id: int | None
    colony_code: str | None
    tag: str | None
    colony_began_on: date | None
    colony_ended_on: date | None
    acquisition_id: int | None
    acquired_on: date | None
    acquired_as: str | None
    plug_above_id: int | None


class Descendant(NamedTuple):
    """One plug on its stem; what does not apply is None."""

    depth: int
    from_plug_id: int | None
    colony_id: int | None
    colony_code: str | None
    tag: str | None
    colony_began_on: date | None
    colony_ended_on: date | None
    acquisition_id: int | None
    acquired_on: date | None
    cut_event_id: int | None
    session_id: int | None
    plug_id: int | None
    plug_code: str | None
    plug_began_on: date | None
    fate: str | None
    stage: str | None
    is_insurance: bool | None
    plug_ended_on: date | None


class _Days(dict):
    """Days as dates: SQLite forgets in a recursive query that a column is a day. Each is read once."""

    def __missing__(self, told):
        day = date.fromisoformat(told) if isinstance(told, str) else told
        self[told] = day
        return day


def ancestry_of(individual: Plug | Colony) -> list[Generation]:
    """The line of descent of a plug or colony, its own generation first and the acquisition in the last. One query."""
    statement = UP_FROM_PLUG if isinstance(individual, Plug) else UP_FROM_COLONY
    day = _Days()
    with connection.cursor() as cursor:
        cursor.execute(statement, [individual.pk])
        return [
            Generation(
                depth, plug, code, day[began], fate, day[ended], cut, session, frags,
                colony, colony_code, tag, day[colony_began], day[colony_ended],
                acquisition, day[acquired], kind, above,
            )
            for (
                depth, plug, code, began, fate, ended, cut, session, frags,
                colony, colony_code, tag, colony_began, colony_ended,
                acquisition, acquired, kind, above,
            ) in cursor.fetchall()
        ]  # fmt: skip


def descent_of(individual: Plug | Colony, *, most: int | None = None) -> list[Descendant]:
    """Everything that came of a plug or colony, the nearest generation first. One query.

    With ``most`` no more than so many rows are looked for.
    """
    statement = DOWN_FROM_PLUG if isinstance(individual, Plug) else DOWN_FROM_COLONY
    values = [individual.pk]
    if most is not None:
        statement, values = statement + " LIMIT %s", [individual.pk, most]
    day = _Days()
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return [
            Descendant(
                depth, from_plug, colony, colony_code, tag, day[colony_began], day[colony_ended], acquisition,
                day[acquired], cut, session, plug, code, day[began], fate, stage, insurance, day[ended],
            )
            for (
                depth, from_plug, colony, colony_code, tag, colony_began, colony_ended, acquisition,
                acquired, cut, session, plug, code, began, fate, stage, insurance, ended,
            ) in cursor
        ]  # fmt: skip


def fates_of_cuts(cut_event_ids: Iterable[int]) -> dict[int, Counter]:
    """How many frags of each cut stand at what: ``{cut event id: {(fate, stage): number}}``. One query."""
    fates: dict[int, Counter] = {}
    rows = (
        Plug.objects.filter(cut_event__in=list(cut_event_ids))
        .exclude(fate=Fate.VOID)
        .order_by()
        .values_list("cut_event", "fate", "stage")
        .annotate(number=Count("pk"))
    )
    for cut_event, fate, stage, number in rows:
        fates.setdefault(cut_event, Counter())[fate, stage] = number
    return fates


# Telling a line in plain values, for JSON and tables -----------------------------------------------------------------


def told_ancestors(generations: Iterable[Generation]) -> Iterator[dict]:
    """Each step upwards as a dictionary, nearest first; what was asked for is not among them."""
    for row in generations:
        is_asked_for = row.depth == 0
        if row.plug_id and not is_asked_for:
            yield {"kind": "plug", "code": in_clear(row.plug_code), "date": row.plug_began_on, "fate": row.plug_fate}
        if row.cut_event_id:
            yield {
                "kind": "cut",
                "id": row.cut_event_id,
                "date": row.plug_began_on,
                "session": row.session_id,
                "frags": row.frags,
            }
        if row.colony_id and (row.plug_id or not is_asked_for):
            yield {
                "kind": "colony",
                "code": in_clear(row.colony_code),
                "tag": row.tag,
                "date": row.colony_began_on,
                "ended": row.colony_ended_on,
            }
        if row.acquisition_id:
            yield {"kind": "acquisition", "id": row.acquisition_id, "date": row.acquired_on, "as": row.acquired_as}


def told_descendants(individual: Plug | Colony, rows: Iterable[Descendant]) -> Iterator[dict]:
    """Each descendant as a dictionary, parents before children.

    ``depth`` counts steps from what was asked for (a colony's cut 1, its plugs 2, a colony grown from one of them 3);
    ``parent`` names the step above.
    """
    is_plug = isinstance(individual, Plug)
    plugs = {individual.pk: (0, {"kind": "plug", "code": individual.code_in_clear})} if is_plug else {}
    stems, cuts = {}, {}
    if not is_plug:
        stems[individual.pk, None] = (0, {"kind": "colony", "code": individual.code_in_clear, "tag": individual.tag})
    returns = {}
    for row in rows:
        stem = stems.get((row.colony_id, row.acquisition_id))
        if stem is None:
            depth, parent = plugs[row.from_plug_id]
            if row.acquisition_id:
                if row.acquisition_id not in returns:
                    returns[row.acquisition_id] = (depth + 1, {"kind": "acquisition", "id": row.acquisition_id})
                    yield {
                        **returns[row.acquisition_id][1],
                        "date": row.acquired_on,
                        "as": "returned",
                        "depth": depth + 1,
                        "parent": parent,
                    }
                depth, parent = stem = returns[row.acquisition_id]
            if row.colony_id:
                stem = (depth + 1, {"kind": "colony", "code": in_clear(row.colony_code), "tag": row.tag})
                yield {
                    **stem[1],
                    "date": row.colony_began_on,
                    "ended": row.colony_ended_on,
                    "depth": depth + 1,
                    "parent": parent,
                }
            stems[row.colony_id, row.acquisition_id] = stem
        depth, parent = stem
        if row.cut_event_id and row.plug_id:
            if row.cut_event_id not in cuts:
                cuts[row.cut_event_id] = (depth + 1, {"kind": "cut", "id": row.cut_event_id})
                yield {
                    **cuts[row.cut_event_id][1],
                    "date": row.plug_began_on,
                    "session": row.session_id,
                    "depth": depth + 1,
                    "parent": parent,
                }
            depth, parent = cuts[row.cut_event_id]
        if row.plug_id:
            told = {"kind": "plug", "code": in_clear(row.plug_code)}
            plugs[row.plug_id] = (depth + 1, told)
            yield {
                **told,
                "date": row.plug_began_on,
                "fate": row.fate,
                "stage": row.stage,
                "ended": row.plug_ended_on,
                "depth": depth + 1,
                "parent": parent,
            }


def told_lineage(lineage) -> dict:
    """What a line is called and known as."""
    return {
        "name": lineage.name,
        "sold_as": lineage.sold_as,
        "identity": lineage.identity,
        "genus": lineage.genus,
        "species": lineage.species,
        "growth_form": lineage.growth_form,
        "origin": lineage.origin,
    }


def told_trace(individual: Plug | Colony) -> dict:
    """The whole line of a plug or colony, up and down. Two queries, and one for the lineage unless it is loaded."""
    told = {"code": individual.code_in_clear}
    if isinstance(individual, Colony):
        told["tag"] = individual.tag
    return told | {
        "kind": "colony" if isinstance(individual, Colony) else "plug",
        "lineage": told_lineage(individual.lineage),
        "ancestors": list(told_ancestors(ancestry_of(individual))),
        "descendants": list(told_descendants(individual, descent_of(individual))),
    }
