"""Living copies with others: left, asked after, lost, theirs, or come back with their thread of descent."""

from datetime import timedelta
from html import unescape
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.hold_plugs import hold_plugs
from inventory.actions.keep_safe import came_back, end_safekeeping, heard_of, leave_with
from inventory.actions.let_go import let_go, take_back_leaving
from inventory.agenda_items import living_copies_to_ask_after
from inventory.errors import LeavingToConfirm
from inventory.models import Safekeeping
from inventory.readings.safekeeping import due_by
from propagation.errors import AlreadyDone, BadDate, BadValue, PlugGone
from propagation.kept_elsewhere import kept_by_others
from propagation.models import Acquisition, Colony, Plug
from propagation.readings.lineages import lineages_with_counts
from tests.factories import ColonyFactory, ContactFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def today():
    return localdate()


def left(today, plug=None, *, ago=0, contact=None, **told):
    on = today - timedelta(days=ago)
    plug = plug or ReadyPlugFactory()
    if ago:
        Plug.objects.filter(pk=plug.pk).update(fate="given", ended_on=on)
    return leave_with(plug=plug, contact=contact or ContactFactory(), on=on, today=today, **told)


def test_it_leaves_as_given_away_and_is_asked_after(today):
    kept = left(today, ask_every_days=30)
    assert (kept.plug.fate, kept.since, kept.asked_on) == ("given", today, today)
    assert due_by(today + timedelta(days=29)) == []
    assert due_by(today + timedelta(days=30)) == [kept]
    heard_of(safekeeping=kept, on=today, today=today + timedelta(days=40))
    heard_of(safekeeping=kept, on=today + timedelta(days=20), today=today + timedelta(days=40))
    heard_of(safekeeping=kept, on=today + timedelta(days=10), today=today + timedelta(days=40), note="At the window")
    kept.refresh_from_db()
    assert (kept.asked_on, kept.note) == (today + timedelta(days=20), "At the window")
    assert due_by(today + timedelta(days=49)) == []


def test_once_per_contact_and_with_one_contact_at_a_time(today):
    kept = left(today)
    assert left(today, kept.plug, contact=kept.contact) == kept
    with pytest.raises(AlreadyDone, match=f"{kept.contact} keeps plug"):
        left(today, kept.plug)


def test_what_left_already_can_be_asked_after_and_what_died_cannot(today):
    given = ReadyPlugFactory()
    let_go(plugs=[given], fate="sold", on=today, today=today)
    assert left(today, given).plug.fate == "sold"
    dead = ReadyPlugFactory(fate="dead", ended_on=today, loss_reason="unknown")
    with pytest.raises(PlugGone):
        left(today, dead)
    with pytest.raises(BadValue, match="every 0 days"):
        left(today, ask_every_days=0)
    with pytest.raises(BadValue, match="every 731 days"):
        left(today, ask_every_days=731)


def test_a_plug_promised_to_somebody_else_leaves_knowingly(today):
    plug = ReadyPlugFactory()
    hold_plugs(plugs=[plug], contact=ContactFactory(), until=today, today=today)
    with pytest.raises(LeavingToConfirm):
        left(today, plug, confirmed=False)
    assert left(today, plug).plug_id == plug.pk


def test_days_are_in_order(today):
    kept = left(today, ago=5)
    for day in (today + timedelta(days=1), today - timedelta(days=6)):
        with pytest.raises(BadDate):
            heard_of(safekeeping=kept, on=day, today=today)
        with pytest.raises(BadDate):
            end_safekeeping(safekeeping=kept, outcome="lost", on=day, today=today)
        with pytest.raises(BadDate):
            came_back(safekeeping=kept, on=day, today=today)
    assert not Acquisition.objects.filter(kind="returned").exists()


@pytest.mark.parametrize("outcome", ["lost", "theirs"])
def test_it_ends_once(today, outcome):
    kept = left(today)
    end_safekeeping(safekeeping=kept, outcome=outcome, on=today, today=today)
    with pytest.raises(AlreadyDone, match=r"keeps plug .* no more"):
        heard_of(safekeeping=kept, on=today, today=today)
    with pytest.raises(AlreadyDone):
        came_back(safekeeping=kept, on=today, today=today)
    assert due_by(today + timedelta(days=999)) == []
    with pytest.raises(AlreadyDone, match="so it did leave"):
        take_back_leaving(plug=kept.plug)
    with pytest.raises(BadValue, match="no way to end it"):
        end_safekeeping(safekeeping=left(today), outcome="returned", on=today, today=today)


def test_back_as_itself_a_colony_with_its_thread(today):
    kept, submission = left(today, ago=9), uuid4()
    for _ in range(2):
        made = came_back(safekeeping=kept, on=today, today=today, tag="SK1", submission=submission)
    colony = Colony.objects.get(tag="SK1")
    assert (made.kind, made.returned_plug, made.terms.contact) == ("returned", kept.plug, kept.contact)
    assert (colony.acquisition, colony.lineage) == (made, kept.plug.lineage)
    kept.refresh_from_db()
    assert (kept.outcome, kept.ended_on) == ("returned", today)
    assert Acquisition.objects.filter(kind="returned").count() == 1


def test_back_as_frags(today):
    kept = left(today)
    with pytest.raises(BadValue, match="as one, not as 2"):
        came_back(safekeeping=kept, on=today, today=today, count=2)
    with pytest.raises(BadValue, match="no tag"):
        came_back(safekeeping=kept, on=today, today=today, how="frag", tag="SK1")
    made = came_back(safekeeping=kept, on=today, today=today, how="frag", count=3)
    assert made.plugs.count() == 3
    assert set(made.plugs.values_list("fate", flat=True)) == {"kept"}


def test_a_tag_in_use_loses_nothing(today):
    kept, there = left(today), ColonyFactory()
    with pytest.raises(AlreadyDone, match=there.tag):
        came_back(safekeeping=kept, on=today, today=today, tag=there.tag)
    kept.refresh_from_db()
    assert kept.ended_on is None
    assert not Acquisition.objects.filter(kind="returned").exists()


def test_two_returns_at_once_are_one(at_once, today):
    kept = left(today)
    answers = at_once([lambda: came_back(safekeeping=kept, on=today, today=today)] * 2)
    assert sorted(type(answer).__name__ for answer in answers) == ["Acquisition", "AlreadyDone"]


def test_a_slip_is_taken_back_whole(today):
    kept = left(today)
    take_back_leaving(plug=kept.plug)
    assert not Safekeeping.objects.exists()
    assert Plug.objects.get().is_kept
    assert Safekeeping.history.filter(history_type="-").count() == 1


def test_copies_with_others_stand_beside_the_living_ones(today, signed_in):
    kept = left(today)
    lineage = kept.plug.lineage
    assert kept_by_others([lineage.pk]) == {lineage.pk: 1}
    assert lineages_with_counts(today).get(pk=lineage.pk).living_copies == 1  # its mother
    assert "1 kept by others" in text_of(signed_in.get(reverse("lineage", args=[lineage.pk])))
    end_safekeeping(safekeeping=kept, outcome="lost", on=today, today=today)
    assert kept_by_others([lineage.pk]) == {}
    assert "kept by others" not in text_of(signed_in.get(reverse("lineage", args=[lineage.pk])))


def test_the_day_names_whom_to_ask_after_what(today):
    contact = ContactFactory(name="Odile")
    kept = left(today, ago=40, ask_every_days=30, contact=contact)
    (due,) = living_copies_to_ask_after(today)
    assert due.sentence == f"Ask Odile after {kept.plug.code_in_clear}"
    assert due.since == today - timedelta(days=10)
    for _ in range(3):
        left(today, ago=50, ask_every_days=30, contact=contact)
    (due,) = living_copies_to_ask_after(today)
    assert (due.sentence, due.count) == ("Ask Odile after 4 corals they keep for you", 4)


# -- pages


def text_of(answer) -> str:
    return unescape(answer.content.decode())


def test_left_heard_of_and_back_on_the_pages(signed_in, today):
    assert "Nobody keeps a coral for you" in text_of(signed_in.get(reverse("safekeeping")))
    plug = ReadyPlugFactory()
    new = reverse("safekeeping_new")
    assert plug.code in text_of(signed_in.get(f"{new}?plug={plug.code}"))
    told = {"plug": plug.code, "contact_name": "Mira", "day": today, "ask_every_days": "60", "note": "Blue tank"}
    for _ in range(2):  # sent twice
        made = signed_in.post(new, told)
    kept = Safekeeping.objects.get()
    here = reverse("safekeeping_one", args=[kept.pk])
    assert made["Location"] == here
    assert "Mira" in text_of(signed_in.get(reverse("safekeeping")))
    assert "Kept by them for you" in text_of(signed_in.get(reverse("contact", args=[kept.contact_id])))
    assert "Mira keeps it for you" in text_of(signed_in.get(reverse("plug_left", args=[plug.code])))
    heard = signed_in.post(reverse("safekeeping_heard", args=[kept.pk]), {"day": today, "note": "Blue tank"})
    assert heard["Location"] == here
    back = reverse("safekeeping_back", args=[kept.pk])
    form = signed_in.get(back).context["form"]
    told = {"how": "itself", "day": today, "tag": "SK1", "count": "1", "submission": form["submission"].value()}
    assert signed_in.post(back, told).status_code == 302
    assert signed_in.post(back, told).status_code == 302
    assert Colony.objects.filter(tag="SK1").count() == 1
    assert "Came back" in text_of(signed_in.get(reverse("safekeeping") + "?which=ended"))
    assert "What came back" in text_of(signed_in.get(here))
    assert signed_in.get(reverse("safekeeping_end", args=[kept.pk]))["Location"] == here


def test_each_refusal_stands_in_its_form(signed_in, today):
    new = reverse("safekeeping_new")
    empty = signed_in.post(new, {"day": today})
    assert empty.status_code == 422
    for words in ("Give the code on its label.", "Say who keeps it.", "Say after how many days to ask."):
        assert words in text_of(empty)
    insured = ReadyPlugFactory(is_insurance=True)
    told = {"plug": insured.code, "contact_name": "Mira", "day": today, "ask_every_days": "60"}
    assert "set aside as insurance" in text_of(signed_in.post(new, told))
    assert signed_in.post(new, told | {"confirmed": "on"}).status_code == 302
    kept = Safekeeping.objects.get()
    end = reverse("safekeeping_end", args=[kept.pk])
    assert "lost or is theirs for good" in text_of(signed_in.post(end, {"day": today}))
    late = signed_in.post(end, {"day": today + timedelta(days=1), "outcome": "lost"})
    assert "lies in the future" in text_of(late)
    back = reverse("safekeeping_back", args=[kept.pk])
    told = {"how": "frag", "day": today, "tag": "SK1", "count": "1"}
    assert "no tag" in text_of(signed_in.post(back, told))
    assert signed_in.post(end, {"day": today, "outcome": "theirs"}).status_code == 302
    assert "None ended yet" not in text_of(signed_in.get(reverse("safekeeping") + "?which=ended"))
