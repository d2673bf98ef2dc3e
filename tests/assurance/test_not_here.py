"""What the registry does not do at all, so that what a standard asks of it does not apply.

The day one of these arrives, a test here fails and its lines of the table have to be judged.
"""

from __future__ import annotations

import re

import pytest
from django.conf import settings

from tests.assurance.source import ROOT, imports, modules
from tests.routes import all_routes

LOCK = (ROOT / "requirements-run.lock").read_text(encoding="utf-8")
INSTALLED = set(re.findall(r"^([a-z0-9][\w.-]*)==", LOCK, re.MULTILINE))

ABSENT = {
    "OAuth, OpenID Connect and other identity providers": (
        r"oauthlib|requests-oauthlib|authlib|social-auth\S*|python-jose|pyjwt|djangosaml2|pysaml2"
        r"|python3-saml|django-oauth-toolkit|mozilla-django-oidc"
    ),
    "GraphQL": r"graphene\S*|strawberry\S*|ariadne\S*|graphql\S*|tartiflette",
    "WebSocket": r"channels\S*|daphne|websockets|wsproto|python-socketio",
    "WebRTC": r"aiortc|pylibsrtp|janus\S*",
    "LDAP": r"python-ldap|ldap3|django-auth-ldap",
    "memcache": r"pymemcache|python-memcached|pylibmc|bmemcached",
    "XML and XPath": r"lxml|xmltodict|elementpath|defusedxml|openpyxl",
    "phone messages": r"twilio|vonage|django-phonenumber-field|django-two-factor-auth",
    "Java": r"jpype1|pyjnius|py4j",
}


@pytest.mark.parametrize("what", sorted(ABSENT))
def test_no_package_of_it_is_installed(what: str) -> None:
    assert {name for name in INSTALLED if re.fullmatch(ABSENT[what], name)} == set()


def test_no_other_identity_is_taken() -> None:
    apps = [
        app for app in settings.INSTALLED_APPS if re.search("social|oauth|saml|openid|cas", app)
    ]

    assert apps == []
    assert not any(re.search("oauth|openid|saml|callback|authorize", r.path) for r in all_routes())


def test_the_cache_is_no_memcache() -> None:
    text = (ROOT / "registry" / "settings.py").read_text(encoding="utf-8")

    assert re.findall(r"django\.core\.cache\.backends\.(\w+)", text) == ["db"]


def test_it_speaks_http_alone() -> None:
    """No ASGI application, so no WebSocket; the proxy's file names none either."""
    assert not any(name.endswith("asgi.py") for name in modules())
    assert 'worker_class = "gthread"' in (ROOT / "gunicorn.conf.py").read_text(encoding="utf-8")
    assert all("websocket" not in imported.lower() for _name, imported in imports())


def test_no_memory_is_managed_by_hand() -> None:
    own = {imported.split(".")[0] for _name, imported in imports()}

    assert own.isdisjoint({"ctypes", "cffi", "cython", "mmap"})
    assert not [file for end in ("c", "cpp", "pyx", "rs", "so") for file in
                (ROOT / "registry").rglob(f"*.{end}")]  # fmt: skip
