"""How long the certificate of the site's own address still holds.

The one check that uses the network: only in production, only the host of SOUNDLINE_SITE_URL, and
never in a request.
"""

from __future__ import annotations

import socket
import ssl
from datetime import UTC, datetime
from urllib.parse import urlsplit

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.doctor.findings import Check, Verdict, advice, hand, well

_TIMEOUT_SECONDS = 5
_HAND_DAYS = 7
_ADVICE_DAYS = 21
_FIX = gettext_lazy("Renew the certificate in the TLS proxy, and look why it did not do so itself.")


def look_at_tls() -> Verdict:
    """Days until the certificate ends, as a browser would see them."""
    if not settings.IS_PRODUCTION:
        return well(_("This is a trial: there is no certificate to look at."))
    site = urlsplit(settings.SITE_URL)
    try:
        ends_at = _ends_at(site.hostname or "", site.port or 443)
    except ssl.SSLError as error:
        return hand(
            _("A browser would refuse the site's certificate: %(why)s.") % {"why": _reason(error)},
            str(_FIX),
        )
    except OSError as error:
        return advice(
            _("The site's own address could not be reached from here: %(why)s.")
            % {"why": error.strerror or type(error).__name__},
            _("If visitors reach it, all is well; else look at the name server and the proxy."),
        )
    days = (ends_at - timezone.now()).days
    words = _("The certificate holds for %(days)d more days.") % {"days": days}
    if days >= _ADVICE_DAYS:
        return well(words)
    return hand(words, str(_FIX)) if days < _HAND_DAYS else advice(words, str(_FIX))


def _reason(error: ssl.SSLError) -> str:
    """Which of its texts an error has depends on where it arose."""
    texts = (getattr(error, name, None) for name in ("verify_message", "reason", "strerror"))
    return next((str(text) for text in texts if text), type(error).__name__)


def _ends_at(host: str, port: int) -> datetime:
    """When the certificate that the host shows ends; raises ssl.SSLError, OSError."""
    context = ssl.create_default_context()
    with (
        socket.create_connection((host, port), timeout=_TIMEOUT_SECONDS) as line,
        context.wrap_socket(line, server_hostname=host) as secured,
    ):
        shown = secured.getpeercert() or {}
    seconds = ssl.cert_time_to_seconds(str(shown["notAfter"]))
    return datetime.fromtimestamp(seconds, UTC)


TLS = (Check("tls", gettext_lazy("The TLS certificate of the site"), look_at_tls, is_slow=True),)
