"""Lines of descent: from a plug or colony up to the acquisition, and down to everything that came of it.

Each way is one recursive query that SQLite and PostgreSQL read alike, and answers with plain rows: a line of two
hundred generations or a million descendants would be slow as model instances.

Upwards a row is one generation: a plug, the cut it came from and the mother it was cut from, or the acquisition it came
with; a mother that was itself acquired carries that acquisition in the same row. A line goes on through a plug that
left and came back (``Acquisition.returned_plug``).

Downwards the query climbs from stem to stem and then reads the plugs that they bear. A stem is a colony, or what came
back of a plug that left.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date
from itertools import groupby
from typing import NamedTuple

from django.db import connection
from django.db.models import Count

from propagation.codes import in_clear
from propagation.models import Colony, Fate, Plug
from propagation.provenance import before_it_came

# COALESCE(day, NULL) is the day itself; it keeps Python's sqlite3 from turning each day of each row into a date by its
# own slow and deprecated converter. `as_day` reads them where they are wanted.
UPWARDS = """
WITH RECURSIVE thread (start_id, depth, plug_id, colony_id) AS (
    {start}
    UNION ALL
    SELECT t.start_id, t.depth + 1, COALESCE(c.grown_from_id, a.returned_plug_id), NULL
    FROM thread t
    LEFT JOIN propagation_plug p ON p.id = t.plug_id
    LEFT JOIN propagation_cutevent e ON e.id = p.cut_event_id
    LEFT JOIN propagation_colony c ON c.id = COALESCE(e.mother_id, t.colony_id)
    LEFT JOIN propagation_acquisition a ON a.id = COALESCE(p.acquisition_id, c.acquisition_id)
    WHERE COALESCE(c.grown_from_id, a.returned_plug_id) IS NOT NULL
)
SELECT t.start_id, t.depth, p.id, p.code, COALESCE(p.began_on, NULL), p.fate, COALESCE(p.ended_on, NULL),
    e.id, e.session_id, e.frags,
    c.code, c.tag, COALESCE(c.began_on, NULL), COALESCE(c.ended_on, NULL),
    a.id, COALESCE(a.acquired_on, NULL), a.kind
FROM thread t
LEFT JOIN propagation_plug p ON p.id = t.plug_id
LEFT JOIN propagation_cutevent e ON e.id = p.cut_event_id
LEFT JOIN propagation_colony c ON c.id = COALESCE(e.mother_id, t.colony_id)
LEFT JOIN propagation_acquisition a ON a.id = COALESCE(p.acquisition_id, c.acquisition_id)
"""

UP_FROM_PLUGS = "SELECT id, 0, id, CAST(NULL AS bigint) FROM propagation_plug WHERE id IN ({ids})"
UP_FROM_COLONIES = "SELECT id, 0, CAST(NULL AS bigint), id FROM propagation_colony WHERE id IN ({ids})"

# The climb carries stems only, an eighth of the plugs or fewer, and reads no row of a plug; the plugs are read once, at
# the end. A recursive term may name itself once only (PostgreSQL), so both kinds of stem hang on one join; an
# acquisition brings plugs or colonies, never both. CROSS JOIN keeps SQLite from starting at the table of all plugs.
DOWNWARDS = """
WITH RECURSIVE stem (
    colony_id, acquisition_id, from_plug_id, code, began_on, ended_on, tag, acquired_on, depth
) AS (
    {start}
    UNION ALL
    SELECT COALESCE(c.id, b.id), a.id, COALESCE(p.id, r.id), COALESCE(c.code, b.code),
        COALESCE(c.began_on, b.began_on), COALESCE(c.ended_on, b.ended_on), COALESCE(c.tag, b.tag),
        a.acquired_on, s.depth + 1
    FROM stem s
    LEFT JOIN propagation_cutevent e ON e.mother_id = s.colony_id
    LEFT JOIN propagation_plug p ON p.cut_event_id = e.id
    LEFT JOIN propagation_plug r ON r.acquisition_id = s.acquisition_id
    LEFT JOIN propagation_colony c ON c.grown_from_id = COALESCE(p.id, r.id)
    LEFT JOIN propagation_acquisition a ON a.returned_plug_id = COALESCE(p.id, r.id)
    LEFT JOIN propagation_colony b ON b.acquisition_id = a.id
    WHERE COALESCE(c.id, a.id) IS NOT NULL AND s.depth < %s
)
SELECT colony_id, acquisition_id, from_plug_id, CAST(NULL AS bigint), code,
    COALESCE(began_on, NULL), COALESCE(ended_on, NULL), tag, CAST(acquired_on AS varchar(10)), depth
FROM stem
UNION ALL
SELECT s.colony_id, NULL, e.id, p.id, p.code, COALESCE(p.began_on, NULL), COALESCE(p.ended_on, NULL),
    p.fate, p.stage, NULL
FROM stem s CROSS JOIN propagation_cutevent e CROSS JOIN propagation_plug p
WHERE e.mother_id = s.colony_id AND p.cut_event_id = e.id AND p.fate <> 'void'
UNION ALL
SELECT NULL, s.acquisition_id, NULL, p.id, p.code, COALESCE(p.began_on, NULL), COALESCE(p.ended_on, NULL),
    p.fate, p.stage, NULL
FROM stem s CROSS JOIN propagation_plug p
WHERE p.acquisition_id = s.acquisition_id AND p.fate <> 'void'
"""

DOWN_FROM_PLUG = DOWNWARDS.format(
    start="""
    SELECT COALESCE(c.id, b.id), a.id, p.id, COALESCE(c.code, b.code),
        COALESCE(c.began_on, b.began_on), COALESCE(c.ended_on, b.ended_on), COALESCE(c.tag, b.tag), a.acquired_on, 0
    FROM propagation_plug p
    LEFT JOIN propagation_colony c ON c.grown_from_id = p.id
    LEFT JOIN propagation_acquisition a ON a.returned_plug_id = p.id
    LEFT JOIN propagation_colony b ON b.acquisition_id = a.id
    WHERE p.id = %s AND COALESCE(c.id, a.id) IS NOT NULL
"""
)
DOWN_FROM_COLONY = DOWNWARDS.format(
    start="""
    SELECT c.id, CAST(NULL AS bigint), CAST(NULL AS bigint), c.code, c.began_on, c.ended_on, c.tag,
        CAST(NULL AS date), 0
    FROM propagation_colony c
    WHERE c.id = %s
"""
)
EVERY_GENERATION = 1_000_000
AT_ONCE = 500  # individuals that one query climbs up from


class Generation(NamedTuple):
    """One generation upwards, as the database gave it; what does not apply is None. Days are read with `as_day`."""

    depth: int
    plug_id: int | None
    plug_code: str | None
    plug_began_on: date | str | None
    plug_fate: str | None
    plug_ended_on: date | str | None
    cut_event_id: int | None
    session_id: int | None
    frags: int | None
    colony_code: str | None
    tag: str | None
    colony_began_on: date | str | None
    colony_ended_on: date | str | None
    acquisition_id: int | None
    acquired_on: date | str | None
    acquired_as: str | None


class Stem(NamedTuple):
    """What bears plugs: a colony, or what came back of a plug that left (then ``acquisition_id`` is set)."""

    colony_id: int | None
    acquisition_id: int | None
    from_plug_id: int | None
    code: str | None
    began_on: date | None
    ended_on: date | None
    tag: str | None
    acquired_on: date | None
    depth: int


class Descent(NamedTuple):
    """All that came of a plug or colony.

    ``frags`` are the plain rows as the database gave them, for there may be a million:
    ``(colony_id, acquisition_id, cut_event_id, plug_id, code, began_on, ended_on, fate, stage, None)``. Of the first
    two one is set, the stem that bears it. Days are to be read with `as_day`.
    """

    stems: list[Stem]
    frags: list[tuple]

    def frags_of_stems(self) -> dict[tuple[int | None, int | None], list[tuple]]:
        """The frags by ``(colony_id, None)`` or ``(None, acquisition_id)``, by the day they were cut."""
        borne: dict[tuple, list[tuple]] = {}
        for frag in self.frags:
            borne.setdefault(frag[:2], []).append(frag)
        for frags in borne.values():
            frags.sort(key=lambda frag: (frag[5], frag[2] or 0, frag[3]))
        return borne


class _Days(dict):
    """Days read from text once each: SQLite keeps days as text, and a line holds the same few again and again."""

    def __missing__(self, told):
        day = date.fromisoformat(told) if isinstance(told, str) else told
        if len(self) > MOST_DAYS_KEPT:
            self.clear()
        self[told] = day
        return day


MOST_DAYS_KEPT = 20_000  # half a century
_days = _Days({None: None})


def as_day(told: date | str | None) -> date | None:
    """A day of a row as a date."""
    return _days[told]


def ancestry_of(individual: Plug | Colony) -> list[Generation]:
    """The line of descent of a plug or colony, its own generation first and the acquisition in the last. One query."""
    return ancestries_of([individual])[individual]


def ancestries_of(individuals: Iterable[Plug | Colony]) -> dict[Plug | Colony, list[Generation]]:
    """`ancestry_of` each of many: a query for plugs, one for colonies, and more only beyond 500 of a kind."""
    individuals = list(individuals)
    plugs = {each.pk: each for each in individuals if isinstance(each, Plug)}
    colonies = {each.pk: each for each in individuals if isinstance(each, Colony)}
    found = {}
    for these, start in ((plugs, UP_FROM_PLUGS), (colonies, UP_FROM_COLONIES)):
        waiting = list(these)
        for first in range(0, len(waiting), AT_ONCE):
            ids = waiting[first : first + AT_ONCE]
            statement = UPWARDS.format(start=start.format(ids=", ".join(["%s"] * len(ids))))
            with connection.cursor() as cursor:
                cursor.execute(statement, ids)
                rows = cursor.fetchall()
            rows.sort()  # by generation; there is one row of each
            for row in rows:
                found.setdefault(these[row[0]], []).append(Generation._make(row[1:]))
    return found


def descent_of(individual: Plug | Colony, *, generations: int = EVERY_GENERATION) -> Descent:
    """Everything that came of a plug or colony, down to so many generations of stems. One query."""
    statement = DOWN_FROM_PLUG if isinstance(individual, Plug) else DOWN_FROM_COLONY
    with connection.cursor() as cursor:
        cursor.execute(statement, [individual.pk, generations])
        rows = cursor.fetchall()
    stems = [
        Stem(colony, acquisition, plug, code, as_day(began), as_day(ended), tag, as_day(acquired), depth)
        for colony, acquisition, plug, _, code, began, ended, tag, acquired, depth in rows
        if depth is not None
    ]
    stems.sort(key=lambda stem: stem.depth)
    return Descent(stems, [row for row in rows if row[9] is None])


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
            yield {
                "kind": "plug",
                "code": in_clear(row.plug_code),
                "date": as_day(row.plug_began_on),
                "fate": row.plug_fate,
            }
        if row.cut_event_id:
            yield {
                "kind": "cut",
                "id": row.cut_event_id,
                "date": as_day(row.plug_began_on),
                "session": row.session_id,
                "frags": row.frags,
            }
        if row.tag and (row.plug_id or not is_asked_for):
            yield {
                "kind": "colony",
                "code": in_clear(row.colony_code),
                "tag": row.tag,
                "date": as_day(row.colony_began_on),
                "ended": as_day(row.colony_ended_on),
            }
        if row.acquisition_id:
            yield {
                "kind": "acquisition",
                "id": row.acquisition_id,
                "date": as_day(row.acquired_on),
                "as": row.acquired_as,
            }


def told_descendants(individual: Plug | Colony, descent: Descent) -> Iterator[dict]:
    """Each descendant as a dictionary, parents before children.

    ``depth`` counts steps from what was asked for (a colony's cut 1, its plugs 2, a colony grown from one of them 3);
    ``parent`` names the step above.
    """
    borne = descent.frags_of_stems()
    itself = {"kind": "plug" if isinstance(individual, Plug) else "colony", "code": individual.code_in_clear}
    plugs = {individual.pk: (0, itself)} if isinstance(individual, Plug) else {}
    returns = {}
    for stem in descent.stems:
        depth, parent = plugs.get(stem.from_plug_id, (0, itself))
        if stem.acquisition_id:
            told = {"kind": "acquisition", "id": stem.acquisition_id}
            if stem.acquisition_id not in returns:
                returns[stem.acquisition_id] = (depth + 1, told)
                yield told | {"date": stem.acquired_on, "as": "returned", "depth": depth + 1, "parent": parent}
                yield from _told_frags(borne.get((None, stem.acquisition_id), ()), depth + 1, told, plugs)
            depth, parent = returns[stem.acquisition_id]
        if not stem.colony_id:
            continue
        told = {"kind": "colony", "code": in_clear(stem.code), "tag": stem.tag}
        if stem.from_plug_id is None:
            told = itself | {"tag": stem.tag}
        else:
            depth += 1
            yield told | {"date": stem.began_on, "ended": stem.ended_on, "depth": depth, "parent": parent}
        for cut, frags in groupby(borne.get((stem.colony_id, None), ()), key=lambda frag: frag[2]):
            frags = list(frags)
            told_cut = {"kind": "cut", "id": cut}
            yield told_cut | {"date": as_day(frags[0][5]), "depth": depth + 1, "parent": told}
            yield from _told_frags(frags, depth + 1, told_cut, plugs)


def _told_frags(frags, depth, parent, plugs):
    """Frags as dictionaries; what may bear a stem is noted in `plugs` with its depth."""
    for _, _, _, plug_id, code, began_on, ended_on, fate, stage, _ in frags:
        told = {"kind": "plug", "code": in_clear(code)}
        if fate not in (Fate.KEPT, Fate.DEAD):
            plugs[plug_id] = (depth + 1, told)
        yield told | {
            "date": as_day(began_on),
            "fate": fate,
            "stage": stage,
            "ended": as_day(ended_on),
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
    """The whole line of a plug or colony, up and down. Two queries, one for the lineage unless it is loaded, and what
    the floors above ask to tell of the time before it came."""
    told = {"code": individual.code_in_clear}
    if isinstance(individual, Colony):
        told["tag"] = individual.tag
    generations = ancestry_of(individual)
    before = before_it_came(row.acquisition_id for row in generations if row.acquisition_id)
    if before:  # a line that came with a passport
        told["passport"] = [keeper.told for keeper in before]
    return told | {
        "kind": "colony" if isinstance(individual, Colony) else "plug",
        "lineage": told_lineage(individual.lineage),
        "ancestors": list(told_ancestors(generations)),
        "descendants": list(told_descendants(individual, descent_of(individual))),
    }
