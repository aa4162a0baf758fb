"""Tells the floors below of the papers of sales and trades."""

from inventory.models import Sale, Trade
from propagation.papers import tells_papers


@tells_papers
def papers_of_trade(thing, request):
    """The papers of a sale or a trade; of nothing else are there any here."""
    if not isinstance(thing, Sale | Trade):
        return None
    from labels.offered_papers import offered_papers  # what draws them takes a second, which no command need wait for

    return offered_papers(thing, request)
