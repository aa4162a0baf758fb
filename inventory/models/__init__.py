"""The nouns of the inventory floor."""

from inventory.models.acquisition_terms import AcquisitionTerms
from inventory.models.book import Book
from inventory.models.contact import Contact
from inventory.models.hold import Hold
from inventory.models.price import LineagePrice, PlugPrice

__all__ = ["AcquisitionTerms", "Book", "Contact", "Hold", "LineagePrice", "PlugPrice"]
