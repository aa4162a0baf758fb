"""One system against another over the same ages: did the lineages that lived in both grow faster in one of them?"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

from propagation.forecasts.gathering import gather_colonies
from propagation.models import Colony, GrowthForm, Lineage, Measure, Placement, System
from propagation.yield_model import pad_histories
from propagation.yield_model.histories import ColonyHistory
from propagation.yield_model.pooling import learn_growth
from propagation.yield_model.yield_record import (
    SystemComparison,
    SystemPair,
    Verdict,
    compare_systems,
    lineage_rates,
    restrict_to_ages,
)

FIRST_YEAR = (0, 365)  # days of age
DAYS_A_MONTH = 30
# A rate needs two sizes that far apart to be one. Common practice, no source.
FEWEST_READINGS = 2
TEN_TO_NINETY = 1.2816  # standard deviations from the middle of a normal distribution to either quantile
# So many times the light may itself explain a difference in growth. Common practice, no source.
MUCH_MORE_LIGHT = 1.25


@dataclass(frozen=True)
class LineagePair:
    """One lineage in both systems: growth as a share of size a month with one standard deviation, and its light."""

    lineage: Lineage
    first: float
    first_error: float
    second: float
    second_error: float
    first_light: float | None
    second_light: float | None

    @property
    def apart(self) -> float:
        return self.second - self.first

    @property
    def interval(self) -> tuple[float, float, float]:
        """The difference, and between what it lies with 8 chances in 10."""
        reach = TEN_TO_NINETY * (self.first_error**2 + self.second_error**2) ** 0.5
        return self.apart, self.apart - reach, self.apart + reach


@dataclass(frozen=True)
class FormComparison:
    """The comparison in one measure and growth form. Shares of size a month at `size`; low to high holds the
    difference with 8 chances in 10. The interval is None when there are too few pairs.
    """

    measure: Measure
    growth_form: GrowthForm
    verdict: Verdict
    pairs: list[LineagePair]
    difference: float | None
    low: float | None
    high: float | None
    size: float | None
    lineages_in_both: int

    @property
    def lights(self) -> tuple[float, float] | None:
        """Mean light of the pairs for which it is known in both."""
        known = [p for p in self.pairs if p.first_light is not None and p.second_light is not None]
        if not known:
            return None
        return sum(p.first_light for p in known) / len(known), sum(p.second_light for p in known) / len(known)

    @property
    def light_differs(self) -> bool:
        """Is the light so different that it may be what made the difference?"""
        if self.lights is None:
            return False
        return max(self.lights) > MUCH_MORE_LIGHT * max(min(self.lights), 1)


@dataclass(frozen=True)
class _Stay:
    """A colony in one system without a break, as days of the system's age."""

    since: int
    until: float
    light: float | None


def default_pair() -> tuple[System | None, System | None]:
    """The two systems to begin with: the latest restart after what it succeeds, else the latest two. Two queries."""
    restart = System.objects.filter(succeeds__isnull=False).select_related("succeeds").first()
    if restart is not None:
        return restart.succeeds, restart
    latest = list(System.objects.all()[:2])
    return (latest[1], latest[0]) if len(latest) == 2 else (None, None)


def compare(first: System, second: System, *, youngest: int, oldest: int, day: date) -> list[FormComparison]:
    """Compare two systems between two ages (days), measure by measure and form by form, the most telling first.

    A size counts when it was taken while the colony stood in the system, age counted from the system's start. A
    bounded number of queries, whatever there is.
    """
    of_first = _histories(first, youngest, oldest, day)
    of_second = _histories(second, youngest, oldest, day)
    found = []
    for key in sorted(of_first.keys() & of_second.keys()):
        comparison = _compare_form(key, of_first[key], of_second[key])
        if comparison.lineages_in_both:
            found.append(comparison)
    return sorted(found, key=lambda each: (each.verdict == Verdict.TOO_FEW, -len(each.pairs)))


def _histories(system, youngest, oldest, day):
    """``{(measure, growth form): [(ColonyHistory, light), …]}`` of what stood in a system, cut to the ages."""
    last = min(day, system.ended_on or day, system.started_on + timedelta(days=oldest))
    stays = _stays(system, youngest, oldest)
    colonies = Colony.objects.filter(placements__spot__system=system).distinct()
    found = defaultdict(list)
    for record in gather_colonies(last, colonies=colonies):
        for stay in stays[record.colony.pk]:
            history = restrict_to_ages(
                record.history,
                system.started_on.toordinal(),
                max(youngest, stay.since),
                max(min(oldest, stay.until), max(youngest, stay.since)),
            )
            found[record.key].append((history, stay.light))
    return found


def _stays(system, youngest, oldest):
    """Stays of each colony, by its id: placements that follow each other are one. One query."""
    rows = defaultdict(list)
    for placement in Placement.objects.filter(spot__system=system).select_related("spot").order_by("since", "id"):
        since = (placement.since - system.started_on).days
        until = float("inf") if placement.until is None else (placement.until - system.started_on).days
        rows[placement.colony_id].append((since, until, placement.spot.par))
    stays = defaultdict(list)
    for colony, placements in rows.items():
        runs = []
        for since, until, par in placements:
            if runs and since <= runs[-1][-1][1]:
                runs[-1].append((since, until, par))
            else:
                runs.append([(since, until, par)])
        for run in runs:
            if run[0][0] <= oldest and run[-1][1] >= youngest:
                stays[colony].append(_Stay(run[0][0], run[-1][1], _mean_light(run, youngest, oldest)))
    return stays


def _mean_light(run, youngest, oldest):
    """Light over the placements, by the days each lasted within the ages; None where none is known."""
    total = days = 0.0
    for since, until, par in run:
        if par is not None:
            lasted = max(min(until, oldest) - max(since, youngest), 0) + 1
            total, days = total + par * lasted, days + lasted
    return total / days if days else None


def _is_measured(history: ColonyHistory) -> bool:
    days = {reading.day for reading in history.readings} | {c.day for c in history.cuts if c.before is not None}
    return len(days) >= FEWEST_READINGS


def _compare_form(key, of_first, of_second):
    measure, growth_form = key
    in_both = {history.lineage for history, _ in of_first} & {history.lineage for history, _ in of_second}
    of_first = [each for each in of_first if _is_measured(each[0])]
    of_second = [each for each in of_second if _is_measured(each[0])]
    measured = {history.lineage for history, _ in of_first} & {history.lineage for history, _ in of_second}
    pairs, size = [], None
    if measured:
        all_of_them = [history for history, _ in of_first + of_second]
        model = learn_growth(_padded(all_of_them, key), measure=measure, growth_form=growth_form)
        size = model.reference
        rates = [lineage_rates(model, _padded([history for history, _ in side], key)) for side in (of_first, of_second)]
        lights = [_light_by_lineage(side) for side in (of_first, of_second)]
        for name in sorted(rates[0].keys() & rates[1].keys(), key=int):
            (r1, v1, _), (r2, v2, _) = rates[0][name], rates[1][name]
            pairs.append(SystemPair(name, r1, v1, r2, v2, lights[0].get(name), lights[1].get(name)))
    return _in_words(key, compare_systems(pairs), size, len(in_both))


def _padded(histories, key):
    return pad_histories(histories, measure=key[0], growth_form=key[1])


def _light_by_lineage(side):
    lights = defaultdict(list)
    for history, light in side:
        if light is not None:
            lights[history.lineage].append(light)
    return {lineage: sum(known) / len(known) for lineage, known in lights.items()}


def _in_words(key, comparison: SystemComparison, size, in_both) -> FormComparison:
    lineages = Lineage.objects.in_bulk([int(pair.lineage) for pair in comparison.pairs])

    def month(share):
        return None if share is None else share * DAYS_A_MONTH

    pairs = [
        LineagePair(
            lineages[int(pair.lineage)],
            month(pair.first_rate),
            month(pair.first_variance**0.5),
            month(pair.second_rate),
            month(pair.second_variance**0.5),
            pair.first_light,
            pair.second_light,
        )
        for pair in comparison.pairs
    ]
    return FormComparison(
        Measure(key[0]),
        GrowthForm(key[1]),
        comparison.verdict,
        sorted(pairs, key=lambda pair: pair.lineage.name.lower()),
        month(comparison.difference),
        month(comparison.low),
        month(comparison.high),
        size,
        in_both,
    )
