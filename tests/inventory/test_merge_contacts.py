"""Two contacts that are one person: all that was between is the one's, nothing is lost, and no rings are made."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, transaction
from django.utils.timezone import localdate

from inventory.actions.acquire_from import Deal, acquire_plugs_from
from inventory.actions.begin_sale import agree_sale, begin_sale
from inventory.actions.hand_over import hand_over, undo_handing_over
from inventory.actions.hold_plugs import hold_plugs
from inventory.actions.keep_contact import contact_named, keep_contact
from inventory.actions.keep_safe import leave_with
from inventory.actions.merge_contacts import LONGEST_REACH, RECORDS, merge_contacts
from inventory.actions.sell_at_market import NOBODY_NAMED
from inventory.actions.trade import trade
from inventory.actions.wait_in_line import wait_for
from inventory.errors import NearlyTheSameName
from inventory.forms.holds import contact_suggestions
from inventory.models import AcquisitionTerms, Contact, Credit, Hold, Waiting
from propagation.actions.acquire import PackLine
from propagation.errors import AlreadyDone, BadValue, NameTaken
from tests.factories import ContactFactory, HoldFactory, ReadyPlugFactory
from tests.inventory.sales import begun, items_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def today():
    return localdate()


@pytest.fixture
def two():
    return ContactFactory(name="Sela Quay", reach="77 12"), ContactFactory(name="Sela", reach="the club")


def something_of_everything(contact, today, by=None):
    """A record of every kind that points at a contact."""
    hold_plugs(plugs=[ReadyPlugFactory()], contact=contact, until=today, today=today, by=by)
    taken = HoldFactory(until=today).plug
    wait_for(plug=taken, contact_name=contact.name, today=today, by=by)
    begun(today=today, contact=contact, by=by)
    trade(
        contact=contact,
        plugs=[ReadyPlugFactory()],
        lines=[PackLine(lineage=f"Quay Lantern {contact.pk}")],
        on=today,
        today=today,
        by=by,
    )
    leave_with(plug=ReadyPlugFactory(), contact=contact, on=today, today=today, by=by)
    Credit.objects.create(contact=contact, amount=Decimal(5), currency="EUR", on=today)


def test_every_record_that_points_at_a_contact_is_known():
    """Fails when a new one is added and merging, and forgetting, were not taught about it."""
    names = {relation.get_accessor_name(): relation.related_model for relation in Contact._meta.related_objects}
    assert names.pop("merged") is Contact
    assert names == RECORDS


def test_everything_goes_to_the_other(two, today, keeper):
    one, other = two
    something_of_everything(one, today)
    before = {name: set(getattr(one, name).values_list("pk", flat=True)) for name in RECORDS}
    assert all(before.values()), before
    assert merge_contacts(contact=one, into=other, today=today, by=keeper) == other
    for name, model in RECORDS.items():
        assert not getattr(one, name).exists()
        assert before[name] <= set(getattr(other, name).values_list("pk", flat=True))
        for row in model.objects.filter(pk__in=before[name]):
            last = row.history.first()
            assert (last.contact_id, last.history_user) == (other.pk, keeper)
            assert f"contact {one.pk} merged into contact {other.pk}" in last.history_change_reason
            assert row.history.last().contact_id == one.pk
    one.refresh_from_db()
    assert one.merged_into == other
    assert one.history.first().history_user == keeper


def test_ways_and_notes_of_both_are_kept(today):
    one = ContactFactory(name="One", reach="77 12", note="Pays cash")
    other = ContactFactory(name="Other", reach="the club", note="Likes green")
    merged = merge_contacts(contact=one, into=other, today=today)
    assert (merged.reach, merged.note) == ("the club; 77 12", "Likes green\n\nPays cash")
    same = ContactFactory(name="Same", reach="77 12", note="Pays cash")
    merged = merge_contacts(contact=same, into=other, today=today)
    assert (merged.reach, merged.note) == ("the club; 77 12", "Likes green\n\nPays cash")


def test_a_way_that_does_not_fit_goes_to_the_note(today):
    one = ContactFactory(reach="a" * LONGEST_REACH, note="First")
    other = ContactFactory(reach="b" * LONGEST_REACH)
    merged = merge_contacts(contact=one, into=other, today=today)
    assert merged.reach == "b" * LONGEST_REACH
    assert merged.note == f"First\n\nAlso reached: {'a' * LONGEST_REACH}"


def test_the_earlier_place_in_line_stays(two, today, keeper):
    one, other = two
    held = [HoldFactory(until=today).plug for _ in range(2)]
    first = wait_for(plug=held[0], contact_name=one.name, today=today)
    second = wait_for(plug=held[0], contact_name=other.name, today=today)
    third = wait_for(plug=held[1], contact_name=other.name, today=today)
    fourth = wait_for(plug=held[1], contact_name=one.name, today=today)
    merge_contacts(contact=one, into=other, today=today, by=keeper)
    assert set(Waiting.objects.filter(contact=other, ended_on=None)) == {first, third}
    assert set(Waiting.objects.filter(contact=other, ended_on=today)) == {second, fourth}


def test_nobody_waits_for_what_they_have(two, today):
    one, other = two
    held = HoldFactory(until=today, contact=other)
    wait_for(plug=held.plug, contact_name=one.name, today=today)
    in_sale = begun(today=today, contact=other, plugs=1).lines.get().plug
    wait_for(plug=in_sale, contact_name=one.name, today=today)
    merge_contacts(contact=one, into=other, today=today)
    assert not Waiting.objects.filter(ended_on=None).exists()


def test_who_was_merged_is_found_under_the_name_and_offered_nowhere(two, today):
    one, other = two
    merge_contacts(contact=one, into=other, today=today)
    assert contact_named(name="SELA quay") == other
    assert list(Contact.objects.known()) == [other]
    assert contact_suggestions() == {"contact-names": ["Sela"]}
    with pytest.raises(NearlyTheSameName) as refused:
        contact_named(name="Sela Quey", confirmed=False)
    assert [str(each) for each in refused.value.others] == ["Sela"]


def test_there_are_no_chains_and_no_rings(two, today):
    one, other = two
    third = ContactFactory(name="Sela from the club")
    merge_contacts(contact=one, into=other, today=today)
    merge_contacts(contact=other, into=third, today=today)
    one.refresh_from_db()
    assert one.merged_into == third
    assert contact_named(name="Sela Quay") == third
    for contact, into in ((third, one), (one, third), (other, one), (ContactFactory(), one)):
        if into == third:  # merged twice is merged once
            assert merge_contacts(contact=contact, into=into, today=today) == third
            continue
        with pytest.raises(AlreadyDone, match="was merged into Sela from the club"):
            merge_contacts(contact=contact, into=into, today=today)
    with pytest.raises(BadValue, match="this contact itself"):
        merge_contacts(contact=third, into=third, today=today)


def test_whoever_was_not_named_at_the_market_is_no_one_person(two, today):
    nobody = ContactFactory(name=NOBODY_NAMED)
    for contact, into in ((two[0], nobody), (nobody, two[0])):
        with pytest.raises(BadValue, match="gave no name at the market"):
            merge_contacts(contact=contact, into=into, today=today)


def test_the_database_refuses_a_chain_and_records_of_one_that_was_merged(two, today):
    one, other = two
    third = ContactFactory()
    merge_contacts(contact=one, into=other, today=today)
    for write in (
        lambda: Contact.objects.filter(pk=third.pk).update(merged_into=one),
        lambda: Contact.objects.filter(pk=other.pk).update(merged_into=third),
        lambda: HoldFactory(contact=one),
        lambda: Waiting.objects.create(plug=ReadyPlugFactory(), contact=one),
        lambda: Credit.objects.create(contact=one, amount=1, currency="EUR", on=today),
        lambda: AcquisitionTerms.objects.update(contact=one) or pytest.fail("nothing was written"),
    ):
        if not AcquisitionTerms.objects.exists():
            acquire_plugs_from(deal=Deal(today, contact_name="Sela"), lineage_name="Quay Ember", count=1, today=today)
        with pytest.raises(DatabaseError), transaction.atomic():
            write()


def test_who_was_merged_gets_nothing_more(two, today):
    one, other = two
    merge_contacts(contact=one, into=other, today=today)
    with pytest.raises(AlreadyDone, match="the same person as Sela; choose that name"):
        hold_plugs(plugs=[ReadyPlugFactory()], contact=one, until=today, today=today)
    with pytest.raises(AlreadyDone, match="the same person as Sela"):
        keep_contact(contact=one)
    assert not Hold.objects.exists()


def test_the_name_of_one_that_was_merged_may_be_taken_back(two, today):
    one, other = two
    merge_contacts(contact=one, into=other, today=today)
    other.refresh_from_db()
    other.name = "Sela Quay"
    keep_contact(contact=other)
    one.refresh_from_db()
    assert (other.name, one.name) == ("Sela Quay", "Sela")
    assert contact_named(name="sela") == other
    stranger = ContactFactory(name="Mira")
    stranger.name = "Sela"
    with pytest.raises(NameTaken) as refused:
        keep_contact(contact=stranger)
    assert refused.value.other == other


def test_what_was_handed_over_before_can_be_undone_after(two, today):
    one, other = two
    (hold,) = hold_plugs(
        plugs=[ReadyPlugFactory()], contact=one, until=today + timedelta(days=3), today=today, note="For the nano"
    )
    sale = begin_sale(contact=one, items=items_of(hold.plug), today=today)
    hand_over(sale=agree_sale(sale=sale, today=today), today=today)
    merge_contacts(contact=one, into=other, today=today)
    undo_handing_over(sale=sale, today=today)
    hold.refresh_from_db()
    assert (hold.contact, hold.released_on, hold.note) == (other, None, "For the nano")


def test_two_merges_in_opposite_directions_make_no_ring(at_once, two, today):
    one, other = two
    for contact in two:
        something_of_everything(contact, today)

    def merged(contact, into):
        return lambda: merge_contacts(contact=contact, into=into, today=today).pk

    answers = at_once([merged(one, other), merged(other, one)])
    assert sorted(type(answer).__name__ for answer in answers) == ["AlreadyDone", "int"], answers
    (rows,) = at_once([lambda: list(Contact.objects.filter(pk__in=[one.pk, other.pk]).values_list("merged_into"))])
    assert sorted(rows, key=str) in ([(one.pk,), (None,)], [(other.pk,), (None,)])


def test_what_is_written_down_during_a_merge_is_the_others_or_refused(at_once, two, today):
    one, other = two
    plugs = ReadyPlugFactory.create_batch(4)

    def hold(plug):
        return lambda: hold_plugs(plugs=[plug], contact=one, until=today, today=today)

    *_, answer = at_once([*map(hold, plugs), lambda: merge_contacts(contact=one, into=other, today=today)])
    assert type(answer).__name__ in ("Contact", "ChangedMeanwhile"), answer

    def read():
        merged = Contact.objects.get(pk=one.pk).merged_into_id
        return merged, list(Hold.objects.filter(contact=one))

    ((merged, left),) = at_once([read])
    assert (merged == other.pk) == isinstance(answer, Contact)
    assert merged is None or not left
