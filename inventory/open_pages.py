"""Tells the floor below that the page of offers is open to others: it shows pictures."""

from inventory.models import Availability
from propagation.open_pages import opens_pages


@opens_pages
def offers_are_open() -> bool:
    return Availability.current().visibility != Availability.Visibility.OFF
