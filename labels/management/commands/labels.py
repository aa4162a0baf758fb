from pathlib import Path

from django.core.management.base import CommandError

from labels.actions.print_labels import print_labels
from labels.readings.stocks import find_stock
from propagation.errors import NothingFound
from propagation.management.asked_files import write_asked_for
from propagation.management.keeper_command import KeeperCommand
from propagation.models import CuttingSession, Plug, Preferences
from propagation.readings.find import find_colony, find_plug

LOCAL_ADDRESS = "http://127.0.0.1:8000"  # until the keeper has set one in the preferences


class Command(KeeperCommand):
    help = "Write a PDF of labels for a session, for chosen plugs or colonies, or for all plugs not yet printed."

    def add_arguments(self, parser):
        which = parser.add_mutually_exclusive_group(required=True)
        which.add_argument("--session", type=int, metavar="ID")
        which.add_argument("--plugs", nargs="+", metavar="CODE")
        which.add_argument("--colonies", nargs="+", metavar="TAG")
        which.add_argument("--unprinted", action="store_true")
        parser.add_argument("--stock", required=True, metavar="NAME", help="As 'manage.py stocks' lists them.")
        parser.add_argument("--out", required=True, type=Path, metavar="FILE.pdf")
        parser.add_argument("--start", type=int, default=1, help="First free label on a part-used sheet.")
        parser.add_argument("--dpi", type=int, default=300, help="Dots an inch of the printer.")
        parser.add_argument("--address", help="Base address in the codes; by default the one in the preferences.")

    def chosen(self, *, session, plugs, colonies, unprinted):
        if session is not None:
            found = CuttingSession.objects.filter(pk=session).first()
            if found is None:
                raise NothingFound("cutting session", str(session))
            return Plug.objects.kept().filter(cut_event__session=found), ()
        if unprinted:
            return Plug.objects.unlabelled(), ()
        if colonies:
            return (), [find_colony(tag) for tag in colonies]
        return [find_plug(code) for code in plugs], ()

    def answer(self, *, session, plugs, colonies, unprinted, stock, out, start, dpi, address, **options):
        if not out.parent.is_dir():
            raise CommandError(f"There is no folder “{out.parent}” for the labels.")
        plugs, colonies = self.chosen(session=session, plugs=plugs, colonies=colonies, unprinted=unprinted)
        run, sheet = print_labels(
            stock=find_stock(stock),
            plugs=plugs,
            colonies=colonies,
            dpi=dpi,
            start=start,
            base_address=address or Preferences.current().base_address or LOCAL_ADDRESS,
        )
        write_asked_for(out, sheet.pdf)
        return {
            "print_run": run.pk,
            "labels": run.labels.count(),
            "pages": sheet.pages,
            "file": str(out),
            "warnings": sheet.warnings,
        }

    def lines(self, answer):
        yield f"{answer['labels']} labels on {answer['pages']} pages, in {answer['file']}"
        yield from answer["warnings"]
