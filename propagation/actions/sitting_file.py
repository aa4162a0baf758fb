"""A sitting written down in a table: reading a CSV file as keepers' programs save it, and recording it."""

import codecs
import csv
import io
import re
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from uuid import UUID

from charset_normalizer import from_bytes
from django.db.models import Q
from django.db.models.functions import Upper

from propagation import codes
from propagation.actions.days import check_day
from propagation.actions.record_cutting import MotherCut, record_cutting, wrong_in_sitting
from propagation.errors import BadValue, RowErrors
from propagation.models import Colony, CuttingSession, CutTool, Measure, Spot
from propagation.readings.find import MOST_COMPARED, near

COLUMNS = ("mother", "frags", "size_mm", "before", "after", "measure", "note", "reason", "insurance", "cut_with")
NEEDED = ("mother", "frags")
DELIMITERS = (",", ";", "\t")
MOST_BYTES = 1024 * 1024
MOST_ROWS = 500  # a bound against the wrong file; common practice, no source
# How many decimals are kept of each, as the database does.
PLACES = {"size_mm": 1, "before": 2, "after": 2}


@dataclass(frozen=True)
class Sitting:
    """What a file holds: the cuts, and for each the row of the file that it stands in. The heading is row 1."""

    cuts: list[MotherCut]
    rows: list[int]

    def in_file(self, errors):
        """The errors of a sitting with the rows of the file instead of the order of the mothers."""
        return [(self.rows[row - 1] if row <= len(self.rows) else row, *rest) for row, *rest in errors]


def decode(data: bytes) -> str:
    """The text of a file in whatever encoding it was saved.

    A byte order mark or valid UTF-8 settles it. What is left is guessed; on a draw it is Windows-1252, which is what a
    spreadsheet program in western Europe or America writes. Only letters outside of ASCII can come out wrong.
    """
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF32_LE, "utf-32"),
        (codecs.BOM_UTF32_BE, "utf-32"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if data.startswith(mark):
            return _decoded(data, encoding)
    if b"\0" in data:
        even, odd = data[0::2].count(0), data[1::2].count(0)
        return _decoded(data, "utf-16-be" if even > odd else "utf-16-le")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        guess = from_bytes(data).best()
        western = from_bytes(data, cp_isolation=["cp1252"]).best()
        if guess is None or (western is not None and western.coherence >= guess.coherence):
            guess = western
        return str(guess) if guess is not None else data.decode("cp1252", errors="replace")


def _decoded(data, encoding):
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        raise BadValue("The file is damaged: its letters cannot be read. Save it again as CSV (UTF-8).") from error


def _heading(text: str) -> str:
    """A column's name as it is meant: ``Size (mm)`` is size_mm."""
    return re.sub(r"[^a-z]+", "_", text.casefold().replace("\N{BYTE ORDER MARK}", "")).strip("_")


def _table(text: str) -> list[tuple[int, list[str]]]:
    """The rows that hold something, each with its number in the file; the first one is the heading.

    Of comma, semicolon and tab the one that cuts the heading into the most known columns stands between columns.
    """
    lines = text.splitlines(keepends=True)
    first = next((number for number, line in enumerate(lines) if line.strip()), None)
    if first is None:
        raise BadValue("The file is empty. Its first row names the columns: " + ",".join(COLUMNS[:7]) + ".")
    if re.fullmatch(r"\ufeff?sep=.\s*", lines[first], re.IGNORECASE):  # a spreadsheet program's own hint
        lines[first] = "\n"
        first += 1
    heading = lines[first] if first < len(lines) else ""
    delimiter = max(
        DELIMITERS,
        key=lambda sign: sum(_heading(cell) in COLUMNS for cell in next(csv.reader([heading], delimiter=sign))),
    )
    reader = csv.reader(io.StringIO("".join(lines), newline=""), delimiter=delimiter)
    rows, begins = [], 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((begins, [cell.strip() for cell in cells]))
            begins = reader.line_num + 1
    except csv.Error as error:
        raise BadValue(f"Row {begins} cannot be read as CSV ({error}). Save the file again as CSV.") from error
    return rows


def _columns(cells: list[str]) -> list[str]:
    names = [_heading(cell) for cell in cells]
    wrong = []
    for cell, name in zip(cells, names, strict=True):
        if name and name not in COLUMNS:
            meant = near(name, COLUMNS, most=1)
            hint = f" Did you mean {meant[0]}?" if meant else f" Known are {', '.join(COLUMNS)}."
            wrong.append((1, cell, f"there is no column “{cell}”.{hint}"))
        if name and names.count(name) > 1:
            wrong.append((1, cell, "this column is there twice; keep one."))
    for name in NEEDED:
        if name not in names:
            wrong.append((1, name, f"the column {name} is missing. The first row must name the columns."))
    if wrong:
        raise RowErrors(wrong)
    return names


def read_number(text: str, *, places: int) -> Decimal | None:
    """A number as people write it, with a decimal point or comma; None for an empty cell. Raises BadValue."""
    bare = re.sub(r"[\s'’]", "", text)
    if not bare:
        return None
    if "," in bare and "." in bare:  # the one that comes first sets the thousands apart
        thousands, decimal = (",", ".") if bare.index(",") < bare.index(".") else (".", ",")
        bare = bare.replace(thousands, "").replace(decimal, ".")
    elif "," in bare:
        if re.fullmatch(r"[-+]?\d{1,3},\d{3}", bare) and not bare.lstrip("-+").startswith("0"):
            whole, rest = bare.split(",")
            raise BadValue(f"“{text}” can be read in two ways; write {whole}{rest} or {whole}.{rest[:2]}.")
        bare = bare.replace(",", ".")
    if not re.fullmatch(r"[-+]?(\d{1,12}(\.\d{0,12})?|\.\d{1,12})", bare, re.ASCII):
        raise BadValue(f"“{text}” is no number; write only the number, like 25 or 25.5.")
    number = Decimal(bare)
    if number != round(number, places):
        some = "one decimal" if places == 1 else f"{places} decimals"
        raise BadValue(f"“{text}” has more than {some}; round it." if places else f"“{text}” is not a whole number.")
    return number


def read_measure(text: str) -> str:
    """A measure by its name or its word: ``diameter_mm``, ``Longest diameter``. Raises BadValue."""
    wanted = text.casefold().strip()
    if not wanted:
        return ""
    for measure in Measure:
        label = measure.label.casefold()
        if wanted in (measure.value, label, label.split(" (")[0], measure.name.casefold().replace("_", " ")):
            return measure.value
    meant = near(wanted, Measure.values, most=1)
    hint = f" Did you mean {meant[0]}?" if meant else ""
    raise BadValue(f"“{text}” is no measure; use one of {', '.join(Measure.values)}.{hint}")


def read_tool(text: str) -> str:
    """What frags were cut with, by its name or its word: ``band_saw``, ``Band saw``. Raises BadValue."""
    wanted = text.casefold().strip()
    if not wanted:
        return ""
    for tool in CutTool:
        if wanted in (tool.value, tool.label.casefold(), tool.value.replace("_", " ")):
            return tool.value
    meant = near(wanted, CutTool.values, most=1)
    hint = f" Did you mean {meant[0]}?" if meant else ""
    raise BadValue(f"“{text}” is no tool that is known here; use one of {', '.join(CutTool.values)}.{hint}")


def _mothers_of(texts) -> dict[str, Colony]:
    """Colonies by what stands in the file, a tag or a code, in upper case; two queries."""
    wanted = {text.upper() for text in texts}
    bare = {codes.strip_code(text) for text in wanted if codes.looks_like_code(text)}
    found = {}
    colonies = Colony.objects.select_related("lineage")
    for colony in colonies.filter(code__in=bare):
        found |= {text: colony for text in wanted if codes.strip_code(text) == colony.code}
    # SQLite's UPPER knows ASCII only, so other tags are also looked for as they are written.
    as_written = Q(tag__in=list(texts))
    for colony in colonies.annotate(upper_tag=Upper("tag")).filter(as_written | Q(upper_tag__in=wanted)):
        found[colony.tag.upper()] = colony
    return found


def read_sitting(data: bytes) -> Sitting:
    """Read a sitting from a file's bytes. The first row names the columns, in any order and case.

    Empty sizes and measures are the lineage's usual ones. Raises RowErrors naming every row and column that cannot be
    read, BadValue for a file that is no table at all.
    """
    if len(data) > MOST_BYTES:
        raise BadValue(f"The file has {len(data) // 1024} KB; a sitting has less than {MOST_BYTES // 1024} KB.")
    table = _table(decode(data))
    names = _columns(table[0][1])
    rows = table[1:]
    if not rows:
        raise BadValue("There is no mother in the file; each row after the first is one mother.")
    if len(rows) > MOST_ROWS:
        raise BadValue(f"The file has {len(rows)} rows; a sitting has at most {MOST_ROWS}. Is it the right file?")

    wrong, read = [], []
    for number, cells in rows:
        if len(cells) > len(names) and any(cells[len(names) :]):
            wrong.append(
                (
                    number,
                    None,
                    f"has {len(cells)} columns, but the heading has {len(names)}. A number with a decimal comma, or a "
                    "note with a comma, must stand in quotes, or semicolons between the columns.",
                )
            )
            continue
        read.append((number, dict(zip(names, cells, strict=False))))
    mothers = _mothers_of([row.get("mother", "") for _, row in read])
    tags = None
    cuts = []
    for number, row in read:
        values, errors = _values_of(row)
        text = row.get("mother", "")
        mother = mothers.get(text.upper())
        if not text:
            errors.append(("mother", "is empty; give the tag or the code of the mother."))
        elif mother is None:
            if tags is None:
                tags = list(Colony.objects.order_by("-began_on").values_list("tag", flat=True)[:MOST_COMPARED])
            meant = near(text, tags)
            hint = f" Did you mean {' or '.join(meant)}?" if meant else " Check it against the label."
            errors.append(("mother", f"There is no colony with the tag “{text}”.{hint}"))
        wrong += [(number, column, sentence) for column, sentence in errors]
        if not errors:
            cuts.append((number, _cut_of(mother, values, row)))
    if wrong:
        raise RowErrors(sorted(wrong, key=lambda error: error[0]))
    return Sitting(cuts=[cut for _, cut in cuts], rows=[number for number, _ in cuts])


def _values_of(row):
    values, errors = {}, []
    for column in ("frags", "insurance", "size_mm", "before", "after"):
        try:
            values[column] = read_number(row.get(column, ""), places=PLACES.get(column, 0))
        except BadValue as error:
            errors.append((column, str(error)))
    if values.get("frags", 0) is None:
        errors.append(("frags", "is empty; give the number of frags."))
    for column, read in (("measure", read_measure), ("cut_with", read_tool)):
        try:
            values[column] = read(row.get(column, ""))
        except BadValue as error:
            errors.append((column, str(error)))
    for column in ("note", "reason"):
        if "\0" in row.get(column, ""):
            errors.append((column, "has a character that cannot be kept; write it again."))
    return values, errors


def _cut_of(mother, values, row) -> MotherCut:
    has_sizes = values["before"] is not None or values["after"] is not None
    return MotherCut(
        mother=mother,
        frags=int(values["frags"]),
        frag_size_mm=values["size_mm"] if values["size_mm"] is not None else mother.lineage.frag_size_mm,
        size_before=values["before"],
        size_after=values["after"],
        measure=values["measure"] or (mother.lineage.measure if has_sizes else ""),
        reason=row.get("reason", ""),
        note=row.get("note", ""),
        insurance=int(values["insurance"] or 0),
        cut_with=values["cut_with"],
    )


def check_sitting(sitting: Sitting, *, cut_on: date, today: date) -> list[tuple[int, str | None, str]]:
    """What would be refused if the sitting were saved, as ``(row of the file, column, sentence)``. Raises BadDate."""
    check_day(cut_on, today=today, what="A cutting session")
    ids = [cut.mother.pk for cut in sitting.cuts]
    mothers = Colony.objects.with_rest(cut_on).select_related("lineage").in_bulk(ids)
    return sitting.in_file(wrong_in_sitting(sitting.cuts, mothers, cut_on))


def record_sitting_file(
    *,
    data: bytes,
    cut_on: date,
    today: date,
    submission: UUID | None = None,
    rack: Spot | None = None,
    cut_with: str = "",
    by=None,
) -> CuttingSession:
    """Record the sitting that a file holds, whole or not at all. Where it does not say what a mother was cut with, it
    was ``cut_with``.

    Raises RowErrors with the rows of the file, BadDate.
    """
    sitting = read_sitting(data)
    cuts = [replace(cut, cut_with=cut.cut_with or cut_with) for cut in sitting.cuts]
    try:
        return record_cutting(cuts=cuts, cut_on=cut_on, today=today, submission=submission, rack=rack, by=by)
    except RowErrors as error:
        raise RowErrors(sitting.in_file(error.errors)) from error
