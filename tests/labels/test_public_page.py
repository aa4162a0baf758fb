"""What a stranger sees of a plug: its line and days, and nothing of the keeper's."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils.html import strip_tags

from inventory.models import AcquisitionTerms, LineagePrice
from propagation import codes
from propagation.models import Plug, Preferences
from propagation.throttle import forget_guesses
from tests.factories import ColonyFactory, ContactFactory, CutEventFactory, PlacementFactory, PlugFactory, RackFactory
from tests.keeper_on_papers import keep_for_papers, tells_of_it

pytestmark = pytest.mark.django_db

UNKNOWN = codes.new_code()


@pytest.fixture(autouse=True)
def no_guesses():
    forget_guesses()


@pytest.fixture
def plug(django_user_model):
    """A plug of the second generation whose records are full of what strangers must not see."""
    django_user_model.objects.create_user("secret-user-name", email="secret@mail.example")
    first = ColonyFactory(
        tag="GRAND-1", lineage__name="Harbour Ember", lineage__sold_as="Secret trade name", lineage__note="Secret note"
    )
    lineage = first.lineage
    AcquisitionTerms.objects.create(
        acquisition=first.acquisition,
        contact=ContactFactory(name="Secret Contact", reach="0000 secret"),
        amount=77,
        currency="EUR",
    )
    LineagePrice.objects.create(lineage=lineage, amount="12.34")
    grown = PlugFactory(cut_event=CutEventFactory(mother=first, session__cut_on=date(2025, 3, 3)))
    Plug.objects.filter(pk=grown.pk).update(fate="grown_on", ended_on=date(2025, 6, 1))
    mother = ColonyFactory(tag="MOTHER-2", grown_from=grown, lineage=lineage, began_on=date(2025, 6, 1))
    PlacementFactory(colony=mother, spot__name="Secret ledge", spot__system__name="Secret system")
    ColonyFactory(tag="NEIGHBOUR", lineage=lineage)
    event = CutEventFactory(mother=mother, session__cut_on=date(2026, 4, 1), frags=23, note="Secret cut note")
    PlugFactory.create_batch(3, cut_event=event)
    rack = RackFactory(name="Secret rack", system__name="Secret other system")
    return PlugFactory(cut_event=event, rack=rack, rack_row=1, rack_column=1, note="Secret plug note")


def seen(client, code):
    answer = client.get(reverse("scan", args=[code]))
    return answer, answer.content.decode()


def test_a_stranger_sees_the_line_and_its_descent_with_days(client, plug):
    answer, told = seen(client, plug.code)
    assert answer.status_code == 200
    for word in ("Harbour Ember", "Acropora millepora", "MOTHER-2", "GRAND-1", plug.code_in_clear[:4]):
        assert word in told
    for day in ("1 April 2026", "1 Apr 2026", "1 Jun 2025", "3 Mar 2025", "10 Jan 2024"):
        assert day in told
    assert [step.title for step in answer.context["line"].steps] == [
        "This frag was cut",
        "Colony MOTHER-2 began",
        "Cut",
        "Came to the keeper",
    ]


def test_a_stranger_sees_nothing_of_the_keepers(client, plug):
    _, told = seen(client, plug.code)
    assert "secret" not in told.lower()
    words = strip_tags(told)
    others = Plug.objects.exclude(pk=plug.pk)
    assert not any(code in told + words for other in others for code in (other.code, other.code_in_clear))
    words = words.replace(plug.code_in_clear, "")  # a code may hold any figures
    for secret in ("12.34", "77", "NEIGHBOUR", "23 frags", "Bought"):
        assert secret not in words


def test_the_keeper_is_named_only_by_choice(client, plug):
    assert "grown by" not in seen(client, plug.code)[1]
    Preferences.objects.update_or_create(pk=1, defaults={"display_name": "The Backwater Bench"})
    assert "grown by The Backwater Bench" in seen(client, plug.code)[1]


def test_what_is_written_for_papers_is_not_on_it(client, plug):
    keep_for_papers()
    for code in (plug.code, plug.cut_event.mother.code, UNKNOWN):
        told = seen(client, code)[1]
        assert not tells_of_it(told)
        assert "grown by" not in told, "the name on papers stands in for no other"


def test_a_colony_has_a_public_page_too(client, plug):
    _, told = seen(client, plug.cut_event.mother.code)
    assert "MOTHER-2" in told
    assert "Harbour Ember" in told


def test_search_engines_are_kept_out(client, plug):
    answer, told = seen(client, plug.code)
    assert 'name="robots" content="noindex' in told
    assert "noindex" in answer["X-Robots-Tag"]
    assert "no-store" in answer["Cache-Control"]


def test_an_unknown_and_a_mistyped_code_are_answered_alike(client, plug):
    wrong = plug.code[:-1] + ("2" if plug.code[-1] != "2" else "3")
    pages = [seen(client, code) for code in (wrong, UNKNOWN, "x", "-", plug.cut_event.mother.tag)]
    assert {answer.status_code for answer, _ in pages} == {404}
    assert len({told for _, told in pages}) == 1


def test_a_wrong_code_is_looked_up_like_an_unknown_one(client, plug, django_assert_num_queries):
    with django_assert_num_queries(3):
        seen(client, "AAAAAAAA")
    with django_assert_num_queries(3):
        seen(client, UNKNOWN)


def test_a_plug_recorded_by_mistake_is_unknown(client, plug):
    day = plug.began_on + timedelta(days=1)
    Plug.objects.filter(pk=plug.pk).update(fate="void", ended_on=day, rack=None, rack_row=None, rack_column=None)
    assert seen(client, plug.code)[0].status_code == 404


def test_switched_off_every_code_gets_the_same_answer(client, plug):
    Preferences.objects.update_or_create(pk=1, defaults={"public_pages": False})
    right, wrong = seen(client, plug.code), seen(client, "AAAAAAAA")
    assert right[0].status_code == wrong[0].status_code == 404
    assert right[1] == wrong[1]
    assert "does not publish lineages" in right[1]
    assert "Harbour" not in right[1]
