"""Where pictures stand: on the keeper's pages all of them, for others only those that were chosen."""

import json
import re

import pytest
from django.core.files.base import ContentFile
from django.urls import reverse
from django.utils import timezone
from django.utils.timezone import localdate

from inventory.models import Availability, PlugOffer
from propagation.agenda import due_on
from propagation.models import Photo, Preferences
from tests.factories import ColonyFactory, CutEventFactory, ReadyPlugFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


@pytest.fixture(autouse=True)
def pages_for_others():
    Preferences.objects.update_or_create(pk=1, defaults={"public_pages": True})
    Availability.objects.update_or_create(pk=1, defaults={"visibility": "public"})


def photo_of(*, is_shown=False, taken_on=None, reviewed=True, **of):
    now = timezone.now()
    photo = Photo(
        digest=f"{Photo.objects.count():064d}",
        name="IMG.jpg",
        suffix=".jpg",
        size_bytes=1,
        width=40,
        height=30,
        arrived_at=now,
        taken_on=taken_on or localdate(),
        sorted_by="hand" if of else "",
        looked_at=now,
        reviewed_at=now if reviewed and of else None,
        is_shown=is_shown,
        **of,
    )
    for name in ("file", "screen", "thumbnail"):
        getattr(photo, name).save("x.jpg", ContentFile(b"x"), save=False)
    photo.save()
    return photo


def page(client, *address, **query) -> str:
    answer = client.get(reverse(*address[:1], args=address[1:]), query)
    return answer.content.decode()


def test_a_colony_and_a_plug_show_their_latest_photos_to_the_keeper(signed_in):
    colony, plug = ColonyFactory(), ReadyPlugFactory()
    photos = [photo_of(colony=colony) for _ in range(8)]
    aside = photo_of(colony=colony)
    Photo.objects.filter(pk=aside.pk).update(set_aside_on=localdate())
    other = photo_of(plug=plug)
    shown = page(signed_in, "colony", colony.tag)
    assert "8 photos" in shown
    assert re.findall(r'src="/photos/(\d+)/thumbnail"', shown) == [str(each.pk) for each in photos[:-7:-1]]
    assert f"/photos/{other.pk}/thumbnail" in page(signed_in, "plug", plug.code)


def test_without_photos_there_is_no_empty_heading(signed_in):
    assert "photos-of" not in page(signed_in, "colony", ColonyFactory().tag)


def test_the_page_of_a_label_shows_the_picture_that_was_chosen(client):
    plug = ReadyPlugFactory()
    photo = photo_of(plug=plug)
    assert "/screen" not in page(client, "scan", plug.code)
    Photo.objects.update(is_shown=True)
    assert f'src="/photos/{photo.pk}/screen"' in page(client, "scan", plug.code)


def test_a_plug_without_a_picture_is_shown_by_its_mothers(client):
    plug = ReadyPlugFactory(cut_event=CutEventFactory())
    photo = photo_of(colony=plug.cut_event.mother, is_shown=True)
    said = page(client, "scan", plug.code)
    assert f'src="/photos/{photo.pk}/screen"' in said
    assert "The mother colony" in said


def offered(client):
    said = page(client, "available")
    data = json.loads(re.search(r'<script type="application/ld\+json">(.*?)</script>', said, re.DOTALL)[1])
    return said, [each["item"] for each in data["itemListElement"]]


def test_a_plug_offered_as_itself_has_its_own_picture(client):
    plug = ReadyPlugFactory()
    ReadyPlugFactory()
    photo = photo_of(plug=plug, is_shown=True)
    assert "thumbnail" not in offered(client)[0]
    PlugOffer.objects.create(plug=plug, as_itself=True)
    said, items = offered(client)
    assert said.count(f'src="/photos/{photo.pk}/thumbnail"') == 1
    assert [item.get("image") for item in items if "sku" in item] == [f"http://testserver/photos/{photo.pk}/screen"]
    assert [item.get("image") for item in items if "sku" not in item] == [None]
    # The page of offers is open of itself, whether or not labels lead to pages for others.
    Preferences.objects.update(public_pages=False)
    assert "thumbnail" in offered(client)[0]
    assert client.get(reverse("photo_thumbnail", args=[photo.pk])).status_code == 200
    Availability.objects.update(visibility=Availability.Visibility.OFF)
    assert client.get(reverse("photo_thumbnail", args=[photo.pk])).status_code == 404


def test_pictures_of_offers_cost_three_queries_however_many(client, django_assert_num_queries):
    plug = ReadyPlugFactory()
    photo_of(colony=plug.cut_event.mother, is_shown=True)
    PlugOffer.objects.create(plug=plug, as_itself=True)
    with django_assert_num_queries(9):
        offered(client)
    for _ in range(4):
        plug = ReadyPlugFactory()
        photo_of(colony=plug.cut_event.mother, is_shown=True)
        PlugOffer.objects.create(plug=plug, as_itself=True)
    with django_assert_num_queries(9):
        offered(client)


def sentences():
    return [due.sentence for due in due_on(localdate())]


def test_the_day_tells_what_is_to_be_reviewed_sorted_and_photographed():
    colony = ColonyFactory(tag="M12")
    ColonyFactory(tag="M13")
    assert not [each for each in sentences() if "hoto" in each]
    photo_of(colony=colony, reviewed=False)
    photo_of()
    said = sentences()
    assert "Review a photo" in said
    assert "Say what a photo is of" in said
    assert "Photograph M13" in said
    (due,) = (each for each in due_on(localdate()) if each.sentence == "Photograph M13")
    assert due.since is None  # it is never late
