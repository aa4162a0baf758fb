"""The nouns of the inventory floor."""

from inventory.models.acquisition_terms import AcquisitionTerms
from inventory.models.book import Book
from inventory.models.brought import BroughtPlug
from inventory.models.contact import Contact
from inventory.models.hold import Hold, Waiting
from inventory.models.offer import Availability, OfferPack, PlugOffer, SizePrice
from inventory.models.price import LineagePrice, PlugPrice
from inventory.models.sale import Credit, Payment, Sale, SaleLine, SaleState
from inventory.models.trade import Claim, ClaimPicture, Safekeeping, Trade, TradeLine

__all__ = [
    "AcquisitionTerms",
    "Availability",
    "Book",
    "BroughtPlug",
    "Claim",
    "ClaimPicture",
    "Contact",
    "Credit",
    "Hold",
    "LineagePrice",
    "OfferPack",
    "Payment",
    "PlugOffer",
    "PlugPrice",
    "Safekeeping",
    "Sale",
    "SaleLine",
    "SaleState",
    "SizePrice",
    "Trade",
    "TradeLine",
    "Waiting",
]
