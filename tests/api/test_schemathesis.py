"""Five thousand made-up requests, lawful and unlawful, as nobody and with each kind of token; in a
soak a hundred thousand.

Nothing may be a server error, and every answer must be one that the OpenAPI document promises. The
objects asked for exist in every second round; what a request changed is undone before the next.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import nullcontext, suppress
from functools import cache
from itertools import count
from typing import Any

import pytest
import schemathesis
from django.core.cache import cache as django_cache
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.config import SchemathesisConfig
from schemathesis.core.result import Ok

from registry.desk.evidence import attach
from registry.wsgi import application
from tests.api.conftest import Caller, Callers
from tests.courses import make_course
from tests.factories import make_accepted, make_dog, make_submitted
from tests.forecast_checks import make_check
from tests.reliability.numbers import counted, times
from tests.reliability.record import What

REQUESTS_EACH = times(soak=25_000, short=1_250)
_A_ROUND = 12
# A lawful shape may still say what cannot be: a dog that is not there, a chip that adds up wrong.
_CONFIG = {
    "checks": {
        "positive_data_acceptance": {
            "expected-statuses": ["2xx", 304, 400, 401, 403, 404, 409, 422, 429]
        },
        "negative_data_rejection": {
            "expected-statuses": [400, 401, 403, 404, 405, 406, 409, 413, 415, 422, 429]
        },
    }
}


@pytest.fixture(autouse=True)
def _one_connection() -> Iterator[None]:
    """Keep the test's own transaction open: a server would close the connection after a request."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@cache
def _operations() -> list[Any]:
    schema = schemathesis.openapi.from_wsgi(
        "/api/v1/schema", application, config=SchemathesisConfig.from_dict(_CONFIG)
    )
    return [found.ok() for found in schema.get_all_operations() if isinstance(found, Ok)]


def _real(path: str, callers: Callers) -> dict[str, str] | None:
    """Path parameters that name something, or None for a path without any."""
    club = callers.club
    if "/dogs/" in path:
        return {"public_id": make_dog(club).public_id}
    if "/certificates/" in path:
        return {"number": make_accepted(club).number}
    if any(part in path for part in ("/breeds/", "/trends/", "/distributions/")):
        run = make_course(club)
        make_check(run)
        return {"breed": club.breed.slug, "trait": "hip-laxity", "number": str(run.number)}
    if "/evaluations/" in path:
        is_later = path.endswith(("revocation", "replacement"))
        found = make_accepted(club).evaluation if is_later else make_submitted(club)
        return {"public_id": found.public_id}
    if "/evidence/" in path:
        film = [b"\xff\xd8\xff\xe0 film"]
        sent = attach(by=club.nurse.actor, chunks=film, name="film.jpg")
        return {"public_id": sent.public_id}
    return None


@pytest.mark.parametrize("role", ["nobody", "clinic", "registrar", "secretary"])
def test_no_request_meets_a_fault_or_an_answer_unpromised(role: str, callers: Callers) -> None:
    caller: Caller = getattr(callers, role)
    statuses: Counter[int] = Counter()

    with counted(What.FUZZED, role) as so_far:
        for number in count():
            for operation in _operations():
                _ask(operation, caller, callers, number, statuses)
                so_far.done = statuses.total()
            if so_far.done >= REQUESTS_EACH:
                break
        so_far.failures = sum(many for status, many in statuses.items() if status >= 500)

    assert statuses[200] > 0
    assert so_far.failures == 0


def _ask(
    operation: Any, caller: Caller, callers: Callers, number: int, statuses: Counter[int]
) -> None:
    """One round of one operation: lawful in even pairs of rounds, unlawful in odd ones."""
    mode = GenerationMode.NEGATIVE if number // 2 % 2 else GenerationMode.POSITIVE
    known = _real(operation.path, callers) if number % 2 == 0 else None
    strategy = operation.as_strategy(mode, **({"path_parameters": known} if known else {}))

    @seed(number)
    @settings(
        max_examples=_A_ROUND,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate, Phase.shrink],
    )
    @given(case=strategy)
    def ask(case: Any) -> None:
        django_cache.clear()
        with transaction.atomic():
            response = case.call(headers=caller.headers)
            transaction.set_rollback(True)
        statuses[response.status_code] += 1
        case.validate_response(response, headers=caller.headers)

    # An operation that takes nothing cannot be asked unlawfully.
    with suppress(Unsatisfiable) if mode is GenerationMode.NEGATIVE else nullcontext():
        ask()
