"""Sold at a market table: in one act, to somebody who need not be named."""

from collections.abc import Collection, Iterable
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db import transaction

from inventory.actions.hand_over import sell_now
from inventory.actions.keep_contact import contact_named
from inventory.actions.sale_steps import SaleItem, locked_things, open_holds_of, refuse_taken
from inventory.errors import SaleToConfirm
from inventory.models import Contact, Payment, Sale
from inventory.models.contact import NOBODY_NAMED
from inventory.readings.sales import against_selling
from propagation.errors import BadValue, NameTaken

NOTHING = Decimal(0)


@transaction.atomic
def sell_at_market(
    *,
    items: Iterable[SaleItem],
    today: date,
    buyer: str = "",
    is_somebody_new: bool = False,
    together: Decimal | None = None,
    paid: bool = True,
    method: str = Payment.Method.CASH,
    agreed: Collection[str] = (),
    submission: UUID | None = None,
    by=None,
) -> Sale:
    """Sell these here and now: agreed, paid and handed over, all of them or none; without a ``buyer`` to nobody named.

    The items have their prices; ``together`` is what is asked for all of them instead, never more. ``agreed`` are the
    sentences of `against_selling` that were read and answered with yes. The same ``submission`` finds the sale it made,
    also one that was undone since.

    Raises SaleToConfirm for what is against it and not ``agreed``, NearlyTheSameName unless a new name is said to be
    somebody new, BadValue (also for nobody named who does not pay), and as `sell_now`.
    """
    items = list(items)
    buyer = " ".join(buyer.split())
    plugs, _ = locked_things(plug_ids=[item.plug.pk for item in items if item.plug], colony_ids=())
    if submission and (made := Sale.objects.filter(submission=submission).select_related("contact").first()):
        return sell_now(contact=made.contact, items=items, today=today, submission=submission, by=by)
    if not buyer and not paid:
        raise BadValue("Say who will pay for it; of somebody who is not named nobody can ask it.", field="buyer")
    refuse_taken(plugs.values(), ())
    contact = _somebody(buyer or NOBODY_NAMED, confirmed=is_somebody_new or not buyer, by=by)
    # A hold for another who was not named either is not theirs.
    against = against_selling(plugs.values(), open_holds_of(plugs.values()), contact if buyer else None, today)
    if unread := [words for words in against if words not in agreed]:
        raise SaleToConfirm(unread)
    return sell_now(
        contact=contact,
        items=items,
        today=today,
        paid=paid,
        method=method,
        discount=_off(items, together),
        submission=submission,
        by=by,
    )


def _somebody(name: str, *, confirmed: bool, by) -> Contact:
    try:
        return contact_named(name=name, confirmed=confirmed, by=by)
    except NameTaken as error:  # met at another table in this very moment
        return error.other


def _off(items: list[SaleItem], together: Decimal | None) -> Decimal:
    if together is None:
        return NOTHING
    cost = sum((item.price - item.discount for item in items), NOTHING)
    if together > cost:
        raise BadValue(f"All of it costs {cost}, less than that. To ask more, change a price.", field="together")
    return cost - together
