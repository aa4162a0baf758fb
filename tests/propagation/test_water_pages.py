"""The pages of water: how it stands, recording tests, limits."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from propagation.models import WaterRange, WaterTest
from propagation.models.water import USUAL_LIMITS
from propagation.readings.water_picture import water_picture
from tests.factories import SystemFactory

pytestmark = pytest.mark.django_db

ALKALINITY = "alkalinity_dkh"


@pytest.fixture
def reef():
    return SystemFactory(name="Long reef")


def make_test(system, days_ago, value, parameter=ALKALINITY, **fields):
    return WaterTest.objects.create(
        system=system, parameter=parameter, taken_on=localdate() - timedelta(days=days_ago), value=value, **fields
    )


def text_of(answer):
    return answer.content.decode()


def send(client, reef, **values):
    return client.post(reverse("water_test", args=[reef.pk]), {"day": localdate().isoformat()} | values)


def test_a_system_without_tests_says_what_to_do(signed_in, reef):
    page = text_of(signed_in.get(reverse("system_water", args=[reef.pk])))
    assert "No water test yet" in page
    assert "Before you change the water" not in page
    assert "Not tested in the last 30 days" in text_of(signed_in.get(reverse("water")))


def test_without_a_system_the_page_of_water_leads_to_one(signed_in):
    page = text_of(signed_in.get(reverse("water")))
    assert "No system runs" in page
    assert reverse("system_new") in page


def test_several_parameters_of_a_day_are_recorded_with_point_or_comma(signed_in, keeper, reef):
    answer = send(signed_in, reef, alkalinity_dkh="8,25", calcium_mgl="415.5", note="in the morning")
    assert answer["Location"] == reverse("system_water", args=[reef.pk])
    assert dict(WaterTest.objects.values_list("parameter", "value")) == {
        ALKALINITY: Decimal("8.25"),
        "calcium_mgl": Decimal("415.5"),
    }
    page = text_of(signed_in.get(answer["Location"]))
    assert "2 values of Long reef saved." in page
    assert "8.25&nbsp;dKH" in page
    assert "in the morning" in page
    assert 'placeholder="8.25"' in text_of(signed_in.get(reverse("water_test", args=[reef.pk])))


def test_a_bad_number_is_named_at_its_field_and_nothing_is_lost(signed_in, reef):
    page = text_of(send(signed_in, reef, alkalinity_dkh="eight", calcium_mgl="415"))
    assert "This is no number. Write it as 8.4." in page
    assert 'value="415"' in page
    assert 'value="eight"' in page
    answer = send(signed_in, reef, ph="-1", calcium_mgl="415")
    page = text_of(answer)
    assert answer.status_code == 422
    assert "pH cannot be -1" in page
    assert "nothing was measured" in text_of(send(signed_in, reef))
    tomorrow = (localdate() + timedelta(days=1)).isoformat()
    assert "lies in the future" in text_of(send(signed_in, reef, ph="8.1", day=tomorrow))
    assert not WaterTest.objects.exists()


def test_a_slip_is_asked_about_and_what_was_meant_is_one_tap_away(signed_in, reef):
    answer = send(signed_in, reef, alkalinity_dkh="143", ph="8.1")
    page = text_of(answer)
    assert answer.status_code == 422
    assert "Did you mean 8.01 dKH (in ppm of calcium carbonate)?" in page
    assert '<button class="button" type="submit" name="alkalinity_dkh" value="8.01">' in page
    assert not WaterTest.objects.exists()
    send(signed_in, reef, alkalinity_dkh=["143", "8.01"], ph="8.1")
    assert set(WaterTest.objects.values_list("value", flat=True)) == {Decimal("8.01"), Decimal("8.1")}


def test_a_slip_that_is_none_is_confirmed(signed_in, reef):
    send(signed_in, reef, alkalinity_dkh="2.1", confirmed="yes")
    assert WaterTest.objects.get().value == Decimal("2.1")


def test_water_out_of_its_limits_is_said_with_the_cautions_and_without_a_dose(signed_in, reef):
    make_test(reef, 1, "5.9")
    make_test(reef, 0, "420", "calcium_mgl")
    page = text_of(signed_in.get(reverse("system_water", args=[reef.pk])))
    assert "Alkalinity is 5.9 dKH in Long reef, below 6.5" in page
    assert "Before you change the water" in page
    index = text_of(signed_in.get(reverse("water")))
    assert "Alkalinity low" in index
    make_test(reef, 0, "6.6")
    assert "Within its limits" in text_of(signed_in.get(reverse("water")))


def test_an_old_test_is_shown_as_old_and_worries_nobody(signed_in, reef):
    make_test(reef, 31, "5.9")
    page = text_of(signed_in.get(reverse("system_water", args=[reef.pk])))
    assert "Old</span>" in page
    assert "below 6.5" not in page


def test_one_parameter_is_drawn_with_its_numbers(signed_in, reef):
    for days_ago, value in ((9, "8"), (4, "8.4"), (0, "10.5")):
        make_test(reef, days_ago, value)
    make_test(reef, 0, "420", "calcium_mgl")
    page = text_of(signed_in.get(reverse("system_water", args=[reef.pk]), {"parameter": ALKALINITY}))
    assert "Alkalinity in Long reef, 3 tests" in page
    assert page.count("<circle") == 3
    assert ">10.5 dKH<" in page
    assert "420&nbsp;mg/L" in page.split('id="tests"')[0]
    assert "420&nbsp;mg/L" not in page.split('id="tests"')[1]


def test_the_tests_come_page_by_page(signed_in, reef):
    for day in range(30):
        make_test(reef, day, "8")
    address = reverse("system_water", args=[reef.pk])
    assert text_of(signed_in.get(address)).count("Take back<span") == 25
    assert text_of(signed_in.get(address, {"page": 2})).count("Take back<span") == 5


def test_the_page_costs_the_same_whatever_is_kept(signed_in, reef, keeper, django_assert_max_num_queries):
    for day in range(20):
        make_test(reef, day, "8", recorded_by=keeper)
        make_test(reef, day, "8.1", "ph", recorded_by=keeper)
    with django_assert_max_num_queries(12):
        signed_in.get(reverse("system_water", args=[reef.pk]), {"parameter": ALKALINITY})


def test_a_test_is_taken_back_by_post_alone(signed_in, keeper, reef):
    test = make_test(reef, 0, "8")
    address = reverse("water_take_back", args=[test.pk])
    assert signed_in.get(address).status_code == 405
    page = text_of(signed_in.post(address, follow=True))
    assert "Alkalinity 8 dKH is taken back." in page
    assert "taken back before" in text_of(signed_in.post(address, follow=True))
    test.refresh_from_db()
    assert test.withdrawn_by == keeper


def test_limits_are_set_for_one_system_and_for_all(signed_in, reef):
    one = reverse("system_water_limits", args=[reef.pk, ALKALINITY])
    every = reverse("water_limits", args=[ALKALINITY])
    told = {"low": "7", "high": "9,5", "largest_swing": "0.8", "swing_days": "2", "based_on": "0"}
    assert 'value="6.5"' in text_of(signed_in.get(one))
    assert signed_in.post(one, told)["Location"] == reverse("system_water", args=[reef.pk])
    assert signed_in.post(every, told | {"low": "6"})["Location"] == reverse("water")
    assert set(WaterRange.objects.values_list("system", "low", "high")) == {
        (reef.pk, Decimal(7), Decimal("9.5")),
        (None, Decimal(6), Decimal("9.5")),
    }
    assert "set for this system" in text_of(signed_in.get(one))
    assert "7 to 9.5&nbsp;dKH" in text_of(signed_in.get(reverse("system_water", args=[reef.pk])))
    signed_in.post(one, {"drop": "yes"})
    assert "set for all systems" in text_of(signed_in.get(one))
    signed_in.post(every, {"drop": "yes"})
    assert not WaterRange.objects.exists()


def test_limits_the_wrong_way_round_are_refused_at_their_field(signed_in, reef):
    address = reverse("system_water_limits", args=[reef.pk, ALKALINITY])
    told = {"low": "9", "high": "7", "largest_swing": "1", "swing_days": "2"}
    page = text_of(signed_in.post(address, told))
    assert "7 is not more than 9" in page
    assert not WaterRange.objects.exists()


def test_a_parameter_that_nobody_tests_for_is_not_found(signed_in, reef):
    assert signed_in.get(reverse("water_limits", args=["iodine"])).status_code == 404
    assert signed_in.get(reverse("system_water_limits", args=[reef.pk, "iodine"])).status_code == 404


def test_the_picture_lies_in_its_frame(today):
    limits = USUAL_LIMITS[ALKALINITY]
    course = [
        (today - timedelta(days=9), Decimal("5.9")),
        (today - timedelta(days=2), Decimal(8)),
        (today, Decimal(12)),
    ]
    picture = water_picture(course, limits)
    assert [out for _, _, out in picture.dots] == [True, False, True]
    assert all(picture.left <= x <= picture.right and picture.top <= y <= picture.floor for x, y, _ in picture.dots)
    assert picture.dots[0][1] > picture.dots[1][1] > picture.dots[2][1]
    above, height = picture.band
    assert above < picture.dots[1][1] < above + height
    assert water_picture(course[:1], limits) is None
    assert len(water_picture([course[0], course[0]], limits).days) == 1
