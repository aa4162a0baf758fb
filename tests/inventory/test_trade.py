"""Trades: what goes out and what comes in, in one act; never twice; and taking back a slip."""

from datetime import timedelta
from decimal import Decimal
from html import unescape
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.begin_sale import begin_sale
from inventory.actions.hold_plugs import hold_plugs
from inventory.actions.let_go import take_back_leaving
from inventory.actions.trade import cancel_trade, trade
from inventory.errors import HeldForOthers, LeavingToConfirm, PlugInSale
from inventory.models import Contact, Hold, SaleLine, Trade, TradeLine
from propagation.actions.acquire import PackLine
from propagation.actions.keep_lineage import lineage_named
from propagation.actions.take_size import take_size
from propagation.errors import AlreadyDone, BadDate, BadValue, PlugGone, PlugPromised, RowErrors
from propagation.models import Acquisition, Colony, Lineage, Plug
from propagation.promises import promises_of
from tests.factories import ColonyFactory, ContactFactory, PlugFactory, ReadyPlugFactory
from tests.inventory.sales import items_of

pytestmark = pytest.mark.django_db
CAME = (PackLine(lineage="Harbour Lantern", count=2, size_mm=Decimal(14)),)


@pytest.fixture
def today():
    return localdate()


def traded(*things, today, lines=CAME, contact=None, **told):
    plugs = [thing for thing in things if isinstance(thing, Plug)]
    return trade(
        contact=contact or ContactFactory(),
        plugs=plugs,
        colonies=[thing for thing in things if thing not in plugs],
        lines=lines,
        on=told.pop("on", today),
        today=today,
        **told,
    )


def test_everything_changes_hands_in_one_act(today):
    plug, colony, contact = ReadyPlugFactory(), ColonyFactory(), ContactFactory()
    hold_plugs(plugs=[plug], contact=contact, until=today, today=today)
    lines = [*CAME, PackLine(lineage=plug.lineage.name, is_colony=True, tag="TR1")]
    made = traded(plug, colony, today=today, contact=contact, lines=lines, cash=Decimal("-12.50"))
    plug.refresh_from_db()
    colony.refresh_from_db()
    assert (plug.fate, plug.ended_on, colony.end_reason) == ("traded", today, "traded")
    came = Acquisition.objects.filter(trade_line__trade=made).order_by("pk")
    assert [each.kind for each in came] == ["trade", "trade"]
    assert [each.terms.contact for each in came] == [contact, contact]
    assert came[0].lineage.name == "Harbour Lantern"
    assert [new.size_mm for new in came[0].plugs.all()] == [Decimal(14)] * 2
    assert len({new.code for new in came[0].plugs.all()}) == 2
    assert came[1].colonies.get().tag == "TR1"
    assert (made.cash, made.currency) == (Decimal("-12.50"), "EUR")
    hold = Hold.objects.get()
    assert hold.released_on == today
    assert f"in trade {made.pk}" in hold.note
    assert Plug.history.filter(id=plug.pk).latest().fate == "traded"


def test_what_others_have_is_refused_by_name_and_nothing_is_lost(today):
    plug, sold = ReadyPlugFactory.create_batch(2)
    holder, buyer = ContactFactory(name="Odile"), ContactFactory(name="Bram")
    hold_plugs(plugs=[plug], contact=holder, until=today + timedelta(days=3), today=today)
    begin_sale(contact=buyer, items=items_of(sold), today=today)
    with pytest.raises(HeldForOthers, match=f"{plug.code_in_clear} is held for Odile"):
        traded(plug, today=today)
    with pytest.raises(PlugInSale, match="to Bram, so it cannot be traded"):
        traded(sold, today=today)
    assert not Trade.objects.exists()
    assert not Lineage.objects.filter(name="Harbour Lantern").exists()
    assert Plug.objects.filter(fate="kept").count() == 2


def test_a_tag_in_use_is_named_with_its_line(today):
    plug, there = ReadyPlugFactory(), ColonyFactory()
    lines = [*CAME, PackLine(lineage="New One", is_colony=True, tag=there.tag)]
    with pytest.raises(RowErrors) as refused:
        traded(plug, today=today, lines=lines)
    (row, column, sentence), *rest = refused.value.errors
    assert (row, column, rest) == (2, "tag", [])
    assert there.tag in sentence
    plug.refresh_from_db()
    assert plug.is_kept
    assert not Acquisition.objects.filter(kind="trade").exists()


def test_what_is_gone_or_was_traded_is_not_traded_again(today):
    plug, colony = ReadyPlugFactory(), ColonyFactory()
    traded(plug, colony, today=today)
    with pytest.raises(PlugGone):
        traded(plug, today=today)
    with pytest.raises(AlreadyDone, match=colony.tag):
        traded(colony, today=today)


def test_a_trade_has_two_sides_a_true_day_and_true_cash(today):
    plug = ReadyPlugFactory()
    with pytest.raises(BadValue, match="Nothing goes out"):
        traded(today=today)
    with pytest.raises(BadValue, match="Nothing comes in"):
        traded(plug, today=today, lines=[])
    with pytest.raises(BadDate):
        traded(plug, today=today, on=today + timedelta(days=1))
    with pytest.raises(BadValue, match="digits after the point"):
        traded(plug, today=today, cash=Decimal("-1.005"))
    with pytest.raises(BadValue, match="The note has 501"):
        traded(plug, today=today, note="a" * 501)
    assert not Trade.objects.exists()


def test_insurance_and_unhealed_plugs_go_out_knowingly(today):
    plugs = [ReadyPlugFactory(is_insurance=True), PlugFactory()]
    with pytest.raises(LeavingToConfirm) as asked:
        traded(*plugs, today=today, confirmed=False)
    assert len(asked.value.because) == 2
    traded(*plugs, today=today, confirmed=True)
    assert Plug.objects.filter(fate="traded").count() == 2


def test_the_same_form_makes_one_trade(today):
    plug, submission = ReadyPlugFactory(), uuid4()
    first = traded(plug, today=today, submission=submission)
    assert traded(plug, today=today, submission=submission) == first
    assert Acquisition.objects.filter(kind="trade").count() == 1


def test_two_trades_at_once_end_with_one(at_once, today):
    plug, contacts = ReadyPlugFactory(), ContactFactory.create_batch(2)
    answers = at_once([lambda each=each: traded(plug, today=today, contact=each) for each in contacts])
    assert sorted(type(answer).__name__ for answer in answers) == ["PlugGone", "Trade"]


def test_a_slip_of_today_is_taken_back(today):
    plug, colony, contact = ReadyPlugFactory(), ColonyFactory(), ContactFactory()
    hold_plugs(plugs=[plug], contact=contact, until=today, today=today, note="By phone")
    lines = [*CAME, PackLine(lineage="Saltbox", is_colony=True, tag="TR1")]
    made = traded(plug, colony, today=today, contact=contact, lines=lines)
    for _ in range(2):
        cancel_trade(trade=made, today=today)
    plug.refresh_from_db()
    colony.refresh_from_db()
    assert plug.is_kept
    assert colony.ended_on is None
    came = Plug.objects.filter(acquisition__trade_line__trade=made)
    assert list(came.values_list("fate", flat=True)) == ["void", "void"]
    assert Colony.objects.get(tag="TR1").end_reason == "mistake"
    assert Hold.objects.get().released_on is None
    assert Hold.objects.get().note == "By phone"
    again = traded(plug, colony, today=today, contact=contact)
    assert again != made


def test_a_trade_stays_once_something_happened_with_it(today):
    made = traded(ReadyPlugFactory(), today=today, lines=[*CAME, PackLine(lineage="Own", is_colony=True, tag="TR1")])
    new = Plug.objects.filter(acquisition__trade_line__trade=made).first()
    hold_plugs(plugs=[new], contact=ContactFactory(), until=today, today=today)
    with pytest.raises(PlugPromised):
        cancel_trade(trade=made, today=today)
    Hold.objects.update(released_on=today)
    take_size(colony=Colony.objects.get(tag="TR1"), value=Decimal(60), measure="height_mm", on=today, today=today)
    with pytest.raises(AlreadyDone, match="TR1 came in this trade and was measured since"):
        cancel_trade(trade=made, today=today)
    with pytest.raises(AlreadyDone, match="only one of today"):
        cancel_trade(trade=made, today=today + timedelta(days=1))
    made.refresh_from_db()
    assert made.cancelled_on is None


def test_a_traded_plug_is_not_simply_taken_back_and_is_nobody_elses(today):
    plug = ReadyPlugFactory()
    made = traded(plug, today=today)
    with pytest.raises(AlreadyDone, match=f"left in trade {made.pk}"):
        take_back_leaving(plug=plug)
    assert promises_of([plug]) == {}
    Plug.objects.filter(pk=plug.pk).update(fate="kept", ended_on=None)
    assert promises_of([plug]) == {plug.pk: f"to {made.contact} in trade {made.pk}"}


def test_the_database_trades_only_what_is_kept_and_in_no_sale(today):
    gone, sold = ReadyPlugFactory(fate="dead", ended_on=today, loss_reason="unknown"), ReadyPlugFactory()
    begin_sale(contact=ContactFactory(), items=items_of(sold), today=today)
    made = traded(ReadyPlugFactory(), today=today)
    for plug in (gone, sold):
        with pytest.raises(IntegrityError), transaction.atomic():
            TradeLine.objects.create(trade=made, plug=plug)
    assert SaleLine.objects.count() == 1


# -- pages


def told(*things, **more):
    codes = [thing.code for thing in things]
    lines = {"lines-TOTAL_FORMS": "2", "lines-INITIAL_FORMS": "0", "lines-0-lineage": "Harbour Lantern"}
    lines |= {"lines-0-count": "2", "lines-0-growth_form": "branching", "lines-0-size_mm": "12"}
    lines |= {"lines-1-count": "1", "lines-1-growth_form": "branching", "lines-1-lineage": ""}
    base = {"offered": codes, "taken": codes, "contact_name": "Mira", "day": localdate(), "who_paid": "they"}
    return base | lines | {"submission": uuid4(), "act": "save"} | more


def text_of(answer) -> str:
    return unescape(answer.content.decode())


def test_from_the_ready_list_to_a_trade_and_back(signed_in):
    plugs = ReadyPlugFactory.create_batch(2)
    assert "No trade yet" in text_of(signed_in.get(reverse("trades")))
    chosen = signed_in.post(reverse("ready_chosen"), {"plugs": [plug.code for plug in plugs], "act": "trade"})
    page = signed_in.get(chosen["Location"])
    assert all(plug.code in text_of(page) for plug in plugs)
    form = told(*plugs, cash="7,50", who_paid="you")
    for _ in range(2):  # sent twice
        made = signed_in.post(reverse("trade_new"), form)
    found = Trade.objects.get()
    assert made["Location"] == reverse("trade", args=[found.pk])
    assert found.cash == Decimal("-7.50")
    page = text_of(signed_in.get(made["Location"]))
    assert "€7.50, you paid them" in page
    assert "Harbour Lantern" in page
    assert "Mira" in text_of(signed_in.get(reverse("trades")))
    assert f"Trade {found.pk}" in text_of(signed_in.get(reverse("contact", args=[found.contact_id])))
    back = signed_in.post(reverse("trade_cancel", args=[found.pk]), follow=True)
    assert "Taken back" in text_of(back)
    assert Plug.objects.filter(fate="kept").count() == 2


def test_from_scratch_by_code_with_nothing_lost(signed_in):
    plug, colony = ReadyPlugFactory(), ColonyFactory()
    wrong = signed_in.post(reverse("trade_new"), told(add="K7M-0000", note="At the meet", adding="yes"))
    assert wrong.status_code == 422
    assert "At the meet" in text_of(wrong)
    assert "K7M-0000" in text_of(wrong)
    assert 'value="Harbour Lantern"' in text_of(wrong)
    added = signed_in.post(reverse("trade_new"), told(add=f"{plug.code}, {colony.tag}", adding="yes"))
    assert added.status_code == 200
    assert text_of(added).count('name="taken"') == 2
    more = signed_in.post(reverse("trade_new"), told(plug, more="yes"))
    assert 'name="lines-2-lineage"' in text_of(more)
    assert not Trade.objects.exists()


def test_each_refusal_stands_at_its_place(signed_in):
    plug, there, unhealed = ReadyPlugFactory(), ColonyFactory(), PlugFactory()
    new = reverse("trade_new")
    assert "Nothing goes out" in text_of(signed_in.post(new, told()))
    assert "Nothing comes in" in text_of(
        signed_in.post(new, told(plug, **{"lines-0-lineage": "", "lines-0-count": "1", "lines-0-size_mm": ""}))
    )
    as_colony = {"lines-0-is_colony": "on", "lines-0-count": "1", "lines-0-tag": there.tag}
    taken = text_of(signed_in.post(new, told(plug, **as_colony)))
    assert f"A colony has or had the tag {there.tag}" in taken
    assert not Contact.objects.filter(name="Mira").exists()
    asked = signed_in.post(new, told(unhealed))
    assert "not healed" in text_of(asked)
    assert signed_in.post(new, told(unhealed, confirmed="on")).status_code == 302
    hold_plugs(plugs=[plug], contact=ContactFactory(name="Odile"), until=localdate(), today=localdate())
    held = text_of(signed_in.post(new, told(plug)))
    assert "is held for Odile" in held
    assert f'value="{plug.code}" checked' not in held


def test_an_unknown_code_in_the_address_is_said(signed_in):
    answer = signed_in.get(f"{reverse('trade_new')}?plugs=ZZZZZZZZ", follow=True)
    assert "ZZZZZZZZ" in text_of(answer)


def test_two_at_once_for_a_line_that_is_new_begin_it_once(at_once):
    answers = at_once([lambda: lineage_named("Given For It").pk for _ in range(4)])
    assert len(set(answers)) == 1
    assert isinstance(answers[0], int), answers[0]
