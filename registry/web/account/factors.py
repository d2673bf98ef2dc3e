"""A person's own way in: passkeys, the authenticator app, recovery codes. Where something is added
or taken away the person proves who they are first, and hears of it by mail."""

from __future__ import annotations

from typing import Any, ClassVar

from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes import views as codes
from allauth.mfa.totp import views as apps
from allauth.mfa.webauthn import views as passkeys
from allauth.mfa.webauthn.internal import auth as webauthn
from allauth.usersessions.models import UserSession
from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from registry.desk import sign_in as desk
from registry.queries.second_steps import lacks_second_step
from registry.web.account.forms import AppForm, PasskeyForm
from registry.web.account.kept import OWN_SECTIONS, keep_session
from registry.web.account.sessions import browser_of
from registry.web.acting import signed_in_person

_FRAME: dict[str, Any] = {"sections": OWN_SECTIONS}


@never_cache
@require_GET
def overview(request: HttpRequest) -> HttpResponse:
    """Everything about the person's own sign-in on one page."""
    user = signed_in_person(request)
    kept = Authenticator.objects.filter(user=user).order_by("created_at")
    recovery = kept.filter(type=Authenticator.Type.RECOVERY_CODES).first()
    context = {
        "sections": OWN_SECTIONS,
        "passkeys": [each for each in kept if each.type == Authenticator.Type.WEBAUTHN],
        "app": kept.filter(type=Authenticator.Type.TOTP).first(),
        "codes_left": len(recovery.wrap().get_unused_codes()) if recovery else None,
        "is_step_due": lacks_second_step(user),
        "may_have_passkeys": not _is_number(request.get_host().partition(":")[0]),
        "open_sessions": [
            {"row": each, "browser": browser_of(each.user_agent), "is_this": each.is_current()}
            for each in UserSession.objects.purge_and_list(user)
        ],
    }
    return render(request, "account/overview.html", context)


class _Noted:
    """A change of the person's own, written down by the desk in the same transaction."""

    happening: desk.Happening
    request: HttpRequest

    def form_valid(self, form: forms.Form) -> HttpResponse:
        """Do it, note it, keep this session alone, and say so."""
        with transaction.atomic():
            response: HttpResponse = super().form_valid(form)  # type: ignore[misc]
            user = signed_in_person(self.request)
            by = desk.person(user, request_id=getattr(self.request, "request_id", ""))
            keep_session(self.request, desk.note(by=by, what=self.happening))
        messages.success(self.request, _said(self.happening))
        return response


@method_decorator(never_cache, name="dispatch")
class AddApp(_Noted, apps.ActivateTOTPView):  # type: ignore[misc]
    """Take an authenticator app into use."""

    template_name = "account/app.html"
    extra_context: ClassVar[dict[str, Any]] = _FRAME
    form_class = AppForm
    happening: desk.Happening = "app-added"


@method_decorator(never_cache, name="dispatch")
class RemoveApp(_Noted, apps.DeactivateTOTPView):  # type: ignore[misc]
    """Take it out of use."""

    template_name = "account/remove.html"
    extra_context: ClassVar[dict[str, Any]] = _FRAME
    happening: desk.Happening = "app-removed"


@method_decorator(never_cache, name="dispatch")
class AddPasskey(_Noted, passkeys.AddWebAuthnView):  # type: ignore[misc]
    """Make a passkey on this device, or on a telephone or key that it reaches."""

    template_name = "account/passkey.html"
    extra_context: ClassVar[dict[str, Any]] = _FRAME
    form_class = PasskeyForm
    happening: desk.Happening = "passkey-added"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """With what the device is to sign: a passkey that opens the account by itself."""
        context = super().get_context_data(**kwargs)
        options = webauthn.begin_registration(signed_in_person(self.request), passwordless=True)
        return {**context, "js_data": {"creation_options": options}}


@method_decorator(never_cache, name="dispatch")
class RemovePasskey(_Noted, passkeys.RemoveWebAuthnView):  # type: ignore[misc]
    """Take a passkey out of use."""

    template_name = "account/remove.html"
    extra_context: ClassVar[dict[str, Any]] = _FRAME
    success_url = "/account/"
    happening: desk.Happening = "passkey-removed"


@method_decorator(never_cache, name="dispatch")
class ShowCodes(codes.ViewRecoveryCodesView):  # type: ignore[misc]
    """The recovery codes that are not used yet."""

    template_name = "account/codes.html"
    extra_context: ClassVar[dict[str, Any]] = _FRAME


@method_decorator(never_cache, name="dispatch")
class NewCodes(_Noted, codes.GenerateRecoveryCodesView):  # type: ignore[misc]
    """New recovery codes; the old ones end."""

    template_name = "account/new_codes.html"
    extra_context: ClassVar[dict[str, Any]] = _FRAME
    happening: desk.Happening = "codes-renewed"


def _said(what: desk.Happening) -> str:
    return {
        "app-added": _("The app is in use. From now on its code is asked for when you sign in."),
        "app-removed": _("The app is out of use."),
        "passkey-added": _("The passkey is in use. With it you need no password to sign in."),
        "passkey-removed": _("The passkey is out of use."),
        "codes-renewed": _("These are your new recovery codes. The old ones have ended."),
    }[what]


def _is_number(host: str) -> bool:
    """Whether the host is an address of numbers, for which browsers make no passkeys."""
    return host.replace(".", "").isdigit() or host.startswith("[")
