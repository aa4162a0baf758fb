import os
from pathlib import Path

from django.core.management.base import CommandError
from django.utils import timezone

from labels.actions.issue_passport import issue_passport
from propagation.management.keeper_command import KeeperCommand
from propagation.models import Colony
from propagation.readings.find import find_plug_or_colony

STDOUT = "-"


def write_new(path: Path, data: bytes) -> None:
    """Write a new file, whole or not at all; one that is there already is left alone. Raises CommandError."""
    try:
        if path.is_dir():
            raise CommandError(f"“{path}” is a folder; give the name of a file in it.")
        if not path.parent.is_dir():
            raise CommandError(f"There is no folder “{path.parent}” for the passport; make it first.")
        with path.open("xb") as file:
            try:
                file.write(data)
                file.flush()
            except OSError:
                path.unlink()
                raise
    except FileExistsError as error:
        raise CommandError(f"There is a file “{path}” already; it was left as it is. Give another name.") from error
    except OSError as error:
        raise CommandError(f"“{path}” cannot be written: {os.strerror(error.errno or 0)}.") from error


class Command(KeeperCommand):
    help = "Write the passport of a plug or colony: its line of descent, signed, for another keeper's Ramet."

    def add_arguments(self, parser):
        parser.add_argument("code", help="The code of a plug or a colony, or a colony's tag.")
        parser.add_argument(
            "--out", required=True, metavar="FILE.jsonld", help="A file that is not there yet; - for standard output."
        )

    def answer(self, *, code, out, json=False, **options):
        if json and out == STDOUT:
            raise CommandError("--json tells of a file that was written; leave it out with “--out -”.")
        individual = find_plug_or_colony(code)
        data = issue_passport(individual=individual, now=timezone.now())
        answer = {
            "code": individual.code_in_clear,
            "kind": "colony" if isinstance(individual, Colony) else "plug",
            "lineage": individual.lineage.name,
            "file": out,
            "bytes": len(data),
        }
        if out == STDOUT:
            return answer | {"text": data.decode()}
        write_new(Path(out), data)
        return answer

    def lines(self, answer):
        if answer["file"] == STDOUT:
            yield answer["text"]
        else:
            yield f"The passport of {answer['kind']} {answer['code']} · {answer['lineage']} is in {answer['file']}"
