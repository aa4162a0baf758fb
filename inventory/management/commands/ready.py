from inventory.models import Book
from inventory.money import write_amount
from inventory.readings.availability import available_on, with_price
from propagation.management.keeper_command import KeeperCommand
from propagation.readings.find import find_lineage


class Command(KeeperCommand):
    help = "List the frags that are ready to sell or trade: healed, kept, promised to nobody, not insurance."

    def add_arguments(self, parser):
        parser.add_argument("--lineage", metavar="NAME", help="Only frags of this lineage.")

    def answer(self, *, lineage, **options):
        plugs = with_price(available_on(self.today)).select_related("lineage", "rack").order_by("healed_on", "id")
        if lineage:
            plugs = plugs.filter(lineage=find_lineage(lineage))
        currency = Book.current().currency
        return [
            {
                "code": plug.code_in_clear,
                "lineage": plug.lineage.name,
                "age_days": plug.age_days(self.today),
                "size_mm": plug.size_mm,
                "healed_on": plug.healed_on,
                "rack": plug.rack.name if plug.rack else None,
                "row": plug.rack_row,
                "column": plug.rack_column,
                "price": plug.price,
                "currency": currency,
            }
            for plug in plugs.iterator(chunk_size=2000)
        ]

    def lines(self, answer):
        if not answer:
            yield "Nothing is ready."
            return
        for plug in answer:
            price = write_amount(plug["price"], plug["currency"])
            size = f"{plug['size_mm']:g} mm" if plug["size_mm"] is not None else ""
            yield f"{plug['code']}  {plug['lineage'][:32]:32}  {size:>7}  {plug['age_days']:>4} days  {price:>10}"
