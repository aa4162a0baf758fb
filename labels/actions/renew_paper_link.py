"""A new secret link to the papers of a sale or a trade."""

from django.db import transaction

from inventory.models import Sale, Trade
from inventory.models.sale import paper_secret


@transaction.atomic
def renew_paper_link(*, of: Sale | Trade, by=None) -> Sale | Trade:
    """Give the papers another secret address; the one before leads nowhere from now on."""
    stored = type(of).objects.select_for_update().get(pk=of.pk)
    stored.secret = paper_secret()
    stored._history_user = by
    stored._change_reason = "A new link to its papers"
    stored.save(update_fields=["secret"])
    return stored
