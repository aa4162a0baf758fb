from decimal import Decimal

from django.core.management.base import CommandError

from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.actions.sitting_file import read_measure, read_number, read_tool
from propagation.errors import BadValue, RowErrors
from propagation.management.keeper_command import KeeperCommand, day
from propagation.management.sittings import lines_of_session, session_answer
from propagation.models import Colony, CutTool
from propagation.readings.find import find_colony, find_rack


def _size(option, text, places) -> Decimal | None:
    if text is None:
        return None
    try:
        number = read_number(text, places=places)
    except BadValue as error:
        raise CommandError(f"{option}: {error}") from error
    if number is None:
        raise CommandError(f"{option} is empty; give a number.")
    return number


class Command(KeeperCommand):
    help = "Record the cut of one mother: every frag becomes a plug with a code."

    def add_arguments(self, parser):
        parser.add_argument("--mother", required=True, metavar="TAG", help="Tag or code of the mother.")
        parser.add_argument("--frags", required=True, metavar="N", help="How many frags were cut.")
        parser.add_argument("--size-mm", metavar="X", help="Size of a frag in mm; else the lineage's usual size.")
        parser.add_argument("--before", metavar="X", help="Size of the mother before the cut.")
        parser.add_argument("--after", metavar="X", help="Size of the mother after the cut.")
        parser.add_argument("--measure", metavar="M", default="", help="What that size is of, e.g. diameter_mm.")
        parser.add_argument(
            "--with",
            metavar="TOOL",
            dest="tool",
            default="",
            help=f"What it was cut with: {', '.join(CutTool.values)}.",
        )
        parser.add_argument("--insurance", metavar="N", default="0", help="How many are set aside as insurance.")
        parser.add_argument("--reason", default="", help="Why a mother that should be left alone was cut.")
        parser.add_argument("--note", default="")
        parser.add_argument("--rack", metavar="NAME", help="The rack to put the plugs on.")
        parser.add_argument("--on", metavar="DATE", help="The day of the cut, as 2026-04-30; else today.")

    def answer(
        self, *, mother, frags, size_mm, before, after, measure, tool, insurance, reason, note, rack, on, **options
    ):
        colony = find_colony(mother, among=Colony.objects.select_related("lineage"))
        usual_size = colony.lineage.frag_size_mm
        before, after = _size("--before", before, 2), _size("--after", after, 2)
        has_sizes = before is not None or after is not None
        cut = MotherCut(
            mother=colony,
            frags=int(_size("--frags", frags, 0)),
            frag_size_mm=usual_size if size_mm is None else _size("--size-mm", size_mm, 1),
            size_before=before,
            size_after=after,
            measure=read_measure(measure) or (colony.lineage.measure if has_sizes else ""),
            reason=reason,
            note=note,
            insurance=int(_size("--insurance", insurance, 0)),
            cut_with=read_tool(tool),
        )
        try:
            session = record_cutting(
                cuts=[cut],
                cut_on=day(on) if on else self.today,
                today=self.today,
                rack=find_rack(rack) if rack else None,
            )
        except RowErrors as error:  # one mother: its row says nothing
            raise CommandError("Nothing was saved. " + " ".join(text for _, _, text in error.errors)) from error
        return session_answer(session)

    def lines(self, answer):
        yield from lines_of_session(answer)
