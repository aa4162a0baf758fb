import os
from pathlib import Path

from django.core.management.base import CommandError

from propagation.actions.make_film import WEBP_FADE, WEBP_SIDE, pictures_for_film, title_of
from propagation.errors import BadValue
from propagation.management.keeper_command import KeeperCommand
from propagation.models import Colony, Preferences
from propagation.readings.find import find_colony
from propagation.readings.growth_films import film_subject, is_in_inches

KINDS = (".mp4", ".webp")


class Command(KeeperCommand):
    help = "Write a film of a colony's measured photos at one scale, alone or beside another colony at equal age."

    def add_arguments(self, parser):
        parser.add_argument("tag", help="Tag or code of the colony.")
        parser.add_argument("--out", required=True, type=Path, metavar="FILE", help="Ends in .mp4 or .webp.")
        parser.add_argument("--side-by-side", metavar="TAG", help="Another colony, paired by age since it began.")

    def answer(self, *, tag, out, side_by_side, **options):
        if out.suffix.lower() not in KINDS:
            raise CommandError(f"“{out.name}” is no film; give a name that ends in {' or '.join(KINDS)}.")
        if out.is_dir():
            raise CommandError(f"“{out}” is a folder; give the name of a file in it.")
        if not out.parent.is_dir():
            raise CommandError(f"There is no folder “{out.parent}” for the film; make it first.")
        kept = Colony.objects.select_related("lineage")
        colony = find_colony(tag, among=kept)
        other = find_colony(side_by_side, among=kept) if side_by_side else None
        if other == colony:
            raise BadValue(f"{colony} cannot stand beside itself. Choose another colony.")
        shown = [(each, pictures_for_film(each)) for each in (colony, other) if each is not None]
        frames, seconds = self.write(out, shown, title_of(colony, other))
        return {
            "colony": colony.tag,
            "beside": other.tag if other else None,
            "pictures": {each.tag: len(pictures) for each, pictures in shown},
            "from": min(pictures[0].day for _, pictures in shown),
            "until": max(pictures[-1].day for _, pictures in shown),
            "frames": frames,
            "seconds": seconds,
            "file": str(out),
        }

    def write(self, out, shown, title):
        from propagation.imaging.film import Film
        from propagation.imaging.film_files import film_durations, write_mp4, write_webp

        length_unit = Preferences.current().length_unit
        subjects = [film_subject(colony, pictures, length_unit=length_unit) for colony, pictures in shown]
        film = Film(*subjects, inches=is_in_inches(length_unit))
        try:
            if out.suffix.lower() == ".webp":
                film = film.smaller(WEBP_SIDE, fade=WEBP_FADE)
                return write_webp(out, film), sum(film_durations(film)) / 1000
            return write_mp4(out, film, title=title), sum(film_durations(film)) / 1000
        except OSError as error:
            raise CommandError(f"“{out}” cannot be written: {os.strerror(error.errno or 0)}.") from error

    def lines(self, answer):
        shown = " and ".join(f"{number} of {tag}" for tag, number in answer["pictures"].items())
        yield f"{shown}, {answer['from']} to {answer['until']}: {answer['seconds']:.0f} s, in {answer['file']}"
