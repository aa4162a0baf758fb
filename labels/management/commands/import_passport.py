import sys
from decimal import Decimal, InvalidOperation
from pathlib import Path

from django.core.management.base import CommandError
from django.utils import timezone

from inventory.actions.acquire_from import Deal
from labels.actions.import_passport import import_passport
from labels.passports.reading import MOST_BYTES, read_passport
from labels.readings.passports import judge
from propagation.dates import day_in_words
from propagation.management.keeper_command import KeeperCommand, day
from propagation.models import Acquisition, GrowthForm, HealingStage
from propagation.readings.find import find_rack

STDIN = "-"


def read_file(name: str) -> bytes:
    """The bytes of a file, no more than tell that it is too large. Raises CommandError."""
    try:
        if name == STDIN:
            return sys.stdin.buffer.read(MOST_BYTES + 1)
        with Path(name).open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except OSError as error:
        raise CommandError(f"The file {name} cannot be read: {error.strerror or error}.") from error


class Command(KeeperCommand):
    help = (
        "Bring in a plug or a colony with the passport that another keeper signed. "
        "With --check it only says what the passport says."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", metavar="FILE.jsonld", help="The passport; - for standard input.")
        parser.add_argument("--check", action="store_true", help="Only read it; record nothing.")
        parser.add_argument("--lineage", metavar="NAME", default="", help="Keep it under this name; else as it came.")
        parser.add_argument("--growth-form", choices=GrowthForm.values, default=GrowthForm.BRANCHING.value)
        parser.add_argument("--tag", default="", help="It is a colony, with this tag; else it is a plug.")
        parser.add_argument("--stage", choices=HealingStage.values, default=HealingStage.HEALED.value)
        parser.add_argument("--rack", metavar="NAME", help="The rack to put the plug on.")
        parser.add_argument("--kind", choices=Acquisition.Kind.values, default=Acquisition.Kind.BOUGHT.value)
        parser.add_argument("--from", dest="contact", metavar="NAME", default="", help="A contact, or a new name.")
        parser.add_argument("--price", metavar="AMOUNT", help="What was paid.")
        parser.add_argument("--on", metavar="DATE", help="The day it came, as 2026-04-30; else today.")

    def answer(self, *, file, check, **options):
        data = read_file(file)
        now = timezone.now()
        offer = judge(read_passport(data, now=now))
        answer = _told(offer)
        if check:
            return answer
        acquisition = import_passport(
            data=data,
            deal=Deal(
                on=day(options["on"]) if options["on"] else self.today,
                kind=options["kind"],
                contact_name=options["contact"],
                amount=_amount(options["price"]),
            ),
            today=self.today,
            now=now,
            lineage_name=options["lineage"],
            growth_form=options["growth_form"],
            as_colony=bool(options["tag"]),
            tag=options["tag"],
            stage=options["stage"],
            rack=find_rack(options["rack"]) if options["rack"] else None,
        )
        return answer | {
            "acquisition": acquisition.pk,
            "as": acquisition.kind,
            "lineage": acquisition.lineage.name,
            "plugs": [plug.code_in_clear for plug in acquisition.plugs.order_by("pk")],
            "colonies": [colony.tag for colony in acquisition.colonies.order_by("pk")],
        }

    def lines(self, answer):
        for part in answer["passport"]:
            known = "you" if part["is_own"] else part["known_as"] or "a key that you have not named"
            yield f"{part['code']} · {part['lineage']}, signed on {day_in_words(part['signed'])} by {known}"
            if part["name"] and not part["is_own"]:
                yield f"  calls itself {part['name']}"
            yield f"  key {part['fingerprint']}"
            for step in part["steps"]:
                yield f"  ↑ {day_in_words(step['date'])}  {step['what']}"
        yield from answer["warnings"]
        if "acquisition" in answer:
            came = " ".join([*answer["plugs"], *answer["colonies"]])
            yield f"It is recorded as {came}, lineage {answer['lineage']} (acquisition {answer['acquisition']})."
        elif answer["returns"]:
            yield f"It leads back to your plug {answer['returns']}; bringing it in is the return of that plug."


def _amount(text: str | None) -> Decimal | None:
    try:
        return Decimal(text) if text else None
    except InvalidOperation as error:
        raise CommandError(f"“{text}” is no price; write it as 12.50.") from error


def _told(offer) -> dict:
    return {
        "passport": [
            {
                "code": part.code_in_clear,
                "tag": part.tag,
                "lineage": part.line_name,
                "scientific_name": part.scientific_name,
                "signed": part.created,
                "key": part.signer.did,
                "fingerprint": " ".join(part.signer.fingerprint),
                "name": part.signer.calls_itself,
                "known_as": part.signer.known_as,
                "is_own": part.signer.is_own,
                "steps": [{"date": step.day, "what": f"{step.title} {step.detail}".strip()} for step in part.steps],
            }
            for part in offer.parts
        ],
        "warnings": offer.warnings,
        "came_already": offer.imported.pk if offer.imported else None,
        "returns": offer.returned_plug.code_in_clear if offer.returned_plug else None,
    }
