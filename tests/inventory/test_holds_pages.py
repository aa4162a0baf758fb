"""Holding, releasing and extending from the pages, and who is told what."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localdate

from inventory.models import Contact, Hold
from tests.factories import ContactFactory, HoldFactory, PlugFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


def in_days(days):
    return localdate() + timedelta(days=days)


def page_of(client, name, *args, query=""):
    answer = client.get(f"{reverse(name, args=args)}{query}")
    assert answer.status_code == 200
    return answer.content.decode()


# -- holding


def test_a_plug_is_held_for_a_week_unless_said_otherwise(signed_in, keeper):
    plug = ReadyPlugFactory()
    page = page_of(signed_in, "hold", plug.code)
    assert date_format(in_days(7), "D j M") in page
    answer = signed_in.post(reverse("hold", args=[plug.code]), {"contact_name": "Quay keeper", "days": "7"})
    assert answer.url == reverse("plug", args=[plug.code])
    hold = Hold.objects.get()
    assert (hold.plug, hold.contact.name, hold.until, hold.made_by) == (plug, "Quay keeper", in_days(7), keeper)


def test_a_known_contact_is_offered_and_met_again_in_any_case(signed_in):
    contact = ContactFactory(name="Quay keeper")
    plug = ReadyPlugFactory()
    assert '<option value="Quay keeper">' in page_of(signed_in, "hold", plug.code)
    signed_in.post(reverse("hold", args=[plug.code]), {"contact_name": " quay  KEEPER ", "days": "3"})
    assert Hold.objects.get().contact == contact
    assert Contact.objects.count() == 1


def test_a_name_nearly_that_of_a_contact_is_asked_about_once(signed_in):
    ContactFactory(name="Quay keeper")
    plug = ReadyPlugFactory()
    told = {"contact_name": "Quay keepr", "days": "3", "note": "two if they can"}
    answer = signed_in.post(reverse("hold", args=[plug.code]), told)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Quay keeper is a contact already" in page
    assert "two if they can" in page
    signed_in.post(reverse("hold", args=[plug.code]), told | {"somebody_new": "on"})
    assert Hold.objects.get().contact.name == "Quay keepr"


def test_the_contact_of_the_last_hold_is_remembered(signed_in):
    first, second = ReadyPlugFactory.create_batch(2)
    signed_in.post(reverse("hold", args=[first.code]), {"contact_name": "Quay keeper", "days": "3"})
    assert 'value="Quay keeper"' in page_of(signed_in, "hold", second.code)


def test_the_loser_of_a_race_is_told_who_has_it_until_when_and_keeps_what_was_typed(signed_in):
    hold = HoldFactory(until=in_days(4))
    answer = signed_in.post(
        reverse("hold", args=[hold.plug.code]), {"contact_name": "Quay keeper", "days": "14", "note": "the red one"}
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f"is held for {hold.contact} until {date_format(hold.until)}" in page
    assert 'value="Quay keeper"' in page
    assert 'value="the red one"' in page
    assert Hold.objects.get() == hold


def test_a_held_plug_says_so_before_anybody_types(signed_in):
    hold = HoldFactory(until=in_days(4))
    page = page_of(signed_in, "hold", hold.plug.code)
    assert str(hold.contact) in page
    assert reverse("hold_release", args=[hold.pk]) in page


def test_several_are_held_together(signed_in):
    plugs = ReadyPlugFactory.create_batch(3)
    codes = [plug.code for plug in plugs]
    page = page_of(signed_in, "hold_many", query="?plugs=" + "&plugs=".join(codes))
    assert page.count('name="plugs"') == 3
    answer = signed_in.post(
        reverse("hold_many"), {"plugs": codes, "offered": codes, "contact_name": "Quay keeper", "days": "7"}
    )
    assert answer.url == reverse("ready")
    assert Hold.objects.count() == 3


def test_ids_name_plugs_as_well_as_codes(signed_in):
    """The racks know their plugs by number."""
    plug = ReadyPlugFactory()
    assert plug.code_in_clear in page_of(signed_in, "hold_many", query=f"?plugs={plug.pk}").replace(
        '<span class="dash">-</span>', "-"
    )


def test_if_some_are_taken_they_are_named_and_the_others_can_be_held(signed_in):
    free, other = ReadyPlugFactory.create_batch(2)
    hold = HoldFactory(until=in_days(4))
    codes = [free.code, hold.plug.code, other.code]
    told = {"offered": codes, "contact_name": "Quay keeper", "days": "7"}
    answer = signed_in.post(reverse("hold_many"), told | {"plugs": codes})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert hold.plug.code_in_clear in page
    assert str(hold.contact) in page
    assert "Hold the 2 others" in page
    assert Hold.objects.count() == 1
    ticked = [free.code, other.code]
    assert [f'value="{code}" checked' in page for code in codes] == [True, False, True]
    signed_in.post(reverse("hold_many"), told | {"plugs": ticked})
    assert set(Hold.objects.filter(contact__name="Quay keeper").values_list("plug__code", flat=True)) == set(ticked)


def test_one_that_died_meanwhile_is_left_out_of_the_others(signed_in):
    free, dead = ReadyPlugFactory(), ReadyPlugFactory(fate="dead", ended_on=localdate())
    codes = [free.code, dead.code]
    page = signed_in.post(
        reverse("hold_many"), {"plugs": codes, "offered": codes, "contact_name": "Quay keeper", "days": "7"}
    ).content.decode()
    assert "Hold the other one" in page
    assert not Hold.objects.exists()


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"contact_name": "", "days": "7"}, "Say for whom."),
        ({"contact_name": "Q" * 121, "days": "7"}, "This has 121 characters; 120 fit."),
        ({"contact_name": "Q", "days": ""}, "Say for how long, or until which day."),
        ({"contact_name": "Q", "days": "5"}, "Choose one of these, or a day."),
        ({"contact_name": "Q", "until": "soon"}, "This is no day."),
        ({"contact_name": "Q", "until": "2020-01-01"}, "would have ended already"),
        ({"contact_name": "Q", "until": "2099-01-01"}, "too far off"),
        ({"contact_name": "Q", "days": "7", "note": "n" * 201}, "This has 201 characters; 200 fit."),
    ],
)
def test_what_cannot_be_is_named_and_nothing_is_held(signed_in, told, words):
    answer = signed_in.post(reverse("hold", args=[ReadyPlugFactory().code]), told)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Hold.objects.exists()
    assert not Contact.objects.exists()


def test_a_plug_that_is_not_fit_says_why(signed_in):
    page = signed_in.post(
        reverse("hold", args=[PlugFactory().code]), {"contact_name": "Quay keeper", "days": "7"}
    ).content.decode()
    assert "is fresh, not healed" in page
    assert not Contact.objects.exists()


def test_an_unknown_or_mistyped_plug_is_not_found(signed_in):
    assert signed_in.get(reverse("hold", args=["ABCDEFGH"])).status_code == 404
    answer = signed_in.get(f"{reverse('hold_many')}?plugs=ABCDEFGH", follow=True)
    assert "ABCDEFGH" in answer.content.decode()


# -- the list


def test_the_tabs_part_current_from_ending_soon_and_from_what_ran_out(signed_in):
    later, soon = HoldFactory(until=in_days(20)), HoldFactory(until=in_days(1))
    over = HoldFactory(until=in_days(-1))
    released = HoldFactory(until=in_days(5), released_on=localdate())

    def codes(query):
        return {hold.plug.code for hold in signed_in.get(f"{reverse('holds')}{query}").context["page"]}

    assert codes("") == {later.plug.code, soon.plug.code}
    assert codes("?which=soon") == {soon.plug.code}
    assert codes("?which=past") == {over.plug.code, released.plug.code}


def test_a_promised_plug_that_died_says_whom_to_tell(signed_in):
    hold = HoldFactory(until=in_days(5))
    type(hold.plug).objects.filter(pk=hold.plug.pk).update(fate="dead", ended_on=localdate())
    page = page_of(signed_in, "holds")
    assert f"Tell {hold.contact}" in page
    answer = signed_in.post(reverse("hold_release", args=[hold.pk]), follow=True)
    assert f"Tell {hold.contact}" not in answer.content.decode()


@pytest.mark.parametrize("which", ["", "?which=soon", "?which=past"])
def test_an_empty_tab_says_so(signed_in, which):
    assert 'class="empty"' in page_of(signed_in, "holds", query=which)


def test_the_list_costs_the_same_queries_however_long_it_is(signed_in, django_assert_num_queries):
    HoldFactory(until=in_days(1))
    with django_assert_num_queries(7):
        signed_in.get(reverse("holds"))
    HoldFactory.create_batch(6, until=in_days(2))
    with django_assert_num_queries(7):
        signed_in.get(reverse("holds"))


# -- releasing and extending


def test_one_tap_releases_and_the_way_back_is_offered(signed_in):
    hold = HoldFactory(until=in_days(5))
    answer = signed_in.post(reverse("hold_release", args=[hold.pk]), follow=True)
    hold.refresh_from_db()
    assert hold.released_on == localdate()
    page = answer.content.decode()
    assert f"{reverse('hold', args=[hold.plug.code])}?contact=" in page
    again = signed_in.get(
        reverse("hold", args=[hold.plug.code]), {"contact": hold.contact.name, "until": hold.until.isoformat()}
    ).content.decode()
    assert f'value="{hold.contact.name}"' in again
    assert f'value="{hold.until.isoformat()}"' in again


def test_one_tap_extends_by_a_week(signed_in):
    hold = HoldFactory(until=in_days(5))
    signed_in.post(reverse("hold_extend", args=[hold.pk]))
    hold.refresh_from_db()
    assert hold.until == in_days(12)


@pytest.mark.parametrize("name", ["hold_release", "hold_extend"])
def test_only_a_tap_changes_a_hold(signed_in, name):
    hold = HoldFactory(until=in_days(5))
    assert signed_in.get(reverse(name, args=[hold.pk])).status_code == 405


@pytest.mark.parametrize("name", ["hold_release", "hold_extend"])
def test_a_second_tap_is_told_that_it_is_done(signed_in, name):
    hold = HoldFactory(until=in_days(5), released_on=localdate())
    answer = signed_in.post(reverse(name, args=[hold.pk]), follow=True)
    assert "already" in answer.content.decode()


def test_the_way_back_never_leaves_the_site(signed_in):
    hold = HoldFactory(until=in_days(5))
    answer = signed_in.post(reverse("hold_extend", args=[hold.pk]), {"back": "https://elsewhere.example/"})
    assert answer.url == reverse("holds")
