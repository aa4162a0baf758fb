"""Money and prices on pages."""

from django import template

from inventory.money import write_amount
from propagation.readings.rack import place_in_words

register = template.Library()


@register.filter
def money(amount, currency):
    """``{{ plug.price|money:book.currency }}`` → ``€25.00``, below nothing ``−€25.00``."""
    return write_amount(amount, str(currency))


@register.filter
def place_of(plug):
    """``{{ plug|place_of }}`` → ``Rack A, B 3``, or nothing."""
    return place_in_words(plug)
