"""Whom to tell of a hole in the registry: security.txt by RFC 9116."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone

from registry.ledger.append import instant_text
from registry.web.buyer.open_page import open_page

# RFC 9116 section 2.5.5 advises less than a year.
_HOLDS = timedelta(days=180)


@open_page
def security_txt(_request: HttpRequest) -> HttpResponseBase:
    """The contact, until when it holds, the languages that are read, and the text's own address."""
    contact = settings.SECURITY_CONTACT
    midnight = timezone.now().replace(hour=0, minute=0, second=0, microsecond=0)
    lines = {
        "Contact": contact if ":" in contact else f"mailto:{contact}",
        "Expires": instant_text(midnight + _HOLDS),
        "Preferred-Languages": "en",
        "Canonical": f"{settings.SITE_URL}/.well-known/security.txt",
    }
    text = "".join(f"{name}: {value}\n" for name, value in lines.items())
    return HttpResponse(text, content_type="text/plain; charset=utf-8")
