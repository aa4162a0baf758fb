from django.core.management import call_command

from propagation.management.keeper_command import KeeperCommand
from propagation.management.owner import make_owner, owner
from propagation.management.serving import serve


class Command(KeeperCommand):
    help = "Serve your own records; the first start makes the database and asks for the owner's name and password."
    speaks_json = False

    def add_arguments(self, parser):
        parser.add_argument("--lan", action="store_true", help="Also serve to phones on the same network.")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args, **options):
        call_command("migrate", verbosity=0, interactive=False)
        if owner() is None:
            make_owner()
        serve(port=options["port"], lan=options["lan"], say=self.say)

    def say(self, address):
        self.stdout.write(f"Ramet is at {address} — stop it with Ctrl-C.")
        self.stdout.flush()
