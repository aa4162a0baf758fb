"""The pages of absences."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate, now

from propagation.models import Absence

pytestmark = pytest.mark.django_db


def in_days(days):
    return localdate() + timedelta(days=days)


def text_of(answer):
    return answer.content.decode()


def test_without_an_absence_the_page_says_what_it_is_for(signed_in):
    page = text_of(signed_in.get(reverse("absences")))
    assert "No absence is planned" in page
    assert "Over or called off" not in page


def test_an_absence_is_planned_changed_and_called_off(signed_in, keeper):
    told = {"first_day": in_days(3), "last_day": in_days(9), "note": "to the coast"}
    page = text_of(signed_in.post(reverse("absence_new"), told, follow=True))
    assert "to the coast" in page
    absence = Absence.objects.get()
    address = reverse("absence_edit", args=[absence.pk])
    assert address in page
    based_on = absence.history.get().history_id
    signed_in.post(address, told | {"last_day": in_days(12), "based_on": based_on})
    absence.refresh_from_db()
    assert absence.last_day == in_days(12)
    refused = text_of(signed_in.post(address, told | {"based_on": based_on}))
    assert "changed by somebody else" in refused
    page = text_of(signed_in.post(address, {"call_off": "yes"}, follow=True))
    assert "Called off" in page
    assert "No absence is planned" in page
    assert "was called off" in text_of(signed_in.get(address, follow=True))
    assert absence.history.first().history_user == keeper


def test_days_that_meet_another_absence_link_to_it(signed_in):
    other = Absence.objects.create(first_day=in_days(3), last_day=in_days(9))
    told = {"first_day": in_days(9), "last_day": in_days(12), "note": "kept"}
    answer = signed_in.post(reverse("absence_new"), told)
    page = text_of(answer)
    assert answer.status_code == 422
    assert f'<a href="{reverse("absence_edit", args=[other.pk])}">Open that absence</a>' in page
    assert 'value="kept"' in page
    assert Absence.objects.count() == 1


def test_days_the_wrong_way_round_are_refused(signed_in):
    page = text_of(signed_in.post(reverse("absence_new"), {"first_day": in_days(9), "last_day": in_days(3)}))
    assert "comes before the first" in page
    page = text_of(signed_in.post(reverse("absence_new"), {"first_day": "soon", "last_day": ""}))
    assert "This is no day." in page
    assert not Absence.objects.exists()


def test_past_ones_come_page_by_page(signed_in):
    for number in range(30):
        Absence.objects.create(first_day=in_days(-2 - number), last_day=in_days(-2 - number), called_off_at=now())
    assert text_of(signed_in.get(reverse("absences"))).count("Called off<") == 25
    assert text_of(signed_in.get(reverse("absences"), {"page": 2})).count("Called off<") == 5
