"""The papers of a sale or a trade, and the link by which the other side reads its own."""

import numpy as np
from django.urls import reverse

from inventory.models import Sale
from labels.actions.print_papers import SIZES, Kind, kinds_of
from labels.drawing.symbol import QUIET_MODULES, make_symbols, svg_path
from labels.views.papers import address_for_others, chosen_size
from propagation.papers import LinkSymbol, PaperLink, Papers, PaperSizeChoice

TELLS = {
    Kind.RECEIPT: "What was given for what",
    Kind.PACKING: "Rack by rack, with a box to tick",
    Kind.CERTIFICATE: "The line of descent of each",
    Kind.CARE: "Light, water, and what to beware of",
    Kind.ALL: "In one file",
}


def offered_papers(thing, request) -> Papers:
    """Receipt, packing list, certificates and care note of a sale or a trade, and the link to them."""
    name = "sale" if isinstance(thing, Sale) else "trade"
    chosen = chosen_size(request)
    link = address_for_others(request, thing)
    return Papers(
        links=[
            PaperLink(
                kind.plural,
                TELLS[kind],
                reverse(f"{name}_paper", args=[thing.pk, kind.value]),
            )
            for kind in kinds_of(thing)
        ],
        sizes=[PaperSizeChoice(size.name, size.words, size == chosen) for size in SIZES.values()],
        size_url=reverse("paper_size"),
        secret_link=link,
        secret_symbol=symbol_of(link),
        page_url=reverse("own_papers", args=[thing.secret]),
        renew_url=reverse(f"{name}_paper_link", args=[thing.pk]),
    )


def symbol_of(link: str) -> LinkSymbol:
    """A link as a QR that another phone scans from the screen."""
    modules = np.pad(next(make_symbols([link])), QUIET_MODULES)
    return LinkSymbol(svg_path(modules), len(modules))
