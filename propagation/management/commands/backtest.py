from pathlib import Path

from django.core.management.base import CommandError

from propagation.actions.sitting_file import decode
from propagation.management.keeper_command import KeeperCommand
from propagation.yield_model.backtest import stricter_last_rate
from propagation.yield_model.long_form import (
    GROWTH_FORMS,
    MEASURES,
    NEEDED,
    OPTIONAL,
    backtest_long_form,
    known_form,
    known_measure,
)

NAMES = {"model": "the model", "no_growth": "no growth", "last_rate": "the last rate goes on", "line": "straight line"}


class Command(KeeperCommand):
    help = (
        "Say how right the forecasts would have been for readings in a CSV file with the columns "
        f"{', '.join(NEEDED)} and, if you like, {', '.join(OPTIONAL)}. Every colony is forecast from its first reading "
        "on, one, three and five readings ahead, with what the other colonies teach. The last rate goes on reading by "
        "reading, or, told beside, day by day; it and the straight line are judged from the second reading on. Errors "
        "are in percent of the size that was seen, CRPS in the unit of the sizes."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", metavar="FILE.csv")
        parser.add_argument("--measure", metavar="M", help=f"For rows that name none; one of {', '.join(MEASURES)}.")
        parser.add_argument(
            "--growth-form", metavar="F", help=f"For rows that name none; one of {', '.join(GROWTH_FORMS)}."
        )

    def answer(self, *, file, measure, growth_form, **options):
        try:
            text = decode(Path(file).read_bytes())
        except OSError as error:
            raise CommandError(f"The file {file} cannot be read: {error.strerror or error}.") from error
        if measure and known_measure(measure) not in MEASURES:
            raise CommandError(f"“{measure}” is no measure; use one of {', '.join(MEASURES)}.")
        if growth_form and known_form(growth_form) not in GROWTH_FORMS:
            raise CommandError(f"“{growth_form}” is no growth form; use one of {', '.join(GROWTH_FORMS)}.")
        try:
            found = backtest_long_form(
                text.splitlines(keepends=True), measure=measure, growth_form=growth_form, latest=self.today
            )
        except ValueError as error:
            raise CommandError(str(error)) from error
        for problem in sorted(found.problems, key=lambda problem: problem.row or 0):
            self.stderr.write(str(problem), style_func=str)
        if not found.figures["forecasts"]:
            raise CommandError("There is nothing to forecast: no colony has readings on two days that could be used.")
        self.rows = found.rows
        return found.figures

    def lines(self, answer):
        yield f"{answer['series']} series, {answer['forecasts']} forecasts"
        yield from self.figures(answer, None)
        for horizon in answer["by_horizon"]:
            ahead = "one reading ahead" if horizon["steps"] == 1 else f"{horizon['steps']} readings ahead"
            yield ""
            yield f"{ahead}: {horizon['forecasts']} forecasts"
            if horizon["forecasts"]:
                yield from self.figures(horizon, horizon["steps"])

    def figures(self, part, steps):
        for share, held in part["coverage"].items():
            yield f"  {share} % interval held {held * 100:.0f} % of what was seen"
        told = [(NAMES[name], error, part["crps"][name]) for name, error in part["median_abs_pct_error"].items()]
        told.append(("the same, day by day", *stricter_last_rate(self.rows, steps)))
        for name, error, crps in told:
            figures = "nothing to judge" if error is None else f"median error {error:.1f} %, CRPS {crps:.4g}"
            yield f"  {name + ':':24} {figures}"
