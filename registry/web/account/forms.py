"""The forms of the sign-in pages: the library's checks under our labels."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

from allauth.account.adapter import get_adapter as account_adapter
from allauth.account.forms import LoginForm, ReauthenticateForm
from allauth.mfa.adapter import get_adapter
from allauth.mfa.base import forms as steps
from allauth.mfa.totp.forms import ActivateTOTPForm
from allauth.mfa.webauthn.forms import AddWebAuthnForm
from django import forms
from django.conf import settings
from django.contrib.auth.password_validation import password_validators_help_texts
from django.core.cache import cache
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.models import User
from registry.web.forms import PlainForm

# How long a code of an app can be right: the steps on both sides of now, of 30 seconds each.
_CODE_LASTS = 30 * (2 * settings.MFA_TOTP_TOLERANCE + 1)


class SignInForm(PlainForm, LoginForm):  # type: ignore[misc]
    """Login and password; which of the two is wrong is never said."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _named(self, "login", _("Login"), autocapitalize="none", spellcheck="false")
        _named(self, "password", _("Password"), autocomplete="current-password")

    def clean_login(self) -> str:
        """Logins are kept in small letters."""
        return str(self.cleaned_data["login"]).strip().lower()


class PasswordAgainForm(PlainForm, ReauthenticateForm):  # type: ignore[misc]
    """The password once more, of somebody who is signed in."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _named(self, "password", _("Password"), autocomplete="current-password")


class _OnceForm(PlainForm):
    """A code that was taken once is not taken again for as long as it could be right.

    The library remembers a used code for one step of 30 seconds; with a step of tolerance on both
    sides it could be right for three.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _named(self, "code", _("Code"), inputmode="numeric", autocomplete="one-time-code")
        self.fields["code"].help_text = _(
            "From your authenticator app, or one of your recovery codes"
        )

    def clean_code(self) -> str:
        """The code, after the library found it right."""
        code = str(super().clean_code())  # type: ignore[misc]
        who = self.user.pk  # type: ignore[attr-defined]
        digits = "".join(sign for sign in code if sign.isdigit())
        key = f"second-step:{who}:{sha256(digits.encode()).hexdigest()}"
        if not cache.add(key, "used", timeout=_CODE_LASTS):
            raise get_adapter().validation_error("incorrect_code")
        return code


class CodeForm(_OnceForm, steps.AuthenticateForm):  # type: ignore[misc]
    """The second step of a sign-in."""


class CodeAgainForm(_OnceForm, steps.ReauthenticateForm):  # type: ignore[misc]
    """A code of somebody who is signed in."""


class AppForm(PlainForm, ActivateTOTPForm):  # type: ignore[misc]
    """The first code of a new authenticator app."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        label = _("The code that the app shows now")
        _named(self, "code", label, inputmode="numeric", autocomplete="one-time-code")


class PasskeyForm(PlainForm, AddWebAuthnForm):  # type: ignore[misc]
    """The name of a new passkey, and what the device answered."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["passwordless"]
        _named(self, "name", _("Name of this passkey"), autocomplete="off", maxlength="60")
        self.fields["name"].help_text = _("So that you know it again, for example: office computer")
        self.initial["name"] = ""

    def clean_name(self) -> str:
        """A short name without control signs."""
        name = " ".join(str(self.cleaned_data["name"]).split())[:60]
        return name if name.isprintable() and name else _("Passkey")


class NewPasswordForm(PlainForm):
    """A password of one's own, once: it can be looked at while it is typed."""

    password = forms.CharField(
        label=gettext_lazy("New password"),
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].help_text = " ".join(
            [_("At least 15 characters."), *password_validators_help_texts()[-1:]]
        )


class ChangeForm(NewPasswordForm):
    """The password that holds, and the one that shall."""

    current = forms.CharField(
        label=gettext_lazy("Password now"),
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    field_order = ("current", "password")

    def __init__(self, user: User, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._user = user

    def clean_current(self) -> str:
        """Wrong ones are counted as at the sign-in."""
        current = str(self.cleaned_data["current"])
        adapter = account_adapter()
        if not adapter.reauthenticate(self._user, current):
            raise adapter.validation_error("incorrect_password")
        return current


class ForgottenForm(PlainForm):
    """Whom the link is for."""

    asked = forms.CharField(
        label=gettext_lazy("Your login or your mail address"),
        max_length=254,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )


def _named(form: forms.Form, name: str, label: str, **attributes: str) -> None:
    """Our label and words; away with the library's placeholder, on with what helps typing."""
    form.fields[name].label = label
    form.fields[name].error_messages["required"] = _("Fill in “%(label)s”.") % {"label": label}
    attrs = form.fields[name].widget.attrs
    attrs.pop("placeholder", None)
    attrs.update(attributes)
