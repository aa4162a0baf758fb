"""Contacts: the list, one of them with what stands between, entering and changing."""

from datetime import timedelta
from decimal import Decimal
from html import unescape

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.begin_sale import agree_sale, close_sale
from inventory.actions.claim import report_claim
from inventory.actions.forget_contact import forget_contact
from inventory.actions.hand_over import sell_now
from inventory.actions.keep_safe import end_safekeeping, leave_with
from inventory.actions.merge_contacts import merge_contacts
from inventory.actions.pay_out_credit import pay_out_credit
from inventory.actions.trade import trade
from inventory.actions.wait_in_line import wait_for
from inventory.models import AcquisitionTerms, Claim, Contact, Credit
from inventory.readings.contacts import Between
from inventory.readings.sales import credits_of
from inventory.views.contacts import KINDS
from propagation.actions.acquire import PackLine
from tests.factories import (
    AcquisitionFactory,
    ColonyFactory,
    ContactFactory,
    HoldFactory,
    LineageFactory,
    ReadyPlugFactory,
)
from tests.inventory.sales import begun, items_of

pytestmark = pytest.mark.django_db


def listed(client, query=""):
    answer = client.get(f"{reverse('contacts')}{query}")
    return [row.record.name for row in answer.context["table"].page.object_list]


def test_the_list_counts_what_is_held_and_what_came(signed_in):
    contact = ContactFactory(name="Quay keeper")
    HoldFactory.create_batch(2, contact=contact, until=localdate())
    HoldFactory(contact=contact, until=localdate() - timedelta(days=1))
    AcquisitionTerms.objects.create(acquisition=AcquisitionFactory(), contact=contact)
    row = signed_in.get(reverse("contacts")).context["table"].page.object_list[0].record
    assert (row.plugs_held, row.acquisitions_from) == (2, 1)


def test_a_buyer_is_written_to_by_a_tap(signed_in):
    contact = ContactFactory(reach="quay@pier.example, or <i>at</i> the market")
    page = signed_in.get(reverse("contact", args=[contact.pk])).content.decode()
    assert '<a href="mailto:quay@pier.example">quay@pier.example</a>, or &lt;i&gt;at&lt;/i&gt; the market' in page


def test_contacts_are_sought_by_name_and_reach(signed_in):
    ContactFactory(name="Quay keeper", reach="at the Saturday market")
    ContactFactory(name="Somebody")
    assert listed(signed_in, "?q=QUAY") == ["Quay keeper"]
    assert listed(signed_in, "?q=saturday") == ["Quay keeper"]
    assert listed(signed_in, "?holding=on") == []


def test_names_sort_without_regard_to_case(signed_in):
    for name in ("brine", "Amber", "Coal"):
        ContactFactory(name=name)
    assert listed(signed_in) == ["Amber", "brine", "Coal"]
    assert listed(signed_in, "?sort=-name") == ["Coal", "brine", "Amber"]


def test_the_list_costs_the_same_queries_however_long_it_is(signed_in, django_assert_num_queries):
    ContactFactory()
    with django_assert_num_queries(5):
        signed_in.get(reverse("contacts"))
    HoldFactory.create_batch(6)
    with django_assert_num_queries(5):
        signed_in.get(reverse("contacts"))


def test_an_empty_list_says_where_contacts_come_from(signed_in):
    assert reverse("contact_new") in signed_in.get(reverse("contacts")).content.decode()


def test_the_page_shows_what_they_hold_and_what_came_from_them(signed_in):
    contact = ContactFactory(name="Quay keeper")
    hold = HoldFactory(contact=contact, until=localdate())
    terms = AcquisitionTerms.objects.create(
        acquisition=AcquisitionFactory(), contact=contact, amount=30, currency="EUR"
    )
    page = signed_in.get(reverse("contact", args=[contact.pk])).content.decode()
    assert hold.plug.code in page
    assert str(terms.acquisition.lineage) in page
    assert "€30.00" in page


def some_of_everything(contact, day, keeper):
    """One more of each kind of thing that the page of a contact shows."""
    sale = sell_now(contact=contact, items=items_of(*ReadyPlugFactory.create_batch(2)), today=day, by=keeper)
    report_claim(line=sale.lines.first(), kind="dead", on=day, today=day, by=keeper)
    agree_sale(sale=begun(today=day, contact=contact), today=day, by=keeper)
    lines = [PackLine(lineage=f"Quay Lantern {sale.pk}")]
    trade(contact=contact, plugs=[ReadyPlugFactory()], lines=lines, on=day, today=day, by=keeper)
    for outcome in ("", "theirs"):
        kept = leave_with(plug=ReadyPlugFactory(), contact=contact, on=day, today=day, by=keeper)
        if outcome:
            end_safekeeping(safekeeping=kept, outcome=outcome, on=day, today=day, by=keeper)
    HoldFactory(contact=contact, until=day)
    HoldFactory(contact=contact, until=day - timedelta(days=3), deposit=5)
    wait_for(plug=HoldFactory(until=day).plug, contact_name=contact.name, today=day, by=keeper)
    merge_contacts(contact=ContactFactory(), into=contact, today=day, by=keeper)
    Credit.objects.create(contact=contact, amount=5, currency="EUR", on=day)
    pay_out_credit(contact=contact, amount=Decimal(2), currency="EUR", today=day, by=keeper)
    AcquisitionTerms.objects.create(acquisition=AcquisitionFactory(), contact=contact, amount=30, currency="EUR")


def test_the_page_costs_the_same_queries_however_much_there_is(signed_in, keeper, django_assert_num_queries):
    contact, day = ContactFactory(), localdate()
    some_of_everything(contact, day, keeper)
    with django_assert_num_queries(25):
        signed_in.get(reverse("contact", args=[contact.pk]))
    for _ in range(3):
        some_of_everything(contact, day, keeper)
    with django_assert_num_queries(25):
        signed_in.get(reverse("contact", args=[contact.pk]))


def test_the_page_shows_all_that_is_between_with_counts_and_links(signed_in, keeper):
    contact, day = ContactFactory(name="Quay keeper"), localdate()
    for _ in range(2):
        some_of_everything(contact, day, keeper)
    answer = signed_in.get(reverse("contact", args=[contact.pk]))
    page = answer.content.decode()
    for heading in (
        "Held for them",
        "They wait for",
        "Their credit",
        "Sold to them",
        "Their claims",
        "Kept by them for you",
        "Traded with them",
        "Brought in from them",
        "Kept by them before",
        "Held before",
        "The same person",
    ):
        assert f"<h2>{heading}</h2>" in page or f"{heading}</h2>" in page, heading
    assert answer.context["counts"] == Between(
        held=2,
        held_before=6,  # a copy left with somebody notes who got it
        waiting=2,
        sales=4,
        trades=2,
        claims=2,
        kept=2,
        kept_before=2,
        acquisitions=4,
        credits=4,
    )
    assert answer.context["owed"] == ["€100.00"]
    for claim in Claim.objects.all():
        assert reverse("claim", args=[claim.pk]) in page


@pytest.mark.parametrize("kind", KINDS)
def test_what_there_is_much_of_has_a_page_of_its_own(signed_in, keeper, kind, monkeypatch):
    monkeypatch.setattr("inventory.views.contacts.SHOWN", 1)
    contact, day = ContactFactory(name="Quay keeper"), localdate()
    for _ in range(2):
        some_of_everything(contact, day, keeper)
    address = reverse("contact_all", args=[contact.pk, kind])
    assert address in signed_in.get(reverse("contact", args=[contact.pk])).content.decode()
    answer = signed_in.get(address)
    assert len(answer.context["rows"]) >= 2
    empty = signed_in.get(reverse("contact_all", args=[ContactFactory().pk, kind]))
    assert "nothing of this kind" in empty.content.decode()


def test_there_is_no_other_list(signed_in):
    assert signed_in.get(reverse("contact_all", args=[ContactFactory().pk, "secrets"])).status_code == 404


# -- the same person


def test_two_contacts_are_made_one_after_a_look(signed_in, keeper):
    one, other = ContactFactory(name="Quay keepr", reach="77 12"), ContactFactory(name="Quay keeper", note="Cash")
    some_of_everything(one, localdate(), keeper)
    here = reverse("contact_same", args=[one.pk])
    assert here in signed_in.get(reverse("contact", args=[one.pk])).content.decode()
    assert "Quay keeper" in signed_in.get(here).content.decode()
    page = unescape(signed_in.get(here, {"name": "quay KEEPER"}).content.decode())
    for words in ("1 plug held", "2 sales", "1 claim", "77 12", "Cash", "cannot be undone"):
        assert words in page, words
    assert f"{reverse('contact_same', args=[other.pk])}?name=Quay%20keepr" in page
    one.refresh_from_db()
    assert one.merged_into is None
    for _ in range(2):  # sent twice
        answer = signed_in.post(here, {"name": "Quay keeper"}, follow=True)
        assert answer.redirect_chain[-1][0] == reverse("contact", args=[other.pk])
    one.refresh_from_db()
    assert one.merged_into == other
    page = answer.content.decode()
    assert "Quay keepr" in page
    assert "said by keeper" in page


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("", "Say which contact is the same person."),
        ("Nobody here", "No contact is called “Nobody here”."),
        ("quay  keeper", "is this contact itself"),
    ],
)
def test_who_cannot_be_the_same_person_is_said(signed_in, name, words):
    contact = ContactFactory(name="Quay keeper")
    answer = signed_in.get(reverse("contact_same", args=[contact.pk]), {"name": name})
    assert answer.status_code == 422
    assert words in unescape(answer.content.decode())


def test_who_was_merged_is_shown_where_they_went_and_listed_nowhere(signed_in):
    one, other = ContactFactory(name="Sela Quay"), ContactFactory(name="Sela")
    merge_contacts(contact=one, into=other, today=localdate())
    for name in ("contact", "contact_edit", "contact_same", "contact_forget"):
        answer = signed_in.get(reverse(name, args=[one.pk]))
        assert answer["Location"] == reverse("contact", args=[other.pk])
    answer = signed_in.get(reverse("contact_all", args=[one.pk, "sales"]))
    assert answer["Location"] == reverse("contact", args=[other.pk])
    assert listed(signed_in) == ["Sela"]
    assert listed(signed_in, "?q=Quay") == ["Sela"]
    assert "Sela Quay" not in signed_in.get(reverse("sale_new"), follow=True).content.decode()


def test_who_is_remembered_follows_a_merge_and_is_no_name_in_the_session(signed_in):
    one, other = ContactFactory(name="Sela Quay"), ContactFactory(name="Sela")
    plug = ReadyPlugFactory()
    told = {"contact_name": "Sela Quay", "days": 7, "plugs": plug.code}
    signed_in.post(reverse("hold", args=[plug.code]), told)
    assert signed_in.session["hold_contact"] == {"id": one.pk}
    merge_contacts(contact=one, into=other, today=localdate())
    page = signed_in.get(reverse("hold", args=[ReadyPlugFactory().code]))
    assert page.context["form"].initial["contact_name"] == "Sela"


def test_likely_duplicates_are_told_quietly(signed_in):
    pairs = [("Mira Quay", "Mira Quai"), ("Sela Tide", "Tide Sela")]
    for pair in pairs:
        for name in pair:
            ContactFactory(name=name)
    for reach in ("0171 555 01", "0171 55501"):
        ContactFactory(name=f"Reached at {reach.replace(' ', '')[-3:]}{len(reach)}", reach=reach)
    ContactFactory(name="Stall 1")
    ContactFactory(name="Stall 2")
    answer = signed_in.get(reverse("contacts"))
    found = {frozenset(each.name for each in pair) for pair in answer.context["alike"]}
    assert found == {*map(frozenset, pairs), frozenset({"Reached at 50111", "Reached at 50110"})}
    assert "3 pairs of contacts look alike" in answer.content.decode()
    assert signed_in.get(reverse("contacts"), {"q": "Mira"}).context["alike"] == []


# -- forgetting


def test_what_is_open_is_named_with_the_way_out(signed_in):
    contact, day = ContactFactory(name="Quay keeper"), localdate()
    sale = begun(today=day, contact=contact)
    address = reverse("contact_forget", args=[contact.pk])
    answer = signed_in.post(address)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Not yet" in page
    assert reverse("sale", args=[sale.pk]) in page
    assert "Forget them for good" not in page
    contact.refresh_from_db()
    assert contact.forgotten_on is None


def test_somebody_is_forgotten_after_a_look(signed_in, keeper):
    contact, day = ContactFactory(name="Quentessa", reach="77 12"), localdate()
    sale = sell_now(contact=contact, items=items_of(ReadyPlugFactory()), today=day, note="Quick", by=keeper)
    close_sale(sale=sale, today=day, by=keeper)
    wait_for(plug=HoldFactory(until=day).plug, contact_name=contact.name, today=day)
    ColonyFactory(note="A frag went to Quentessa")
    LineageFactory(name="Quentessa Ember")
    address = reverse("contact_forget", args=[contact.pk])
    assert address in signed_in.get(reverse("contact", args=[contact.pk])).content.decode()
    page = unescape(signed_in.get(address).content.decode())
    for words in (
        "It cannot be undone",
        f"Forgotten person {contact.pk}",
        "1 note on what was between you",
        "1 paper of theirs",
        "1 sale",
        "A frag went to Quentessa",
        "Lineage: Quentessa Ember",
        "They wait for",
    ):
        assert words in page, words
    refused = signed_in.post(address)
    assert refused.status_code == 422
    assert "Tick this first" in refused.content.decode()
    answer = signed_in.post(address, {"end_waiting": "on"}, follow=True)
    page = answer.content.decode()
    assert f"Forgotten person {contact.pk}" in page
    assert "Forgotten at their wish" in page
    assert "Quentessa" not in page
    assert reverse("sale", args=[sale.pk]) in page
    assert reverse("contact_edit", args=[contact.pk]) not in page
    assert signed_in.get(address)["Location"] == reverse("contact", args=[contact.pk])
    assert signed_in.get(reverse("contact_edit", args=[contact.pk])).status_code == 302
    assert listed(signed_in) == [other.name for other in Contact.objects.known()]


def test_notes_that_do_not_mean_them_are_left(signed_in):
    contact, colony = ContactFactory(name="Green"), ColonyFactory(note="Green tips")
    signed_in.post(reverse("contact_forget", args=[contact.pk]), {"leave_notes": "on"})
    colony.refresh_from_db()
    assert colony.note == "Green tips"
    assert not Contact.objects.filter(name="Green").exists()


def test_who_was_forgotten_is_refused_by_name(signed_in):
    contact = forget_contact(contact=ContactFactory(), today=localdate())
    plug = ReadyPlugFactory()
    answer = signed_in.post(reverse("hold", args=[plug.code]), {"contact_name": contact.name, "days": 7})
    assert answer.status_code == 422
    assert "was forgotten on" in answer.content.decode()
    sold = signed_in.post(reverse("contact_credit_end", args=[contact.pk]), {"currency": "EUR"})
    assert sold["Location"] == reverse("contact", args=[contact.pk])


def test_credit_is_given_up_once(signed_in):
    contact = ContactFactory()
    Credit.objects.create(contact=contact, amount=12, currency="EUR", on=localdate())
    here = reverse("contact_credit_end", args=[contact.pk])
    assert here in signed_in.get(reverse("contact", args=[contact.pk])).content.decode()
    for words in ("€12.00 of credit is given up.", "has no credit in EUR any more"):  # sent twice
        answer = signed_in.post(here, {"currency": "EUR"}, follow=True)
        assert words in answer.content.decode()
    assert credits_of(contact) == {"EUR": 0}


# -- entering and changing


def test_a_contact_is_entered_and_changed(signed_in, keeper):
    answer = signed_in.post(reverse("contact_new"), {"name": "  Quay   keeper ", "reach": "the market", "note": ""})
    contact = Contact.objects.get()
    assert answer.url == reverse("contact", args=[contact.pk])
    assert contact.name == "Quay keeper"
    edit = reverse("contact_edit", args=[contact.pk])
    based_on = signed_in.get(edit).context["form"].initial["based_on"]
    signed_in.post(edit, {"name": "Quay keeper", "reach": "by the pier", "note": "", "based_on": based_on})
    contact.refresh_from_db()
    assert contact.reach == "by the pier"
    assert contact.history.first().history_user == keeper


def test_a_duplicate_is_named_with_a_link_to_it(signed_in):
    known = ContactFactory(name="Quay keeper")
    answer = signed_in.post(reverse("contact_new"), {"name": "QUAY keeper", "reach": "the market", "note": ""})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f'href="{reverse("contact", args=[known.pk])}"' in page
    assert 'value="the market"' in page
    assert Contact.objects.count() == 1


def test_a_near_duplicate_is_asked_about_with_a_link(signed_in):
    known = ContactFactory(name="Quay keeper")
    told = {"name": "Quay keepr", "reach": "", "note": ""}
    page = signed_in.post(reverse("contact_new"), told).content.decode()
    assert f'href="{reverse("contact", args=[known.pk])}"' in page
    assert Contact.objects.count() == 1
    signed_in.post(reverse("contact_new"), told | {"somebody_new": "on"})
    assert Contact.objects.count() == 2


def test_two_people_who_change_one_contact_do_not_undo_each_other(signed_in):
    contact = ContactFactory(name="Quay keeper")
    edit = reverse("contact_edit", args=[contact.pk])
    based_on = signed_in.get(edit).context["form"].initial["based_on"]
    contact.reach = "the market"
    contact.save()
    answer = signed_in.post(edit, {"name": "Quay keeper", "reach": "mine", "note": "", "based_on": based_on})
    assert "changed by somebody else" in answer.content.decode()
    contact.refresh_from_db()
    assert contact.reach == "the market"


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"name": ""}, "Give the contact a name, or a nickname."),
        ({"name": "   "}, "Give the contact a name, or a nickname."),
        ({"name": "Q" * 121}, "This has 121 characters; 120 fit."),
        ({"name": "Q", "reach": "r" * 201}, "This has 201 characters; 200 fit."),
    ],
)
def test_what_cannot_be_is_named(signed_in, told, words):
    answer = signed_in.post(reverse("contact_new"), told)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Contact.objects.exists()


def test_markup_in_a_name_stays_text(signed_in):
    known = ContactFactory(name="<b>Quay</b>")
    answer = signed_in.post(reverse("contact_new"), {"name": "<b>quay</b>"})
    assert "<b>Quay</b>" not in answer.content.decode()
    assert "<b>Quay</b>" not in signed_in.get(reverse("contact", args=[known.pk])).content.decode()
