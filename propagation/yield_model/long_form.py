"""Readings in long form: one row for each colony and day, from any source, checked row by row.

Columns `colony, date, size` and optionally `lineage, growth_form, measure`. What is wrong is named by row and column
and left out; the rest is still answered.
"""

import csv
import re
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np

from .backtest import HORIZONS, backtest_collection, join_rows, learn_model, summarise
from .forecast import view_colonies
from .histories import ColonyHistory, Reading, pad_histories

NEEDED = ("colony", "date", "size")
OPTIONAL = ("lineage", "growth_form", "measure")
DELIMITERS = (",", ";", "\t")
MEASURES = ("tle_cm", "diameter_mm", "height_mm", "area_cm2", "polyps", "weight_g")
GROWTH_FORMS = ("branching", "tabling", "plating", "encrusting", "massive", "polyps")

# Readings before this year are taken for a slip of the century: nobody measured captive corals then.
# Common practice, no source.
EARLIEST_YEAR = 1950

# Two readings of one day that differ by more than this share disagree. Common practice, no source.
SAME_DAY_SHARE = 0.25

# Sizes beyond these in any unit are no corals, and would not bear squaring. Common practice, no source.
LEAST_SIZE, MOST_SIZE = 1e-6, 1e9

MEASURE_NAMES = {
    "tle": "tle_cm",
    "total branch length": "tle_cm",
    "branch length": "tle_cm",
    "diameter": "diameter_mm",
    "longest diameter": "diameter_mm",
    "length": "diameter_mm",
    "height": "height_mm",
    "area": "area_cm2",
    "projected area": "area_cm2",
    "planar area": "area_cm2",
    "polyp count": "polyps",
    "polyp_count": "polyps",
    "heads": "polyps",
    "count": "polyps",
    "weight": "weight_g",
    "buoyant weight": "weight_g",
    "skeletal weight": "weight_g",
    "mass": "weight_g",
}
_FORM_NAMES = {"tabular": "tabling", "table": "tabling", "plate": "plating", "polyp": "polyps"}


@dataclass(frozen=True)
class RowProblem:
    """What is wrong in one row and column, and what would be right. `row` is its line in the file, the first is 1."""

    row: int | None
    column: str | None
    sentence: str
    left_out: bool = True

    def __str__(self):
        where = " ".join(
            part
            for part in (f"row {self.row}," if self.row else "", f"column {self.column}:" if self.column else "")
            if part
        )
        return f"{where} {self.sentence}".strip()


@dataclass
class LongForm:
    """Readings by (measure, growth form), each a list of ColonyHistory, and all that was wrong.

    `places` has the line of each reading by (colony, measure, day).
    """

    groups: dict = field(default_factory=dict)
    problems: list = field(default_factory=list)
    places: dict = field(default_factory=dict)

    @property
    def series(self):
        """How many colonies, each in one measure."""
        return sum(len(histories) for histories in self.groups.values())


def known_measure(name):
    """A measure's code from any of its names; the name itself when it is not known."""
    name = (name or "").strip().lower()
    # "Weight (g)" and "weight" are one measure.
    name = name.partition("(")[0].strip() or name
    return MEASURE_NAMES.get(name, name)


def known_form(name):
    """A growth form's code from any of its names; the name itself when it is not known."""
    name = (name or "").strip().lower()
    return _FORM_NAMES.get(name, name)


def _parse_day(text):
    """Day as a number with its part of a day; raises ValueError with a sentence."""
    text = text.strip()
    if not text:
        raise ValueError("there is no date; write it as 2024-05-31.")
    # 31.05.2024 and 2024/05/31 can be read in one way only; 05/06/2024 cannot.
    plain = re.sub(r"^(\d{1,2})\.(\d{1,2})\.(\d{4})\b", lambda m: f"{m[3]}-{int(m[2]):02}-{int(m[1]):02}", text)
    plain = re.sub(r"^(\d{4})/(\d{1,2})/(\d{1,2})\b", lambda m: f"{m[1]}-{int(m[2]):02}-{int(m[3]):02}", plain)
    try:
        moment = datetime.fromisoformat(plain)
    except ValueError:
        raise ValueError(f"“{text}” is no date; write it as 2024-05-31.") from None
    if moment.year < EARLIEST_YEAR:
        raise ValueError(f"{text} lies in the wrong century; was {moment.year % 100 + 2000} meant?")
    part = (moment.hour * 3600 + moment.minute * 60 + moment.second) / 86400
    return moment.toordinal() + part


_THREE_AFTER_COMMA = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}")


def _decimal_comma(texts, delimiter):
    """Whether sizes like 1,250 mean 1.25 (True) or 1250 (False) in this file, or None where nothing tells.

    Programs put semicolons between columns where the comma is the decimal sign.
    """
    texts = [text.strip() for text in texts]
    if any("," in text and "." not in text and not _THREE_AFTER_COMMA.fullmatch(text) for text in texts):
        return True
    if any("." in text for text in texts):
        return False
    return True if delimiter == ";" else None


def _parse_size(text, decimal_comma=None):
    bare = re.sub(r"[\s'’]", "", text)
    if not bare or bare.lower() in ("na", "nan", "n/a", "null", "none"):
        raise ValueError("there is no size; leave the row out where nothing was measured.")
    if "," in bare and "." in bare:  # the one that comes first sets the thousands apart
        thousands, point = (",", ".") if bare.index(",") < bare.index(".") else (".", ",")
        bare = bare.replace(thousands, "").replace(point, ".")
    elif _THREE_AFTER_COMMA.fullmatch(bare) and not decimal_comma:
        if decimal_comma is None:
            whole, rest = bare.split(",")
            raise ValueError(f"“{text}” can be read in two ways; write {whole}{rest} or {whole}.{rest}.")
        bare = bare.replace(",", "")
    else:
        bare = bare.replace(",", ".")
    try:
        size = float(bare) if bare.isascii() else float("nan")
    except ValueError:
        raise ValueError(f"“{text}” is no number; write only the number, like 25 or 25.5.") from None
    if not np.isfinite(size) or size > MOST_SIZE:
        raise ValueError(f"“{text}” is no size.")
    if size == 0:
        raise ValueError("a size of zero is no size; leave the row out once a colony is dead.")
    if size < 0:
        raise ValueError(f"a size cannot be less than nothing, and this is {text}.")
    if size < LEAST_SIZE:
        raise ValueError(f"“{text}” is too small for a size.")
    return size


def _table(lines):
    """Column names, the other rows each with its line, and what stands between columns.

    Of comma, semicolon and tab whichever finds the most known columns in the header stands between columns.
    """
    lines = [line if line.endswith(("\n", "\r")) else f"{line}\n" for line in lines]
    start = next((number for number, line in enumerate(lines) if line.strip("\ufeff \t\r\n;,")), None)
    if start is not None and re.fullmatch(r"\ufeff?sep=.\s*", lines[start], re.IGNORECASE):
        start += 1  # a spreadsheet program's own hint
    if start is None or start >= len(lines):
        raise ValueError("The file is empty; it needs a header with the columns colony, date, size.")

    def names_by(delimiter):
        cells = next(csv.reader([lines[start]], delimiter=delimiter))
        return [re.sub(r"\W+", "_", cell.strip().lstrip("\ufeff").lower()).strip("_") for cell in cells]

    delimiter = max(DELIMITERS, key=lambda sign: sum(name in NEEDED + OPTIONAL for name in names_by(sign)))
    names, reader, rows = names_by(delimiter), csv.reader(lines[start + 1 :], delimiter=delimiter), []
    begins = start + 2
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((begins, cells))
            begins = start + 2 + reader.line_num
    except csv.Error as error:
        raise ValueError(f"Row {begins} cannot be read as CSV ({error}). Save the file again as CSV.") from error
    return names, rows, delimiter


def read_long_form(lines, *, measure=None, growth_form=None, latest=None):
    """Read readings in long form.

    Parameters
    ----------
    lines : iterable of str
        The lines of a CSV file with a header (RFC 4180), with comma, semicolon or tab between columns and a decimal
        point or comma in numbers.
    measure, growth_form : str, optional
        For rows that do not name their own.
    latest : datetime.date, optional
        A date after it is taken for a slip: today, say.

    Returns
    -------
    LongForm

    Raises
    ------
    ValueError
        If a needed column is missing, or there is no header at all.
    """
    names, rows, delimiter = _table(lines)
    missing = [name for name in NEEDED if name not in names]
    if missing:
        several = f"The columns {', '.join(missing)} are" if len(missing) > 1 else f"The column {missing[0]} is"
        raise ValueError(f"{several} missing; the header has {', '.join(name for name in names if name) or 'nothing'}.")
    place = {name: names.index(name) for name in (*NEEDED, *OPTIONAL) if name in names}
    found = LongForm()
    last_day = latest.toordinal() + 1 if isinstance(latest, date) else None
    readings = defaultdict(list)  # (colony, measure) -> [(day, size, row)]
    lineage_of, form_of, measures_of, order = {}, {}, defaultdict(dict), []
    comma = _decimal_comma([cells[place["size"]] for _, cells in rows if len(cells) > place["size"]], delimiter)
    for number, cells in rows:
        if any(cell.strip() for cell in cells[len(names) :]):
            sentence = (
                f"there are {len(cells)} columns, but the header has {len(names)}; a number with a decimal comma "
            )
            found.problems.append(RowProblem(number, None, f"{sentence}must stand in quotes."))
            continue
        if len(cells) < len(names):
            cells = cells + [""] * (len(names) - len(cells))
        cell = {name: cells[index].strip() for name, index in place.items()}
        colony = cell["colony"]
        if not colony:
            found.problems.append(RowProblem(number, "colony", "the colony has no name."))
            continue
        try:
            column = "date"
            day = _parse_day(cell["date"])
            if last_day is not None and day >= last_day:
                raise ValueError(f"{cell['date']} has not come yet.")
            column = "size"
            size = _parse_size(cell["size"], comma)
        except ValueError as error:
            found.problems.append(RowProblem(number, column, str(error)))
            continue
        what = known_measure(cell.get("measure") or measure)
        form = known_form(cell.get("growth_form") or growth_form)
        lineage = cell.get("lineage") or None
        for store, value, name in ((lineage_of, lineage, "lineage"), (form_of, form, "growth_form")):
            if store.setdefault(colony, value) != value:
                before = store[colony] or "none"
                sentence = (
                    f"colony {colony} was given as {before} before, and is {value or 'none'} here; the first is kept."
                )
                found.problems.append(RowProblem(number, name, sentence, left_out=False))
        if what not in measures_of[colony]:
            if measures_of[colony]:
                before = ", ".join(str(name) or "none" for name in measures_of[colony])
                sentence = f"colony {colony} changes its measure from {before} to {what or 'none'}; "
                sentence += "each is read as a series of its own."
                found.problems.append(RowProblem(number, "measure", sentence, left_out=False))
            measures_of[colony][what] = number
        key = (colony, what)
        if key not in readings:
            order.append(key)
        readings[key].append((day, size, number))
    for key in order:
        colony, what = key
        kept = _settle_same_days(sorted(readings[key], key=lambda r: (r[0], r[2])), colony, found.problems)
        found.places.update({(colony, what, day): number for day, _, number in kept})
        history = ColonyHistory(
            identifier=colony, lineage=lineage_of[colony], readings=tuple(Reading(day, size) for day, size, _ in kept)
        )
        found.groups.setdefault((what, form_of[colony]), []).append(history)
    return found


def _settle_same_days(rows, colony, problems):
    """One reading a day: the mean of those that agree, else the one nearer to the readings around it."""
    by_day = defaultdict(list)
    for row in rows:
        by_day[int(row[0])].append(row)
    days = sorted(by_day)
    middle = {day: float(np.exp(np.mean([np.log(size) for _, size, _ in by_day[day]]))) for day in days}
    kept = []
    for position, day in enumerate(days):
        same = by_day[day]
        if len(same) == 1:
            kept.append(same[0])
            continue
        sizes = np.array([size for _, size, _ in same])
        if sizes.max() <= sizes.min() * (1 + SAME_DAY_SHARE):
            kept.append((same[0][0], float(sizes.mean()), same[0][2]))
            continue
        around = [middle[days[p]] for p in (position - 1, position + 1) if 0 <= p < len(days)]
        numbers = ", ".join(str(number) for *_, number in same)
        disagree = f"colony {colony} has readings of one day that disagree ("
        disagree += f"{', '.join(f'{size:g}' for size in sizes)}; rows {numbers})"
        if around:
            expected = np.mean(np.log(around))
            chosen = same[int(np.argmin(np.abs(np.log(sizes) - expected)))]
            sentence = f"{disagree}: {chosen[1]:g} lies nearer to the readings around it and is kept."
            kept.append(chosen)
        else:
            sentence = f"{disagree} and no other to judge them by: their middle is taken."
            kept.append((same[0][0], middle[day], same[0][2]))
        problems.append(RowProblem(same[-1][2], "size", sentence, left_out=False))
    return kept


def _absurd_readings(padded, measure, growth_form, places):
    """Readings that look like slips, in words; they stay among what is forecast, since nobody knew then."""
    model = learn_model(padded, measure=measure, growth_form=growth_form)
    for absurd in view_colonies(model, padded).absurd:
        on = date.fromordinal(int(absurd.day))
        sentence = f"colony {absurd.identifier} has {absurd.size:g} on {on}, {absurd.explanation} "
        sentence += f"({absurd.expected:.3g}); it is not trusted, but its forecasts are counted."
        yield RowProblem(places.get((absurd.identifier, measure, absurd.day)), "size", sentence, left_out=False)


@dataclass(frozen=True)
class BacktestAnswer:
    """Figures in the shape of the `backtest` command, all that was wrong with the rows, and every forecast."""

    figures: dict
    problems: list
    rows: object


def backtest_long_form(lines, *, measure=None, growth_form=None, latest=None, horizons=HORIZONS):
    """Backtest readings in long form.

    Parameters
    ----------
    lines, measure, growth_form, latest
        As in `read_long_form`.
    horizons : sequence of int
        Readings ahead.

    Returns
    -------
    BacktestAnswer
        `figures` is the dict of `backtest.summarise`.

    Raises
    ------
    ValueError
        If a needed column is missing.
    """
    table = read_long_form(lines, measure=measure, growth_form=growth_form, latest=latest)
    parts, offset = [], 0
    for (what, form), histories in table.groups.items():
        padded = pad_histories(histories)
        rows = backtest_collection(padded, measure=what, growth_form=form, horizons=horizons)
        parts.append(rows.shifted(offset))
        if len(rows):
            table.problems.extend(_absurd_readings(padded, what, form, table.places))
        offset += len(histories)
    rows = join_rows(parts)
    return BacktestAnswer(summarise(rows, series=table.series, horizons=horizons), table.problems, rows)
