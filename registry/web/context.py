"""What every page knows of the site: the club's name and the address a reader should see."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from urllib.parse import urlsplit

from django.conf import settings
from django.core.signals import setting_changed
from django.dispatch import receiver
from django.http import HttpRequest


@dataclass(frozen=True, slots=True)
class Site:
    """``url`` without a trailing slash; ``address`` is the host as the browser shows it."""

    club: str
    url: str
    address: str
    contact: str


@cache
def site() -> Site:
    """The site as the settings describe it."""
    return Site(
        club=settings.CLUB_NAME,
        url=settings.SITE_URL,
        address=urlsplit(settings.SITE_URL).netloc,
        contact=getattr(settings, "CONTACT_EMAIL", ""),
    )


def site_context(request: HttpRequest) -> dict[str, Site]:
    """Context processor: ``site``."""
    return {"site": site()}


@receiver(setting_changed)
def _forget(**_changed: object) -> None:
    """Tests that override settings see their own."""
    site.cache_clear()
