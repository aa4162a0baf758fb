from django.utils.dateformat import format as date_format

from propagation.management.keeper_command import KeeperCommand
from propagation.models import Acquisition
from propagation.readings.find import find_plug_or_colony
from propagation.readings.trace import told_trace

WORDS = {
    "plug": lambda step: f"plug {step['code']}",
    "cut": lambda step: "cut",
    "colony": lambda step: f"colony {step['tag']} ({step['code']})",
    "acquisition": lambda step: Acquisition.Kind(step["as"]).label.lower(),
}


class Command(KeeperCommand):
    help = "The line of descent of a plug or colony, up to the day it was acquired and down to everything it became."

    def add_arguments(self, parser):
        parser.add_argument("code", help="The code of a plug or a colony, or a colony's tag.")

    def answer(self, *, code, **options):
        return told_trace(find_plug_or_colony(code))

    def lines(self, answer):
        name = answer["lineage"]["name"]
        yield f"{answer.get('tag', answer['code'])} · {name}"
        for step in answer["ancestors"]:
            yield f"  ↑ {date_format(step['date'], 'j M Y'):>11}  {WORDS[step['kind']](step)}"
        for keeper in answer.get("passport", ()):
            yield f"  before it came, as told by {keeper['known_as'] or keeper['name'] or 'a keeper without a name'}:"
            for step in keeper["steps"]:
                yield f"  ↑ {date_format(step['date'], 'j M Y'):>11}  {step['what']}"
        if not answer["descendants"]:
            yield "  Nothing has come of it yet."
        for step in answer["descendants"]:
            if step["kind"] == "cut":
                continue
            fate = f", {step['fate'].replace('_', ' ')}" if step["kind"] == "plug" else ""
            indent = "  " * step["depth"]
            yield f"  {indent}↓ {date_format(step['date'], 'j M Y')}  {WORDS[step['kind']](step)}{fate}"
