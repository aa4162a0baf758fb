"""Triggers on SQLite and PostgreSQL alike: invariants that span tables, and marks of what changed.

A guard is one condition under which a write is refused, in SQL that both databases read: ``NEW`` and ``OLD`` are the
row after and before. The sentence is what the database answers; it reaches a keeper only if an action forgot its check.

Why no line of descent can close into a ring: a cut is not before its mother began, a plug of a cut begins on the day of
the cut, and a colony grown from such a plug begins after that day. Dates rise strictly along every generation.

A mark is left by every write to records that an outlook rests on, however it is written: nobody has to remember it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db import connections


@dataclass(frozen=True)
class Guard:
    """Refuse a write to `table` when `refuse_if` holds.

    ``on`` is ``INSERT``, ``UPDATE`` or ``UPDATE OF column, …``.
    """

    name: str
    table: str
    on: tuple[str, ...]
    refuse_if: str
    sentence: str

    @property
    def events(self):
        return [(f"guard_{self.name}_{number}", event) for number, event in enumerate(self.on)]

    def create(self, vendor):
        for name, event in self.events:
            if vendor == "sqlite":
                yield (
                    f"CREATE TRIGGER {name} BEFORE {event} ON {self.table} FOR EACH ROW "
                    f"WHEN ({self.refuse_if}) BEGIN SELECT RAISE(ABORT, {_quoted(self.sentence)}); END"
                )
            else:
                yield _function(
                    name,
                    f"IF ({self.refuse_if}) THEN RAISE EXCEPTION USING ERRCODE = 'check_violation', "
                    f"MESSAGE = {_quoted(self.sentence)}; END IF; RETURN NEW;",
                )
                yield f"CREATE TRIGGER {name} BEFORE {event} ON {self.table} FOR EACH ROW EXECUTE FUNCTION {name}()"


ALL = "NULL"  # a mark without a colony concerns them all
MARKS_TABLE = "propagation_forecastmark"


@dataclass(frozen=True)
class Mark:
    """Leave a row in `propagation_forecastmark` after a write to `table`.

    ``colony`` names the column that holds the colony, or is ``ALL``; a row where that column is empty marks all,
    unless ``empty_marks_all`` is off: then it leaves no mark. ``on`` is ``INSERT``, ``UPDATE`` and ``DELETE``; with
    ``changed`` an update counts only if one of those columns got another value.

    One mark of all is enough, so a second is not left while the first is there. On PostgreSQL the first is locked until
    the writer commits, so that it is not taken away before what it stands for can be seen. For the same reason, whoever
    brings outlooks up to date takes away the marks first and reads the records afterwards.
    """

    table: str
    colony: str
    on: tuple[str, ...] = ("INSERT", "UPDATE", "DELETE")
    changed: tuple[str, ...] = ()
    empty_marks_all: bool = True

    @property
    def events(self):
        return [(f"mark_{self.table}_{event.lower()}", event) for event in self.on]

    def create(self, vendor):
        for name, event in self.events:
            rows = {"INSERT": ["NEW"], "UPDATE": ["NEW", "OLD"], "DELETE": ["OLD"]}[event]
            if vendor == "sqlite":
                yield self._create_on_sqlite(name, event, rows)
            else:
                yield _function(name, "".join(self._marks_on_postgresql(rows)) + " RETURN NULL;")
                # A thousand plugs of one statement leave their one mark at once.
                each = "STATEMENT" if self.colony == ALL and not (event == "UPDATE" and self.changed) else "ROW"
                when = self._when(event, "IS DISTINCT FROM")
                yield (
                    f"CREATE TRIGGER {name} AFTER {event} ON {self.table} FOR EACH {each} {when} "
                    f"EXECUTE FUNCTION {name}()"
                )

    def _when(self, event, differs):
        if event != "UPDATE" or not self.changed:
            return ""
        return "WHEN (" + " OR ".join(f"NEW.{column} {differs} OLD.{column}" for column in self.changed) + ")"

    def _colonies(self, rows, differs):
        """The colony of each row that deserves a mark, with the condition under which it does."""
        if self.colony == ALL:
            return [(ALL, "TRUE")]
        first, *others = (f"{row}.{self.colony}" for row in rows)
        return [(first, "TRUE"), *((other, f"{other} {differs} {first}") for other in others)]

    def _create_on_sqlite(self, name, event, rows):
        marks = ""
        for colony, condition in self._colonies(rows, "IS NOT"):
            if self.empty_marks_all:
                wanted = f"({colony} IS NOT NULL OR NOT EXISTS (SELECT 1 FROM {MARKS_TABLE} WHERE colony IS NULL))"  # noqa: S608
            else:
                wanted = f"{colony} IS NOT NULL"
            marks += f"INSERT INTO {MARKS_TABLE} (colony) SELECT {colony} WHERE {condition} AND {wanted}; "
        return f"CREATE TRIGGER {name} AFTER {event} ON {self.table} {self._when(event, 'IS NOT')} BEGIN {marks} END"

    def _marks_on_postgresql(self, rows):
        for colony, condition in self._colonies(rows, "IS DISTINCT FROM"):
            if colony != ALL:
                yield (
                    f"IF {condition} AND {colony} IS NOT NULL THEN "  # noqa: S608
                    f"INSERT INTO {MARKS_TABLE} (colony) VALUES ({colony}); END IF; "
                )
            if self.empty_marks_all:
                yield (
                    f"IF {condition} AND {colony} IS NULL THEN "  # noqa: S608
                    f"PERFORM 1 FROM {MARKS_TABLE} WHERE colony IS NULL LIMIT 1 FOR KEY SHARE; "
                    f"IF NOT FOUND THEN INSERT INTO {MARKS_TABLE} (colony) VALUES (NULL); END IF; END IF; "
                )


MOTHER_LIVED = """
    NOT EXISTS (
        SELECT 1 FROM propagation_colony c, propagation_cuttingsession s
        WHERE c.id = NEW.mother_id AND s.id = NEW.session_id
          AND c.began_on <= s.cut_on AND (c.ended_on IS NULL OR c.ended_on >= s.cut_on))
"""

GUARDS = (
    Guard(
        "plug_keeps_its_code",
        "propagation_plug",
        ("UPDATE OF code",),
        "NEW.code <> OLD.code",
        "A plug keeps its code for life.",
    ),
    Guard(
        "colony_keeps_its_code",
        "propagation_colony",
        ("UPDATE OF code",),
        "NEW.code <> OLD.code",
        "A colony keeps its code for life.",
    ),
    Guard(
        "plug_follows_its_origin",
        "propagation_plug",
        ("INSERT", "UPDATE OF lineage_id, cut_event_id, acquisition_id, began_on"),
        """
        NOT EXISTS (
            SELECT 1 FROM propagation_cutevent e
            JOIN propagation_colony m ON m.id = e.mother_id
            JOIN propagation_cuttingsession s ON s.id = e.session_id
            WHERE e.id = NEW.cut_event_id AND m.lineage_id = NEW.lineage_id AND s.cut_on = NEW.began_on)
        AND NOT EXISTS (
            SELECT 1 FROM propagation_acquisition a
            WHERE a.id = NEW.acquisition_id AND a.lineage_id = NEW.lineage_id AND a.acquired_on = NEW.began_on)
        """,
        "A plug has the lineage and the day of its origin.",
    ),
    Guard(
        "labelled_plug_keeps_its_origin",
        "propagation_plug",
        ("UPDATE OF cut_event_id, acquisition_id",),
        """
        OLD.labelled_at IS NOT NULL AND (
            COALESCE(NEW.cut_event_id, 0) <> COALESCE(OLD.cut_event_id, 0)
            OR COALESCE(NEW.acquisition_id, 0) <> COALESCE(OLD.acquisition_id, 0))
        """,
        "The origin of a labelled plug does not change.",
    ),
    Guard(
        "colony_follows_its_origin",
        "propagation_colony",
        ("INSERT", "UPDATE OF lineage_id, grown_from_id, acquisition_id, began_on"),
        """
        NOT EXISTS (
            SELECT 1 FROM propagation_plug p
            WHERE p.id = NEW.grown_from_id AND p.lineage_id = NEW.lineage_id
              AND (p.began_on < NEW.began_on OR (p.acquisition_id IS NOT NULL AND p.began_on = NEW.began_on)))
        AND NOT EXISTS (
            SELECT 1 FROM propagation_acquisition a
            WHERE a.id = NEW.acquisition_id AND a.lineage_id = NEW.lineage_id AND a.acquired_on <= NEW.began_on)
        """,
        "A colony has the lineage of its origin and begins after it.",
    ),
    Guard(
        "cut_needs_a_living_mother",
        "propagation_cutevent",
        ("INSERT", "UPDATE OF mother_id, session_id, frags"),
        f"NEW.frags > 0 AND {MOTHER_LIVED}",
        "A cut needs a mother that lives on that day.",
    ),
    Guard(
        "session_day_suits_mothers_and_colonies",
        "propagation_cuttingsession",
        ("UPDATE OF cut_on",),
        """
        EXISTS (
            SELECT 1 FROM propagation_cutevent e JOIN propagation_colony c ON c.id = e.mother_id
            WHERE e.session_id = NEW.id AND e.frags > 0 AND (c.began_on > NEW.cut_on OR c.ended_on < NEW.cut_on))
        OR EXISTS (
            SELECT 1 FROM propagation_cutevent e
            JOIN propagation_plug p ON p.cut_event_id = e.id
            JOIN propagation_colony c ON c.grown_from_id = p.id
            WHERE e.session_id = NEW.id AND c.began_on <= NEW.cut_on)
        """,
        "On that day a mother of this session did not live, or a colony grown from it had begun already.",
    ),
    Guard(
        "colony_life_holds_its_cuts",
        "propagation_colony",
        ("UPDATE OF began_on, ended_on",),
        """
        EXISTS (
            SELECT 1 FROM propagation_cutevent e JOIN propagation_cuttingsession s ON s.id = e.session_id
            WHERE e.mother_id = NEW.id AND e.frags > 0
              AND (s.cut_on < NEW.began_on OR s.cut_on > NEW.ended_on))
        """,
        "This colony was cut on a day outside that life.",
    ),
    Guard(
        "acquisition_keeps_its_lineage",
        "propagation_acquisition",
        ("UPDATE OF lineage_id, acquired_on",),
        """
        (NEW.lineage_id <> OLD.lineage_id OR NEW.acquired_on <> OLD.acquired_on) AND (
            EXISTS (SELECT 1 FROM propagation_plug p WHERE p.acquisition_id = NEW.id)
            OR EXISTS (SELECT 1 FROM propagation_colony c WHERE c.acquisition_id = NEW.id
                       AND (c.lineage_id <> NEW.lineage_id OR c.began_on < NEW.acquired_on)))
        """,
        "What came with this acquisition has another lineage or began earlier.",
    ),
    Guard(
        "colony_is_at_one_spot_at_a_time",
        "propagation_placement",
        ("INSERT", "UPDATE OF colony_id, since, until"),
        """
        EXISTS (
            SELECT 1 FROM propagation_placement p
            WHERE p.colony_id = NEW.colony_id AND p.id <> COALESCE(NEW.id, 0)
              AND (p.until IS NULL OR p.until > NEW.since) AND (NEW.until IS NULL OR NEW.until > p.since))
        OR EXISTS (SELECT 1 FROM propagation_colony c WHERE c.id = NEW.colony_id AND c.began_on > NEW.since)
        """,
        "A colony is at one spot at a time, from the day it began.",
    ),
    Guard(
        "cell_lies_on_its_rack",
        "propagation_plug",
        ("INSERT", "UPDATE OF rack_id, rack_row, rack_column"),
        """
        NEW.rack_row IS NOT NULL AND NOT EXISTS (
            SELECT 1 FROM propagation_spot s
            WHERE s.id = NEW.rack_id AND NEW.rack_row <= s.rack_rows AND NEW.rack_column <= s.rack_columns)
        """,
        "That cell is outside of the rack.",
    ),
    Guard(
        "rack_holds_its_plugs",
        "propagation_spot",
        ("UPDATE OF rack_rows, rack_columns",),
        """
        EXISTS (
            SELECT 1 FROM propagation_plug p
            WHERE p.rack_id = NEW.id AND p.fate = 'kept' AND p.rack_row IS NOT NULL
              AND (NEW.rack_rows IS NULL OR p.rack_row > NEW.rack_rows OR p.rack_column > NEW.rack_columns))
        """,
        "Plugs stand in the cells that would go.",
    ),
    Guard(
        "restart_follows_the_old_system",
        "propagation_system",
        ("INSERT", "UPDATE OF succeeds_id, started_on"),
        """
        EXISTS (SELECT 1 FROM propagation_system o WHERE o.id = NEW.succeeds_id AND o.started_on >= NEW.started_on)
        OR EXISTS (SELECT 1 FROM propagation_system n WHERE n.succeeds_id = NEW.id AND n.started_on <= NEW.started_on)
        """,
        "A restart begins after the system it succeeds.",
    ),
    Guard(
        "one_absence_at_a_time",
        "propagation_absence",
        ("INSERT", "UPDATE OF first_day, last_day, called_off_at"),
        """
        NEW.called_off_at IS NULL AND EXISTS (
            SELECT 1 FROM propagation_absence a
            WHERE a.id <> COALESCE(NEW.id, 0) AND a.called_off_at IS NULL
              AND a.first_day <= NEW.last_day AND a.last_day >= NEW.first_day)
        """,
        "Two absences share no day.",
    ),
)

MARKS = (
    Mark("propagation_sizereading", "colony_id", empty_marks_all=False),  # without a colony it is a plug's
    Mark("propagation_cutevent", "mother_id"),
    Mark("propagation_placement", "colony_id"),
    Mark("propagation_incident", "colony_id"),  # a system's concerns whoever stands there
    Mark("propagation_cutrule", "colony_id"),  # a line's concerns every colony of it
    Mark(
        "propagation_colony",
        "id",
        on=("INSERT", "UPDATE"),
        changed=("began_on", "ended_on", "end_reason", "lineage_id"),
    ),
    Mark("propagation_watertest", ALL),
    Mark("propagation_waterrange", ALL),
    Mark("propagation_absence", ALL),
    Mark(
        "propagation_lineage",
        ALL,
        on=("UPDATE",),
        changed=("growth_form", "measure", "rest_days", "insurance_wanted", "frag_size_mm"),
    ),
    Mark("propagation_preferences", ALL, on=("INSERT", "UPDATE"), changed=("rest_days",)),
    Mark("propagation_cuttingsession", ALL, on=("UPDATE",), changed=("cut_on",)),
    Mark(
        "propagation_plug",
        ALL,
        on=("INSERT", "UPDATE"),
        changed=("fate", "is_insurance", "lineage_id"),  # how many living copies a line has
    ),
)


def _quoted(text):
    return "'" + text.replace("'", "''") + "'"


def _function(name, body):
    return f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $body$ BEGIN {body} END $body$"


def _drop(vendor, trigger):
    for name, _ in trigger.events:
        yield f"DROP TRIGGER IF EXISTS {name}" + ("" if vendor == "sqlite" else f" ON {trigger.table}")


def _run(using, statements):
    with connections[using].cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def install_guards(triggers: Iterable[Guard | Mark]):
    """Return a `post_migrate` receiver that puts guards and marks in place, on tables that exist."""

    def install(using, **kwargs):
        connection = connections[using]
        tables = set(connection.introspection.table_names())
        for trigger in triggers:
            if trigger.table not in tables:
                continue
            statements = [*_drop(connection.vendor, trigger)]
            if isinstance(trigger, Guard) or MARKS_TABLE in tables:
                statements += trigger.create(connection.vendor)
            _run(using, statements)

    return install


def remove_guards(triggers: Iterable[Guard | Mark]):
    """Return a `pre_migrate` receiver that takes guards and marks away while tables change."""

    def remove(using, **kwargs):
        connection = connections[using]
        tables = set(connection.introspection.table_names())
        for trigger in triggers:
            if trigger.table in tables:
                _run(using, _drop(connection.vendor, trigger))

    return remove
