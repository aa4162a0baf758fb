"""Racks, and what is done with plugs that are chosen on them."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from propagation.models import HealingCheck, Plug
from propagation.readings.healing_outlook import learned_healing
from tests.factories import HoldFactory, PlugFactory, RackFactory, SpotFactory, SystemFactory

pytestmark = pytest.mark.django_db

FAR = date(2126, 1, 1)


@pytest.fixture
def rack():
    return RackFactory(name="Rack A", rack_rows=2, rack_columns=3)


def on_rack(rack, **fields):
    return PlugFactory(rack=rack, **fields)


def post(client, name, plugs, shown=None, **fields):
    chosen = {"plugs": [plug.pk for plug in plugs], "from": f"rack:{shown.pk}" if shown else "racks"}
    return client.post(reverse(name), {**chosen, **fields}, follow=True)


def text(answer):
    return answer.content.decode()


# -- what stands where


def test_every_rack_of_a_running_system_is_there_with_what_stands_on_it(signed_in, rack):
    on_rack(rack, rack_row=1, rack_column=1, checked_on=localdate())
    RackFactory(name="Old rack", system=SystemFactory(ended_on=date(2025, 1, 1)))
    SpotFactory(name="Ledge")
    page = text(signed_in.get(reverse("rack")))
    assert "Rack A: 1 plug: 1 fresh" in page
    assert "5 free cells" in page
    assert "Old rack" not in page
    assert "Ledge" not in page


def test_plugs_that_stand_nowhere_are_named_also_those_of_a_system_that_was_taken_down(signed_in, rack):
    nowhere = PlugFactory()
    gone = on_rack(RackFactory(system=SystemFactory(ended_on=date(2025, 1, 1))))
    dead = PlugFactory(fate="dead", ended_on=date(2026, 6, 1))
    standing = on_rack(rack)
    page = text(signed_in.get(reverse("rack")))
    assert f'value="{nowhere.pk}" data-choose' in page
    assert f'value="{gone.pk}" data-choose' in page
    assert f'value="{dead.pk}" data-choose' not in page
    assert f'value="{standing.pk}" data-choose' not in page


def test_without_a_rack_the_page_leads_to_the_systems(signed_in):
    assert "No rack yet" in text(signed_in.get(reverse("rack")))


def test_a_cell_tells_stage_lineage_overdue_check_promise_and_insurance(signed_in, rack):
    plug = on_rack(rack, rack_row=2, rack_column=3, stage="sealed")
    held = HoldFactory(until=FAR).plug
    Plug.objects.filter(pk=held.pk).update(rack=rack)
    on_rack(rack, is_insurance=True)
    page = text(signed_in.get(reverse("rack_grid", args=[rack.pk])))
    assert "B 3: " in page
    assert plug.code[4:] in page
    assert plug.lineage.name in page
    for words in ('aria-label="sealed"', "check is due", 'aria-label="promised"', 'aria-label="set aside"'):
        assert words in page
    assert "On this rack without a cell" in page


def test_an_empty_rack_leads_to_the_bench(signed_in, rack):
    page = text(signed_in.get(reverse("rack_grid", args=[rack.pk])))
    assert "Nothing stands here" in page
    assert reverse("cut") in page


def test_a_spot_that_is_no_rack_is_not_found(signed_in):
    assert signed_in.get(reverse("rack_grid", args=[SpotFactory().pk])).status_code == 404


def test_strangers_see_no_rack(client, rack):
    assert "sign-in" in client.get(reverse("rack_grid", args=[rack.pk])).url


@pytest.mark.parametrize("number", [1, 12])
def test_a_rack_takes_the_same_number_of_queries_whatever_stands_on_it(
    signed_in, rack, django_assert_num_queries, number
):
    for _ in range(number):
        on_rack(rack)
    learned_healing(localdate())
    # session, keeper, rack, preferences, plugs, promises (2), how plugs heal, copies, racks to move to
    with django_assert_num_queries(11):
        signed_in.get(reverse("rack_grid", args=[rack.pk]))


@pytest.mark.parametrize("number", [1, 6])
def test_all_racks_take_the_same_number_of_queries_whatever_there_is(signed_in, django_assert_num_queries, number):
    for _ in range(number):
        on_rack(RackFactory())
        PlugFactory()
    learned_healing(localdate())
    # session, keeper, preferences, plugs that stand nowhere, promises (2), how plugs heal, copies, racks, plugs there,
    # racks to move to
    with django_assert_num_queries(12):
        signed_in.get(reverse("rack"))


def test_a_filter_dims_the_others_and_can_choose_all_that_are_meant(signed_in, rack):
    fresh, sealed = on_rack(rack), on_rack(rack, stage="sealed")
    address = reverse("rack_grid", args=[rack.pk])
    answer = signed_in.get(address, {"stage": "sealed", "choose": "all"})
    cells = {cell.value: cell for cell in answer.context["standing"].cells}
    assert (cells[fresh.pk].disabled, cells[fresh.pk].checked) == (True, False)
    assert (cells[sealed.pk].disabled, cells[sealed.pk].checked) == (False, True)
    of_lineage = signed_in.get(address, {"lineage": fresh.lineage_id}).context["standing"].cells
    assert [cell.value for cell in of_lineage if not cell.disabled] == [fresh.pk]


def test_a_filter_by_overdue_checks_leaves_out_what_was_seen_lately(signed_in, rack):
    on_rack(rack, checked_on=localdate())
    late = on_rack(rack, checked_on=localdate() - timedelta(days=7))
    answer = signed_in.get(reverse("rack_grid", args=[rack.pk]), {"due": "on"})
    assert [cell.value for cell in answer.context["standing"].cells if not cell.disabled] == [late.pk]


def test_a_filter_that_makes_no_sense_asks_for_nothing(signed_in, rack):
    on_rack(rack)
    answer = signed_in.get(reverse("rack_grid", args=[rack.pk]), {"stage": "cosy", "lineage": "x"})
    assert answer.context["shown"] == 1


def test_lines_with_fewer_copies_than_wanted_are_said(signed_in, rack):
    plug = on_rack(rack, is_insurance=True)
    page = text(signed_in.get(reverse("rack_grid", args=[rack.pk])))
    assert "3 wanted, 2 kept" not in page
    plug.lineage.insurance_wanted = 3
    plug.lineage.save()
    page = text(signed_in.get(reverse("rack_grid", args=[rack.pk])))
    assert "3 wanted, 2 kept" in page


# -- the acts


def test_one_tap_moves_the_chosen_to_their_next_stage_and_can_be_undone(signed_in, rack):
    plugs = [on_rack(rack), on_rack(rack)]
    answer = post(signed_in, "plugs_heal", plugs, rack, stage="next")
    assert "2 plugs marked as sealed." in text(answer)
    assert answer.redirect_chain[-1][0].split("#")[0] == reverse("rack_grid", args=[rack.pk])
    assert set(Plug.objects.values_list("stage", flat=True)) == {"sealed"}
    undo = answer.context["toast"]
    answer = signed_in.post(undo["undo_url"], dict(undo["undo_fields"]), follow=True)
    assert "2 plugs as before" in text(answer)
    assert answer.redirect_chain[-1][0].split("#")[0] == reverse("rack_grid", args=[rack.pk])
    assert set(Plug.objects.values_list("stage", flat=True)) == {"fresh"}
    assert not HealingCheck.objects.standing().exists()


def test_what_was_done_is_said_once(signed_in, rack):
    post(signed_in, "plugs_heal", [on_rack(rack)], rack, stage="next")
    assert "marked as sealed" not in text(signed_in.get(reverse("rack_grid", args=[rack.pk])))


def test_the_same_form_sent_twice_moves_nothing_twice_and_says_so(signed_in, rack):
    plug = on_rack(rack)
    post(signed_in, "plugs_heal", [plug], rack, stage="next")
    answer = post(signed_in, "plugs_heal", [plug], rack, stage="next")
    assert "1 plug was checked that day or later already" in text(answer)
    plug.refresh_from_db()
    assert plug.stage == "sealed"
    assert HealingCheck.objects.count() == 1


def test_a_check_can_be_dated_earlier(signed_in, rack):
    plug = on_rack(rack)
    post(signed_in, "plugs_heal", [plug], rack, stage="encrusting", on="2026-05-02", note="from the paper list")
    check = plug.healing_checks.get()
    assert (check.checked_on, check.stage, check.note) == (date(2026, 5, 2), "encrusting", "from the paper list")


def test_going_back_a_stage_is_said(signed_in, rack):
    plug = on_rack(rack, stage="healed", healed_on=date(2026, 5, 1))
    answer = post(signed_in, "plugs_heal", [plug], rack, stage="encrusting")
    assert "1 plug went back a stage: tissue was lost" in text(answer)


def test_a_promised_plug_that_goes_back_or_dies_names_who_waits_for_it(signed_in, rack):
    hold = HoldFactory(until=FAR)
    Plug.objects.filter(pk=hold.plug.pk).update(rack=rack)
    answer = post(signed_in, "plugs_heal", [hold.plug], rack, stage="encrusting")
    assert f"is not healed any more and promised to {hold.contact}" in text(answer)
    answer = post(signed_in, "plugs_dead", [hold.plug], rack, reason="pest")
    assert f"is dead and promised to {hold.contact}" in text(answer)


def test_a_refused_form_keeps_what_was_chosen_and_typed(signed_in, rack):
    plug = on_rack(rack)
    answer = post(signed_in, "plugs_heal", [plug], rack, stage="sealed", on="2126-01-01", note="in good light")
    page = text(answer)
    assert answer.status_code == 422
    assert "lies in the future" in page
    assert f'value="{plug.pk}" data-choose="fresh" checked' in page
    assert "in good light" in page
    assert not HealingCheck.objects.exists()


def test_with_nothing_chosen_the_page_asks_for_a_plug(signed_in, rack):
    on_rack(rack)
    answer = post(signed_in, "plugs_heal", [], rack, stage="next")
    assert answer.status_code == 422
    assert "Choose at least one plug first" in text(answer)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("plugs_heal", "Say which stage"),
        ("plugs_dead", "Say why they died"),
        ("plugs_insurance", "Say whether to set them aside"),
    ],
)
def test_what_is_missing_is_named(signed_in, rack, name, words):
    answer = post(signed_in, name, [on_rack(rack)], rack)
    assert answer.status_code == 422
    assert words in text(answer)


def test_a_chosen_plug_that_left_meanwhile_is_named_and_nothing_is_saved(signed_in, rack):
    plug, sold = on_rack(rack), PlugFactory(fate="sold", ended_on=date(2026, 6, 1))
    answer = post(signed_in, "plugs_heal", [plug, sold], rack, stage="next")
    assert f"{sold.code_in_clear} is sold since" in text(answer)
    assert not HealingCheck.objects.exists()


def test_dead_plugs_need_a_reason_and_can_be_brought_back(signed_in, rack):
    plug = on_rack(rack, rack_row=1, rack_column=1)
    answer = post(signed_in, "plugs_dead", [plug], rack, reason="tissue_loss")
    assert "1 plug marked dead." in text(answer)
    plug.refresh_from_db()
    assert (plug.fate, plug.loss_reason, plug.ended_on) == ("dead", "tissue_loss", localdate())
    undo = answer.context["toast"]
    signed_in.post(undo["undo_url"], dict(undo["undo_fields"]))
    plug.refresh_from_db()
    assert (plug.fate, plug.rack_row) == ("kept", 1)


def test_plugs_are_set_aside_and_released(signed_in, rack):
    plug = on_rack(rack)
    answer = post(signed_in, "plugs_insurance", [plug], rack, set_aside="yes")
    assert "1 plug set aside as insurance." in text(answer)
    again = post(signed_in, "plugs_insurance", [plug], rack, set_aside="yes")
    assert "1 plug was set aside already" in text(again)
    undo = answer.context["toast"]
    signed_in.post(undo["undo_url"], dict(undo["undo_fields"]))
    plug.refresh_from_db()
    assert not plug.is_insurance


def test_a_promised_plug_is_not_set_aside(signed_in, rack):
    hold = HoldFactory(until=FAR)
    answer = post(signed_in, "plugs_insurance", [hold.plug], rack, set_aside="yes")
    assert answer.status_code == 422
    assert f"{hold.plug.code_in_clear} is promised: to {hold.contact}" in text(answer)


def test_a_tap_on_a_free_cell_moves_the_chosen_there_and_can_be_undone(signed_in, rack):
    plug = on_rack(rack, rack_row=1, rack_column=1)
    answer = post(signed_in, "plugs_move", [plug], rack, cell=f"{rack.pk}-2-3")
    assert "1 plug moved to Rack A, B 3." in text(answer)
    plug.refresh_from_db()
    assert (plug.rack_row, plug.rack_column) == (2, 3)
    undo = answer.context["toast"]
    signed_in.post(undo["undo_url"], dict(undo["undo_fields"]))
    plug.refresh_from_db()
    assert (plug.rack_row, plug.rack_column) == (1, 1)


def test_plugs_move_to_another_rack_or_off_it(signed_in, rack):
    plug, other = on_rack(rack, rack_row=1, rack_column=1), RackFactory(name="Rack B")
    post(signed_in, "plugs_move", [plug], rack, rack=other.pk)
    plug.refresh_from_db()
    assert (plug.rack, plug.rack_row) == (other, 1)
    assert "moved off the rack" in text(post(signed_in, "plugs_move", [plug], other, rack=""))
    plug.refresh_from_db()
    assert plug.rack is None


def test_a_cell_that_is_taken_is_refused(signed_in, rack):
    there = on_rack(rack, rack_row=1, rack_column=1)
    answer = post(signed_in, "plugs_move", [on_rack(rack)], rack, cell=f"{rack.pk}-1-1")
    assert answer.status_code == 422
    assert f"{there.code_in_clear} stands in row 1, column 1" in text(answer)


@pytest.mark.parametrize("cell", ["nonsense", "1-1", "99999-1-1"])
def test_what_is_no_cell_is_refused(signed_in, rack, cell):
    answer = post(signed_in, "plugs_move", [on_rack(rack)], rack, cell=cell)
    assert answer.status_code == 422
    assert "no cell of a rack" in text(answer)


def test_too_many_for_a_rack_are_said_to_stand_without_a_cell(signed_in):
    small = RackFactory(name="Rack S", rack_rows=1, rack_columns=1)
    plugs = PlugFactory.create_batch(2)
    answer = post(signed_in, "plugs_move", plugs, rack=small.pk)
    assert "Rack S is full: 1 plug of them without a cell." in text(answer)


def test_chosen_plugs_go_to_the_labels(signed_in, rack):
    plugs = [on_rack(rack), on_rack(rack)]
    answer = signed_in.post(reverse("plugs_go"), {"plugs": [plug.pk for plug in plugs], "to": "labels"})
    assert answer.url.startswith(reverse("labels"))
    assert all(plug.code in answer.url for plug in plugs)


def test_the_page_of_a_chosen_plug_opens(signed_in, rack):
    plug = on_rack(rack)
    answer = signed_in.post(reverse("plugs_go"), {"plugs": plug.pk, "to": "plug"})
    assert answer.url == reverse("plug", args=[plug.code])


def test_undoing_twice_says_that_nothing_is_left(signed_in, rack):
    answer = post(signed_in, "plugs_heal", [on_rack(rack)], rack, stage="next")
    undo = answer.context["toast"]
    signed_in.post(undo["undo_url"])
    again = signed_in.post(undo["undo_url"], follow=True)
    assert "nothing left to take back" in text(again)


def test_a_broken_undo_of_a_move_is_a_sentence(signed_in):
    answer = signed_in.post(reverse("plugs_put_back"), {"place": "a:b"}, follow=True)
    assert "no longer known" in text(answer)


@pytest.mark.parametrize("name", ["plugs_heal", "plugs_dead", "plugs_insurance", "plugs_move"])
def test_an_act_changes_nothing_by_being_opened(signed_in, name):
    assert signed_in.get(reverse(name)).url == reverse("rack")


@pytest.mark.parametrize("came_from", ["", "rack:x", "rack:99999", "plug:NOPE", "https://elsewhere.example/"])
def test_a_form_from_nowhere_leads_to_the_racks(signed_in, came_from):
    plug = PlugFactory()
    answer = signed_in.post(reverse("plugs_heal"), {"plugs": plug.pk, "stage": "next", "from": came_from})
    assert answer.url.split("#")[0] == reverse("rack")
