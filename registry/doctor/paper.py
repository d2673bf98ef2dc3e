"""Whether a certificate can be set in type here: its fonts, and one invented sheet of paper.

No dog's paper is touched: what is set is made up here, and thrown away.
"""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, datetime

import typst
from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.doctor.findings import Check, Verdict, hand, well
from registry.paper.certificate import certificate_pdf
from registry.paper.content import CertificatePaper, PaperWords

_FONT = "Libertinus Serif"


def look_at_fonts() -> Verdict:
    """The typesetter brings the sheet's typeface along."""
    families = {font.family for font in typst.Fonts(include_system_fonts=False).fonts()}
    if _FONT in families:
        return well(_("The typeface of the certificates, %(font)s, is there.") % {"font": _FONT})
    return hand(
        _("The typeface of the certificates, %(font)s, is missing.") % {"font": _FONT},
        _("Install the packages of requirements-run.lock again."),
    )


def look_at_certificate() -> Verdict:
    """Set one sheet, and see that it is an archival PDF."""
    try:
        made = certificate_pdf(_sample())
    except (typst.TypstError, OSError, RuntimeError) as error:
        return hand(
            _("A certificate cannot be set in type: %(why)s") % {"why": str(error)[:200]},
            _("Install the packages of requirements-run.lock again."),
        )
    if not made.data.startswith(b"%PDF-") or not made.is_conformant:
        return hand(
            _("A certificate was set in type, but not as an archival PDF."),
            _("Install the packages of requirements-run.lock again."),
        )
    return well(_("A sample certificate was set in type as an archival PDF."))


def _sample() -> CertificatePaper:
    words = PaperWords(**{field.name: "Sample" for field in fields(PaperWords)})
    return CertificatePaper(
        language="en",
        title="Sample",
        club_name=settings.CLUB_NAME,
        club_address=settings.SITE_URL.partition("://")[2],
        number="00000 00000",
        url=f"{settings.SITE_URL}/C/0000000000",
        state="current",
        state_word="Sample",
        state_sentence="",
        dog_name="Sample",
        issued_at=datetime(2026, 1, 1, tzinfo=UTC),
        words=words,
    )


PAPER = (
    Check("fonts", gettext_lazy("The typeface of certificates"), look_at_fonts),
    Check(
        "certificate",
        gettext_lazy("A certificate's sheet of paper"),
        look_at_certificate,
        is_slow=True,
    ),
)
