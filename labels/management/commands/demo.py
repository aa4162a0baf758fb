import io
import os
import shutil
import subprocess
import sys
from pathlib import Path

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.utils import timezone

from inventory.readings.availability import available_on
from labels.actions.print_labels import print_labels
from labels.demo_scenario import DemoScenario
from labels.readings.stocks import FIRST_STOCK, find_stock
from propagation.actions.check_healing import check_healing
from propagation.actions.make_film import ask_for_film
from propagation.actions.sitting_file import record_sitting_file
from propagation.dates import day_in_words
from propagation.management.asked_files import write_asked_for
from propagation.management.keeper_command import KeeperCommand
from propagation.management.owner import owner, sign_in_link
from propagation.management.serving import serve
from propagation.models import Colony, CutEvent, ForecastScore, Lineage, Plug, Preferences, SizeReading, Spot
from propagation.readings.next_cuts import in_sections, next_cut_rows
from propagation.readings.photos import photo_counts

SCENARIO = settings.BASE_DIR / "fixtures" / "demo_scenario.toml"
SITTING = settings.BASE_DIR / "fixtures" / "demo_session.csv"
FOLDER = "demo"  # inside the keeper's own folder, so that the demo never touches the keeper's records
DEMO_KEEPER = "keeper"
MIDDLE = (0.1, 0.9)  # between these shares of a forecast 80 % of what comes should lie


class Command(KeeperCommand):
    help = "Build the demo records in a database of their own, do the main job on them, then serve them."
    speaks_json = False

    def add_arguments(self, parser):
        parser.add_argument("--no-serve", action="store_true", help="Stop when the job is done.")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args, no_serve, port, **options):
        if settings.RAMET_HOME.name != FOLDER or connection.vendor != "sqlite":
            self.start_again_in(settings.RAMET_HOME / FOLDER)
        self.begin_anew()
        self.do_the_job()
        if not no_serve:
            serve(port=port, lan=False, say=self.say_address)

    def start_again_in(self, home: Path):
        """Run this same command with the demo's own folder and database."""
        surroundings = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
        surroundings["RAMET_HOME"] = str(home)
        command = [sys.executable, *sys.argv]
        if os.name != "nt":  # this very process goes on, so that whoever ends it ends the server
            self.stdout.flush()
            os.execve(command[0], command, surroundings)  # noqa: S606
        try:
            done = subprocess.run(command, env=surroundings, check=False)  # noqa: S603 - this very command
        except KeyboardInterrupt:
            raise SystemExit(0) from None
        raise SystemExit(done.returncode)

    def begin_anew(self):
        """An empty database and no files: the demo's are made afresh each time."""
        connection.close()
        database = Path(settings.DATABASES["default"]["NAME"])
        database.parent.mkdir(parents=True, exist_ok=True)
        for leftover in database.parent.glob(f"{database.name}*"):
            try:
                leftover.unlink()
            except PermissionError as error:  # Windows, while another demo is served
                raise CommandError(f"“{leftover}” is in use; stop the demo that is running first.") from error
        shutil.rmtree(settings.RAMET_HOME / "files", ignore_errors=True)
        call_command("migrate", verbosity=0, interactive=False)
        self.keeper = get_user_model().objects.create_user(DEMO_KEEPER)  # no password: the link signs in

    def step(self, number: int, title: str):
        self.stdout.write(f"\n{number}. {title}")

    def tell(self, line: str):
        self.stdout.write(f"   {line}")

    def do_the_job(self):
        self.build()
        session = self.record()
        plugs = self.print(session)
        self.check_rack()
        self.list_ready()
        self.trace(plugs[0])
        self.measure_photos()
        self.look_ahead()

    def build(self):
        self.step(1, "Built the demo records")
        self.scenario = DemoScenario(SCENARIO, today=self.today, by=self.keeper)
        self.scenario.build()
        self.tell(
            f"{Lineage.objects.count()} lineages, {Colony.objects.count()} mother colonies, "
            f"{CutEvent.objects.count()} cuts, {Plug.objects.count()} plugs, "
            f"{SizeReading.objects.count()} size readings"
        )

    def record(self):
        self.step(2, f"Recorded the cutting session of {SITTING.relative_to(settings.BASE_DIR)}")
        rack = Spot.objects.racks().in_running_systems().order_by("-name").first()
        session = record_sitting_file(
            data=SITTING.read_bytes(), cut_on=self.today, today=self.today, rack=rack, by=self.keeper
        )
        for event in session.cut_events.select_related("mother__lineage").prefetch_related("plugs"):
            codes = ", ".join(plug.code_in_clear for plug in event.plugs.all())
            self.tell(f"{event.mother.tag} {event.mother.lineage}: {event.frags} frags — {codes}")
        return session

    def print(self, session):
        self.step(3, "Printed their labels")
        plugs = list(Plug.objects.filter(cut_event__session=session).order_by("id"))
        _, sheet = print_labels(
            stock=find_stock(FIRST_STOCK),
            plugs=plugs,
            base_address=Preferences.current().base_address,
            by=self.keeper,
        )
        file = settings.RAMET_HOME / f"labels-session-{session.pk}.pdf"
        write_asked_for(file, sheet.pdf)
        self.tell(f"{len(plugs)} labels on {sheet.pages} page{'s' if sheet.pages > 1 else ''}: {file}")
        for warning in sheet.warnings:
            self.tell(warning)
        return plugs

    def check_rack(self):
        self.step(4, "Checked the rack")
        due = list(Plug.objects.healing().filter(began_on__lt=self.today))
        moved = check_healing(plugs=due, on=self.today, today=self.today, by=self.keeper)
        for stage in ("sealed", "encrusting", "healed"):
            count = sum(plug.stage == stage for plug in moved)
            if count:
                self.tell(f"{count} moved on to {stage}")
        kept = Plug.objects.kept()
        self.tell(f"{kept.count()} plugs stand on the racks, {Plug.objects.healing().count()} of them healing")

    def list_ready(self):
        self.step(5, "Listed what is ready to sell or trade")
        ready = available_on(self.today).select_related("lineage")
        lines = {}
        for plug in ready:
            lines.setdefault(plug.lineage.name, []).append(plug)
        self.tell(f"{sum(map(len, lines.values()))} frags of {len(lines)} lineages")
        for name, plugs in sorted(lines.items()):
            self.tell(f"{len(plugs):3} {name}")

    def trace(self, plug):
        self.step(6, f"Traced {plug.code_in_clear} to the day its line came")
        told = io.StringIO()
        call_command("trace", plug.code, stdout=told)
        for line in told.getvalue().splitlines():
            self.tell(line)

    def measure_photos(self):
        self.step(7, "Measured drawn photos by the labels in them")
        taken = self.scenario.take_photos()
        colonies = Colony.objects.filter(photos__reviewed_at__isnull=False).distinct().order_by("tag")
        tags = ", ".join(colony.tag for colony in colonies)
        self.tell(f"{taken} photos of {tags} are in the records, {photo_counts().to_review} to be reviewed")
        for asked in self.scenario.films():
            ask_for_film(**asked, now=timezone.now())
        self.tell(
            "Their films are made while the demo is served; or write one: manage.py growth_film LF2 --out LF2.mp4"
        )

    def look_ahead(self):
        self.step(8, "Worked out when each mother can be cut next")
        self.scenario.look_back()
        for section in in_sections(next_cut_rows(self.today), self.today):
            self.tell(f"{section.words}:")
            for row in section.rows:
                self.tell(f"  {row.colony.tag} {row.colony.lineage}: {self.in_a_few_words(row)}")
        scores = ForecastScore.objects.all()
        inside = scores.filter(rank__range=MIDDLE).count()
        self.tell(
            f"Of {scores.count()} forecasts made with the records of past months, {inside / scores.count():.0%} came "
            "out within the range that was to hold 80%"
        )

    def in_a_few_words(self, row):
        outlook = row.outlook
        if outlook.day is None:
            return row.binding_words.lower()
        frags = f"{outlook.frags} frag{'' if outlook.frags == 1 else 's'}"
        return frags if row.is_now else f"{frags} on {day_in_words(outlook.day)}"

    def say_address(self, address):
        link = sign_in_link(owner(), address)
        self.stdout.write(f"\nRamet is at {address} — stop it with Ctrl-C. Sign in once with\n{link}")
        self.stdout.flush()
