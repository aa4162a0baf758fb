from decimal import Decimal, InvalidOperation
from pathlib import Path

from django.core.management.base import CommandError

from labels.actions.draw_scale_card import card_of, scale_cards
from labels.drawing.papers.pages import A4, SIZES
from labels.management.commands.labels import LOCAL_ADDRESS
from propagation.management.asked_files import write_asked_for
from propagation.management.keeper_command import KeeperCommand
from propagation.models import Preferences
from propagation.readings.find import find_colony


class Command(KeeperCommand):
    help = "Write a PDF of scale cards: for one colony, or a page of cards for any."

    def add_arguments(self, parser):
        parser.add_argument("--out", required=True, type=Path, metavar="FILE.pdf")
        parser.add_argument("--for", dest="tag", metavar="TAG", help="The colony; without, the cards serve any colony.")
        parser.add_argument("--size-mm", default="32", metavar="X", help="Side of the code in mm; 32 fits a bank card.")
        parser.add_argument("--paper", choices=list(SIZES), default=A4.name)

    def answer(self, *, out, tag, size_mm, paper, **options):
        if not out.parent.is_dir():
            raise CommandError(f"There is no folder “{out.parent}” for the cards.")
        try:
            symbol_mm = Decimal(size_mm.replace(",", "."))
        except InvalidOperation:
            raise CommandError(f"“{size_mm}” is no size; write the side of the code in mm, such as 32.") from None
        card = card_of(symbol_mm)
        colonies = [find_colony(tag)] if tag else []
        sheet = scale_cards(
            symbol_mm=symbol_mm,
            base_address=Preferences.current().base_address or LOCAL_ADDRESS,
            colonies=colonies,
            size=SIZES[paper],
        )
        write_asked_for(out, sheet.pdf)
        return {
            "file": str(out),
            "pages": sheet.pages,
            "code_mm": float(symbol_mm),
            "card_mm": [round(card.paper.width, 2), round(card.paper.height, 2)],
            "colony": colonies[0].tag if colonies else None,
        }

    def lines(self, answer):
        width, height = answer["card_mm"]
        whose = f"A scale card for {answer['colony']}" if answer["colony"] else "Scale cards for any colony"
        yield f"{whose}, {width:g} × {height:g} mm with a code of {answer['code_mm']:g} mm, in {answer['file']}"
        yield "Print at actual size on matt paper."
