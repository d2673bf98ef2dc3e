"""Sign in and out: password, second step or passkey; then each person lands in the room of their
role. Also who one is once more, where a page asks for it."""

from __future__ import annotations

from typing import Any

from allauth.account.views import LoginView, ReauthenticateView
from allauth.mfa.base import views as steps
from allauth.mfa.models import Authenticator
from allauth.mfa.webauthn.views import LoginWebAuthnView, ReauthenticateWebAuthnView
from django import forms
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from registry.models import Role
from registry.web.account.forms import CodeAgainForm, CodeForm, PasswordAgainForm, SignInForm
from registry.web.account.idle import note_presence
from registry.web.account.kept import OWN_SECTIONS, renew_session
from registry.web.acting import CHOSEN_CLINIC, memberships_of

ROOMS = {
    Role.CLINIC: "clinic:home",
    Role.REGISTRAR: "registrar:queue",
    Role.SECRETARY: "secretary:home",
}
# Kept for one redirect: what to say above the sign-in form after a passkey was not taken.
_PASSKEY_FAILED = "passkey-failed"


class _Entrance:
    """What the library's views share here: the base page's own ``site``, and an honest status."""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """The library brings a ``site`` of another kind; ours stays."""
        context: dict[str, Any] = super().get_context_data(**kwargs)  # type: ignore[misc]
        context.pop("site", None)
        return {"sections": OWN_SECTIONS, **context}

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        """The page again, with the status of input that could not be taken."""
        response: HttpResponse = super().form_invalid(form)  # type: ignore[misc]
        response.status_code = 422
        return response


class SignIn(_Entrance, LoginView):  # type: ignore[misc]
    """The sign-in page."""

    template_name = "account/sign_in.html"
    form_class = SignInForm

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """The form, where to go on, and what to say of a passkey that was not taken."""
        context = super().get_context_data(**kwargs)
        problems = []
        if self.request.session.pop(_PASSKEY_FAILED, False):
            told = _("This passkey does not open an account here. Sign in with your password.")
            problems = [("", told)]
        return {**context, "current": "sign-in", "problems": problems}


@method_decorator(login_not_required, name="dispatch")
class PasskeySignIn(LoginWebAuthnView):  # type: ignore[misc]
    """What the device answered to “Sign in with a passkey”; asked for JSON, what it is to sign."""

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        """Back to the form, where it is said."""
        self.request.session[_PASSKEY_FAILED] = True
        return redirect("account_login")


class SecondStep(_Entrance, steps.AuthenticateView):  # type: ignore[misc]
    """The second step of a sign-in."""

    template_name = "account/second_step.html"
    form_class = CodeForm

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """The forms, and whether there is a passkey to offer."""
        passkeys = Authenticator.objects.filter(
            user=self.stage.login.user, type=Authenticator.Type.WEBAUTHN
        )
        return {**super().get_context_data(**kwargs), "has_passkey": passkeys.exists()}


class _Again(_Entrance):
    """Who one is, once more: what was asked for before is done afterwards."""

    request: HttpRequest
    template_name = "account/again.html"

    def form_valid(self, form: forms.Form) -> HttpResponse:
        """Unlock the session and go on."""
        note_presence(self.request)
        renew_session(self.request)
        response: HttpResponse = super().form_valid(form)  # type: ignore[misc]
        return response


class PasswordAgain(_Again, ReauthenticateView):  # type: ignore[misc]
    """The password once more."""

    form_class = PasswordAgainForm


class CodeAgain(_Again, steps.ReauthenticateView):  # type: ignore[misc]
    """A code instead of the password."""

    form_class = CodeAgainForm


class PasskeyAgain(_Again, ReauthenticateWebAuthnView):  # type: ignore[misc]
    """A passkey instead of the password."""

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        """The page again: the library would leave it."""
        context = self.get_context_data(form=form)
        answer: HttpResponse = self.render_to_response(context, status=422)
        return answer


@never_cache
@require_http_methods(["GET", "POST"])
def rooms(request: HttpRequest) -> HttpResponseBase:
    """Lead a person with one role to its room; let one with several choose."""
    held = memberships_of(request)
    if request.method == "POST":
        for membership in held:
            if str(membership.pk) == request.POST.get("role"):
                if membership.clinic is not None:
                    request.session[CHOSEN_CLINIC] = membership.clinic.public_id
                    # Now, not after the answer: a choice that is lost would leave the person
                    # acting for the other clinic.
                    request.session.save()
                return redirect(ROOMS[Role(membership.role)])
    if len(held) == 1:
        return redirect(ROOMS[Role(held[0].role)])
    return render(request, "rooms.html", {"held": held, "sections": []})
