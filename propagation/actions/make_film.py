"""Films of a colony that grows: asked for by a keeper, made in the background."""

import errno
import logging
import tempfile
import uuid
from datetime import datetime
from pathlib import Path

from django.core.files.base import ContentFile, File
from django.db import transaction

from propagation.errors import BadValue, RametError, TooFewPictures
from propagation.models import Colony, GrowthFilm, Preferences
from propagation.readings.growth_films import (
    FEWEST_PICTURES,
    PLACEMENTS,
    POSTER,
    STRIP,
    MeasuredPicture,
    beside,
    digest_of,
    film_subject,
    is_in_inches,
    is_left_behind,
    is_whole,
    jpeg_of,
    measured_pictures,
    placements_as_json,
)
from propagation.turns import turn

logger = logging.getLogger(__name__)

LONGEST_TROUBLE = GrowthFilm._meta.get_field("trouble").max_length
WEBP_SIDE, WEBP_FADE = 640, 2  # a picture to be sent is smaller than a film to be looked at
FULL = "The disk is full, so the film could not be kept. Make room and make it again."
CHANGED = "The pictures changed before it was made. Make it again."
BROKE = "Making it failed by a fault of the program. The photos are as they were."


def pictures_for_film(colony: Colony) -> list[MeasuredPicture]:
    """The pictures of a colony for a film. Raises TooFewPictures."""
    pictures = measured_pictures(colony)
    if len(pictures) < FEWEST_PICTURES:
        raise TooFewPictures(colony, len(pictures))
    return pictures


def ask_for_film(*, colony: Colony, beside: Colony | None = None, now: datetime) -> GrowthFilm:
    """Have a film made of a colony's pictures as they are now, alone or beside another at equal age.

    The same pictures are not made into a film twice; one that could not be made, that lost a file, or whose worker was
    killed is asked for again. Raises TooFewPictures; BadValue for a colony beside itself.
    """
    if beside is not None and beside.pk == colony.pk:
        raise BadValue(f"{colony} cannot stand beside itself. Choose another colony.", field="beside")
    digest = digest_of(*_told(colony, beside), length_unit=Preferences.current().length_unit)
    with transaction.atomic():
        film, is_new = GrowthFilm.objects.get_or_create(colony=colony, beside=beside, digest=digest)
        film = GrowthFilm.objects.select_for_update().get(pk=film.pk)
        if is_whole(film):
            return film
        if is_new or film.made_at or film.trouble or is_left_behind(film, now):
            film.made_at, film.trouble, film.asked_at = None, "", now
            film.save(update_fields=["made_at", "trouble", "asked_at"])
            transaction.on_commit(lambda: _enqueue(film.pk))
    film.refresh_from_db()
    return film


def _told(colony, other):
    return [(each, pictures_for_film(each)) for each in (colony, other) if each is not None]


def _enqueue(film_id):
    from propagation.tasks import make_film

    make_film.enqueue(film_id)


def make_growth_film(*, film_id: int, now: datetime) -> bool:
    """Make a film that was asked for. Returns whether this call did it.

    One film is made by one process at a time, and its record is written once its files are whole: a process that dies
    half-way leaves it to be asked for again. What is in the way becomes its ``trouble``, a sentence.
    """
    with turn(f"film {film_id}"):
        film = GrowthFilm.objects.select_related("colony__lineage", "beside__lineage")
        film = film.filter(pk=film_id, made_at=None).first()
        if film is None:
            return False
        try:
            return _make(film, now)
        except RametError as error:
            trouble = str(error)
        except OSError as error:
            if error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
                raise
            trouble = FULL
        except Exception:
            logger.exception("Film %s could not be made.", film_id)
            trouble = BROKE
        GrowthFilm.objects.filter(pk=film_id, made_at=None).update(trouble=trouble[:LONGEST_TROUBLE])
        return False


def _make(film: GrowthFilm, now: datetime) -> bool:
    from propagation.imaging.film import Film
    from propagation.imaging.film_files import write_mp4, write_webp

    length_unit = Preferences.current().length_unit
    told = _told(film.colony, film.beside)
    if digest_of(*told, length_unit=length_unit) != film.digest:
        raise BadValue(CHANGED)
    subjects = [film_subject(colony, pictures, length_unit=length_unit) for colony, pictures in told]
    drawn = Film(*subjects, inches=is_in_inches(length_unit))
    with tempfile.TemporaryDirectory(prefix="ramet-film-") as folder:
        mp4, webp = Path(folder) / "film.mp4", Path(folder) / "film.webp"
        frames = write_mp4(mp4, drawn, title=title_of(film.colony, film.beside))
        write_webp(webp, drawn.smaller(WEBP_SIDE, fade=WEBP_FADE))
        return _keep(film, mp4, webp, _also(film, drawn, told), frames, now)


def title_of(colony: Colony, other: Colony | None) -> str:
    """What the film calls itself."""
    return f"{colony.tag}, {colony.lineage.name}" + (f", beside {other.tag}" if other else "")


def _also(film, drawn, told) -> dict[str, bytes]:
    """What lies beside the film, by suffix: its poster; of one colony the strip, and how its pictures lie."""
    from PIL import Image

    from propagation.imaging.strip import draw_strip

    also = {POSTER: jpeg_of(Image.fromarray(drawn.last_still()))}
    if film.beside_id is None:
        subject = drawn.subjects[0]
        also[STRIP] = jpeg_of(Image.fromarray(draw_strip(subject, inches=drawn.inches)))
        also[PLACEMENTS] = placements_as_json(subject.placements, told[0][1])
    return also


def _keep(film: GrowthFilm, mp4: Path, webp: Path, also: dict[str, bytes], frames: int, now: datetime) -> bool:
    """Keep the files, then say so; whatever goes wrong, no file is left over."""
    name, written, before = uuid.uuid4().hex, [], _names_of(film)
    storage = film.mp4.storage
    try:
        for field, path in ((film.mp4, mp4), (film.webp, webp)):
            with path.open("rb") as file:
                field.save(f"{name}{path.suffix}", File(file), save=False)
            written.append(field.name)
        for suffix, data in also.items():
            written.append(storage.save(beside(film, suffix), ContentFile(data)))
        with transaction.atomic():
            now_kept = GrowthFilm.objects.select_for_update().get(pk=film.pk)
            if now_kept.made_at is not None:
                raise BadValue("It was made meanwhile.")
            film.made_at, film.frames, film.trouble = now, frames, ""
            film.save(update_fields=["made_at", "frames", "trouble", "mp4", "webp"])
            _forget_older(film, before)
    except BaseException:
        for each in written:
            storage.delete(each)
        raise
    return True


def _names_of(film: GrowthFilm) -> list[str]:
    """The names of its files, if it has any."""
    if not film.mp4:
        return []
    return [film.mp4.name, film.webp.name, *(beside(film, suffix) for suffix in (POSTER, STRIP, PLACEMENTS))]


def _forget_older(film: GrowthFilm, names: list[str]) -> None:
    """What was made before goes once this is kept, its own files too; a film can be made again of the photos."""
    older = GrowthFilm.objects.filter(colony=film.colony, beside=film.beside).exclude(pk=film.pk)
    names = [*names, *(name for each in older for name in _names_of(each))]
    older.delete()
    storage = film.mp4.storage
    transaction.on_commit(lambda: [storage.delete(name) for name in names if name])
