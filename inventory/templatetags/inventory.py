"""Money and prices on pages."""

from django import template

from inventory.money import write_amount
from inventory.tables.ready import place_of as place_of_plug

register = template.Library()


@register.filter
def money(amount, currency):
    """``{{ plug.price|money:book.currency }}`` → ``€25.00``."""
    return write_amount(amount, str(currency))


@register.filter
def place_of(plug):
    """``{{ plug|place_of }}`` → ``Rack A, B 3``, or nothing."""
    return place_of_plug(plug)
