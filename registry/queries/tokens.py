"""Find the role a bearer token stands for, if it still stands."""

from __future__ import annotations

import hashlib

from django.utils import timezone

from registry.models import ApiToken


def live_token(secret: str) -> ApiToken | None:
    """The token of this secret, unless it is revoked, past its day, or its role or account has
    ended."""
    return (
        ApiToken.objects.select_related("membership__user", "membership__clinic")
        .filter(
            digest=hashlib.sha256(secret.encode()).hexdigest(),
            revoked_at__isnull=True,
            expires_at__gt=timezone.now(),
            membership__ended_at__isnull=True,
            membership__user__is_active=True,
        )
        .first()
    )
