"""Sign in as a person does: password, then the code that their app shows; reckoned here after RFC
6238 and not by the library under test."""

from __future__ import annotations

import base64
import hmac
import time
from hashlib import sha1
from typing import Any

from django.core.cache import cache
from django.test import Client

from tests.factories import APP_KEY, PASSWORD, Person

STEP = 30


def code_at(at: float, key: str = APP_KEY) -> str:
    """The six digits of an app at an instant (RFC 6238 with the defaults, RFC 4226 section 5.3)."""
    counter = int(at // STEP).to_bytes(8, "big")
    digest = hmac.new(base64.b32decode(key), counter, sha1).digest()
    offset = digest[-1] & 15
    number = int.from_bytes(digest[offset : offset + 4], "big") & 0x7FFFFFFF
    return f"{number % 1_000_000:06d}"


def code_now(key: str = APP_KEY) -> str:
    """The code now, as if no code had been used before."""
    cache.clear()
    return code_at(time.time(), key)


def sign_in(client: Client, person: Person, password: str = PASSWORD) -> Any:
    """The answer at the end of all redirects, after the second step if there is one."""
    answer = client.post("/sign-in/", {"login": person.login, "password": password}, follow=True)
    if answer.redirect_chain and answer.redirect_chain[-1][0] == "/sign-in/code/":
        answer = client.post("/sign-in/code/", {"code": code_now()}, follow=True)
    return answer
