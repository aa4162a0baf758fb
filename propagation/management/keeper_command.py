"""How every command speaks: one JSON document on standard output, or lines for people; one sentence when refused."""

import json
import sys
from datetime import date

from django.core.management.base import BaseCommand, CommandError
from django.core.serializers.json import DjangoJSONEncoder
from django.db import OperationalError, ProgrammingError
from django.utils import timezone

from propagation.errors import RametError


def day(text: str) -> date:
    """An ISO 8601 day given on the command line."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise CommandError(f"“{text}” is no day; write it as 2026-04-30.") from error


class KeeperCommand(BaseCommand):
    """A command for scripts and checks.

    Subclasses write ``answer(**options)``, which returns what ``--json`` prints, and ``lines(answer)``, which yields
    what a person reads. Refusals are one sentence on standard error and exit code 1.
    """

    requires_system_checks = []
    speaks_json = True

    def create_parser(self, prog_name, subcommand, **kwargs):
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        if self.speaks_json:
            parser.add_argument("--json", action="store_true", help="Print one JSON document and nothing else.")
        return parser

    @property
    def today(self) -> date:
        return timezone.localdate()

    def answer(self, **options):
        raise NotImplementedError

    def lines(self, answer):
        yield json.dumps(answer, cls=DjangoJSONEncoder, indent=2, ensure_ascii=False)

    def handle(self, *args, **options):
        try:
            answer = self.answer(**options)
        except RametError as error:
            raise CommandError(str(error)) from error
        except (OperationalError, ProgrammingError) as error:
            if "no such table" in str(error) or "does not exist" in str(error):
                raise CommandError("There are no records here yet; start with 'manage.py serve' or 'demo'.") from error
            raise
        if options.get("json"):
            self.stdout.write(json.dumps(answer, cls=DjangoJSONEncoder, indent=2, ensure_ascii=False))
        else:
            for line in self.lines(answer):
                self.stdout.write(line)

    def run_from_argv(self, argv):
        """As Django's, but the sentence alone on standard error."""
        try:
            super().run_from_argv(argv)
        except CommandError as error:  # raised while the arguments are read
            sys.stderr.write(f"{error}\n")
            raise SystemExit(1) from None

    def execute(self, *args, **options):
        try:
            return super().execute(*args, **options)
        except CommandError as error:
            if getattr(self, "_called_from_command_line", False):
                self.stderr.style_func = None
                sys.stderr.write(f"{error}\n")
                raise SystemExit(1) from None
            raise
