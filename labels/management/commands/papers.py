from pathlib import Path

from django.core.management.base import CommandError

from inventory.models import Sale, Trade
from labels.actions.print_papers import SIZES, Kind, print_papers, size_named, usual_size
from labels.management.commands.labels import LOCAL_ADDRESS
from propagation.errors import BadValue
from propagation.management.asked_files import write_asked_for
from propagation.management.keeper_command import KeeperCommand
from propagation.models import Preferences
from propagation.readings.find import find_colony, find_plug

OF = ("sale", "trade", "plug", "colony")


class Command(KeeperCommand):
    help = "Write a PDF of the papers of a sale, a trade, a plug or a colony."

    def add_arguments(self, parser):
        parser.add_argument("of", choices=OF, help="Of what.")
        parser.add_argument("which", help="The number of the sale or trade, the plug's code, or the colony's tag.")
        parser.add_argument("--kind", default=Kind.ALL.value, metavar="KIND", help=f"One of {', '.join(Kind)}.")
        parser.add_argument("--paper", metavar="SIZE", help=f"One of {', '.join(SIZES)}.")
        parser.add_argument("--out", required=True, type=Path, metavar="FILE.pdf")
        parser.add_argument("--address", help="Base address in the codes; by default the one in the preferences.")

    def find(self, of, which):
        if of == "plug":
            return find_plug(which)
        if of == "colony":
            return find_colony(which)
        model = Sale if of == "sale" else Trade
        if not (which.isascii() and which.isdigit() and len(which) < 19):
            raise BadValue(f"“{which}” is no number of a {of}; write it like 12.", field="which")
        found = model.objects.select_related("contact").filter(pk=which).first()
        if found is None:
            raise BadValue(f"There is no {of} {which}.", field="which")
        return found

    def answer(self, *, of, which, kind, paper, out, address, **options):
        if not out.parent.is_dir():
            raise CommandError(f"There is no folder “{out.parent}” for the papers.")
        preferences = Preferences.current()
        printed = print_papers(
            of=self.find(of, which),
            kind=kind,
            size=size_named(paper) if paper else usual_size(preferences),
            base_address=address or preferences.base_address or LOCAL_ADDRESS,
            today=self.today,
        )
        write_asked_for(out, printed.pdf)
        return {"kind": kind, "pages": printed.pages, "file": str(out)}

    def lines(self, answer):
        pages = answer["pages"]
        yield f"{Kind(answer['kind']).label} on {pages} {'page' if pages == 1 else 'pages'}, in {answer['file']}"
