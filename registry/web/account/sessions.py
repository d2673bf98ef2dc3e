"""Where a person is signed in: end one session, or all of them."""

from __future__ import annotations

from allauth.usersessions.models import UserSession
from django.contrib import messages
from django.contrib.auth import logout
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from registry.desk import sign_in as desk
from registry.desk.actor import Actor
from registry.desk.errors import NotFound
from registry.web.account.kept import keep_session, proof_required
from registry.web.acting import signed_in_person

_BROWSERS = (
    ("Edg/", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("Chromium/", "Chromium"),
    ("Chrome/", "Chrome"),
    ("CriOS/", "Chrome"),
    ("Safari/", "Safari"),
)
_SYSTEMS = (
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("Mac OS X", "macOS"),
    ("CrOS", "ChromeOS"),
    ("Linux", "Linux"),
)


def browser_of(user_agent: str) -> str:
    """A browser in words that its person knows again, from what it says of itself."""
    browser = next((name for sign, name in _BROWSERS if sign in user_agent), _("another program"))
    system = next((name for sign, name in _SYSTEMS if sign in user_agent), "")
    if not system:
        return browser
    return _("%(browser)s on %(system)s") % {"browser": browser, "system": system}


@never_cache
@require_POST
@proof_required
def end_one(request: HttpRequest, session_pk: int) -> HttpResponseBase:
    """End one session; this one, when it is chosen, by signing out."""
    here = request.session.session_key
    if UserSession.objects.filter(pk=session_pk, session_key=here).exists():
        logout(request)
        return redirect("/")
    try:
        desk.end_session(by=_self(request), session_pk=session_pk)
    except NotFound as error:
        raise Http404 from error
    messages.success(request, _("That session has ended."))
    return redirect("mfa_index")


@never_cache
@require_POST
@proof_required
def end_all(request: HttpRequest) -> HttpResponseBase:
    """End all sessions but this one."""
    user = desk.end_sessions(by=_self(request))
    keep_session(request, user)
    messages.success(request, _("You are signed out everywhere else."))
    return redirect("mfa_index")


def _self(request: HttpRequest) -> Actor:
    return desk.person(signed_in_person(request), request_id=getattr(request, "request_id", ""))
