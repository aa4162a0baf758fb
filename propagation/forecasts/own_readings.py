"""The method tried on the keeper's own past readings."""

from datetime import date

from propagation.dates import day_in_words
from propagation.forecasts.gathering import ColonyRecords, gather_colonies
from propagation.forecasts.learning import group_records
from propagation.models import GrowthForm, Measure
from propagation.yield_model.backtest import backtest_collection, join_rows, summarise
from propagation.yield_model.histories import ColonyHistory, Reading, pad_histories


class NothingToTry(ValueError):
    """No colony has two sizes without a cut in between."""


def stretches(record: ColonyRecords) -> list[ColonyHistory]:
    """The readings of a colony between its cuts, each stretch a series of its own, for cuts are not forecast across.

    The size before a cut ends a stretch, that after it begins the next. Stretches of fewer than two sizes are left out.
    """
    history, found, current = record.history, [], {}

    def end():
        if len(current) > 1:
            readings = tuple(Reading(day, size) for day, size in sorted(current.items()))
            found.append(ColonyHistory(f"{history.identifier}/{len(found)}", history.lineage, readings))
        current.clear()

    # On the day of a cut, a reading was taken before it.
    events = [(reading.day, 0, reading) for reading in history.readings]
    events += [(cut.day, 1, cut) for cut in history.cuts]
    for day, is_cut, event in sorted(events, key=lambda each: each[:2]):
        if not is_cut:
            current[day] = event.size
            continue
        if event.before is not None:
            current[day] = event.before
        end()
        if event.after is not None:
            current[day] = event.after
    end()
    return found


def try_on_own_readings(day: date) -> dict:
    """Forecast every colony ever kept from each of its readings on, with what the others have taught.

    Returns plain values: what `summarise` answers, and ``groups``, ``colonies``, ``first`` and ``last`` day. Raises
    NothingToTry where no colony has two sizes without a cut in between.
    """
    groups, parts, series, colonies, days = [], [], 0, 0, []
    for (measure, growth_form), records in group_records(gather_colonies(day)).items():
        owners, histories = [], []
        for record in records:
            own = stretches(record)
            owners += [record.colony.pk] * len(own)
            histories += own
        if not histories:
            continue
        rows = backtest_collection(pad_histories(histories), measure=measure, growth_form=growth_form, together=owners)
        parts.append(rows.shifted(series))
        series, colonies = series + len(histories), colonies + len(set(owners))
        days += [reading.day for history in histories for reading in history.readings]
        groups.append(
            {
                "words": f"{GrowthForm(growth_form).label}, {Measure(measure).label}",
                "colonies": len(set(owners)),
                "forecasts": len(rows),
            }
        )
    if not parts:
        raise NothingToTry(
            "No colony has two sizes without a cut in between. Take sizes some weeks apart, then try again."
        )
    return summarise(join_rows(parts), series=series) | {
        "groups": sorted(groups, key=lambda group: -group["forecasts"]),
        "colonies": colonies,
        "first": day_in_words(date.fromordinal(int(min(days)))),
        "last": day_in_words(date.fromordinal(int(max(days)))),
    }
