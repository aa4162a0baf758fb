"""Money and prices on pages."""

from django import template

from inventory.money import write_amount

register = template.Library()


@register.filter
def money(amount, currency):
    """``{{ plug.price|money:book.currency }}`` → ``€25.00``."""
    return write_amount(amount, str(currency))
