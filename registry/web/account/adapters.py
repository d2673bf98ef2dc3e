"""What the sign-in library asks its host for: our words, our addresses, our encryption, our log."""

from __future__ import annotations

import base64
import io
import logging
import time
from typing import Any
from urllib.parse import urlsplit

import segno
from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.authentication import get_authentication_records
from allauth.core import context, ratelimit
from allauth.mfa.adapter import DefaultMFAAdapter
from cryptography.fernet import Fernet, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser
from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext_lazy as _

from registry.models import User
from registry.web.account import devices

logger = logging.getLogger(__name__)

_TOO_OFTEN = _(
    "There were too many wrong tries. Wait five minutes, or use a passkey, or ask for a link under "
    "“Forgotten your password?”."
)


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    """Passwords and what comes after them."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "username_password_mismatch": _(
            "Login and password do not fit together. Check both; capitals matter in the password."
        ),
        "incorrect_password": _("This is not your password. Capitals matter."),
        "too_many_login_attempts": _TOO_OFTEN,
        "rate_limited": _TOO_OFTEN,
    }

    def get_login_redirect_url(self, request: HttpRequest) -> str:
        """After signing in everybody goes to the room of their role."""
        return "/rooms/"

    def add_message(self, *args: Any, **kwargs: Any) -> None:
        """The library's own notices are not shown; pages say what they did themselves."""

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """Mail goes through the outbox, written by the desk."""

    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: Any) -> str:
        """One counter an account, whatever address of the site is asked, and one a browser of the
        person's own."""
        return devices.counter_of(request, str(credentials.get("username", "")))

    def post_login(
        self, request: HttpRequest, user: AbstractBaseUser, **facts: Any
    ) -> HttpResponseBase:
        """Know this browser again."""
        response: HttpResponseBase = super().post_login(request, user, **facts)
        devices.know(response, user.get_username())
        return response

    def authentication_failed(self, request: HttpRequest, **credentials: Any) -> None:
        """One line in the log; what was typed is not in it."""
        logger.warning("a sign-in failed")

    def login(self, request: HttpRequest, user: AbstractBaseUser) -> None:
        """Sign in, and write one line of it."""
        super().login(request, user)
        if isinstance(user, User):
            records = get_authentication_records(request, user)
            used = " and ".join(str(each.get("type", each["method"])) for each in records)
            logger.info("signed in: %s, by %s", user.subject_id, used)

    def is_reauthentication_required(self, *, app: str, **kwargs: Any) -> bool:
        """A proof of who one is counts for a quarter of an hour, the sign-in itself included."""
        return not was_proved_lately(context.request)


def was_proved_lately(request: HttpRequest) -> bool:
    """Whether the person of this session has proved who they are a short while ago."""
    records = get_authentication_records(request, request.user)
    newest = max((float(record["at"]) for record in records), default=0.0)
    return time.time() - newest < settings.ACCOUNT_REAUTHENTICATION_TIMEOUT


def forget_failures(request: HttpRequest, user: User) -> None:
    """Who reads the mail of an account is its owner: the counters of wrong tries start anew."""
    ratelimit.clear(request, action="login_failed", key=devices.counter_of(request, user.username))
    ratelimit.clear(request, action="login_failed", key=f"mfa-auth-user-{user.pk}")


class SecondStepAdapter(DefaultMFAAdapter):  # type: ignore[misc]
    """Passkeys, authenticator apps, recovery codes."""

    error_messages = DefaultMFAAdapter.error_messages | {
        "incorrect_code": _(
            "This did not fit. Take the newest code of your app, or a recovery code that is not "
            "used yet."
        ),
    }

    def get_totp_issuer(self) -> str:
        """How the app names this registry."""
        return settings.CLUB_NAME

    def get_totp_label(self, user: User) -> str:
        """How the app names the account."""
        return user.username

    def build_totp_svg(self, url: str) -> str:
        """The QR code that the app reads, dark on white in any light."""
        drawn = io.BytesIO()
        segno.make_qr(url, error="m").save(
            drawn, kind="svg", scale=5, border=4, dark="#000", light="#fff", xmldecl=False
        )
        return drawn.getvalue().decode()

    def encrypt(self, text: str) -> str:
        """A secret as the database keeps it (Fernet under a key made of SECRET_KEY)."""
        return _box().encrypt(text.encode()).decode()

    def decrypt(self, encrypted_text: str) -> str:
        """The secret again; also one that was kept under a former SECRET_KEY."""
        return _box().decrypt(encrypted_text.encode()).decode()

    def get_public_key_credential_rp_entity(self) -> dict[str, str]:
        """Whom a passkey is for: the site's own host, so that no other site can ask for it."""
        host = urlsplit(settings.SITE_URL).hostname if settings.IS_PRODUCTION else None
        here = context.request.get_host().partition(":")[0]
        return {"id": host or here, "name": settings.CLUB_NAME}

    def get_public_key_credential_user_entity(self, user: User) -> dict[str, Any]:
        """How the device names the account to its person."""
        entity = super().get_public_key_credential_user_entity(user)
        return {**entity, "name": user.username, "display_name": str(user)}


def _box() -> MultiFernet:
    keys = (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)
    return MultiFernet([Fernet(base64.urlsafe_b64encode(_derived(key))) for key in keys])


def _derived(key: str) -> bytes:
    """32 bytes for this use alone (HKDF, RFC 5869)."""
    use = b"soundline second-step secrets"
    return HKDF(algorithm=SHA256(), length=32, salt=None, info=use).derive(key.encode())
