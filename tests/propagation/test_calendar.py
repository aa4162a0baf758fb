"""The calendar: its address, its events, and what a calendar program reads."""

import re
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.timezone import localdate
from icalendar import Calendar

from propagation.actions.calendar_address import renew_calendar_address, switch_off_calendar
from propagation.calendar import events_from
from propagation.models import Absence, CalendarAddress, ColonyOutlook, LearnedGrowth, Lineage, Preferences, SizeReading
from tests.factories import ColonyFactory, HoldFactory, LineageFactory, PlugFactory, RackFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db

ODD_NAME = "Ember, pale; the 2nd 🪸\\n of " + "Süßwasser" * 6


def outlook_of(colony, day, **fields):
    growth = LearnedGrowth.objects.create(
        measure="diameter_mm", growth_form="branching", learned_on=date(2026, 6, 1), lag_days=0, model={}
    )
    told = {
        "for_day": date(2026, 6, 15),
        "growth": growth,
        "measure": "diameter_mm",
        "readings": 3,
        "seen_on": date(2026, 6, 1),
        "size": 100,
        "size_low": 90,
        "size_high": 110,
        "size_needed": 95,
        "state": {},
        "day": day,
        "earliest": day and day - timedelta(days=5),
        "latest": day and day + timedelta(days=9),
        "frags_low": 6,
        "frags": 9,
        "frags_high": 12,
        "frags_mean": 9.1,
        "usable": 8,
        "for_insurance": 0,
        "probability_today": 0.4,
        "binds": "size",
        "because": ["It grows; wait.", "Two sentences, with a comma."],
    }
    return ColonyOutlook.objects.create(colony=colony, **(told | fields))


@pytest.fixture(autouse=True)
def kept_outlooks(request, monkeypatch):
    """What a test says of a mother stands, as if it had just been worked out."""
    if "grown" not in request.fixturenames:
        monkeypatch.setattr(
            "propagation.forecasts.outlooks.current_outlooks",
            lambda day: ColonyOutlook.objects.filter(colony__ended_on=None).select_related("colony__lineage"),
        )


@pytest.fixture
def grown():
    """A mother that was measured twice, of whom nothing was said yet."""
    colony = ColonyFactory()
    for days, size in ((40, 80), (10, 90)):
        SizeReading.objects.create(
            colony=colony, taken_on=localdate() - timedelta(days=days), measure="diameter_mm", value=size
        )
    return colony


def test_the_feed_works_out_what_is_not_worked_out_yet(grown):
    assert not ColonyOutlook.objects.exists()
    events = [event for event in events_from(localdate()) if event.key == f"cut-{grown.code}"]
    assert len(events) == 1


def feed_of(client=None, **headers):
    address = CalendarAddress.objects.get()
    return (client or Client()).get(reverse("calendar_feed", args=[address.secret]), **headers)


def read_back(answer):
    assert answer.status_code == 200
    return Calendar.from_ical(answer.content)


# -- events


def test_the_next_cut_stands_on_its_day_and_one_gone_by_is_todays(today):
    colony = ColonyFactory(tag="M12", lineage=LineageFactory(name="Harbour Ember"))
    outlook = outlook_of(colony, today + timedelta(days=20))
    [event] = events_from(today)
    assert (event.key, event.first_day, event.last_day) == (f"cut-{colony.code}", outlook.day, outlook.day)
    assert event.summary == "Cut M12 (Harbour Ember): about 9 frags"
    assert event.description.splitlines() == [
        "Likely between 30 Jun 2026 and 14 Jul 2026.",
        "6 to 12 frags, 9 at even odds.",
        "It grows; wait.",
        "Two sentences, with a comma.",
    ]
    assert event.address == reverse("colony", args=["M12"])
    [late] = events_from(outlook.day + timedelta(days=3))
    assert late.first_day == outlook.day + timedelta(days=3)
    assert late.key == event.key


def test_a_mother_without_a_day_or_no_longer_kept_has_no_event(today):
    outlook_of(ColonyFactory(), None)
    outlook_of(ColonyFactory(ended_on=date(2026, 6, 1), end_reason="died"), today)
    assert events_from(today) == []


def test_the_next_check_of_a_rack_is_the_oldest_one_and_some_days(today):
    rack = RackFactory(name="Rack A")
    Preferences.objects.create(pk=1, check_days=5)
    PlugFactory(rack=rack, began_on=date(2026, 4, 1), checked_on=today - timedelta(days=2))
    PlugFactory(rack=rack, began_on=date(2026, 4, 1), checked_on=today - timedelta(days=1))
    ReadyPlugFactory(rack=rack)
    PlugFactory()  # lies loose, and was not looked at for months
    on_rack, loose = sorted(events_from(today), key=lambda event: event.key)
    assert (on_rack.key, on_rack.first_day) == (f"check-{rack.pk}", today + timedelta(days=3))
    assert on_rack.description.startswith("2 plugs heal there.")
    assert (loose.key, loose.first_day) == ("check-loose", today)


def test_an_absence_lasts_and_one_called_off_is_no_event(today, signed_in):
    Absence.objects.create(first_day=today + timedelta(days=3), last_day=today + timedelta(days=9), note="coast")
    Absence.objects.create(first_day=today, last_day=today, called_off_at="2026-06-01T00:00Z")
    [event] = events_from(today)
    assert (event.last_day - event.first_day).days == 6
    assert event.description == "coast"


def test_holds_that_end_are_counted_and_nobody_is_named(today):
    for name in ("Somebody Known", "Somebody Else"):
        HoldFactory(until=today + timedelta(days=2), contact__name=name)
    [event] = events_from(today)
    assert event.summary == "2 holds end"
    assert "Somebody" not in f"{event}"


def test_the_events_cost_the_same_whatever_is_kept(today, django_assert_max_num_queries):
    for number in range(6):
        outlook_of(ColonyFactory(), today + timedelta(days=number))
        PlugFactory(rack=RackFactory())
    with django_assert_max_num_queries(6):
        assert len(events_from(today)) == 12


# -- the file


def test_a_calendar_program_reads_what_was_written(today):
    renew_calendar_address()
    Preferences.objects.create(pk=1, base_address="https://reef.example")
    line = Lineage.objects.create(name=ODD_NAME)
    colony = ColonyFactory(tag="M,1;2", lineage=line)
    outlook_of(colony, localdate() + timedelta(days=20), because=["First line.\nSecond, with; all \\ of it 🪸"])
    Absence.objects.create(first_day=localdate(), last_day=localdate() + timedelta(days=6))
    calendar = read_back(feed_of())
    assert calendar["version"] == "2.0"
    assert calendar["refresh-interval"].params["VALUE"] == "DURATION"
    away, cut = calendar.walk("VEVENT")
    assert str(cut["summary"]) == f"Cut M,1;2 ({ODD_NAME}): about 9 frags"
    assert str(cut["description"]).endswith("First line.\nSecond, with; all \\ of it 🪸")
    assert cut.decoded("dtstart") == localdate() + timedelta(days=20)
    assert cut.decoded("dtend") == localdate() + timedelta(days=21)
    assert cut["transp"] == "TRANSPARENT"
    assert str(cut["url"]).startswith("https://reef.example/colonies/")
    assert (away.decoded("dtend") - away.decoded("dtstart")).days == 7
    assert away.decoded("dtstamp").utcoffset() == timedelta(0)


def test_lines_are_folded_and_end_as_the_standard_wants():
    renew_calendar_address()
    outlook_of(ColonyFactory(lineage=LineageFactory(name=ODD_NAME)), localdate() + timedelta(days=20))
    body = feed_of().content
    assert body.endswith(b"\r\n")
    assert not re.search(rb"(?<!\r)\n", body)
    assert max(len(line) for line in body.split(b"\r\n")) <= 75
    assert any(line.startswith(b" ") for line in body.split(b"\r\n")), "nothing was folded, so this test shows nothing"
    assert b"\nURL:http://testserver/colonies/" in body


def test_each_event_keeps_its_own_name_for_good():
    renew_calendar_address()
    for number in range(3):
        outlook_of(ColonyFactory(), localdate() + timedelta(days=number))
        PlugFactory(rack=RackFactory())
    names = [str(event["uid"]) for event in read_back(feed_of()).walk("VEVENT")]
    assert len(set(names)) == len(names) == 6
    ColonyOutlook.objects.update(day=localdate() + timedelta(days=90))
    renew_calendar_address()
    assert {str(event["uid"]) for event in read_back(feed_of()).walk("VEVENT")} == set(names)


def test_an_empty_calendar_is_a_calendar():
    renew_calendar_address()
    assert read_back(feed_of()).walk("VEVENT") == []


# -- the address


def test_the_feed_is_open_to_whoever_has_the_secret_and_to_nobody_else():
    assert Client().get(reverse("calendar_feed", args=["x" * 32])).status_code == 404
    address = renew_calendar_address()
    answer = feed_of()
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert "private" in answer["Cache-Control"]
    assert "Cookie" not in answer.get("Set-Cookie", "")
    for wrong in (address.secret[:-1], address.secret.swapcase(), "ä" * 32, "x"):
        assert Client().get(reverse("calendar_feed", args=[wrong])).status_code == 404
    assert Client().post(reverse("calendar_feed", args=[address.secret])).status_code == 405


def test_a_renewed_address_shuts_the_old_one_and_switching_off_shuts_both():
    old = renew_calendar_address().secret
    new = renew_calendar_address().secret
    assert old != new
    assert len(new) >= 32
    assert Client().get(reverse("calendar_feed", args=[old])).status_code == 404
    assert Client().get(reverse("calendar_feed", args=[new])).status_code == 200
    switch_off_calendar()
    assert Client().get(reverse("calendar_feed", args=[new])).status_code == 404


def test_what_is_known_already_is_not_sent_again():
    renew_calendar_address()
    Absence.objects.create(first_day=localdate(), last_day=localdate())
    etag = feed_of()["ETag"]
    again = feed_of(HTTP_IF_NONE_MATCH=etag)
    assert (again.status_code, again.content) == (304, b"")
    Absence.objects.update(note="coast")
    assert feed_of(HTTP_IF_NONE_MATCH=etag).status_code == 200


def test_the_feed_says_nothing_of_money_or_people():
    renew_calendar_address()
    hold = HoldFactory(until=localdate() + timedelta(days=2), contact__name="Somebody Known", note="pays 40 cash")
    body = feed_of().content.decode()
    assert "A hold ends" in body
    for secret in ("Somebody", "cash", hold.plug.code):
        assert secret not in body


# -- its page


def test_looking_at_the_page_changes_nothing(signed_in):
    page = signed_in.get(reverse("calendar")).content.decode()
    assert "The calendar is off" in page
    assert not CalendarAddress.objects.exists()
    secret = renew_calendar_address().secret
    page = signed_in.get(reverse("calendar"), {"renew": "yes", "off": "yes"}).content.decode()
    assert f"http://testserver/calendar/{secret}.ics" in page
    assert f"webcal://testserver/calendar/{secret}.ics" in page
    assert CalendarAddress.objects.get().secret == secret


def test_the_address_is_made_renewed_and_switched_off(signed_in):
    address = reverse("calendar")
    signed_in.post(address, {"renew": "yes"})
    first = CalendarAddress.objects.get().secret
    page = signed_in.post(address, {"renew": "yes"}, follow=True).content.decode()
    assert "The old address is shut." in page
    assert first not in page
    signed_in.post(address, {"off": "yes"})
    assert not CalendarAddress.objects.exists()


def test_the_page_shows_what_stands_in_the_calendar(signed_in):
    for number in range(14):
        outlook_of(ColonyFactory(), localdate() + timedelta(days=number))
    page = signed_in.get(reverse("calendar")).content.decode()
    assert page.count("about 9 frags") == 12
    assert "And 2 more." in page
