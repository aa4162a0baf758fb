"""The photos page says of each colony when it was photographed last, and which are due."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate, now

from propagation.models import Photo
from propagation.readings.photos import DAYS_BETWEEN_PHOTOS
from tests.factories import ColonyFactory
from tests.propagation.photo_samples import as_file, kept, picture

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


@pytest.fixture
def today():
    return localdate()


@pytest.fixture
def colony(today):
    """Colonies that came three months ago: ``colony("TAG")``."""
    return lambda tag, **fields: ColonyFactory(tag=tag, began_on=today - timedelta(days=90), **fields)


@pytest.fixture
def photographed(today):
    """Photos of a colony of so many days ago: ``photographed(colony, 60, 32)``; returns the last."""

    def keep(colony, *days_ago):
        for days in days_ago:
            photo = kept(as_file(picture("", seed=days).pixels, taken_at=None), today, name=f"{days}.jpg")
            Photo.objects.filter(pk=photo.pk).update(
                colony=colony, sorted_by="hand", looked_at=now(), taken_on=today - timedelta(days=days)
            )
        return photo

    return keep


def test_each_shows_its_latest_photo_the_longest_ago_first(signed_in, today, colony, photographed):
    late = photographed(colony("LATE"), 60, DAYS_BETWEEN_PHOTOS)
    recent = photographed(colony("NEW"), DAYS_BETWEEN_PHOTOS - 1, 3)
    set_aside = photographed(colony("BARE"), 8)
    Photo.objects.filter(pk=set_aside.pk).update(set_aside_on=today)
    photographed(colony("GONE", ended_on=today, end_reason="died"), 5)
    answer = signed_in.get(reverse("photos"))
    assert [(each.tag, each.last_photo.pk, each.is_due) for each in answer.context["with_last_photo"]] == [
        ("LATE", late.pk, True),
        ("NEW", recent.pk, False),
    ]
    assert answer.context["n_due"] == 2  # the one whose photo was set aside, too
    assert answer.context["never"] == ["BARE"]
    page = answer.content.decode()
    assert "31 days ago" in page
    assert "No photo yet" in page


def test_a_colony_that_came_this_month_is_not_due(signed_in, today, photographed):
    photographed(ColonyFactory(tag="OLD", began_on=today - timedelta(days=90)), 2)
    ColonyFactory(tag="YOUNG", began_on=today - timedelta(days=DAYS_BETWEEN_PHOTOS - 1))
    answer = signed_in.get(reverse("photos"))
    assert answer.context["n_due"] == 0
    assert answer.context["never"] == ["YOUNG"]


def test_the_page_asks_as_much_for_many_as_for_one(signed_in, colony, photographed, django_assert_max_num_queries):
    for number in range(4):
        photographed(colony(f"M{number}"), 10 + number)
    with django_assert_max_num_queries(13):
        signed_in.get(reverse("photos"))
