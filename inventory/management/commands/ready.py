from inventory.models import Book
from inventory.money import plain_amount, write_amount
from inventory.readings.availability import available_on, for_list
from propagation.management.keeper_command import KeeperCommand
from propagation.readings.find import find_lineage

LONGEST_NAME = 32  # of a lineage, in the lines for people


class Command(KeeperCommand):
    help = "List the frags that are ready to sell or trade: healed, kept, promised to nobody, not insurance."

    def add_arguments(self, parser):
        parser.add_argument("--lineage", metavar="NAME", help="Only frags of this lineage.")

    def answer(self, *, lineage, **options):
        """Plugs as plain values, longest healed first. Money is text with the digits of its currency, never a float."""
        plugs = for_list(available_on(self.today))
        if lineage:
            plugs = plugs.filter(lineage=find_lineage(lineage))
        book = Book.current()
        return [
            {
                "code": plug.code_in_clear,
                "lineage": plug.lineage.name,
                "age_days": plug.age_days(self.today),
                "size_mm": None if plug.size_mm is None else float(plug.size_mm),
                "healed_on": plug.healed_on,
                "rack": plug.rack.name if plug.rack else None,
                "row": plug.rack_row,
                "column": plug.rack_column,
                "price": None if plug.price is None else plain_amount(plug.price, book),
                "currency": book.currency,
            }
            for plug in plugs.iterator(chunk_size=2000)
        ]

    def lines(self, answer):
        if not answer:
            yield "Nothing is ready."
            return
        names = min(LONGEST_NAME, max(len("Lineage"), *(len(plug["lineage"]) for plug in answer)))
        yield f"{'Code':<9}  {'Lineage':<{names}}  {'Size':>7}  {'Age':>9}  {'Price':>12}  Stands at"
        for plug in answer:
            size = "–" if plug["size_mm"] is None else f"{plug['size_mm']:g} mm"
            price = write_amount(plug["price"], plug["currency"])
            place = plug["rack"] or "–"
            if plug["row"]:
                place += f", row {plug['row']}, column {plug['column']}"
            yield (
                f"{plug['code']}  {_short(plug['lineage'], names):<{names}}  {size:>7}  {plug['age_days']:>4} days"
                f"  {price:>12}  {place}"
            )
        yield f"{len(answer)} ready."


def _short(text, width):
    return text if len(text) <= width else f"{text[: width - 1]}…"
