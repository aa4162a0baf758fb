"""What tests of sales share."""

from decimal import Decimal

from inventory.actions.begin_sale import begin_sale
from inventory.actions.sale_steps import SaleItem
from tests.factories import ContactFactory, ReadyPlugFactory


def items_of(*plugs, price=25):
    return [SaleItem(plug=plug, price=Decimal(price)) for plug in plugs]


def begun(*, today, plugs=2, price=25, contact=None, **told):
    """A draft of so many ready plugs at a price each."""
    contact = contact or ContactFactory()
    return begin_sale(
        contact=contact, items=items_of(*ReadyPlugFactory.create_batch(plugs), price=price), today=today, **told
    )
