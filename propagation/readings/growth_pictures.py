"""The sizes of colonies as pictures: one with what is likely to come, and all colonies of a line on one scale."""

from collections import defaultdict
from datetime import date

from propagation.lengths import measure_name, plain, unit_of
from propagation.models import Colony, ColonyOutlook, Lineage, SizeReading
from propagation.pictures.growth_curve import (
    CutMark,
    CutWindow,
    IncidentSpan,
    MoveMark,
    Picture,
    SizePoint,
    growth_curve,
)
from propagation.pictures.lineage_scale import ColonyLine, lineage_scale


def _words_of(measure, length_unit):
    unit = unit_of(measure, length_unit)
    return {
        "unit": unit.name,
        "show": lambda size: plain(unit.shown(size)),
        "stored": float(unit.factor),
    }


def growth_pictures(
    colony: Colony,
    *,
    today: date,
    readings,
    cuts,
    placements,
    incidents,
    outlook: ColonyOutlook | None,
    length_unit: str,
) -> list[Picture]:
    """One picture for each measure that was taken, that of the outlook first and with its forecast.

    Takes what the page has at hand; ``readings`` come latest first. A colony that was never measured has the forecast
    alone.
    """
    measures = list(dict.fromkeys(each.measure for each in readings))
    if outlook is not None:
        measures = [outlook.measure, *(measure for measure in measures if measure != outlook.measure)]
    moves = sorted(placements, key=lambda each: each.since)[1:]
    drawn = []
    for measure in measures:
        ahead = _ahead(outlook) if outlook is not None and measure == outlook.measure else {}
        absurd = {item["day"]: item["reason"] for item in outlook.absurd} if ahead else {}
        drawn.append(
            growth_curve(
                f"{measure_name(measure, length_unit)} of {colony.tag}",
                [_size_point(each, absurd) for each in reversed(readings) if each.measure == measure],
                today=today if colony.is_alive else colony.ended_on,
                cuts=[CutMark(cut.session.cut_on, cut.frags) for cut in cuts],
                moves=[MoveMark(each.since, str(each.spot)) for each in moves],
                incidents=[IncidentSpan(each.opened_on, each.closed_on, each.get_kind_display()) for each in incidents],
                **ahead,
                **_words_of(measure, length_unit),
            )
        )
    return [picture for picture in drawn if picture is not None]


def _ahead(outlook):
    # The numbers need scipy, which a page without a forecast does not wait for.
    from propagation.forecasts.bands import look_ahead, size_band

    return {
        "forecast": size_band(outlook, look_ahead(outlook)),
        "window": CutWindow(outlook.earliest, outlook.day, outlook.latest),
        "needed": outlook.size_needed,
        "needed_words": "for the next cut",
    }


def _size_point(reading, absurd):
    """A size reading for its picture; its error bar is one standard deviation to both sides."""
    size, error = float(reading.value), float(reading.relative_error or 0) / 100
    return SizePoint(
        reading.taken_on,
        size,
        size * (1 - error) if error else None,
        size * (1 + error) if error else None,
        note=reading.get_method_display().lower(),
        absurd=absurd.get(reading.taken_on.isoformat(), "") if not reading.is_after_cut else "",
        is_after_cut=reading.is_after_cut if reading.cut_event_id else None,
    )


def lineage_picture(lineage: Lineage, *, by_age: bool, length_unit: str) -> Picture | None:
    """All colonies of a line on one scale, in the measure most of its sizes were taken in; None when none was measured.

    By day, or by the age of each colony. One query.
    """
    rows = (
        SizeReading.objects.filter(colony__lineage=lineage)
        .select_related("colony")
        .order_by("taken_on", "is_after_cut", "id")
    )
    sizes, colonies = defaultdict(lambda: defaultdict(list)), {}
    for row in rows:
        sizes[row.measure][row.colony_id].append((row.taken_on, float(row.value)))
        colonies[row.colony_id] = row.colony
    if not sizes:
        return None
    measure = max(sizes, key=lambda each: sum(len(days) for days in sizes[each].values()))
    return lineage_scale(
        f"{measure_name(measure, length_unit)} of the colonies of {lineage.name}",
        [
            ColonyLine(colonies[pk].tag, colonies[pk].began_on, days, colonies[pk].is_alive)
            for pk, days in sizes[measure].items()
        ],
        by_age=by_age,
        **_words_of(measure, length_unit),
    )
