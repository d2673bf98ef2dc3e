"""How often one caller may ask: by token, else by address.

The counters live in the shared cache, so that all workers count together. Addresses are kept there
as keyed digests only, for as long as they count.
"""

from __future__ import annotations

import logging
from typing import Any

from django.db import OperationalError
from django.utils.crypto import salted_hmac
from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle

from registry.callers import network_of

logger = logging.getLogger(__name__)


class Throttle(SimpleRateThrottle):
    """Counting never decides whether there is an answer: on a full disk it stands still."""

    def allow_request(self, request: Request, view: Any) -> bool:
        """Whether the caller may ask once more."""
        try:
            return super().allow_request(request, view)
        except OperationalError:
            logger.exception("requests are not counted just now")
            return True


class AddressThrottle(Throttle):
    """A caller without a token, by its network."""

    scope = "address"
    rate = "600/hour"

    def get_cache_key(self, request: Request, view: Any) -> str | None:
        """A digest of the network; None for callers with a token."""
        if request.auth is not None:
            return None
        network = network_of(request)
        digest = salted_hmac("api.throttles", network, algorithm="sha256").hexdigest()
        return f"throttle-{digest[:32]}"


class TokenThrottle(Throttle):
    """A program with a token."""

    scope = "token"
    rate = "1200/minute"

    def get_cache_key(self, request: Request, view: Any) -> str | None:
        """The token's row; None for callers without one."""
        return f"throttle-token-{request.auth.pk}" if request.auth is not None else None
