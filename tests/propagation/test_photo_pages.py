"""The pages of photos: adding a round, watching it, one photo and what is done with it, and who gets which file."""

import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils.timezone import localdate
from PIL import Image

from propagation.actions.measure_photo import mend_outline
from propagation.errors import DiskFull
from propagation.models import Photo, PhotoRound, Preferences, SizeReading
from tests.factories import PlugFactory
from tests.propagation.photo_samples import as_file, kept, picture, picture_of, printed, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


@pytest.fixture
def photo(drawn):
    return kept(as_file(drawn.pixels), localdate())


def sent(*files, submission=None):
    return {
        "photos": [SimpleUploadedFile(f"IMG_{number}.JPG", data) for number, data in enumerate(files)],
        "submission": submission or uuid.uuid4(),
    }


def review(client, photo, act, **more):
    """What its own page does with a photo."""
    told = {"act": act, "then": "photo", **more}
    return client.post(reverse("photo_reviewed", args=[photo.pk]), told, follow=True)


def plain(colour=90):
    return as_file(picture("", seed=colour).pixels, taken_at=None)


def test_without_a_photo_the_page_says_how_to_take_one(signed_in):
    answer = signed_in.get(reverse("photos"))
    assert "No photo yet" in text_of(answer)
    assert reverse("photos_add") in answer.content.decode()


def test_a_whole_round_is_added_at_once(signed_in, drawn, colony):
    page = signed_in.get(reverse("photos_add"))
    submission = page.context["form"]["submission"].value()
    answer = signed_in.post(
        reverse("photos_add"), sent(as_file(drawn.pixels), plain(), b"%PDF-1.7 no", submission=submission), follow=True
    )
    round = PhotoRound.objects.get(submission=submission)
    assert answer.redirect_chain[-1][0] == reverse("photo_round", args=[round.pk])
    said = text_of(answer)
    assert "2 photos are kept." in said
    assert "“IMG_2.JPG” was not kept. The file is a PDF, not a picture" in said
    assert "2 photos: 1 sorted, 1 measured, 0 reviewed. 1 wants a look" in said
    assert round.photos.get(colony=colony).arrived_by.username == "keeper"


def test_the_same_file_again_is_said_and_not_kept_twice(signed_in, photo, drawn):
    answer = signed_in.post(reverse("photos_add"), sent(as_file(drawn.pixels), plain()), follow=True)
    assert "IMG_1.JPG was there already; nothing is kept twice." in text_of(answer)
    assert Photo.objects.count() == 2


def test_a_round_in_which_nothing_was_kept_is_not_listed(signed_in, photo):
    signed_in.post(reverse("photos_add"), sent(b"%PDF-1.7 no"))
    assert PhotoRound.objects.count() == 1
    assert not signed_in.get(reverse("photos")).context["page"].object_list


def test_nothing_chosen_is_said(signed_in):
    answer = signed_in.post(reverse("photos_add"), {"submission": uuid.uuid4()})
    assert answer.status_code == 422
    assert "Choose at least one photo." in text_of(answer)


def test_one_by_one_they_come_into_one_round(signed_in):
    submission = uuid.uuid4()
    json = {"headers": {"accept": "application/json"}}
    first = signed_in.post(reverse("photos_add"), sent(plain(1), submission=submission), **json)
    again = signed_in.post(reverse("photos_add"), sent(plain(1), submission=submission), **json)
    second = signed_in.post(reverse("photos_add"), sent(plain(2), submission=submission), **json)
    bad = signed_in.post(reverse("photos_add"), sent(b"no", submission=submission), **json)
    assert [answer.status_code for answer in (first, again, second, bad)] == [200, 200, 200, 422]
    round = PhotoRound.objects.get()
    address = reverse("photo_round", args=[round.pk])
    assert first.json() == again.json() == {"kept": True, "there": False, "sentence": "Kept.", "round": address}
    assert not bad.json()["kept"]
    assert "not a picture" in bad.json()["sentence"]
    assert round.photos.count() == 2
    other = signed_in.post(reverse("photos_add"), sent(plain(1)), **json).json()
    assert other == {"kept": True, "there": True, "sentence": "It was there already.", "round": address}
    alone = kept(plain(3), localdate())
    of_no_round = signed_in.post(reverse("photos_add"), sent(plain(3)), **json).json()
    assert of_no_round["round"] == reverse("photo", args=[alone.pk])


def test_a_disk_that_is_full_may_have_room_later(signed_in, monkeypatch):
    def full(*, name, **told):
        raise DiskFull(name)

    monkeypatch.setattr("propagation.views.photos.keep_photo", full)
    answer = signed_in.post(reverse("photos_add"), sent(plain()), headers={"accept": "application/json"})
    assert (answer.status_code, answer.json()["again"]) == (422, True)


def test_a_round_asks_again_until_every_photo_was_looked_into(signed_in, photo):
    photo.round = PhotoRound.objects.create()
    photo.looked_at = None
    photo.save()
    here = reverse("photo_round", args=[photo.round_id])
    assert 'hx-trigger="every 3s"' in signed_in.get(here).content.decode()
    part = signed_in.get(here, headers={"hx-request": "true"}).content.decode()
    assert "<html" not in part
    assert "0 of 1" in part
    Photo.objects.update(looked_at=photo.arrived_at)
    assert "hx-trigger" not in signed_in.get(here, headers={"hx-request": "true"}).content.decode()


def test_a_round_costs_as_many_queries_whatever_is_in_it(signed_in, django_assert_max_num_queries):
    round = PhotoRound.objects.create()
    for seed in range(4):
        kept(plain(seed), localdate(), name=f"{seed}.jpg", round=round)
    with django_assert_max_num_queries(9):
        signed_in.get(reverse("photo_round", args=[round.pk]))
    with django_assert_max_num_queries(8):
        signed_in.get(reverse("photos"))
    with django_assert_max_num_queries(5):
        signed_in.get(reverse("photos"), {"which": "unsorted"})


@pytest.mark.parametrize("which", ["unsorted", "trouble", "review", "aside"])
def test_what_waits_for_one_thing_is_listed(signed_in, photo, which):
    unsorted = kept(plain(), localdate(), name="lost.jpg")
    aside = kept(plain(5), localdate(), name="blurred.jpg")
    review(signed_in, aside, "aside")
    listed = {each.pk for each in signed_in.get(reverse("photos"), {"which": which}).context["page"].object_list}
    assert (
        listed
        == {
            "unsorted": {unsorted.pk},
            "trouble": {unsorted.pk},
            "review": {photo.pk},
            "aside": {aside.pk},
        }[which]
    )


def test_from_a_mended_outline_to_sizes_in_the_records(signed_in, photo, drawn, colony, keeper):
    mend_outline(photo=photo, outline=drawn.outline_px.tolist(), by=keeper)
    page = signed_in.get(reverse("photo", args=[photo.pk]))
    assert "Take the sizes" in text_of(page)
    assert 'class="outline-line"' in page.content.decode()
    answer = review(signed_in, photo, "accept", measurement=page.context["measured"].pk)
    assert answer.redirect_chain[-1][0] == reverse("photo", args=[photo.pk])
    assert "The sizes of M12 are in the records." in text_of(answer)
    area, longest = SizeReading.objects.filter(colony=colony).order_by("measure")
    assert (area.measure, area.method) == ("area_cm2", "photo")
    assert float(area.value) == pytest.approx(drawn.area_mm2 / 100, rel=0.02)
    assert float(longest.value) == pytest.approx(40, rel=0.02)
    assert area.history.get().history_user == keeper
    answer = review(signed_in, photo, "undo")
    assert answer.redirect_chain[-1][0] == reverse("photo", args=[photo.pk])
    assert "sizes from it are out of the records" in text_of(answer)
    assert not SizeReading.objects.exists()


def test_a_doubtful_measurement_is_asked_about(signed_in, photo, drawn):
    made = mend_outline(photo=photo, outline=drawn.outline_px.tolist())
    made.doubts = ["The label is bent."]
    made.save()
    answer = review(signed_in, photo, "accept", measurement=made.pk)
    assert answer.status_code == 422
    assert "The label is bent. Take the sizes all the same?" in text_of(answer)
    assert not SizeReading.objects.exists()
    assert answer.content.decode().count('name="then" value="photo"') == 1
    answer = review(signed_in, photo, "accept", measurement=made.pk, confirmed="yes")
    assert answer.redirect_chain[-1][0] == reverse("photo", args=[photo.pk])
    assert SizeReading.objects.count() == 2


def test_sorting_and_dating_by_hand(signed_in, colony):
    lost = kept(plain(), localdate(), name="lost.jpg")
    here = reverse("photo", args=[lost.pk])
    assert "There is no readable code in it" in text_of(signed_in.get(here))
    wrong = signed_in.post(reverse("photo_sort", args=[lost.pk]), {"of": "M13"})
    assert wrong.status_code == 422
    assert "Did you mean M12?" in text_of(wrong)
    signed_in.post(reverse("photo_sort", args=[lost.pk]), {"of": "m12"})
    lost.refresh_from_db()
    assert (lost.colony, lost.sorted_by) == (colony, "hand")
    before = signed_in.post(reverse("photo_date", args=[lost.pk]), {"day": "2020-01-01"})
    assert "before M12 began" in text_of(before)
    signed_in.post(reverse("photo_date", args=[lost.pk]), {"day": "2026-05-01"})
    lost.refresh_from_db()
    assert (str(lost.taken_on), lost.dated_by) == ("2026-05-01", "keeper")
    assert lost.history.first().history_user.username == "keeper"


def test_the_queue_leads_to_the_next_and_ends(signed_in, photo):
    assert signed_in.get(reverse("photo_review")).context["photo"] == photo
    review(signed_in, photo, "picture")
    assert "Every photo is reviewed" in text_of(signed_in.get(reverse("photo_review")))


def test_the_original_is_for_the_keeper_alone_and_is_no_page(signed_in, client, photo, drawn):
    answer = signed_in.get(reverse("photo_original", args=[photo.pk]))
    assert b"".join(answer.streaming_content) == as_file(drawn.pixels)
    assert answer["Content-Disposition"] == 'attachment; filename="IMG_1.JPG"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    client.logout()
    assert client.get(reverse("photo_original", args=[photo.pk])).status_code == 302


@pytest.mark.parametrize("name", ["photo_screen", "photo_thumbnail"])
def test_others_see_copies_of_what_was_chosen_and_only_while_pages_are_public(signed_in, client, photo, name):
    Preferences.objects.update_or_create(pk=1, defaults={"public_pages": True})
    here = reverse(name, args=[photo.pk])
    assert signed_in.get(here).status_code == 200
    signed_in.post(reverse("photo_show", args=[photo.pk]))
    client.logout()
    answer = client.get(here)
    copy = Image.open(io.BytesIO(b"".join(answer.streaming_content)))
    assert (copy.format, copy.getexif(), copy.info.get("icc_profile")) == ("JPEG", {}, None)
    assert max(copy.size) <= {"photo_screen": 1600, "photo_thumbnail": 400}[name]
    Preferences.objects.update(public_pages=False)
    assert client.get(here).status_code == 404
    Preferences.objects.update(public_pages=True)
    Photo.objects.update(is_shown=False)
    assert client.get(here).status_code == 404


def test_a_file_that_is_gone_is_a_missing_page(signed_in, photo):
    photo.file.storage.delete(photo.file.name)
    photo.screen.storage.delete(photo.screen.name)
    assert signed_in.get(reverse("photo_original", args=[photo.pk])).status_code == 404
    assert signed_in.get(reverse("photo_screen", args=[photo.pk])).status_code == 404


def test_a_plug_is_shown_too(signed_in):
    plug = PlugFactory()
    drawn = picture_of(plug, label_mm=printed(plug)[plug.code])
    photo = kept(as_file(drawn.pixels), localdate())
    assert photo.plug == plug
    assert plug.code_in_clear in text_of(signed_in.get(reverse("photo", args=[photo.pk])))
