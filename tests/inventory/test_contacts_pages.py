"""Contacts: the list, one of them with what stands between, entering and changing."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.models import AcquisitionTerms, Contact
from tests.factories import AcquisitionFactory, ContactFactory, HoldFactory

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
    with django_assert_num_queries(4):
        signed_in.get(reverse("contacts"))
    HoldFactory.create_batch(6)
    with django_assert_num_queries(4):
        signed_in.get(reverse("contacts"))


def test_an_empty_list_says_where_contacts_come_from(signed_in):
    assert reverse("contact_new") in signed_in.get(reverse("contacts")).content.decode()


def test_the_page_shows_what_they_hold_and_what_came_from_them(signed_in):
    contact = ContactFactory(name="Quay keeper")
    hold = HoldFactory(contact=contact, until=localdate())
    terms = AcquisitionTerms.objects.create(acquisition=AcquisitionFactory(), contact=contact, amount=30)
    page = signed_in.get(reverse("contact", args=[contact.pk])).content.decode()
    assert hold.plug.code in page
    assert str(terms.acquisition.lineage) in page
    assert "€30.00" in page


def test_the_page_costs_the_same_queries_however_much_there_is(signed_in, django_assert_num_queries):
    contact = ContactFactory()
    HoldFactory(contact=contact, until=localdate())
    with django_assert_num_queries(14):
        signed_in.get(reverse("contact", args=[contact.pk]))
    HoldFactory.create_batch(4, contact=contact, until=localdate())
    HoldFactory.create_batch(4, contact=contact, until=localdate() - timedelta(days=3))
    with django_assert_num_queries(14):
        signed_in.get(reverse("contact", args=[contact.pk]))


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
