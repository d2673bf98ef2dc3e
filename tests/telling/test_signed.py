"""What a file says is told in the words and the days of the paper."""

from __future__ import annotations

import pytest

from registry.telling.signed import signed_facts


def issued(valid_from: str) -> str | None:
    document = {"credentialSubject": {"certificateNumber": "EQEB9EHZ59"}, "validFrom": valid_from}
    return {fact.term: fact.value for fact in signed_facts(document)}.get("Certificate issued")


@pytest.mark.parametrize(
    ("valid_from", "day"),
    [
        # The tests' club is in Vienna, where it is an hour, in summer two hours, later.
        ("2026-11-25T22:59:59.000001Z", "25 November 2026"),
        ("2026-11-25T23:00:00Z", "26 November 2026"),
        ("2026-06-30T22:30:00Z", "1 July 2026"),
        ("some day", "some day"),
        ("", None),
    ],
)
def test_the_day_of_issue_is_the_clubs(valid_from: str, day: str | None) -> None:
    assert issued(valid_from) == day
