"""Who asks, as far as counting needs to know."""

from __future__ import annotations

from ipaddress import IPv6Address, IPv6Network, ip_address

from django.conf import settings
from django.http import HttpRequest

# Set by the registry where it asks itself, as for the farewell site; no caller can send it, since
# what they send is named HTTP_….
OWN = "soundline.own"
# What a provider gives to one household, which can choose any address in it.
_HOUSEHOLD_BITS = 64


def network_of(request: HttpRequest) -> str:
    """The network a request comes from: an IPv4 address, or the 64 leading bits of an IPv6 one.

    Headers are believed from a trusted proxy only, and of them the address that it added itself.
    """
    told = request.META.get("HTTP_X_FORWARDED_FOR", "") if settings.TRUST_PROXY else ""
    text = told.rpartition(",")[2].strip() or request.META.get("REMOTE_ADDR", "")
    try:
        address = ip_address(text)
    except ValueError:
        return text
    if not isinstance(address, IPv6Address):
        return str(address)
    if address.ipv4_mapped:
        return str(address.ipv4_mapped)
    return str(IPv6Network((address, _HOUSEHOLD_BITS), strict=False).network_address)
