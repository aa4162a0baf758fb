from django.core.management.base import CommandError

from propagation.management.keeper_command import KeeperCommand
from propagation.management.owner import owner, sign_in_link


class Command(KeeperCommand):
    help = "Print a link that signs the owner in once, within a day: for a phone, or when the password is lost."

    def add_arguments(self, parser):
        parser.add_argument("--address", default="http://127.0.0.1:8000", help="Where Ramet is served.")

    def answer(self, *, address, **options):
        user = owner()
        if user is None:
            raise CommandError("There is no owner yet; start 'manage.py serve' first.")
        return {"name": user.get_username(), "link": sign_in_link(user, address.rstrip("/"))}

    def lines(self, answer):
        yield answer["link"]
