"""What is likely ready before long: the page and the command."""

import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.readings.ready_soon import frags_ready_soon
from propagation.readings.healing_outlook import learned_healing
from tests.factories import (
    AcquisitionFactory,
    CutEventFactory,
    CuttingSessionFactory,
    LineageFactory,
    PlugFactory,
    RackFactory,
    ReadyPlugFactory,
)

pytestmark = pytest.mark.django_db


def cut_days_ago(days, *, looked_at=None, **given):
    today = localdate()
    session = CuttingSessionFactory(cut_on=today - timedelta(days=days))
    checked_on = today - timedelta(days=days if looked_at is None else looked_at)
    return PlugFactory(cut_event=CutEventFactory(session=session), checked_on=checked_on, **given)


def listed(signed_in, query=""):
    rows = signed_in.get(f"{reverse('ready_soon')}{query}").context["table"].rows
    return [frag.plug.pk for row in rows for frag in row.record.frags]


def said(*arguments):
    out = StringIO()
    call_command("ready", "--soon", *arguments, stdout=out)
    return out.getvalue()


def test_the_first_to_heal_comes_first_and_only_what_may_leave_is_listed(signed_in):
    late, early = cut_days_ago(2), cut_days_ago(9)
    cut_days_ago(5, is_insurance=True)
    ReadyPlugFactory()
    PlugFactory(acquisition=AcquisitionFactory())
    assert listed(signed_in) == [early.pk, late.pk]


def test_what_lies_further_ahead_is_left_out(signed_in):
    soon = cut_days_ago(20)
    slow = cut_days_ago(400, looked_at=0)
    found = frags_ready_soon(localdate(), within=0)
    assert soon.pk not in [frag.plug.pk for frag in found]
    assert slow.pk not in [frag.plug.pk for frag in found]
    assert set(listed(signed_in)) == {soon.pk, slow.pk}


def test_one_whose_day_has_passed_asks_for_a_look(signed_in):
    cut_days_ago(200)
    page = signed_in.get(reverse("ready_soon")).content.decode()
    assert "should be by now" in page
    assert "1 of them may be healed already" in page


def test_plugs_cut_and_seen_together_stand_in_one_row(signed_in):
    event = CutEventFactory(session=CuttingSessionFactory(cut_on=localdate() - timedelta(days=4)))
    plugs = [PlugFactory(cut_event=event) for _ in range(3)]
    alone = cut_days_ago(4)
    answer = signed_in.get(reverse("ready_soon"))
    assert [len(row.record.frags) for row in answer.context["table"].rows] == [3, 1]
    for plug in [*plugs, alone]:
        assert reverse("plug", args=[plug.code]) in answer.content.decode()


def test_the_tab_counts_them_and_the_page_says_how_many_to_expect(signed_in):
    for _ in range(10):
        cut_days_ago(3)
    page = signed_in.get(reverse("ready_soon")).content.decode()
    assert '<span class="tab-count">10</span>' in page
    assert "Of 10 plugs, about <strong>9</strong>" in page


def test_each_empty_page_says_why(signed_in):
    page = signed_in.get(reverse("ready_soon")).content.decode()
    assert "Nothing is healing either" in page
    cut_days_ago(3, is_insurance=True)
    page = signed_in.get(reverse("ready_soon")).content.decode()
    assert "Nothing is ready so soon" in page


def test_it_costs_the_same_queries_for_any_number(signed_in, django_assert_num_queries):
    cut_days_ago(3, rack=RackFactory())
    learned_healing(localdate())
    # session, keeper, plugs that heal, what was learned, the page's plugs
    with django_assert_num_queries(5):
        signed_in.get(reverse("ready_soon"))
    for _ in range(30):
        cut_days_ago(4, rack=RackFactory())
    with django_assert_num_queries(5):
        assert len(listed(signed_in)) == 25


@pytest.mark.parametrize("page", ["2", "0", "-1", "many", "9" * 40])
def test_any_page_is_answered(signed_in, page):
    for _ in range(26):
        cut_days_ago(4)
    assert len(listed(signed_in, f"?page={page}")) in (1, 25)


def test_the_command_tells_the_window_and_the_chance():
    plug = cut_days_ago(10, rack=RackFactory(name="Rack A"), rack_row=2, rack_column=3)
    (told,) = json.loads(said("--json"))
    assert told["code"] == plug.code_in_clear
    assert told["earliest"] <= told["likely"] <= told["latest"]
    assert 0.5 < told["probability"] < 1
    assert (told["rack"], told["row"], told["column"]) == ("Rack A", 2, 3)
    assert "9 in 10" in said()


def test_the_command_takes_a_line_and_a_number_of_days():
    lineage = LineageFactory()
    cut_days_ago(2)
    assert json.loads(said("--json", "--lineage", lineage.name)) == []
    assert json.loads(said("--json", "--within", "1")) == []
    assert said("--within", "1") == "Nothing is likely ready so soon.\n"


def test_the_command_refuses_days_that_make_no_sense():
    with pytest.raises(CommandError, match="0 to 365 days, not -3"):
        said("--within", "-3")
    with pytest.raises(CommandError, match="goes with --soon"):
        call_command("ready", "--within", "3", stdout=StringIO())
