"""People and their work: roles that hang on one person, tokens that end, drafts left lying.

Who may do what is settled by the desk; this only says where one illness would stop the club.
"""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.doctor.findings import Check, Verdict, advice, hand, well
from registry.models import ApiToken, Draft, Membership, Role
from registry.queries.second_steps import people_without
from registry.wording import dates

_FEWEST = 2
_TOKEN_ENDS_WITHIN = timedelta(days=14)
_DRAFT_IS_STALE = timedelta(days=30)
_SHOWN = 5


def look_at_registrars() -> Verdict:
    """Nobody decides on their own dog or submission, so one registrar is not enough."""
    count = _holders(Role.REGISTRAR)
    if count >= _FEWEST:
        return well(_("%(count)d people are registrars.") % {"count": count})
    return hand(
        _("Too few registrars (%(count)d): nobody could decide on the only one's own dogs.")
        % {"count": count},
        _("Give a second person the role, on the page of people."),
    )


def look_at_secretaries() -> Verdict:
    """Somebody must be able to act in days of illness."""
    count = _holders(Role.SECRETARY)
    if count >= _FEWEST:
        return well(_("%(count)d people are secretaries.") % {"count": count})
    return hand(
        _("Too few secretaries (%(count)d): nobody could stand in.") % {"count": count},
        _("Give a second person the role, on the page of people."),
    )


def _holders(role: Role) -> int:
    held = Membership.objects.filter(role=role, ended_at__isnull=True, user__is_active=True)
    return held.values("user").distinct().count()


def look_at_second_steps() -> Verdict:
    """Whoever decides, or gives out roles, needs more than a password at the sign-in."""
    found = list(people_without()[: _SHOWN + 1])
    if not found:
        return well(_("All registrars and secretaries have a second step at the sign-in."))
    names = ", ".join(str(each) for each in found[:_SHOWN])
    return advice(
        _("These people have no second step yet, so their room is closed: %(names)s.")
        % {"names": names},
        _("Ask them to sign in once and to make a passkey or set up an authenticator app."),
    )


def look_at_tokens() -> Verdict:
    """A clinic's program stops the day its token ends."""
    now = timezone.now()
    ending = ApiToken.objects.filter(
        revoked_at__isnull=True,
        membership__ended_at__isnull=True,
        membership__user__is_active=True,
        expires_at__range=(now, now + _TOKEN_ENDS_WITHIN),
    ).order_by("expires_at")
    if not ending:
        return well(_("No token ends within two weeks."))
    names = ", ".join(f"{each.name} ({dates.day(each.expires_at)})" for each in ending[:_SHOWN])
    return advice(
        _("These tokens end within two weeks: %(names)s.") % {"names": names},
        _("Make a new token for the program on the person's page, and end the old one."),
    )


def look_at_drafts() -> Verdict:
    """A result that was begun and not sent helps nobody."""
    before = timezone.now() - _DRAFT_IS_STALE
    count = Draft.objects.filter(sent_as__isnull=True, updated_at__lt=before).count()
    if not count:
        return well(_("No clinic has a draft that was left for a month."))
    return advice(
        _("Drafts that were left for more than a month: %(count)d.") % {"count": count},
        _("Ask the clinics to send these results or to delete the drafts."),
    )


PEOPLE = (
    Check("registrars", gettext_lazy("Registrars"), look_at_registrars),
    Check("secretaries", gettext_lazy("Secretaries"), look_at_secretaries),
    Check("second-steps", gettext_lazy("Second steps at the sign-in"), look_at_second_steps),
    Check("tokens", gettext_lazy("Tokens of programs"), look_at_tokens),
    Check("drafts", gettext_lazy("Drafts of clinics"), look_at_drafts),
)
