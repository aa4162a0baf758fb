"""Whatever is held, sold, traded, claimed, lent, paid and undone, in whatever order: money and stock add up.

Random histories of acts. An act may be refused with a sentence (RametError); anything else that is raised fails the
test. Cash is counted beside the records, as a keeper counts the till: each act that was not refused says what it moved.
"""

import os
from collections import Counter
from datetime import date, datetime, time, timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from django.utils.timezone import make_aware
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from inventory.actions.begin_sale import agree_sale, begin_sale, cancel_sale, change_sale, close_sale, reopen_sale
from inventory.actions.claim import report_claim, settle_claim
from inventory.actions.give_up_credit import give_up_credit
from inventory.actions.hand_over import hand_over, sell_now, undo_handing_over, undo_selling_now
from inventory.actions.hold_deposits import settle_hold_deposit, take_hold_deposit
from inventory.actions.hold_plugs import hold_plugs, release_hold
from inventory.actions.keep_safe import came_back, end_safekeeping, leave_with
from inventory.actions.let_go import let_go, take_back_leaving
from inventory.actions.pay_out_credit import pay_out_credit, withdraw_pay_out
from inventory.actions.pay_sale import refund, take_payment, withdraw_payment
from inventory.actions.sale_steps import SaleItem
from inventory.actions.sell_at_market import sell_at_market
from inventory.actions.trade import cancel_trade, trade
from inventory.models import Claim, Contact, Credit, Hold, Payment, Safekeeping, Sale, SaleLine, Trade, TradeLine
from inventory.readings.availability import available_on
from inventory.readings.sales import credit_of, totals
from propagation.actions.acquire import PackLine
from propagation.actions.check_healing import find_dead
from propagation.errors import RametError
from propagation.models import Acquisition, Fate, Plug
from propagation.promises import promises_of
from tests.factories import ContactFactory, CutEventFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db

FIRST = date(2026, 6, 1)
PLUGS = 5


class Keeper:
    """Does acts on whatever there is; ``a`` and ``b`` choose among it.

    ``till`` is the cash that should be in it, ``granted`` the credit that was given without money, ``given`` are the
    plugs that were given away or lent.
    """

    def __init__(self):
        cut = CutEventFactory(frags=PLUGS)
        self.plugs = ReadyPlugFactory.create_batch(PLUGS, cut_event=cut)
        self.contacts = ContactFactory.create_batch(2)
        self.today = FIRST
        self.till = self.granted = Decimal(0)
        self.given = set()
        for contact in self.contacts:
            Credit.objects.create(contact=contact, amount=Decimal("7.50"), currency="EUR", on=FIRST)
            self.granted += Decimal("7.50")

    def some(self, a):
        """One to three plugs."""
        return [self.plugs[(a + step) % len(self.plugs)] for step in range(1 + a % 3)]

    def what_came(self, *acquisitions):
        """Plugs that came in a trade or back from somebody are there to be sold like the others."""
        self.plugs += Plug.objects.filter(acquisition__in=acquisitions)

    def items(self, a, b):
        return [
            SaleItem(plug=plug, price=Decimal(b % 40) / 4, discount=min(Decimal(a % 5), Decimal(b % 40) / 4))
            for plug in self.some(a)
        ]

    @staticmethod
    def one_of(model, number):
        rows = list((model.objects.all() if isinstance(model, type) else model).order_by("pk"))
        return rows[number % len(rows)] if rows else None

    @property
    def method(self):
        return Payment.Method.values

    # -- acts

    def a_day_passes(self, a, b):
        self.today += timedelta(days=1 + a % 3)

    def hold(self, a, b):
        until = self.today + timedelta(days=b % 4)
        held = hold_plugs(plugs=self.some(a), contact=self.contacts[b % 2], until=until, today=self.today)
        if b % 2 == 0 and not held[0].deposit_lies:
            self.till += take_hold_deposit(hold=held[0], amount=Decimal(1 + b % 7), today=self.today).deposit

    def settle_deposit(self, a, b):
        if found := self.one_of(Hold.objects.with_a_deposit(), a):
            how = ("refund", "credit")[b % 2]
            settle_hold_deposit(hold=found, how=how, today=self.today)
            self.till -= found.deposit if how == "refund" else 0

    def release(self, a, b):
        if found := self.one_of(Hold, a):
            release_hold(hold=found, today=self.today)

    def begin(self, a, b):
        told = {"percent": Decimal(b % 30)} if b % 2 else {"discount": Decimal(b % 3)}
        begin_sale(
            contact=self.contacts[a % 2],
            items=self.items(a, b),
            today=self.today,
            shipping=Decimal(b % 4),
            confirmed=bool(a % 3),
            **told,
        )

    def change(self, a, b):
        if found := self.one_of(Sale, a):
            change_sale(sale=found, items=self.items(b, a), today=self.today, discount=Decimal(b % 3))

    def agree(self, a, b):
        if found := self.one_of(Sale, a):
            agree_sale(sale=found, today=self.today)

    def pay(self, a, b):
        if found := self.one_of(Sale, a):
            method = self.method[b % len(self.method)]
            amount = totals(found).owed if b % 2 else Decimal(b % 50) / 4
            take_payment(sale=found, amount=amount, method=method, today=self.today)
            self.till += amount if method != "credit" else 0

    def give_back(self, a, b):
        if found := self.one_of(Sale, a):
            method, amount = self.method[b % len(self.method)], Decimal(b % 30) / 4
            refund(sale=found, amount=amount, method=method, today=self.today)
            self.till -= amount if method != "credit" else 0

    def use_credit(self, a, b):
        """Pay from credit whatever can be."""
        if found := self.one_of(Sale.objects.filter(cancelled_on=None, contact=self.contacts[b % 2]), a):
            amount = min(totals(found).owed, credit_of(found.contact, "EUR"))
            take_payment(sale=found, amount=amount, method="credit", today=self.today)

    def give_back_what_came_from_credit(self, a, b):
        """Some of it as credit, some of it in money, whether that is meant or not."""
        if found := self.one_of(Sale.objects.filter(payments__method="credit").distinct(), a):
            sums, method = totals(found), ("credit", "cash", "transfer")[b % 3]
            amount = sums.received if b % 4 else Decimal(b % 30) / 4
            knowingly = bool(a % 2)
            refund(sale=found, amount=amount, method=method, in_money=knowingly, today=self.today)
            assert knowingly or method == "credit" or amount <= sums.in_money
            self.till -= amount if method != "credit" else 0

    def pay_out(self, a, b):
        contact = self.contacts[a % 2]
        amount = credit_of(contact, "EUR") if b % 2 else Decimal(b % 30) / 4
        method = Credit.PAID_OUT_BY[b % 4][0]
        paid = pay_out_credit(contact=contact, amount=amount, currency="EUR", method=method, today=self.today)
        assert paid.amount == -amount
        self.till -= amount

    def withdraw_pay_out(self, a, b):
        if found := self.one_of(Credit.objects.exclude(paid_out_by=""), a):
            withdraw_pay_out(credit=found)
            self.till -= found.amount

    def withdraw(self, a, b):
        if found := self.one_of(Payment, a):
            withdraw_payment(payment=found, today=self.today)
            if found.method != "credit":
                self.till -= found.signed

    def leave(self, a, b):
        if found := self.one_of(Sale, a):
            hand_over(sale=found, today=self.today, how=Sale.Leaving.values[b % 2], confirmed=bool(b % 3))

    def undo(self, a, b):
        if found := self.one_of(Sale, a):
            undo_handing_over(sale=found, today=self.today)

    def market(self, a, b):
        sale = sell_now(contact=self.contacts[a % 2], items=self.items(a, b), today=self.today, paid=bool(b % 3))
        came = sale.payments.filter(kind="payment", withdrawn_at=None)
        self.till += sum((payment.amount for payment in came), Decimal(0))

    def market_table(self, a, b):
        """The buyer is not named; some get all of it for less."""
        items = [SaleItem(plug=plug, price=Decimal(5 + b % 9)) for plug in self.some(a)]
        together = Decimal(b % 6) if b % 2 else None
        sale = sell_at_market(items=items, today=self.today, together=together)
        came = sale.payments.filter(kind="payment", withdrawn_at=None)
        self.till += sum((payment.amount for payment in came), Decimal(0))

    def undo_market(self, a, b):
        if found := self.one_of(Sale, a):
            came = [
                each for each in found.payments.filter(withdrawn_at=None, kind="payment") if each.method != "credit"
            ]
            undo_selling_now(sale=found, today=self.today)
            self.till -= sum((payment.amount for payment in came), Decimal(0))

    def call_off(self, a, b):
        if found := self.one_of(Sale, a):
            sums, was = totals(found), found.cancelled_on
            settle = (None, "refund", "credit")[b % 3]
            cancel_sale(sale=found, today=self.today, settle=settle)
            if was is None and settle == "refund":
                self.till -= sums.received - min(sums.from_credit, sums.received)

    def close(self, a, b):
        if found := self.one_of(Sale, a):
            (reopen_sale(sale=found) if b % 4 == 0 else close_sale(sale=found, today=self.today, confirmed=bool(b % 2)))

    def claim(self, a, b):
        if found := self.one_of(SaleLine.objects.filter(cancelled_on=None, sale__left_on__isnull=False), a):
            kind = Claim.Kind.values[b % len(Claim.Kind.values)]
            report_claim(line=found, kind=kind, on=self.today, today=self.today, confirmed=bool(b % 5))

    def settle(self, a, b):
        if found := self.one_of(Claim, a):
            outcome, amount = Claim.Outcome.values[b % len(Claim.Outcome.values)], Decimal(b % 30) / 4
            settle_claim(
                claim=found,
                outcome=outcome,
                on=self.today,
                today=self.today,
                plug=self.plugs[b % len(self.plugs)],
                amount=amount,
                confirmed=bool(a % 3),
            )
            self.till -= amount if outcome == "refunded" else 0
            self.granted += amount if outcome == "credit" else 0

    def give_up(self, a, b):
        if b % 3 == 0:
            self.granted += give_up_credit(contact=self.contacts[a % 2], currency="EUR", today=self.today).amount

    def trade(self, a, b):
        made = trade(
            contact=self.contacts[a % 2],
            plugs=self.some(a)[:2],
            lines=[PackLine(lineage=f"Given For It {b % 2}", count=1 + b % 2)],
            on=self.today,
            today=self.today,
            cash=Decimal(b % 9 - 4),
            confirmed=bool(b % 3),
        )
        # It is recorded on the day that is played, not on that of the test.
        Trade.objects.filter(pk=made.pk).update(made_at=make_aware(datetime.combine(self.today, time(12))))
        self.till += made.cash
        self.what_came(*Acquisition.objects.filter(trade_line__trade=made))

    def undo_trade(self, a, b):
        if found := self.one_of(Trade.objects.filter(cancelled_on=None), a):
            cancel_trade(trade=found, today=self.today)
            self.till -= found.cash

    def give_away(self, a, b):
        if b % 4 == 0:
            (gone,) = let_go(
                plugs=self.some(a)[:1], fate="given", on=self.today, today=self.today, confirmed=bool(b % 8)
            )
            self.given.add(gone.pk)

    def lend(self, a, b):
        (plug, *_), contact = self.some(a), self.contacts[b % 2]
        kept = leave_with(plug=plug, contact=contact, on=self.today, today=self.today, confirmed=bool(b % 3))
        if kept.plug.fate == Fate.GIVEN:
            self.given.add(plug.pk)

    def lent_is_over(self, a, b):
        if found := self.one_of(Safekeeping, a):
            outcome = ("lost", "theirs")[b % 2]
            end_safekeeping(safekeeping=found, outcome=outcome, on=self.today, today=self.today)

    def comes_back(self, a, b):
        if found := self.one_of(Safekeeping.objects.filter(ended_on=None), a):
            self.what_came(came_back(safekeeping=found, on=self.today, today=self.today))

    def take_back(self, a, b):
        plug = self.plugs[a % len(self.plugs)]
        take_back_leaving(plug=plug)
        self.given.discard(plug.pk)

    def die(self, a, b):
        if b % 6 == 0:
            find_dead(plugs=self.some(a)[:1], reason="broken", on=self.today, today=self.today)

    # -- what must hold

    def check(self):
        sales = list(Sale.objects.select_related("contact"))
        sums = {sale.pk: totals(sale) for sale in sales}
        self.check_money(sales, sums)
        self.check_stock(sales)

    def check_money(self, sales, sums):
        for sale in sales:
            each = sums[sale.pk]
            counted = sum((p.signed for p in sale.payments.filter(withdrawn_at=None)), Decimal(0))
            assert each.received == counted >= 0
            assert each.due + each.too_much == each.received + each.owed
            has_lines = sale.lines.standing().exists()
            credited = sum((c.amount for c in Credit.objects.filter(claim__line__sale=sale)), Decimal(0))
            assert credited <= each.received or not credited
            assert bool(sale.paid_on) == (sale.cancelled_on is None and has_lines and not each.owed)
            if sale.cancelled_on:
                assert each.received == each.due == 0
        credit = Decimal(0)
        for contact in Contact.objects.all():
            theirs = credit_of(contact, "EUR")
            assert theirs >= 0
            credit += theirs
        on_holds = sum((hold.deposit for hold in Hold.objects.with_a_deposit()), Decimal(0))
        received = sum((each.received for each in sums.values()), Decimal(0))
        in_trades = sum((each.cash for each in Trade.objects.filter(cancelled_on=None)), Decimal(0))
        assert self.till + self.granted == received + in_trades + credit + on_holds

    def check_stock(self, sales):
        lines = list(SaleLine.objects.standing().select_related("sale"))
        assert not [plug for plug, number in Counter(line.plug_id for line in lines).items() if number > 1]
        assert all(line.sale.cancelled_on is None for line in lines)
        sale_of = {line.plug_id: line.sale for line in lines}
        holder = {hold.plug_id: hold.contact_id for hold in Hold.objects.active_on(self.today)}
        traded = Counter(TradeLine.objects.filter(cancelled_on=None, plug__isnull=False).values_list("plug", flat=True))
        assert not [plug for plug, number in traded.items() if number > 1]
        assert not set(traded) & set(sale_of)
        came_for_nothing = set(
            Plug.objects.filter(acquisition__trade_line__trade__cancelled_on__isnull=False).values_list("pk", flat=True)
        )
        lent = Counter(Safekeeping.objects.filter(ended_on=None).values_list("plug", flat=True))
        assert not [plug for plug, number in lent.items() if number > 1]
        plugs = list(Plug.objects.all())
        assert {plug.pk for plug in plugs} == {plug.pk for plug in self.plugs}
        promised = promises_of(plugs)
        available = set(available_on(self.today).values_list("pk", flat=True))
        for plug in plugs:
            sale = sale_of.get(plug.pk)
            # What left in a sale is sold, on its day, and nothing else is.
            assert (plug.fate == Fate.SOLD) == (sale is not None and sale.left_on is not None)
            if plug.fate == Fate.SOLD:
                assert plug.ended_on == sale.left_on
                assert plug.pk not in holder
            assert (plug.ended_on is None) == plug.is_kept
            if sale is not None and plug.pk in holder:
                assert holder[plug.pk] == sale.contact_id
            # Every plug that is not kept has one thing that tells what became of it, and what is kept has none.
            assert (plug.fate == Fate.TRADED) == (plug.pk in traded)
            assert (plug.fate == Fate.GIVEN) == (plug.pk in self.given)
            assert (plug.fate == Fate.VOID) == (plug.pk in came_for_nothing)
            if plug.pk in lent or plug.returns.exists():
                assert plug.fate in (Fate.SOLD, Fate.TRADED, Fate.GIVEN)
            if not plug.is_kept:
                assert plug.pk not in holder or plug.fate == Fate.DEAD  # whoever holds a dead one is to be told
            is_free = plug.is_ready(self.today) and sale is None and plug.pk not in holder
            assert (plug.pk in available) == is_free
            assert ("in sale" in promised.get(plug.pk, "")) == (sale is not None and sale.left_on is None)


# Those that make something stand more often than the others: else most histories would find nothing to act on.
ACTS = [
    *(["begin", "agree", "pay", "leave"] * 3),
    *(["hold", "market", "give_back", "call_off", "change", "claim", "settle", "trade", "lend"] * 2),
    *["a_day_passes", "release", "withdraw", "undo", "undo_market", "close", "give_away", "take_back", "die"],
    *["market_table", "settle_deposit", "undo_trade", "lent_is_over", "comes_back", "give_up"],
    *["use_credit", "use_credit", "give_back_what_came_from_credit", "pay_out", "withdraw_pay_out"],
]
# ``HISTORIES=300`` in the environment plays as many. Not made smaller when it fails: that would take minutes, and a
# history is short enough to be read.
played_as_asked = settings(
    max_examples=int(os.environ.get("HISTORIES", "15")),
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=list(HealthCheck),
)


def steps_of(acts):
    """Any of these acts with two numbers, by which it chooses what it is about."""
    return st.tuples(st.sampled_from(acts), st.integers(0, 60), st.integers(0, 60))


def try_to(keeper, name, a, b):
    """Do one act whole, or not at all where it is refused."""
    try:
        with transaction.atomic():
            getattr(keeper, name)(a, b)
    except RametError:
        pass


@played_as_asked
@given(history=st.lists(steps_of(ACTS), min_size=8, max_size=30))
def test_money_and_stock_add_up_whatever_is_done(history):
    with transaction.atomic():
        keeper = Keeper()
        for name, a, b in history:
            try_to(keeper, name, a, b)
            keeper.check()
        transaction.set_rollback(True)
