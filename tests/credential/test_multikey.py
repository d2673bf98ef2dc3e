"""Bytes as base58 and back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.credential.multikey import from_multibase, from_multikey, multibase, multikey


@given(st.binary(max_size=80))
def test_bytes_come_back(raw: bytes) -> None:
    assert from_multibase(multibase(raw)) == raw


def test_zero_bytes_at_the_front_are_kept() -> None:
    # Each leading zero byte is the letter 1 (base58-btc, from memory).
    assert multibase(b"\0\0\1") == "z112"


@pytest.mark.parametrize("text", ["", "u12", "z0", "zO", "zl", "z" + "2" * 300])
def test_what_is_no_base58_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no base58"):
        from_multibase(text)


@pytest.mark.parametrize("text", [multibase(b"\xed\x01short"), multibase(b"\x80\x24" + bytes(32))])
def test_another_kind_of_key_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no Ed25519 key"):
        from_multikey(text)


def test_a_key_comes_back() -> None:
    assert from_multikey(multikey(bytes(range(32)))) == bytes(range(32))
