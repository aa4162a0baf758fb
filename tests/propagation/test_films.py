"""Films of a colony: asked for, made in the background, kept, shown and written by the command."""

import json
import re
from datetime import timedelta
from io import BytesIO

import av
import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone
from PIL import Image

from propagation.actions import make_film as acts
from propagation.actions.make_film import ask_for_film, make_growth_film
from propagation.errors import BadValue, TooFewPictures
from propagation.imaging import film_files
from propagation.models import GrowthFilm, Photo, PhotoMeasurement
from propagation.readings.growth_films import measured_pictures
from propagation.readings.stored_files import check_all_files, orphans
from tests.factories import ColonyFactory, LineageFactory
from tests.propagation.film_samples import BEGAN, grown, measured_photo

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "files"
    settings.RAMET_HOME = tmp_path
    return settings.MEDIA_ROOT


@pytest.fixture
def colony():
    return ColonyFactory(tag="M1", began_on=BEGAN, lineage=LineageFactory(name="Ash Lantern"))


def asked(colony, **more):
    """The film, asked for as a page does and made at once."""
    return ask_for_film(colony=colony, now=timezone.now(), **more)


@pytest.fixture
def made(colony, django_capture_on_commit_callbacks):
    grown(colony)
    with django_capture_on_commit_callbacks(execute=True):
        film = asked(colony)
    film.refresh_from_db()
    return film


# -- what a film is made of


def test_only_pictures_whose_sizes_are_in_the_records_count(colony):
    drawn = grown(colony, 3)
    measured_photo(colony, drawn[0], BEGAN + timedelta(days=200), accepted=False)
    Photo.objects.filter(taken_on=BEGAN).update(set_aside_on=BEGAN)
    assert [each.age_days for each in measured_pictures(colony)] == [30, 60]


def test_of_two_pictures_of_a_day_the_surer_one_counts(colony):
    drawn = grown(colony, 1)
    sure = measured_photo(colony, drawn[0], BEGAN, number=1)
    PhotoMeasurement.objects.filter(photo=sure).update(area_sd_mm2=0.01)
    assert [each.photo for each in measured_pictures(colony)] == [sure]


@pytest.mark.parametrize("months", [0, 1])
def test_fewer_than_two_pictures_are_refused_with_the_way_out(colony, months):
    grown(colony, months)
    with pytest.raises(TooFewPictures, match="needs two photos of different days"):
        asked(colony)
    assert not GrowthFilm.objects.exists()


def test_a_colony_cannot_stand_beside_itself(colony):
    grown(colony, 2)
    with pytest.raises(BadValue, match="beside itself"):
        asked(colony, beside=colony)


# -- making it


def test_the_film_is_there_as_mp4_and_webp_with_its_poster_and_strip(made, files):
    assert made.made_at
    assert not made.trouble
    with av.open(made.mp4.path) as film:
        stream = film.streams.video[0]
        assert (stream.width, stream.height) == (1280, 960)
        assert stream.frames == made.frames == 3 * 7 + 2 * 6
        assert film.metadata["title"] == "M1, Ash Lantern"
    animated = Image.open(made.webp.path)
    assert (animated.size, animated.n_frames) == ((640, 480), 3 + 2 * 2)
    assert len(list((files / "films").rglob("*.*"))) == 2
    assert sorted(each.suffixes[0] for each in (files / "film-parts").iterdir()) == [".json", ".poster", ".strip"]


def test_the_same_pictures_are_not_made_into_a_film_twice(made, monkeypatch):
    monkeypatch.setattr(acts, "_make", None)
    assert asked(made.colony) == made


def test_other_pictures_make_another_film_and_the_old_one_goes(made, files, django_capture_on_commit_callbacks):
    drawn = grown(made.colony, 1, first_day=BEGAN + timedelta(days=90), first_mm=60)
    assert drawn
    before = set(files.glob("film*/**/*.*"))
    with django_capture_on_commit_callbacks(execute=True):
        asked(made.colony)
    film = GrowthFilm.objects.get()
    assert film.pk != made.pk
    assert film.made_at
    after = set(files.glob("film*/**/*.*"))
    assert not before & after
    assert len(after) == 5


@pytest.mark.parametrize("folder", ["films/**/*.mp4", "film-parts/*.poster.jpg", "film-parts/*.json"])
def test_a_film_that_lost_a_file_is_made_again(signed_in, made, files, folder, django_capture_on_commit_callbacks):
    (lost,) = files.glob(folder)
    lost.unlink()
    with django_capture_on_commit_callbacks(execute=True):
        signed_in.post("/colonies/M1/film/")
    made.refresh_from_db()
    assert made.made_at
    assert len(list(files.glob(folder))) == 1
    assert len(list(files.glob("film*/**/*.*"))) == 5
    page = signed_in.post("/colonies/M1/film/", follow=True).content.decode()
    assert "its files are whole" in page


def test_files_of_a_film_are_nobodys_for_no_check_of_files(made, files):
    assert not list(orphans(made.mp4.storage, timezone.now() + timedelta(days=9)))
    assert [trouble for _, trouble in check_all_files() if trouble and trouble.record == made] == []


def test_a_mended_outline_makes_another_film(made):
    measurement = PhotoMeasurement.objects.first()
    measurement.outline[0][0] += 1
    measurement.save()
    assert asked(made.colony).digest != made.digest


def test_two_colonies_stand_side_by_side(colony, django_capture_on_commit_callbacks):
    other = ColonyFactory(tag="M2", began_on=BEGAN + timedelta(days=100), lineage=colony.lineage)
    grown(colony, 2)
    grown(other, 2, form="plating", seed=1, first_day=other.began_on)
    with django_capture_on_commit_callbacks(execute=True):
        film = asked(colony, beside=other)
    film.refresh_from_db()
    assert film.frames == 2 * 7 + 6
    with av.open(film.mp4.path) as written:
        assert written.metadata["title"] == "M1, Ash Lantern, beside M2"


def test_pictures_that_changed_meanwhile_are_told(colony):
    grown(colony, 2)
    film = asked(colony)
    Photo.objects.filter(taken_on=BEGAN).update(taken_on=BEGAN + timedelta(days=3))
    assert not make_growth_film(film_id=film.pk, now=timezone.now())
    film.refresh_from_db()
    assert film.trouble == acts.CHANGED
    assert film.made_at is None


def test_a_photo_whose_file_is_gone_is_named(colony):
    grown(colony, 2)
    film = asked(colony)
    photo = colony.photos.first()
    photo.screen.storage.delete(photo.screen.name)
    assert not make_growth_film(film_id=film.pk, now=timezone.now())
    film.refresh_from_db()
    assert photo.name in film.trouble
    assert "gone" in film.trouble


def test_a_full_disk_leaves_no_file_and_is_told(colony, files, monkeypatch):
    grown(colony, 2)
    film = asked(colony)

    def full(self, name, content, max_length=None):
        if name.endswith(".webp"):
            raise OSError(28, "No space left on device")
        return kept(self, name, content, max_length=max_length)

    storage = type(film.mp4.storage._wrapped if hasattr(film.mp4.storage, "_wrapped") else film.mp4.storage)
    kept = storage.save
    monkeypatch.setattr(storage, "save", full)
    assert not make_growth_film(film_id=film.pk, now=timezone.now())
    film.refresh_from_db()
    assert film.trouble == acts.FULL
    assert film.made_at is None
    assert not [each for each in files.glob("film*/**/*") if each.is_file()]


def test_a_film_whose_worker_was_killed_is_asked_for_again_and_made_once(
    colony, monkeypatch, django_capture_on_commit_callbacks
):
    class Killed(BaseException):
        pass

    def killed(*args, **more):
        raise Killed

    grown(colony, 2)
    film = asked(colony)
    with monkeypatch.context() as patched:
        patched.setattr(film_files, "write_webp", killed)
        with pytest.raises(Killed):
            make_growth_film(film_id=film.pk, now=timezone.now())
    film.refresh_from_db()
    assert film.made_at is None
    assert not film.mp4

    with django_capture_on_commit_callbacks(execute=True):
        asked(colony)
    film.refresh_from_db()
    assert film.made_at is None, "somebody may still be at it"
    with django_capture_on_commit_callbacks(execute=True):
        ask_for_film(colony=colony, now=timezone.now() + timedelta(minutes=11))
    film.refresh_from_db()
    assert film.made_at
    assert not make_growth_film(film_id=film.pk, now=timezone.now()), "a task that runs twice does nothing"


# -- the pages


def test_a_colony_without_pictures_says_what_is_needed(signed_in, colony):
    page = signed_in.get("/colonies/M1/").content.decode()
    assert "Growth in pictures" in page
    assert "Two photos of different days" in page
    assert "/photos/add/" in page
    assert "Make the film" not in page


def test_photos_that_wait_for_review_are_offered(signed_in, colony):
    drawn = grown(colony, 1)
    measured_photo(colony, drawn[0], BEGAN + timedelta(days=40), accepted=False)
    page = signed_in.get("/colonies/M1/").content.decode()
    assert "One photo waits for review." in page


def test_the_film_is_made_by_one_act_and_shown_with_its_table(signed_in, colony, django_capture_on_commit_callbacks):
    grown(colony)
    page = signed_in.get("/colonies/M1/").content.decode()
    assert "Make the film" in page
    assert "<video" not in page
    with django_capture_on_commit_callbacks(execute=True):
        answer = signed_in.post("/colonies/M1/film/")
    assert answer["Location"] == "/colonies/M1/#growth-in-pictures"
    page = signed_in.get("/colonies/M1/").content.decode()
    film = GrowthFilm.objects.get()
    assert f'src="/films/{film.pk}/film.mp4"' in page
    assert 'preload="metadata"' in page
    assert f'poster="/films/{film.pk}/poster.jpg"' in page
    assert "18 months" not in page
    assert "2 months" in page
    assert "Make the film" not in page


FORMS = re.compile(r'<form[^>]* method="post"[^>]*>.*?</form>', re.DOTALL)


def test_every_form_of_a_film_is_taken_by_the_server(keeper, made, files):
    """What an inclusion leaves out of the page's context would make the server refuse it."""
    grown(made.colony, 1, first_day=BEGAN + timedelta(days=90), first_mm=60)  # so that it can be made again
    client = Client(enforce_csrf_checks=True)
    client.force_login(keeper)
    for address in ("/colonies/M1/", f"/films/{made.pk}/"):
        forms = [form for form in FORMS.findall(client.get(address).content.decode()) if "/film/" in form]
        assert len(forms) == 2
        for form in forms:
            token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', form)
            assert token, form
            assert client.post("/colonies/M1/film/", {"csrfmiddlewaretoken": token[1]}).status_code == 302


def test_the_strip_shows_every_picture_at_the_one_scale(signed_in, made):
    page = signed_in.get("/colonies/M1/").content.decode()
    sizes = []
    for photo in made.colony.photos.order_by("taken_on"):
        address = f"/colonies/M1/growth/{photo.pk}.jpg"
        assert address in page
        answer = signed_in.get(address)
        assert answer["Content-Type"] == "image/jpeg"
        cell = Image.open(BytesIO(answer.content))
        sizes.append(cell.size)
        assert not cell.getexif()
    assert sizes == [(320, 320)] * 3
    assert signed_in.get("/colonies/M1/growth/999999.jpg").status_code == 404


def test_a_film_that_cannot_be_made_is_told_on_the_page(signed_in, made):
    GrowthFilm.objects.update(made_at=None, trouble=acts.FULL)
    assert "The disk is full" in signed_in.get("/colonies/M1/").content.decode()
    assert "The disk is full" in signed_in.get(f"/films/{made.pk}/").content.decode()


def test_another_colony_is_chosen_beside_it_the_same_line_first(signed_in, colony, django_capture_on_commit_callbacks):
    kin = ColonyFactory(tag="Z9", began_on=BEGAN, lineage=colony.lineage)
    other = ColonyFactory(tag="A1", began_on=BEGAN)
    ColonyFactory(tag="NONE", lineage=colony.lineage)
    for each in (colony, kin, other):
        grown(each, 2)
    page = signed_in.get("/colonies/M1/").content.decode()
    chooser = page[page.index('id="film-beside"') :]
    assert chooser.index('value="Z9"') < chooser.index('value="A1"')
    assert 'value="NONE"' not in chooser
    with django_capture_on_commit_callbacks(execute=True):
        answer = signed_in.post("/colonies/M1/film/", {"beside": "Z9"})
    film = GrowthFilm.objects.get()
    assert answer["Location"] == f"/films/{film.pk}/"
    shown = signed_in.get(answer["Location"]).content.decode()
    assert "M1 beside Z9" in shown
    assert shown.count("<table") == 2
    assert f"/films/{film.pk}/" in signed_in.get("/colonies/M1/").content.decode()


def test_an_unknown_colony_beside_it_is_refused_with_a_sentence(signed_in, colony):
    grown(colony, 2)
    page = signed_in.post("/colonies/M1/film/", {"beside": "NOBODY"}, follow=True).content.decode()
    assert "There is no" in page
    assert not GrowthFilm.objects.exists()


def test_the_page_asks_no_more_for_many_pictures(signed_in, colony, django_assert_max_num_queries):
    grown(colony, 2)
    signed_in.get("/colonies/M1/")
    with django_assert_max_num_queries(26) as few:
        signed_in.get("/colonies/M1/")
    drawn = grown(colony, 1, first_day=BEGAN + timedelta(days=400))
    for month in range(6):
        measured_photo(colony, drawn[0], BEGAN + timedelta(days=500 + 30 * month))
    with django_assert_max_num_queries(26) as many:
        signed_in.get("/colonies/M1/")
    assert len(many) == len(few)


# -- the files


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("film.mp4", "video/mp4"),
        ("film.webp", "image/webp"),
        ("poster.jpg", "image/jpeg"),
        ("strip.jpg", "image/jpeg"),
    ],
)
def test_every_file_of_a_film_is_sent(signed_in, made, name, kind):
    answer = signed_in.get(f"/films/{made.pk}/{name}")
    assert answer.status_code == 200
    assert answer["Content-Type"] == kind
    assert answer["Accept-Ranges"] == "bytes"
    assert len(answer.getvalue()) == int(answer["Content-Length"])
    assert "private" in answer["Cache-Control"]


def test_a_player_gets_the_range_it_asks_for(signed_in, made):
    address = f"/films/{made.pk}/film.mp4"
    whole = signed_in.get(address).getvalue()
    first = signed_in.get(address, headers={"range": "bytes=0-1"})
    assert (first.status_code, first.getvalue()) == (206, whole[:2])
    assert first["Content-Range"] == f"bytes 0-1/{len(whole)}"
    rest = signed_in.get(address, headers={"range": "bytes=1000-"})
    assert rest.getvalue() == whole[1000:]
    assert signed_in.get(address, headers={"range": f"bytes={len(whole)}-"}).status_code == 416


def test_a_film_is_downloaded_under_a_name(signed_in, made):
    answer = signed_in.get(f"/films/{made.pk}/film.mp4?download")
    assert answer["Content-Disposition"] == 'attachment; filename="growth-M1.mp4"'


def test_a_film_that_is_not_made_has_no_files(signed_in, made):
    GrowthFilm.objects.update(made_at=None)
    assert signed_in.get(f"/films/{made.pk}/film.mp4").status_code == 404


# -- the command


@pytest.mark.parametrize("suffix", [".mp4", ".webp"])
def test_the_command_writes_a_film(colony, tmp_path, capsys, suffix):
    grown(colony, 2)
    out = tmp_path / f"m1{suffix}"
    call_command("growth_film", "m1", out=out, json=True)
    told = json.loads(capsys.readouterr().out)
    assert told["pictures"] == {"M1": 2}
    assert told["file"] == str(out)
    assert out.stat().st_size > 1000
    assert [each.name for each in tmp_path.iterdir() if each.is_file()] == [out.name]


def test_the_command_writes_two_side_by_side(colony, tmp_path, capsys):
    other = ColonyFactory(tag="M2", began_on=BEGAN)
    for each in (colony, other):
        grown(each, 2)
    call_command("growth_film", "M1", "--side-by-side", "M2", "--out", str(tmp_path / "two.mp4"))
    assert "2 of M1 and 2 of M2" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["M1", "--out", "x.mp4"], "needs two photos"),
        (["M1", "--out", "x.gif"], "ends in .mp4 or .webp"),
        (["M1", "--out", "nowhere/x.mp4"], "There is no folder"),
        (["M9", "--out", "x.mp4"], "There is no"),
        (["M1", "--out", "x.mp4", "--side-by-side", "M1"], "beside itself"),
    ],
)
def test_the_command_refuses_with_a_reason(colony, tmp_path, monkeypatch, arguments, sentence):
    monkeypatch.chdir(tmp_path)
    grown(colony, 1)
    with pytest.raises(CommandError, match=sentence):
        call_command("growth_film", *arguments)
    assert not [each for each in tmp_path.iterdir() if each.is_file()]
