"""Addresses that others open: in the codes of labels, in links that are sent, in the calendar."""

import ipaddress
from enum import Enum
from urllib.parse import urlsplit

from propagation.models import Preferences


class Opens(Enum):
    """Who can open an address, as far as it tells by itself."""

    HERE = "Only this machine can open it."
    NETWORK = "Only what is in your own network can open it."
    ANYWHERE = ""


def base_address_of(request) -> str:
    """Where others find this Ramet: the keeper's own address, or where this page was opened; no slash at its end."""
    return Preferences.current().base_address or f"{request.scheme}://{request.get_host()}"


def who_opens(address: str) -> Opens:
    """By its host: loopback (RFC 6761, RFC 5735), a network of one's own (RFC 1918, RFC 4193, RFC 6762), or any other.

    A name without a dot is one of a network of one's own.
    """
    host = (urlsplit(address).hostname or "").rstrip(".")
    try:
        number = ipaddress.ip_address(host)
    except ValueError:
        if host == "localhost" or host.endswith(".localhost"):
            return Opens.HERE
        return Opens.NETWORK if "." not in host or host.endswith((".local", ".lan", ".home.arpa")) else Opens.ANYWHERE
    if number.is_loopback or number.is_unspecified:
        return Opens.HERE
    return Opens.NETWORK if number.is_private or number.is_link_local else Opens.ANYWHERE
