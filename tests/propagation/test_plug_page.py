"""A plug's page."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from propagation import codes
from propagation.actions.acquire import acquire_plugs
from propagation.actions.check_healing import check_healing, find_dead
from propagation.actions.grow_on import grow_on
from propagation.actions.put_on_rack import put_on_rack
from propagation.models import HealingCheck
from propagation.readings.healing_outlook import learned_healing
from tests.factories import ColonyFactory, HoldFactory, LineageFactory, PlugFactory, RackFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def plug():
    return PlugFactory(rack=RackFactory(name="Rack A"), rack_row=1, rack_column=2)


@pytest.fixture
def shown(signed_in):
    def show(plug):
        return signed_in.get(reverse("plug", args=[plug.code])).content.decode()

    return show


def test_it_tells_what_the_plug_is_and_where_it_comes_from(shown, plug):
    page = shown(plug)
    for words in (plug.code[:4], plug.lineage.name, "Identity unknown", plug.cut_event.mother.tag, "25\xa0mm", "A 2"):
        assert words in page
    assert reverse("colony", args=[plug.cut_event.mother.tag]) in page
    assert reverse("rack_grid", args=[plug.rack_id]) in page


def test_the_next_stage_is_one_tap_away(signed_in, shown, plug):
    assert "Mark as sealed" in shown(plug)
    answer = signed_in.post(
        reverse("plugs_heal"), {"plugs": plug.pk, "from": f"plug:{plug.code}", "stage": "sealed"}, follow=True
    )
    page = answer.content.decode()
    assert answer.redirect_chain[-1][0] == reverse("plug", args=[plug.code])
    assert "1 plug marked as sealed." in page
    assert "Mark as encrusting" in page


def test_a_refused_act_shows_the_page_again(signed_in, plug):
    answer = signed_in.post(reverse("plugs_dead"), {"plugs": plug.pk, "from": f"plug:{plug.code}"})
    assert answer.status_code == 422
    assert "Say why they died" in answer.content.decode()


def test_what_can_be_done_next_is_linked(shown):
    page = shown(ReadyPlugFactory())
    for words in ("Grow on", "Label", "Correct", "Set aside as insurance", "It is dead", "Still healed"):
        assert words in page


def test_it_says_to_whom_it_is_promised(shown):
    hold = HoldFactory(until=date(2126, 1, 1))
    assert f"is promised to {hold.contact}" in shown(hold.plug)


def test_the_life_line_runs_from_the_cut_to_the_colony(shown, plug, today, keeper):
    check_healing(plugs=[plug], stage="sealed", on=today - timedelta(days=9), today=today, by=keeper)
    check_healing(plugs=[plug], stage="fresh", on=today - timedelta(days=5), today=today, by=keeper)
    put_on_rack(plugs=[plug], rack=plug.rack, row=2, column=1, by=keeper)
    grow_on(plug=plug, tag="G7", on=today, today=today, by=keeper)
    page = shown(plug)
    places = [
        page.index(words)
        for words in (
            f"Cut from {plug.cut_event.mother.tag}",
            "Put on Rack A, A 2",
            "Back to fresh: it lost tissue",
            "Grown on as G7",
        )
    ]
    assert places == sorted(places)
    assert "Moved to Rack A, B 1" in page
    assert "Mark as" not in page
    assert reverse("colony", args=["G7"]) in page


def test_a_plug_from_outside_tells_how_it_came(shown, today):
    plug = acquire_plugs(lineage=LineageFactory(), count=1, on=today, today=today, kind="gift")[0]
    page = shown(plug)
    assert "Gift" in page
    assert "Mother" not in page


def test_a_check_is_taken_back_with_a_trace(signed_in, shown, plug, today, keeper):
    check_healing(plugs=[plug], stage="sealed", on=today, today=today, by=keeper)
    check = HealingCheck.objects.get()
    signed_in.post(reverse("check_take_back", args=[plug.code, check.pk]))
    page = shown(plug)
    assert "Took back the check “sealed” of 15 Jun 2026, which keeper had recorded." in page
    plug.refresh_from_db()
    assert plug.stage == "fresh"


def test_a_wrong_death_is_taken_back_on_the_page(signed_in, shown, plug, today):
    find_dead(plugs=[plug], reason="broken", on=today, today=today)
    page = shown(plug)
    assert "broken or fell off" in page
    assert "Take back" in page
    answer = signed_in.post(reverse("check_take_back", args=[plug.code, HealingCheck.objects.get().pk]), follow=True)
    assert "taken back" in answer.content.decode()
    assert "It lives: the death was entered by mistake." in shown(plug)


def test_a_check_is_not_taken_back_through_the_page_of_another_plug(signed_in, plug, today):
    check_healing(plugs=[plug], stage="sealed", on=today, today=today)
    other = PlugFactory()
    answer = signed_in.post(reverse("check_take_back", args=[other.code, HealingCheck.objects.get().pk]))
    assert answer.status_code == 404
    assert HealingCheck.objects.standing().exists()


@pytest.mark.parametrize(("fate", "words"), [("sold", "It left on"), ("given", "It left on"), ("void", "by mistake")])
def test_what_left_says_so_and_offers_nothing_more_to_do(shown, fate, words):
    page = shown(PlugFactory(fate=fate, ended_on=date(2026, 6, 1)))
    assert words in page
    assert "It is dead" not in page


def test_too_few_living_copies_are_said_gently(shown, plug):
    assert "2 living copies wanted, 1 kept" in shown(plug)


@pytest.mark.parametrize("written", [str.lower, codes.in_clear])
def test_a_code_written_another_way_leads_to_the_one_address(signed_in, plug, written):
    answer = signed_in.get(f"/plugs/{written(plug.code)}/")
    assert answer.url == reverse("plug", args=[plug.code])


def test_a_mistyped_code_says_so_and_names_the_near_one(signed_in, plug):
    wrong = next(letter for letter in codes.ALPHABET if letter != plug.code[0]) + plug.code[1:]
    answer = signed_in.get(f"/plugs/{wrong}/")
    page = answer.content.decode()
    assert answer.status_code == 404
    assert "is mistyped" in page
    assert reverse("plug", args=[plug.code]) in page


def test_an_unknown_code_says_so(signed_in):
    code = codes.new_code()
    answer = signed_in.get(f"/plugs/{code}/")
    assert answer.status_code == 404
    assert f"There is no plug with the code “{codes.in_clear(code)}”" in answer.content.decode()


def test_the_code_of_a_colony_leads_to_the_colony(signed_in):
    colony = ColonyFactory()
    assert signed_in.get(f"/plugs/{colony.code}/").url == reverse("colony", args=[colony.tag])


def test_strangers_see_no_plug(client, plug):
    assert "sign-in" in client.get(reverse("plug", args=[plug.code])).url


@pytest.mark.parametrize("checks", [1, 5])
def test_the_page_takes_the_same_number_of_queries_however_long_the_life(
    signed_in, plug, today, django_assert_num_queries, checks
):
    for day in range(checks):
        check_healing(plugs=[plug], stage="sealed", on=today - timedelta(days=day), today=today)
    learned_healing(today)
    # session, keeper, plug, history, spots, checks, lineage, promises (holds, sales), who waits, how plugs heal,
    # (preferences for the unit)
    with django_assert_num_queries(14):
        signed_in.get(reverse("plug", args=[plug.code]))
