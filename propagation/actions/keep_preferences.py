"""The keeper's choices, and the address that is printed in codes."""

import re
import unicodedata
from urllib.parse import urlsplit

import qrcode
from django.db import transaction
from qrcode.exceptions import DataOverflowError

from propagation import codes
from propagation.errors import BadValue
from propagation.models import Preferences

MOST_ADDRESS_LINES = 8
LETTER_JOINERS = "\u200c\u200d"
QUIET_MODULES = 4  # ISO/IEC 18004 §6.3.8, from memory
# A name as RFC 1123 §2.1 has it (from memory), or an IPv6 address in brackets.
HOST = re.compile(r"(?!-)[A-Za-z0-9-]{1,63}(?<!-)(\.(?!-)[A-Za-z0-9-]{1,63}(?<!-))*|\[[0-9A-Fa-f:.]+\]")


def tidy_base_address(text: str) -> str:
    """The address without a slash at its end; empty for none.

    Raises BadValue unless it is http:// or https:// with a host, and a port perhaps, and nothing after it.
    """
    text = text.strip().rstrip("/")
    if not text:
        return ""
    way_out = "Write it like https://reef.example or http://192.168.1.20:8000."
    if any(character.isspace() for character in text):
        raise BadValue(f"“{text}” has a space in it. {way_out}", field="base_address")
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError as error:
        raise BadValue(f"“{text}” is no address: its port is wrong. {way_out}", field="base_address") from error
    if parts.scheme.lower() not in ("http", "https"):
        raise BadValue(f"“{text}” does not begin with http:// or https://. {way_out}", field="base_address")
    host = parts.netloc.rpartition(":")[0] if port is not None else parts.netloc.rstrip(":")
    if not HOST.fullmatch(host):
        raise BadValue(f"“{text}” names no host that can be opened. {way_out}", field="base_address")
    if parts.path or parts.query or parts.fragment:
        raise BadValue(
            f"“{text}” goes on after the host; the code of the plug comes there. {way_out}", field="base_address"
        )
    return f"{parts.scheme.lower()}://{host.lower()}" + (f":{port}" if port is not None else "")


def tidy_line(text: str) -> str:
    """A text on one line, without the characters that papers do not print: control and direction marks."""

    def is_kept(character):
        return character in LETTER_JOINERS or unicodedata.category(character) not in ("Cc", "Cf", "Cs")

    return " ".join("".join(filter(is_kept, " ".join(text.split()))).split())


def tidy_postal_address(text: str) -> str:
    """An address line by line, without empty ones. Raises BadValue for more lines than a paper has room for."""
    lines = [line for line in map(tidy_line, text.splitlines()) if line]
    if len(lines) > MOST_ADDRESS_LINES:
        raise BadValue(
            f"This address has {len(lines)} lines; {MOST_ADDRESS_LINES} fit. Put some of them on one line.",
            field="postal_address",
        )
    return "\n".join(lines)


def modules_of_label(base_address: str) -> int | None:
    """Modules on a side of the smallest QR that holds this address and a code; None if none does.

    The quiet zone is not counted. What stands in a code is the address in capitals, ``/Q/`` and eight characters.
    """
    maker = qrcode.QRCode(error_correction=qrcode.ERROR_CORRECT_L)
    maker.add_data(f"{base_address}/Q/{'2' * (codes.LENGTH - 1)}A".upper(), optimize=0)
    try:
        return 17 + 4 * maker.best_fit()
    except (DataOverflowError, ValueError):
        return None


@transaction.atomic
def keep_preferences(*, preferences: Preferences) -> Preferences:
    """Save the keeper's choices in their one row.

    Raises BadValue for an address that a phone cannot open, and for one of too many lines.
    """
    preferences.pk = 1
    preferences.base_address = tidy_base_address(preferences.base_address)
    preferences.display_name = " ".join(preferences.display_name.split())
    preferences.postal_address = tidy_postal_address(preferences.postal_address)
    for name in ("paper_name", "paper_reach", "tax_number", "receipt_closing"):
        setattr(preferences, name, tidy_line(getattr(preferences, name)))
    preferences.save()
    return preferences
