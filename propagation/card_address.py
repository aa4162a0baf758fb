"""What the code on a scale card says: how large it was printed, and of which colony it is if of one."""

import re
from decimal import Decimal

CARD = re.compile(r"/SCALE/([0-9]{1,3}(?:\.[0-9])?)/?(?:([0-9A-Z]{8})/?)?$", re.IGNORECASE)


def card_address(base_address: str, symbol_mm: Decimal | float, code: str = "") -> str:
    """``HTTPS://HOST/SCALE/32`` or, of a colony, ``HTTPS://HOST/SCALE/32/K7M42QXP``: the side of the code in mm.

    Upper-case, so that it fits the alphanumeric set of a QR and the symbol has few modules.
    """
    size = f"{Decimal(str(symbol_mm)).quantize(Decimal('0.1')).normalize():f}"
    return f"{base_address.rstrip('/')}/SCALE/{size}{'/' if code else ''}{code}".upper()


def symbol_mm_of_card(text: str) -> Decimal | None:
    """The side of the code in mm that a scale card says of itself, or None for what is no scale card."""
    found = CARD.search(text.strip())
    return Decimal(found[1]) if found and Decimal(found[1]) > 0 else None


def is_general_card(text: str) -> bool:
    """Is this a scale card of no colony?"""
    found = CARD.search(text.strip())
    return bool(found) and found[2] is None
