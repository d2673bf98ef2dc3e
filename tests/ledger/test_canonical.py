"""The ledger's text is RFC 8785 JSON: held to a library that implements the whole standard."""

from __future__ import annotations

from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from registry.ledger.append import canonical, plain

NAMES = st.text(st.characters(max_codepoint=127), max_size=12)
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(NAMES, inner, max_size=4),
    max_leaves=20,
)


@given(value=st.dictionaries(NAMES, VALUES, max_size=6))
def test_it_writes_what_the_whole_standard_writes(value: dict[str, Any]) -> None:
    assert canonical(plain(value)).encode() == rfc8785.dumps(value)


def test_every_control_sign_and_quote_is_escaped_alike() -> None:
    value = {"text": "".join(map(chr, range(0x20))) + '"\\/\x7f\u2028é😀'}

    assert canonical(plain(value)).encode() == rfc8785.dumps(value)


@pytest.mark.parametrize(
    "value", [1.5, float("nan"), 2**53, -(2**53), b"bytes", {"é": 1}, object()]
)
def test_what_it_could_not_write_exactly_is_refused(value: object) -> None:
    with pytest.raises(TypeError, match="cannot be"):
        plain(value)
