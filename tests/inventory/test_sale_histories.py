"""Whatever is held, sold, paid, given back, handed over and undone, in whatever order: money and stock add up.

Random histories of acts. An act may be refused with a sentence (RametError); anything else that is raised fails the
test. Cash is counted beside the records, as a keeper counts the till: each act that was not refused says what it moved.
"""

from collections import Counter
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from inventory.actions.begin_sale import agree_sale, begin_sale, cancel_sale, change_sale, close_sale, reopen_sale
from inventory.actions.hand_over import hand_over, sell_now, undo_handing_over, undo_selling_now
from inventory.actions.hold_plugs import hold_plugs, release_hold
from inventory.actions.let_go import let_go, take_back_leaving
from inventory.actions.pay_sale import refund, take_payment, withdraw_payment
from inventory.actions.sale_steps import SaleItem
from inventory.models import Credit, Hold, Payment, Sale, SaleLine
from inventory.readings.availability import available_on
from inventory.readings.sales import credit_of, totals
from propagation.actions.check_healing import find_dead
from propagation.errors import RametError
from propagation.models import Fate, Plug
from propagation.promises import promises_of
from tests.factories import ContactFactory, CutEventFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db

FIRST = date(2026, 6, 1)
PLUGS = 5


class Keeper:
    """Does acts on whatever there is; ``a`` and ``b`` choose among it. ``till`` is the cash that should be in it."""

    def __init__(self):
        cut = CutEventFactory(frags=PLUGS)
        self.plugs = ReadyPlugFactory.create_batch(PLUGS, cut_event=cut)
        self.contacts = ContactFactory.create_batch(2)
        self.today = FIRST
        self.till = self.granted = Decimal(0)
        for contact in self.contacts:
            Credit.objects.create(contact=contact, amount=Decimal("7.50"), currency="EUR", on=FIRST)
            self.granted += Decimal("7.50")

    def some(self, a):
        """One to three plugs."""
        return [self.plugs[(a + step) % PLUGS] for step in range(1 + a % 3)]

    def items(self, a, b):
        return [
            SaleItem(plug=plug, price=Decimal(b % 40) / 4, discount=min(Decimal(a % 5), Decimal(b % 40) / 4))
            for plug in self.some(a)
        ]

    @staticmethod
    def one_of(model, number):
        rows = list(model.objects.order_by("pk"))
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
        if b % 3 == 0 and held[0].deposit is None:
            held[0].deposit = Decimal(b % 7)
            held[0].save()
            self.till += held[0].deposit

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

    def give_away(self, a, b):
        if b % 4 == 0:
            let_go(plugs=self.some(a)[:1], fate="given", on=self.today, today=self.today, confirmed=bool(b % 8))

    def take_back(self, a, b):
        take_back_leaving(plug=self.plugs[a % PLUGS])

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
            assert bool(sale.paid_on) == (sale.cancelled_on is None and has_lines and not each.owed)
            if sale.cancelled_on:
                assert each.received == each.due == 0
        credit = Decimal(0)
        for contact in self.contacts:
            theirs = credit_of(contact, "EUR")
            assert theirs >= 0
            credit += theirs
        on_holds = sum((hold.deposit for hold in Hold.objects.exclude(deposit=None)), Decimal(0))
        assert (
            self.till + self.granted == sum((each.received for each in sums.values()), Decimal(0)) + credit + on_holds
        )

    def check_stock(self, sales):
        lines = list(SaleLine.objects.standing().select_related("sale"))
        assert not [plug for plug, number in Counter(line.plug_id for line in lines).items() if number > 1]
        assert all(line.sale.cancelled_on is None for line in lines)
        sale_of = {line.plug_id: line.sale for line in lines}
        holder = {hold.plug_id: hold.contact_id for hold in Hold.objects.active_on(self.today)}
        plugs = list(Plug.objects.all())
        assert len(plugs) == PLUGS
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
            is_free = plug.is_kept and sale is None and plug.pk not in holder
            assert (plug.pk in available) == is_free
            assert ("in sale" in promised.get(plug.pk, "")) == (sale is not None and sale.left_on is None)


# Those that make something stand more often than the others: else most histories would find nothing to act on.
ACTS = [
    *(["begin", "agree", "pay", "leave"] * 3),
    *(["hold", "market", "give_back", "call_off", "change"] * 2),
    *["a_day_passes", "release", "withdraw", "undo", "undo_market", "close", "give_away", "take_back", "die"],
]
step = st.tuples(st.sampled_from(ACTS), st.integers(0, 60), st.integers(0, 60))


# Not made smaller when it fails: that would take minutes, and a history is short enough to be read.
@settings(
    max_examples=15, phases=[Phase.explicit, Phase.reuse, Phase.generate], suppress_health_check=list(HealthCheck)
)
@given(history=st.lists(step, min_size=8, max_size=30))
def test_money_and_stock_add_up_whatever_is_done(history):
    with transaction.atomic():
        keeper = Keeper()
        for name, a, b in history:
            try:
                with transaction.atomic():
                    getattr(keeper, name)(a, b)
            except RametError:
                pass
            keeper.check()
        transaction.set_rollback(True)
