from inventory.models import Book
from inventory.money import plain_amount, write_amount
from inventory.readings.availability import available_on, for_list
from inventory.readings.ready_soon import WITHIN_DAYS, frags_ready_soon, with_details
from propagation.dates import day_in_words
from propagation.errors import BadValue
from propagation.management.keeper_command import KeeperCommand
from propagation.readings.find import find_lineage
from propagation.readings.healing_outlook import in_ten

LONGEST_WITHIN = 365  # days; further ahead nothing that heals today is still healing
LONGEST_NAME = 32  # of a lineage, in the lines for people


class Command(KeeperCommand):
    is_soon = False
    help = (
        "List the frags that are ready to sell or trade: healed, kept, promised to nobody, not insurance. With --soon, "
        "those that still heal and are likely ready before long."
    )

    def add_arguments(self, parser):
        parser.add_argument("--lineage", metavar="NAME", help="Only frags of this lineage.")
        parser.add_argument("--soon", action="store_true", help="What is likely healed soon, and how likely it is.")
        parser.add_argument(
            "--within", type=int, metavar="DAYS", help=f"How soon; {WITHIN_DAYS} days when not given. Goes with --soon."
        )

    def answer(self, *, lineage, soon, within, **options):
        """Plugs as plain values, longest healed first. Money is text with the digits of its currency, never a float."""
        lineage = find_lineage(lineage) if lineage else None
        if within is not None and not soon:
            raise BadValue("--within goes with --soon: it says how soon.")
        if soon:
            return self.answer_soon(lineage, WITHIN_DAYS if within is None else within)
        plugs = for_list(available_on(self.today))
        if lineage:
            plugs = plugs.filter(lineage=lineage)
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

    def answer_soon(self, lineage, within):
        """Plugs that are likely healed within so many days, the first first, each with its window and its chance."""
        if not 0 <= within <= LONGEST_WITHIN:
            raise BadValue(f"--within takes 0 to {LONGEST_WITHIN} days, not {within}.")
        self.is_soon = True
        frags = with_details(frags_ready_soon(self.today, within=within, lineage=lineage))
        return [
            {
                "code": frag.plug.code_in_clear,
                "lineage": frag.plug.lineage.name,
                "earliest": frag.window.earliest,
                "likely": frag.window.likely,
                "latest": frag.window.latest,
                "probability": round(frag.window.probability, 3),
                "checked_on": frag.plug.checked_on,
                "rack": frag.plug.rack.name if frag.plug.rack else None,
                "row": frag.plug.rack_row,
                "column": frag.plug.rack_column,
            }
            for frag in frags
        ]

    def lines_soon(self, answer):
        if not answer:
            yield "Nothing is likely ready so soon."
            return
        names = min(LONGEST_NAME, max(len("Lineage"), *(len(plug["lineage"]) for plug in answer)))
        yield f"{'Code':<9}  {'Lineage':<{names}}  {'Likely':<11}  {'Between':<25}  {'Make it':<10}  Stands at"
        for plug in answer:
            between = f"{day_in_words(plug['earliest'])} … {day_in_words(plug['latest'])}"
            likely = day_in_words(plug["likely"])
            yield (
                f"{plug['code']}  {_short(plug['lineage'], names):<{names}}  {likely:<11}  {between:<25}  "
                f"{in_ten(plug['probability']):<10}  {_place(plug)}"
            )
        yield f"{len(answer)} likely healed soon; a day that has passed says that a look is worth while."

    def lines(self, answer):
        if self.is_soon:
            yield from self.lines_soon(answer)
            return
        if not answer:
            yield "Nothing is ready."
            return
        names = min(LONGEST_NAME, max(len("Lineage"), *(len(plug["lineage"]) for plug in answer)))
        yield f"{'Code':<9}  {'Lineage':<{names}}  {'Size':>7}  {'Age':>9}  {'Price':>12}  Stands at"
        for plug in answer:
            size = "–" if plug["size_mm"] is None else f"{plug['size_mm']:g} mm"
            price = write_amount(plug["price"], plug["currency"])
            yield (
                f"{plug['code']}  {_short(plug['lineage'], names):<{names}}  {size:>7}  {plug['age_days']:>4} days"
                f"  {price:>12}  {_place(plug)}"
            )
        yield f"{len(answer)} ready."


def _place(plug):
    place = plug["rack"] or "–"
    return f"{place}, row {plug['row']}, column {plug['column']}" if plug["row"] else place


def _short(text, width):
    return text if len(text) <= width else f"{text[: width - 1]}…"
