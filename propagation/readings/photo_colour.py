"""Does its colour hold? The colours measured in a colony's or a plug's photos, and whether they drift.

A drift is a trend of numbers, never a diagnosis: light and camera change too.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from itertools import groupby

import numpy as np
from django.db.models import F, Q, QuerySet
from django.utils.timezone import localdate

from propagation.dates import day_in_words
from propagation.models import Colony, Incident, IncidentKind, Photo, PhotoMeasurement, Plug
from propagation.pictures.colour_line import ColourPoint, ColourRun, TrendPoint, colour_line
from propagation.pictures.drawing import Picture

FIRST_PICTURES = 3  # whose mean is what a colony is compared with: one alone may be off (common practice, no source)
WINDOW_DAYS = 184  # half a year: what happened before no keeper can mend (common practice, no source)
LONGEST_DAYS = 366  # as far back where half a year has too few pictures
SHORTEST_DAYS = 60  # pictures of one round share its light (common practice, no source)
# Of four pictures in order of time, 1 in 12 series goes one way by chance alone; of five, 1 in 60 (Kendall's test).
FEWEST_PICTURES = 5
# Three directions are looked at, and by chance one of twenty series of any may seem to have a trend (Bonferroni).
LEVEL = 1 - 0.05 / 3
EFFICIENCY = 3 / np.pi  # of Theil and Sen's slope beside least squares where errors are normal (Sen 1968, from memory)
# One colony under two lights may differ by so much after the white reference (CIEDE2000): see tests/imaging.
LIGHT_DIFFERS = 3.0
SURE_SDS = 2.0
# Of lightness, chroma or hue, in CIELAB units and beside the largest of them: less is not worth a word (no source).
LEAST_NAMED, LEAST_SHARE = 1.0, 1 / 4
DAYS_IN_A_MONTH = 30.44

# Brown is a dark orange: hue within so many degrees of it in CIELAB, and not too light (common practice, no source).
BROWN_HUE, BROWN_WITHIN = 60.0, 25.0
BROWN_BELOW = 65.0
# Unique hues in CIELAB, degrees, about (from memory): a colour that turns is said to turn towards the next of them.
HUES = ((25.0, "redder"), (92.0, "yellower"), (164.0, "greener"), (246.0, "bluer"))

SHOWN_DAYS = 7  # that a drift stands on the agenda
RECENT_DAYS = 62  # a picture that is older tells nothing of now

WHITES = {"paper": "a label's paper", "patches": "a card's grey patches"}
# What a keeper calls a colour that goes; while one was opened, or was since, nobody need be told.
TOLD_BY = (
    IncidentKind.BROWNING,
    IncidentKind.BLEACHING,
    IncidentKind.SLOW_TISSUE_LOSS,
    IncidentKind.RAPID_TISSUE_LOSS,
)


# -- numbers


def difference(first, second) -> float:
    """CIEDE2000 between two CIELAB colours."""
    from propagation.imaging.colour import colour_difference  # OpenCV takes a moment, which no command need wait for

    return float(colour_difference(np.asarray(first, dtype=float), np.asarray(second, dtype=float)))


def hex_of(lab) -> str:
    """The colour as ``#rrggbb``."""
    from propagation.imaging.colour import srgb_from_lab

    return "#" + "".join(f"{round(float(value)):02x}" for value in srgb_from_lab(np.asarray(lab, dtype=float)))


def chroma_of(lab) -> float:
    return float(np.hypot(lab[1], lab[2]))


def hue_of(lab) -> float:
    """Degrees, 0 up to 360."""
    return float(np.degrees(np.arctan2(lab[2], lab[1])) % 360)


@dataclass(frozen=True)
class Drift:
    """How a colour moved over the last months, by a line through its pictures.

    ``difference`` is CIEDE2000 between the line's two ends and ``sd`` its standard deviation; ``scatter`` is how far
    pictures lie from the line, CIEDE2000. ``words`` say which ways it went clearly; none if it is not clear.
    """

    since: date
    until: date
    pictures: int
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    difference: float
    sd: float
    scatter: float
    words: tuple[str, ...]

    @property
    def is_clear(self) -> bool:
        """Has it drifted clearly beside the scatter, and by more than light alone may do?"""
        return bool(self.words)

    @property
    def lightness(self) -> float:
        return self.end[0] - self.start[0]

    @property
    def chroma(self) -> float:
        return chroma_of(self.end) - chroma_of(self.start)

    @property
    def hue_deg(self) -> float:
        return (hue_of(self.end) - hue_of(self.start) + 180) % 360 - 180

    @property
    def least_seen(self) -> float:
        """A drift smaller than this would not stand out."""
        return max(LIGHT_DIFFERS, SURE_SDS * self.sd)

    @property
    def span_words(self) -> str:
        return f"{round((self.until - self.since).days / DAYS_IN_A_MONTH)} months"

    @property
    def way(self) -> str:
        """E.g. ``darker and browner``."""
        return " and ".join([", ".join(self.words[:-1]), self.words[-1]] if len(self.words) > 1 else self.words)

    @property
    def sentence(self) -> str:
        if self.is_clear:
            return (
                f"Has become {self.way} over {self.span_words}, until {day_in_words(self.until)}: "
                f"ΔE00\u00a0{_rounded(self.difference, self.sd)}\u00a0±\u00a0{_rounded(self.sd, self.sd)}. "
                "Light or camera may have changed too."
            )
        return (
            f"No drift stands out over {self.span_words}, until {day_in_words(self.until)}: pictures scatter by "
            f"ΔE00\u00a0{self.scatter:.1f}, and less than about {self.least_seen:.0f} would not be seen."
        )

    def at(self, day: date) -> tuple[float, float, float]:
        """The line's colour on a day between its ends."""
        share = (day - self.since).days / (self.until - self.since).days
        return tuple(a + share * (b - a) for a, b in zip(self.start, self.end, strict=True))


def _rounded(value: float, sd: float) -> str:
    return f"{value:.0f}" if sd >= 1 else f"{value:.1f}"


def drift_of(days: Sequence[date], labs: Sequence[Sequence[float]]) -> Drift | None:
    """The drift over the last months; None while pictures are too few or too near.

    They are those of the last WINDOW_DAYS before the last of the days, or the last FEWEST_PICTURES of LONGEST_DAYS.
    Lightness, chroma and hue (in CIELAB units, square to chroma) each get the median of all slopes between two
    pictures and its interval (Theil 1950, Sen 1968; `scipy.stats.theilslopes`). The drift is clear if an interval
    leaves out nought, and if CIEDE2000 between the line's ends is at least LIGHT_DIFFERS and SURE_SDS times its own
    standard deviation. That of a slope is as least squares have it, divided by the square root of EFFICIENCY.

    ``days`` ascend, each once; ``labs`` has shape (n, 3).
    """
    ages = [(days[-1] - day).days for day in days]
    kept = [index for index, age in enumerate(ages) if age <= WINDOW_DAYS]
    if len(kept) < FEWEST_PICTURES:
        kept = [index for index, age in enumerate(ages) if age <= LONGEST_DAYS][-FEWEST_PICTURES:]
    if len(kept) < FEWEST_PICTURES or ages[kept[0]] < SHORTEST_DAYS:
        return None
    from scipy.stats import theilslopes  # takes a second, which no command need wait for

    since = days[kept[0]]
    at = np.array([(days[index] - since).days for index in kept], dtype=float)
    span = at[-1]
    lab = np.array([labs[index] for index in kept], dtype=float)
    turn = _turn_to_chroma(lab)
    parts = lab @ turn.T
    slopes = [theilslopes(part, at, LEVEL) for part in parts.T]
    slope = np.array([each.slope for each in slopes])
    level = np.median(parts - at[:, None] * slope, axis=0)
    lines = (level + at[:, None] * slope) @ turn
    start, end = level @ turn, (level + span * slope) @ turn

    freedom = len(at) - 2
    residual = np.sqrt(((parts - level - at[:, None] * slope) ** 2).sum(axis=0) / freedom)
    sds = span * residual / np.sqrt(((at - at.mean()) ** 2).sum() * EFFICIENCY)
    moved = difference(start, end)
    sd = _sd_of_difference(start, end, sds[:, None] * turn)
    scatter = np.sqrt(sum(difference(one, line) ** 2 for one, line in zip(lab, lines, strict=True)) / freedom)
    is_sure = [each.low_slope > 0 or each.high_slope < 0 for each in slopes]
    is_clear = moved >= LIGHT_DIFFERS and moved >= SURE_SDS * sd
    return Drift(
        since=since,
        until=days[-1],
        pictures=len(kept),
        start=tuple(start.tolist()),
        end=tuple(end.tolist()),
        difference=moved,
        sd=sd,
        scatter=float(scatter),
        words=_ways(start, end, is_sure) if is_clear else (),
    )


def _turn_to_chroma(lab: np.ndarray) -> np.ndarray:
    """The rotation from L*, a*, b* to lightness, chroma and hue about the mean colour, so that each may be a line."""
    _, a, b = lab.mean(axis=0)
    angle = np.arctan2(b, a)
    return np.array([[1, 0, 0], [0, np.cos(angle), np.sin(angle)], [0, -np.sin(angle), np.cos(angle)]])


def _sd_of_difference(start, end, steps) -> float:
    """How far the difference moves when the end does, by each of the independent ``steps``, in quadrature."""
    here = difference(start, end)
    moves = [abs(difference(start, end + way * step) - here) for step in steps for way in (1, -1)]
    return float(np.sqrt(np.sum(np.square(moves)) / 2))


def _ways(start, end, is_sure) -> tuple[str, ...]:
    """Words for the ways in which a colour went surely and far enough to be named."""
    lighter, stronger = end[0] - start[0], chroma_of(end) - chroma_of(start)
    turned = (hue_of(end) - hue_of(start) + 180) % 360 - 180
    across = 2 * np.sqrt(chroma_of(start) * chroma_of(end)) * np.sin(np.radians(turned) / 2)
    least = max(LEAST_NAMED, LEAST_SHARE * max(abs(lighter), abs(stronger), abs(across)))
    ways = []
    if is_sure[0] and abs(lighter) >= least:
        ways.append("paler" if lighter > 0 else "darker")
    if is_sure[1] and abs(stronger) >= least:
        ways.append("stronger in colour" if stronger > 0 else "duller")
    turns = is_sure[2] and abs(across) >= least
    if _is_brown(end) and ("darker" in ways or (turns and _from_brown(end) < _from_brown(start))):
        ways.append("browner")
    elif turns:
        way = 1 if turned > 0 else -1
        ways.append(min(HUES, key=lambda hue: (way * (hue[0] - hue_of(start))) % 360)[1])
    return tuple(ways)


def _is_brown(lab) -> bool:
    return lab[0] < BROWN_BELOW and _from_brown(lab) <= BROWN_WITHIN


def _from_brown(lab) -> float:
    return abs((hue_of(lab) - BROWN_HUE + 180) % 360 - 180)


# -- records


@dataclass(frozen=True)
class DayColour:
    """The colour of a day: the mean of the pictures that were taken on it, after one kind of white."""

    day: date
    lab: tuple[float, float, float]
    pictures: int
    reviewed_on: date

    @property
    def hex(self) -> str:
        return hex_of(self.lab)


@dataclass(frozen=True)
class ColourSeries:
    """The colours after one kind of white, by day. Patches take haze away and paper does not: they are told apart."""

    white: str
    colours: tuple[DayColour, ...]

    @property
    def white_words(self) -> str:
        return WHITES[self.white]

    @property
    def n_first(self) -> int:
        """How many of its first days make what it was: three, fewer while there are not four."""
        return min(FIRST_PICTURES, max(len(self.colours) - 1, 1))

    @cached_property
    def reference(self) -> tuple[float, float, float]:
        """What it was: the mean of its first days."""
        return tuple(np.mean([each.lab for each in self.colours[: self.n_first]], axis=0).tolist())

    @cached_property
    def to_first(self) -> list[float]:
        return [difference(self.reference, each.lab) for each in self.colours]

    @cached_property
    def to_before(self) -> list[float | None]:
        pairs = zip(self.colours[:-1], self.colours[1:], strict=True)
        return [None, *(difference(before.lab, each.lab) for before, each in pairs)]

    @cached_property
    def drift(self) -> Drift | None:
        return drift_of([each.day for each in self.colours], [each.lab for each in self.colours])

    def until(self, day: date) -> "ColourSeries":
        return ColourSeries(self.white, tuple(each for each in self.colours if each.day <= day))


@dataclass(frozen=True)
class PhotoColour:
    """What the page of a colony or a plug says of its colour.

    ``without_white`` are photos that would count had anything white been found in them.
    """

    name: str
    series: tuple[ColourSeries, ...]
    without_white: int

    @cached_property
    def main(self) -> ColourSeries | None:
        """The series that speaks: of most days in the last months, of the latest picture if they are the same."""
        if not self.series:
            return None
        latest = max(each.colours[-1].day for each in self.series)
        since = latest - timedelta(WINDOW_DAYS)
        return max(self.series, key=lambda each: (sum(one.day >= since for one in each.colours), each.colours[-1].day))

    @property
    def number(self) -> int:
        return sum(one.pictures for each in self.series for one in each.colours)

    @property
    def is_enough(self) -> bool:
        """Is there anything to be compared?"""
        return self.main is not None and len(self.main.colours) > 1

    @property
    def drift(self) -> Drift | None:
        return self.main.drift if self.main else None

    @property
    def sentence(self) -> str:
        """What can be said of it, without a verdict."""
        if not self.is_enough:
            return ""
        drift, main = self.drift, self.main
        if drift is not None:
            return drift.sentence
        last = main.colours[-1]
        return (
            f"On {day_in_words(last.day)} ΔE00\u00a0{main.to_first[-1]:.1f} from what it was. A trend takes photos of "
            f"{FEWEST_PICTURES} days over two months or more, within a year."
        )

    @cached_property
    def picture(self) -> Picture | None:
        if not self.is_enough:
            return None
        return colour_line(
            f"Colour of {self.name}",
            [_run(each) for each in self.series],
            sentence=self.sentence,
            trend=_trend_points(self.main),
            light_differs=LIGHT_DIFFERS,
        )


def _run(series: ColourSeries) -> ColourRun:
    return ColourRun(
        series.white_words,
        is_card=series.white == "patches",
        n_first=series.n_first,
        points=tuple(
            ColourPoint(
                day=each.day,
                fill=each.hex,
                lightness=each.lab[0],
                chroma=chroma_of(each.lab),
                hue_deg=hue_of(each.lab),
                to_first=to_first,
                to_before=to_before,
            )
            for each, to_first, to_before in zip(series.colours, series.to_first, series.to_before, strict=True)
        ),
    )


def _trend_points(series: ColourSeries) -> list[TrendPoint]:
    drift = series.drift
    if drift is None or not drift.is_clear:
        return []
    steps = 12
    days = [drift.since + (drift.until - drift.since) * step / steps for step in range(steps + 1)]
    return [TrendPoint(day, difference(series.reference, drift.at(day))) for day in days]


def _counting(**of) -> QuerySet:
    """Measurements of photos that were reviewed and not set aside: rows of what their colours take."""
    measured = PhotoMeasurement.objects.filter(photo__set_aside_on=None, photo__reviewed_at__isnull=False, **of)
    # The one accepted, else the latest, comes first of each photo.
    order = ("photo__taken_on", "photo_id", F("accepted_at").desc(nulls_last=True), "-pk")
    return measured.order_by(*order).values_list(
        "photo_id", "photo__colony_id", "photo__taken_on", "photo__reviewed_at", "colour"
    )


def _series_of(rows: Iterable[tuple]) -> tuple[tuple[ColourSeries, ...], int]:
    """The series by white, and how many photos had no white, of rows of one colony or plug in the order of time."""
    seen, without = defaultdict(lambda: defaultdict(list)), 0
    for _, measurements in groupby(rows, key=lambda row: row[0]):
        _, _, day, reviewed_at, colour = next(measurements)
        if colour is None or colour["white"] not in WHITES:
            without += 1
            continue
        seen[colour["white"]][day].append((colour["mean"], localdate(reviewed_at)))
    series = [
        ColourSeries(
            white,
            tuple(
                DayColour(
                    day,
                    tuple(np.mean([lab for lab, _ in each], axis=0).tolist()),
                    len(each),
                    min(reviewed_on for _, reviewed_on in each),
                )
                for day, each in sorted(days.items())
            ),
        )
        for white, days in seen.items()
    ]
    return tuple(sorted(series, key=lambda each: each.white)), without


def photo_colour(thing: Colony | Plug) -> PhotoColour:
    """The colours of a colony or a plug in its photos. One query.

    Those count that were reviewed: the measurement whose sizes are in the records, else the latest.
    """
    is_colony = isinstance(thing, Colony)
    series, without = _series_of(_counting(photo__colony=thing) if is_colony else _counting(photo__plug=thing))
    return PhotoColour(thing.tag if is_colony else thing.code_in_clear, series, without)


@dataclass(frozen=True)
class ColourBeside:
    """The colour in a photo and that of the picture before it."""

    fill: str
    before_fill: str
    before_on: date
    difference: float


def colour_beside(photo: Photo, measured: PhotoMeasurement | None) -> ColourBeside | None:
    """The colour in a photo beside the last one before, after the same kind of white. One query.

    None where there is no white in it, or nothing to compare it with.
    """
    colour = measured.colour if measured else None
    if photo.shows is None or not colour or colour["white"] not in WHITES:
        return None
    of_it = {"photo__colony": photo.colony_id} if photo.colony_id else {"photo__plug": photo.plug_id}
    series, _ = _series_of(_counting(photo__taken_on__lt=photo.taken_on, **of_it))
    before = next((each.colours[-1] for each in series if each.white == colour["white"]), None)
    if before is None:
        return None
    return ColourBeside(hex_of(colour["mean"]), before.hex, before.day, difference(before.lab, colour["mean"]))


# -- for the agenda


def colours_drifted(day: date) -> list[tuple[str, Drift]]:
    """Tags of living colonies whose colour has clearly drifted and of which the keeper is to be told, by tag.

    Once a month at most: by the first picture of the latest month, for SHOWN_DAYS from its review. Not if an incident
    of its colour or its tissue is open or was opened since the drift began. Two queries, three if any drifted.
    """
    since = day - timedelta(LONGEST_DAYS + RECENT_DAYS)
    rows = _counting(photo__colony__ended_on=None, photo__colony__isnull=False, photo__taken_on__range=(since, day))
    of_colony = defaultdict(list)
    for row in rows:
        of_colony[row[1]].append(row)
    drifted = {}
    for pk, own in of_colony.items():
        series, _ = _series_of(own)
        drift = _news(PhotoColour("", series, 0).main, day)
        if drift is not None:
            drifted[pk] = drift
    if not drifted:
        return []
    told = {
        (incident.colony_id, incident.opened_on if incident.closed_on else None)
        for incident in Incident.objects.filter(
            Q(closed_on=None) | Q(opened_on__gte=since), colony__in=drifted, kind__in=TOLD_BY, opened_on__lte=day
        )
    }
    at_rest = {pk for pk, opened in told if opened is None or opened >= drifted[pk].since}
    tags = Colony.objects.filter(pk__in=drifted.keys() - at_rest).order_by("tag").values_list("pk", "tag")
    return [(tag, drifted[pk]) for pk, tag in tags]


def _news(series: ColourSeries | None, day: date) -> Drift | None:
    """The drift that the first picture of the latest month showed, while it is new."""
    if series is None:
        return None
    latest = series.colours[-1].day
    first = next(each for each in series.colours if (each.day.year, each.day.month) == (latest.year, latest.month))
    is_new = 0 <= (day - first.reviewed_on).days < SHOWN_DAYS and (day - first.day).days <= RECENT_DAYS
    drift = series.until(first.day).drift if is_new else None
    return drift if drift is not None and drift.is_clear else None
