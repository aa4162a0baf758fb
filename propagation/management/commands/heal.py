from collections import Counter

from propagation.actions.check_healing import check_healing
from propagation.codes import in_clear
from propagation.errors import BadValue, CodeMistyped, NothingFound, RametError
from propagation.management.keeper_command import KeeperCommand, day
from propagation.models import HealingStage
from propagation.readings.find import find_plug
from propagation.readings.near_codes import near_codes

NEXT = "next"


class Command(KeeperCommand):
    help = "Record the healing stage that plugs were seen in; with one code wrong, nothing is recorded."

    def add_arguments(self, parser):
        parser.add_argument("codes", nargs="*", metavar="CODE", help="Codes of plugs, with or without the dash.")
        stages = ", ".join(HealingStage.values)
        parser.add_argument("--stage", default="", help=f"One of {stages}, or {NEXT} for each one's next stage.")
        parser.add_argument("--on", type=day, default=None, help="The day, as 2026-04-30; today if left out.")
        parser.add_argument("--note", default="")

    def answer(self, *, codes, stage, on, note, **options):
        if not codes:
            raise BadValue("Give the code of at least one plug, as it stands on its label.")
        if not stage:
            raise BadValue(f"Say the stage with --stage: {', '.join(HealingStage.values)}, or {NEXT}.")
        plugs, twice = self.find_all(codes)
        made = check_healing(
            plugs=plugs.values(),
            stage=None if stage == NEXT else stage,
            on=on or self.today,
            today=self.today,
            note=note,
        )
        checked = {check.plug_id: check.stage for check in made}
        return {
            "on": on or self.today,
            "checked": [{"code": plug.code, "stage": checked[pk]} for pk, plug in plugs.items() if pk in checked],
            "unchanged": [plug.code for pk, plug in plugs.items() if pk not in checked],
            "given_twice": twice,
        }

    def find_all(self, codes):
        """``({id: plug}, [codes that were given twice])``. Raises RametError naming every code that is wrong."""
        plugs, given, wrong = {}, Counter(), []
        for text in codes:
            try:
                plug = find_plug(text)
            except (CodeMistyped, NothingFound) as error:
                near = near_codes(text)
                wrong.append(f"{error} Did you mean {' or '.join(near)}?" if near else str(error))
                continue
            plugs[plug.pk] = plug
            given[plug.code] += 1
        if wrong:
            raise RametError(" ".join(["Nothing was recorded.", *dict.fromkeys(wrong)]))
        return plugs, [code for code, times in given.items() if times > 1]

    def lines(self, answer):
        for each in answer["checked"]:
            yield f"{in_clear(each['code'])} is {each['stage']}"
        if answer["unchanged"]:
            yield f"Checked so already, left alone: {', '.join(map(in_clear, answer['unchanged']))}"
        if answer["given_twice"]:
            yield f"Given twice, recorded once: {', '.join(map(in_clear, answer['given_twice']))}"
