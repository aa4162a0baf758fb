from decimal import Decimal

from inventory.actions.hand_over import sell_now_to
from inventory.actions.sale_steps import SaleItem
from inventory.errors import NearlyTheSameName, SaleToConfirm
from inventory.management.commands.hold import name_to_settle
from inventory.models import Book, Payment
from inventory.money import plain_amount, read_amount, read_discount, write_amount
from inventory.readings.chosen import things_chosen
from inventory.readings.sales import lines_of, totals
from propagation.dates import day_in_words
from propagation.errors import BadValue
from propagation.management.keeper_command import KeeperCommand, day
from propagation.models import Plug

METHODS = [method.value for method in Payment.Method if method != Payment.Method.CREDIT]


class Command(KeeperCommand):
    help = (
        "Sell plugs or whole colonies in one act, as at a market: agreed and handed over, all of it or nothing. "
        "With --paid all of it is paid (in cash unless --method says how); without, what it costs is owed. A contact "
        "that is not known yet is met. What is held for others, set aside or not healed is refused unless "
        "--all-the-same. Undo it on the page of the sale, on the same day."
    )

    def add_arguments(self, parser):
        parser.add_argument("codes", nargs="+", metavar="CODE", help="Codes of plugs, or codes or tags of colonies.")
        parser.add_argument("--to", dest="name", required=True, metavar="NAME", help="The buyer.")
        parser.add_argument(
            "--price", metavar="X", help="What each of them costs; the usual price of each when not given."
        )
        parser.add_argument("--discount", metavar="X", help="Off all of it: an amount, or '10%%' off each.")
        parser.add_argument("--paid", action="store_true", help="It is paid in full.")
        parser.add_argument("--method", choices=METHODS, help="How it is paid; goes with --paid. Cash when not given.")
        parser.add_argument("--on", metavar="DATE", help="The day it left; today when not given.")
        parser.add_argument("--note", default="", help="A note for you.")
        parser.add_argument("--new", action="store_true", help="The name is somebody new, though one alike is known.")
        parser.add_argument(
            "--all-the-same", action="store_true", help="Sell even what is held for others, set aside, or not healed."
        )

    def answer(self, *, codes, name, price, discount, paid, method, on, note, new, all_the_same, **options):
        """The sale as plain values. Money is text with the digits of its currency, never a float."""
        if method and not paid:
            raise BadValue("--method goes with --paid: it says how it is paid.")
        book = Book.current()
        each = None if price is None else read_amount(price, book=book)
        told = {}
        if discount is not None:
            amount, told["percent"] = read_discount(discount, book=book)
            told["discount"] = amount or Decimal(0)
        if paid and method:
            told["method"] = method
        items = [
            SaleItem(plug=thing, price=each) if isinstance(thing, Plug) else SaleItem(colony=thing, price=each)
            for thing in things_chosen(codes)
        ]
        try:
            sale = sell_now_to(
                contact_name=name,
                is_somebody_new=new,
                items=items,
                today=self.today,
                on=day(on) if on else None,
                paid=paid,
                note=note,
                confirmed=all_the_same,
                **told,
            )
        except NearlyTheSameName as error:
            raise name_to_settle(error, name) from error
        except SaleToConfirm as error:
            because = "; ".join(error.because)
            raise BadValue(
                f"{because[0].upper()}{because[1:]}. If it is sold all the same, add --all-the-same."
            ) from error
        sums, money = totals(sale), Book(currency=sale.currency)
        return {
            "sale": sale.pk,
            "to": sale.contact.name,
            "state": sale.state,
            "left_on": sale.left_on,
            "lines": [
                {
                    "code": line.plug.code_in_clear if line.plug else line.colony.tag,
                    "lineage": (line.plug or line.colony).lineage.name,
                    "price": plain_amount(line.amount, money),
                }
                for line in lines_of(sale)
            ],
            "discount": plain_amount(sale.discount, money),
            "due": plain_amount(sums.due, money),
            "paid": plain_amount(sums.received, money),
            "owed": plain_amount(sums.owed, money),
            "currency": sale.currency,
        }

    def lines(self, answer):
        def money(text):
            return write_amount(text, answer["currency"])

        yield f"Sale {answer['sale']} to {answer['to']}, handed over on {day_in_words(answer['left_on'])}:"
        for line in answer["lines"]:
            yield f"  {line['code']}  {line['lineage']}: {money(line['price'])}"
        owed = f"{money(answer['owed'])} owed" if Decimal(answer["owed"]) else "nothing owed"
        yield f"{money(answer['due'])} in all; {money(answer['paid'])} paid, {owed}."
