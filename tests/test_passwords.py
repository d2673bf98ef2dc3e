"""Passwords that are long and easily guessed all the same."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest
from django.contrib.auth import password_validation
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError


@pytest.mark.parametrize(
    ("password", "words"),
    [
        ("short", "at least 15 characters"),
        ("aaaaaaaaaaaaaaaaaaaa", "repeats itself"),
        ("abcabcabcabcabcabc", "repeats itself"),
        ("hounds-hounds-hounds-", "repeats itself"),
        ("abcdefghijklmnop", "follows a row"),
        ("zyxwvutsrqponmlkj", "follows a row"),
        ("Password1234567!!", "well-known word"),
        ("tarn valley dog club 2026", "well-known word"),
        ("TarnValleyDogClub!2026", "well-known word"),
        ("soundline-123456789", "well-known word"),
    ],
)
def test_it_is_refused_in_words(password: str, words: str, settings: object) -> None:
    settings.CLUB_NAME = "Tarn Valley Dog Club"  # type: ignore[attr-defined]

    with pytest.raises(ValidationError) as said:
        validate_password(password)

    assert any(words in message for message in said.value.messages)


@pytest.mark.parametrize(
    "password",
    [
        "a quiet valley of 12 hounds",
        "correct-horse-battery",
        "ünsere Hündin heißt Föhn",
        "wet boots, warm stove; three dogs",
        "9f2kq-7tbnz-4mwdc",
    ],
)
def test_a_sentence_of_ones_own_is_taken(password: str) -> None:
    validate_password(password)


def test_no_common_password_is_taken() -> None:
    """Django's own list: 20,000 of those most often found in leaks."""
    packed = Path(password_validation.__file__).with_name("common-passwords.txt.gz")
    words = gzip.decompress(packed.read_bytes()).decode().split()

    taken = [word for word in words if _is_taken(word)]

    assert len(words) > 19_000
    assert taken == []


def _is_taken(password: str) -> bool:
    try:
        validate_password(password)
    except ValidationError:
        return False
    return True
