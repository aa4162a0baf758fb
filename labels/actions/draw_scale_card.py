"""Scale cards as a PDF: of single colonies, or for any. Nothing is recorded: a card says itself how large it is."""

from collections.abc import Sequence
from decimal import Decimal

from labels.drawing.papers.pages import A4, PaperSize
from labels.drawing.scale_card import CardContent, cards_on_a_page, draw_scale_cards
from labels.drawing.sheet import DrawnSheet
from propagation.card_address import card_address
from propagation.errors import BadValue
from propagation.imaging.card import SYMBOL_MM, ScaleCard, card_with_symbol
from propagation.models import Colony

MOST_CARDS = 500  # a bound against a slip; a rack holds fewer colonies


def card_of(symbol_mm: Decimal) -> ScaleCard:
    """The card whose code has a side of so many mm. Raises BadValue for a size that no card has."""
    smallest, largest = SYMBOL_MM
    if not symbol_mm.is_finite() or not smallest <= symbol_mm <= largest:
        raise BadValue(
            f"The code of a scale card cannot be {symbol_mm} mm wide; choose {smallest:g} to {largest:g} mm.",
            field="size",
        )
    if symbol_mm != round(symbol_mm, 1):
        raise BadValue(f"{symbol_mm} mm is finer than the tenth of a millimetre that a card tells.", field="size")
    return card_with_symbol(float(symbol_mm))


def scale_cards(
    *,
    symbol_mm: Decimal,
    base_address: str,
    colonies: Sequence[Colony] = (),
    size: PaperSize = A4,
) -> DrawnSheet:
    """One card for each colony, or a page of cards for any. Colonies want their lineage loaded.

    Raises BadValue for a size that no card has or too many colonies.
    """
    card = card_of(symbol_mm)
    if len(colonies) > MOST_CARDS:
        raise BadValue(f"{len(colonies)} cards are too many at once; {MOST_CARDS} are printed.", field="colonies")
    of_colonies = [
        CardContent(
            address=card_address(base_address, symbol_mm, colony.code),
            words=f"{colony.tag} · {colony.lineage} · {colony.code_in_clear}",
        )
        for colony in colonies
    ]
    for_any = CardContent(
        address=card_address(base_address, symbol_mm),
        words=f"For any colony · code {symbol_mm.normalize():f} mm",
    )
    contents = of_colonies or [for_any] * cards_on_a_page(card, size)
    title = f"Scale card {colonies[0].tag}" if len(of_colonies) == 1 else "Scale cards"
    return draw_scale_cards(contents, card=card, size=size, title=title)
