"""A frag that a buyer reports dead shows beside the figures of survival, and is never counted as a loss of healing."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.claim import report_claim, settle_claim
from inventory.actions.hand_over import sell_now
from inventory.losses import reported_dead
from propagation import losses
from propagation.actions.learn_healing import learn_healing_from_records
from propagation.losses import Left, Of, lost_after_leaving
from propagation.models import Fate
from propagation.readings.healing_outlook import healing_by_tool, healing_lines, learned_healing
from propagation.readings.healing_records import healing_records
from propagation.readings.yield_record import yield_record
from tests.factories import AcquisitionFactory, ContactFactory, CutEventFactory, CuttingSessionFactory, ReadyPlugFactory
from tests.inventory.sales import begun, items_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def cut():
    return CutEventFactory(session=CuttingSessionFactory(cut_on=localdate() - timedelta(days=60)), frags=6)


@pytest.fixture
def sale(cut):
    """Four of six frags of a mother were sold today."""
    plugs = ReadyPlugFactory.create_batch(6, cut_event=cut)
    return sell_now(contact=ContactFactory(), items=items_of(*plugs[:4]), today=localdate())


def report(sale, number, kind, *, outcome=None):
    day = localdate()
    claim = report_claim(line=sale.lines.order_by("id")[number], kind=kind, on=day, today=day)
    if outcome:
        settle_claim(claim=claim, outcome=outcome, on=day, today=day)
    return claim


def test_dead_and_died_later_are_lost_damaged_and_wrong_are_not(sale, cut):
    for number, kind in enumerate(["dead", "died_later", "damaged", "wrong"]):
        report(sale, number, kind)
    line, mother = cut.mother.lineage_id, cut.mother_id
    assert lost_after_leaving(Of.LINEAGE, [line]) == {line: Left(4, 2)}
    assert lost_after_leaving(Of.MOTHER, [mother]) == {mother: Left(4, 2)}


def test_a_claim_that_was_refused_counts_for_nothing(sale, cut):
    report(sale, 0, "dead", outcome="refused")
    line = cut.mother.lineage_id
    assert lost_after_leaving(Of.LINEAGE, [line]) == {line: Left(4, 0)}


def test_what_has_not_left_or_was_called_off_is_not_among_those_sold(cut):
    begun(today=localdate(), plugs=1)
    assert lost_after_leaving(Of.LINEAGE, [cut.mother.lineage_id]) == {}


def test_a_plug_that_came_from_outside_counts_for_its_line_and_for_no_mother(today):
    plug = ReadyPlugFactory(acquisition=AcquisitionFactory())
    sell_now(contact=ContactFactory(), items=items_of(plug), today=today)
    assert lost_after_leaving(Of.LINEAGE, [plug.lineage_id]) == {plug.lineage_id: Left(1, 0)}
    assert reported_dead(Of.MOTHER, [0]) == {}


def test_the_figures_of_healing_do_not_move(sale, cut):
    day = localdate()
    learn_healing_from_records(day)
    records, before = healing_records(day), learned_healing(day).usual
    for number in range(4):
        report(sale, number, "dead")
    learn_healing_from_records(day)
    assert healing_records(day) == records
    assert learned_healing(day).usual == before
    assert set(sale.lines.values_list("plug__fate", flat=True)) == {Fate.SOLD}


def test_they_stand_beside_the_figures_of_healing_by_line_and_in_all(sale, cut, signed_in):
    report(sale, 0, "dead")
    found = healing_lines(localdate())
    assert found.usual.left == found.lines[0].left == Left(4, 1)
    page = signed_in.get(reverse("healing")).text
    assert page.count("1 of 4 sold") == 2
    assert "Lost after it left are plugs that a buyer reported dead" in page


def test_they_stand_in_the_record_of_the_mother_beside_what_was_usable(sale, cut, signed_in):
    report(sale, 0, "died_later")
    (row,) = yield_record(localdate(), by="usable")
    assert (row.usable, row.left) == (6, Left(4, 1))
    page = signed_in.get(reverse("yield_record"), {"by": "usable"}).text
    assert "Lost after they left" in page
    assert "1 of 4 sold" in page


def test_they_stand_on_the_page_of_the_line(sale, cut, signed_in):
    address = reverse("lineage", args=[cut.mother.lineage_id])
    assert "Lost after it left: none of 4 sold." in signed_in.get(address).text
    report(sale, 0, "dead")
    assert "Lost after it left: 1 of 4 sold." in signed_in.get(address).text


def test_they_are_told_by_what_the_frags_were_cut_with_apart_from_losses_of_healing(sale, cut, signed_in):
    cut.cut_with = "band_saw"
    cut.save()
    saw = CutEventFactory(session=cut.session, cut_with="blade")
    sell_now(
        contact=ContactFactory(), items=items_of(*ReadyPlugFactory.create_batch(2, cut_event=saw)), today=localdate()
    )
    untold = ReadyPlugFactory(cut_event=CutEventFactory(session=cut.session))
    sell_now(contact=ContactFactory(), items=items_of(untold), today=localdate())
    report(sale, 0, "dead")
    report(sale, 1, "died_later")
    assert lost_after_leaving(Of.TOOL, ["band_saw", "blade", "", "snapped"]) == {
        "band_saw": Left(4, 2),
        "blade": Left(2, 0),
        "": Left(1, 0),
    }
    found = {row.tool: row for row in healing_by_tool(learned_healing(localdate()))}
    assert (found["band_saw"].plugs, found["band_saw"].healed, found["band_saw"].lost) == (6, 6, 0)
    assert [found[tool].left for tool in ("band_saw", "blade", None)] == [Left(4, 2), Left(2, 0), Left(1, 0)]
    page = signed_in.get(reverse("healing")).text
    table = page[page.index("By what they were cut with") :]
    assert "Lost after it left" in table
    assert "2 of 4 sold" in table
    assert "none of 2 sold" in table


def test_where_nothing_was_sold_nothing_is_said(cut, signed_in):
    ReadyPlugFactory(cut_event=cut)
    for address in (
        reverse("healing"),
        f"{reverse('yield_record')}?by=usable",
        reverse("lineage", args=[cut.mother.lineage_id]),
    ):
        page = signed_in.get(address).text
        assert "ost after" not in page


def test_several_floors_are_added_up(monkeypatch):
    monkeypatch.setattr(losses, "_sources", [])
    for _ in range(2):
        losses.tells_losses(lambda of, ids: dict.fromkeys(ids, Left(3, 1)))
    assert lost_after_leaving(Of.LINEAGE, [7]) == {7: Left(6, 2)}


def test_without_a_floor_that_knows_there_is_nothing(monkeypatch, cut):
    monkeypatch.setattr(losses, "_sources", [])
    assert lost_after_leaving(Of.MOTHER, [cut.mother_id]) == {}
    assert healing_lines(localdate()).usual.left == Left(0, 0)
