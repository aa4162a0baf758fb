"""The trade of the demo: what left over the years was sold, and the last weeks have all that a trade in frags brings.

Told in fixtures/demo_scenario.toml, played through the same acts that a keeper uses.
"""

import random
from datetime import date, timedelta
from decimal import Decimal

from inventory.actions.begin_sale import agree_sale, begin_sale, close_sale
from inventory.actions.claim import report_claim, settle_claim
from inventory.actions.hand_over import hand_over, sell_now
from inventory.actions.hold_deposits import take_hold_deposit
from inventory.actions.hold_plugs import hold_plugs
from inventory.actions.keep_safe import heard_of, leave_with
from inventory.actions.offer_frags import make_pack, offer_plug, set_availability
from inventory.actions.pay_sale import take_payment
from inventory.actions.sale_steps import SaleItem
from inventory.actions.set_prices import set_size_prices
from inventory.actions.trade import trade
from inventory.actions.wait_in_line import wait_for
from inventory.models import Book, Contact, LineagePrice, Payment, Sale
from inventory.readings.availability import available_on
from inventory.readings.sales import totals
from propagation.actions.acquire import PackLine
from propagation.models import Lineage, Plug

# All of these are invented for the demo.
ASKED_FOR_WITHOUT_A_PRICE = Decimal(25)
PRICES_ROSE_BY = Decimal("0.07")  # a year
GETS_SOME_OFF = 0.25  # share of sales
OFF_PERCENT = Decimal(10)
METHODS = [Payment.Method.CASH, Payment.Method.CASH, Payment.Method.CASH, Payment.Method.TRANSFER]


class DemoTrade:
    """Sells, trades and lends what the scenario grew."""

    def __init__(self, story: dict, *, contacts: dict[str, Contact], today: date, by=None):
        self.story = story
        self.contacts = contacts
        self.today = today
        self.by = by
        self.chance = random.Random("1884 market")  # noqa: S311 - a demo, not a secret
        self.sales: dict[str, Sale] = {}

    def contact(self, name: str) -> Contact:
        return self.contacts[name]

    def ago(self, days: int) -> date:
        return self.today - timedelta(days=days)

    # -- what left over the years --

    def sell_long_ago(self, plugs: list[Plug], on: date) -> Sale:
        """Frags of one cut go to one of those who bought then, paid and closed; prices were lower then."""
        lineage = plugs[0].lineage_id
        now = LineagePrice.objects.filter(lineage=lineage).values_list("amount", flat=True).first()
        years = Decimal((self.today - on).days) / 365
        then = (now or ASKED_FOR_WITHOUT_A_PRICE) / (1 + PRICES_ROSE_BY * years)
        price = then.quantize(Decimal(1))
        some_off = self.chance.random() < GETS_SOME_OFF
        sale = sell_now(
            contact=self.contact(self.chance.choice(self.story["buyers"])),
            items=[SaleItem(plug=plug, price=price) for plug in plugs],
            percent=OFF_PERCENT if some_off else None,
            method=self.chance.choice(METHODS),
            on=on,
            today=self.today,
            by=self.by,
        )
        return close_sale(sale=sale, today=self.today, by=self.by)

    # -- the last weeks --

    def play(self) -> None:
        """All that the scenario tells of the last weeks."""
        for told in self.story["market"]:
            self.sell_at_the_market(told)
        for told in self.story["sales"]:
            self.sell(told)
        for told in self.story["claims"]:
            self.claim(told)
        for told in self.story["trades"]:
            self.swap(told)
        for told in self.story["safekeepings"]:
            self.leave(told)
        for told in self.story["holds"]:
            self.hold(told)
        self.offer()

    def ready(self, lineage: str, count: int = 1, *, healed_by: date | None = None) -> list[Plug]:
        """The oldest frags of a line that are free and were fit to leave on a day."""
        found = available_on(self.today).filter(lineage__name=lineage, healed_on__lte=healed_by or self.today)
        plugs = list(found.select_related("lineage").order_by("began_on", "id")[:count])
        if len(plugs) < count:
            raise ValueError(f"The scenario has {len(plugs)} frags of {lineage} to give, not {count}.")
        return plugs

    def items(self, told: dict, on: date) -> list[SaleItem]:
        return [
            SaleItem(plug=plug, price=None if "price" not in told else Decimal(told["price"]))
            for lineage, count in told["frags"].items()
            for plug in self.ready(lineage, count, healed_by=on)
        ]

    def sell_at_the_market(self, told: dict) -> None:
        on = self.ago(told["days_ago"])
        sell_now(contact=self.contact(told["to"]), items=self.items(told, on), on=on, today=self.today, by=self.by)

    def sell(self, told: dict) -> None:
        """A sale as far as it has come: a draft, agreed, paid in part or whole, on its way."""
        on = self.ago(told["days_ago"])
        sale = begin_sale(
            contact=self.contact(told["to"]),
            items=self.items(told, on),
            on=on,
            shipping=Decimal(told.get("shipping", 0)),
            note=told.get("note", ""),
            today=self.today,
            by=self.by,
        )
        self.sales[told.get("name", "")] = sale
        if "agreed_after" not in told:
            return
        sale = agree_sale(sale=sale, on=on + timedelta(days=told["agreed_after"]), today=self.today, by=self.by)
        for payment in told.get("payments", []):
            take_payment(
                sale=sale,
                amount=Decimal(payment["amount"]) if "amount" in payment else totals(sale).owed,
                on=on + timedelta(days=payment["after"]),
                method=payment["method"],
                today=self.today,
                by=self.by,
            )
        if "sent_after" in told:
            sent_on = on + timedelta(days=told["sent_after"])
            hand_over(sale=sale, how=Sale.Leaving.SENT, on=sent_on, today=self.today, by=self.by)

    def claim(self, told: dict) -> None:
        line = self.sales[told["sale"]].lines.order_by("id").first()
        on = self.ago(told["days_ago"])
        claim = report_claim(line=line, kind=told["kind"], on=on, words=told["words"], today=self.today, by=self.by)
        if "outcome" not in told:
            return
        replacement = self.ready(told["replaced_by"])[0] if "replaced_by" in told else None
        settle_claim(
            claim=claim,
            outcome=told["outcome"],
            on=on + timedelta(days=1),
            plug=replacement,
            amount=Decimal(told["amount"]) if "amount" in told else None,
            today=self.today,
            by=self.by,
        )

    def swap(self, told: dict) -> None:
        on = self.ago(told["days_ago"])
        trade(
            contact=self.contact(told["with"]),
            plugs=[plug for name, count in told["out"].items() for plug in self.ready(name, count, healed_by=on)],
            lines=[PackLine(**{**line, "size_mm": Decimal(line["size_mm"])}) for line in told["in"]],
            cash=Decimal(told.get("cash", 0)),
            note=told.get("note", ""),
            on=on,
            today=self.today,
            by=self.by,
        )

    def leave(self, told: dict) -> None:
        since = self.ago(told["days_ago"])
        kept = leave_with(
            plug=self.ready(told["frag"], healed_by=since)[0],
            contact=self.contact(told["with"]),
            on=since,
            note=told.get("note", ""),
            today=self.today,
            by=self.by,
        )
        for days in told.get("heard_days_ago", []):
            heard_of(safekeeping=kept, on=self.ago(days), today=self.today, by=self.by)

    def hold(self, told: dict) -> None:
        plugs = self.ready(told["frag"], told["count"])
        holds = hold_plugs(
            plugs=plugs,
            contact=self.contact(told["for"]),
            until=self.today + timedelta(days=told["days"]),
            note=told.get("note", ""),
            today=self.today,
            by=self.by,
        )
        if "deposit" in told:
            take_hold_deposit(hold=holds[0], amount=Decimal(told["deposit"]), today=self.today, by=self.by)
        for name in told.get("waiting", []):
            wait_for(plug=plugs[0], contact_name=name, today=self.today, by=self.by)

    def offer(self) -> None:
        told = self.story["offers"]
        book = Book.current()
        for lineage, sizes in told["prices_by_size"].items():
            set_size_prices(
                lineage=Lineage.objects.get(name=lineage),
                prices={Decimal(size): Decimal(price) for size, price in sizes.items()},
                by=self.by,
            )
        for lineage, words in told["as_itself"].items():
            offer_plug(plug=self.ready(lineage)[0], as_itself=True, words=words, by=self.by)
        for pack in told["packs"]:
            make_pack(
                name=pack["name"],
                amount=Decimal(pack["price"]).quantize(Decimal(1).scaleb(-book.decimals)),
                plugs=[self.ready(lineage)[0] for lineage in pack["frags"]],
                words=pack["words"],
                by=self.by,
            )
        set_availability(
            visibility=told["visibility"],
            headline=told["headline"],
            wishes="\n".join(told["wishes"]),
            reach=told["reach"],
        )
