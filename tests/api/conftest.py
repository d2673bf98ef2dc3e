"""What the interface's tests share: the club, and a caller for each role."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import pytest
from django.test import Client

from tests.factories import Club, Person, make_club, make_token


class Caller:
    """Speaks JSON to the interface, with a token or without."""

    def __init__(self, token: str = "") -> None:
        self.client = Client()
        self.headers = {"Authorization": f"Bearer {token}"} if token else {}

    def get(self, path: str, **headers: str) -> Any:
        return self.client.get(f"/api/v1/{path}", headers={**self.headers, **headers})

    def send(self, path: str, body: Any = None, method: str = "POST", **headers: str) -> Any:
        data = body if isinstance(body, str | bytes) else json.dumps(body)
        return self.client.generic(
            method,
            f"/api/v1/{path}",
            data,
            content_type="application/json",
            headers={
                **self.headers,
                **{name.replace("_", "-"): value for name, value in headers.items()},
            },
        )


@dataclass(frozen=True)
class Callers:
    """The club and who calls."""

    club: Club
    nobody: Caller
    clinic: Caller
    other_clinic: Caller
    registrar: Caller
    secretary: Caller


@pytest.fixture
def callers(db: None) -> Callers:
    club = make_club()

    def caller(person: Person) -> Caller:
        return Caller(make_token(person, by=club.secretary.actor))

    return Callers(
        club=club,
        nobody=Caller(),
        clinic=caller(club.nurse),
        other_clinic=caller(club.other_nurse),
        registrar=caller(club.registrar),
        secretary=caller(club.secretary),
    )
