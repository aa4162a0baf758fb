"""Where a request comes from, for counting guesses."""

import ipaddress

from django.conf import settings

IPV6_HOUSEHOLD = 64  # bits: one line is given at least a /64, so its addresses are counted together (RFC 6177)

NOWHERE = "0.0.0.0"  # noqa: S104 - stands for no address in what is logged, where PostgreSQL takes addresses only


def address_of_visitor(request, *args) -> str:
    """The visitor's address; of an IPv6 address the network it lies in.

    Behind a proxy it is the last entry of X-Forwarded-For, the one that our own proxy added; what stands before it the
    visitor may have written, and without BEHIND_PROXY so may all of it, so then the header is not looked at.
    """
    text = request.META.get("REMOTE_ADDR", "")
    if settings.BEHIND_PROXY:
        text = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")[-1].strip() or text
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        return NOWHERE
    if address.version == 6 and address.ipv4_mapped:
        address = address.ipv4_mapped
    if address.version == 6:
        return str(ipaddress.ip_network((address, IPV6_HOUSEHOLD), strict=False).network_address)
    return str(address)
