from pathlib import Path

from django.core.management.base import CommandError

from propagation.actions.sitting_file import COLUMNS, read_tool, record_sitting_file
from propagation.management.keeper_command import KeeperCommand, day
from propagation.management.sittings import lines_of_session, session_answer
from propagation.models import CutTool
from propagation.readings.find import find_rack


class Command(KeeperCommand):
    help = (
        "Record a whole sitting from a CSV file, all of it or nothing. "
        f"Its first row names the columns, in any order: {', '.join(COLUMNS)}. Errors name the row of the file; "
        "the first row is 1."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", metavar="FILE.csv")
        parser.add_argument(
            "--with",
            metavar="TOOL",
            dest="tool",
            default="",
            help="What was cut with where the file does not say: " + ", ".join(CutTool.values) + ".",
        )
        parser.add_argument("--rack", metavar="NAME", help="The rack to put the plugs on.")
        parser.add_argument("--on", metavar="DATE", help="The day of the sitting, as 2026-04-30; else today.")

    def answer(self, *, file, tool, rack, on, **options):
        try:
            data = Path(file).read_bytes()
        except OSError as error:
            raise CommandError(f"The file {file} cannot be read: {error.strerror or error}.") from error
        session = record_sitting_file(
            data=data,
            cut_on=day(on) if on else self.today,
            today=self.today,
            rack=find_rack(rack) if rack else None,
            cut_with=read_tool(tool),
        )
        return session_answer(session)

    def lines(self, answer):
        yield from lines_of_session(answer)
