from datetime import timedelta

from propagation.actions.days import EARLIEST
from propagation.dates import day_in_words
from propagation.errors import BadDate
from propagation.forecasts.outlooks import current_outlooks, outlooks_on
from propagation.management.keeper_command import KeeperCommand, day
from propagation.models import ColonyOutlook
from propagation.readings.next_cuts import BINDING_WORDS, NextCutRow, in_order, in_sections

FURTHEST = timedelta(days=3 * 365)


class Command(KeeperCommand):
    help = "When each living mother can be cut next, for how many frags, how surely, and what binds."

    def add_arguments(self, parser):
        parser.add_argument(
            "--on",
            type=day,
            help="As it is to be said on another day, from the records up to then (2026-04-30); today if left out.",
        )

    def answer(self, *, on=None, **options):
        on = on or self.today
        if not EARLIEST <= on <= self.today + FURTHEST:
            raise BadDate(
                f"Nothing can be said of {day_in_words(on)}; take a day from {day_in_words(EARLIEST)} to "
                f"{day_in_words(self.today + FURTHEST)}.",
                field="on",
            )
        outlooks = current_outlooks(on) if on == self.today else outlooks_on(on)
        self.on, self.rows = on, in_order([NextCutRow(outlook, on) for outlook in outlooks])
        return [told(row.outlook) for row in self.rows]

    def lines(self, answer):
        if not self.rows:
            yield f"No colony lives on {day_in_words(self.on)}."
        for section in in_sections(self.rows, self.on):
            yield f"{section.words}:"
            for row in section.rows:
                yield f"  {row.colony.tag} · {row.colony.lineage.name}: {_in_one_line(row)}"
                for reason in row.outlook.because:
                    yield f"      {reason}"


def told(outlook: ColonyOutlook) -> dict:
    """One mother's next cut in plain values."""
    return {
        "tag": outlook.colony.tag,
        "lineage": outlook.colony.lineage.name,
        "day": outlook.day,
        "earliest": outlook.earliest,
        "latest": outlook.latest,
        "frags": {"low": outlook.frags_low, "median": outlook.frags, "high": outlook.frags_high},
        "usable": outlook.usable,
        "binds": outlook.binds,
        "because": outlook.because,
    }


def _in_one_line(row):
    outlook = row.outlook
    frags = f"{outlook.frags} frags ({outlook.frags_low} to {outlook.frags_high})"
    if outlook.day is None:
        when = "by its size" if row.is_left_alone else "in the end"
        return f"{BINDING_WORDS[outlook.binds][0].lower()}; {frags} {when}"
    window = ""
    if row.window_is_open:
        latest = day_in_words(outlook.latest) if outlook.latest else "beyond three years"
        window = f", 8 in 10 from {day_in_words(outlook.earliest or outlook.day)} to {latest}"
    return f"{'now' if row.is_now else day_in_words(outlook.day)}, {frags}{window}"
