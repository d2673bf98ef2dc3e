"""The library that writes the ledger's entries, against the vectors of RFC 8785."""

import json
import struct

import pytest
import rfc8785

from tests.published.cases import topic

CASES = topic("standards")
NUMBERS = [
    (bits, text)
    for half in ("jcs-numbers-a", "jcs-numbers-b")
    for bits, text in zip(
        CASES[half]["inputs"]["bits"], CASES[half]["expected"]["text"], strict=True
    )
]


@pytest.mark.parametrize("case_id", ["jcs-values", "jcs-structures"])
def test_an_object_is_written_as_published(case_id: str) -> None:
    # RFC 8785 s3.2.2-3.2.4 and its author's test data, confirmed.
    case = CASES[case_id]

    written = rfc8785.dumps(json.loads(case["inputs"]["json"]))

    assert written.decode() == case["expected"]["canonical"]


@pytest.mark.parametrize("name", ["french", "unicode", "arrays"])
def test_keys_are_ordered_by_code_and_text_is_not_normalised(name: str) -> None:
    # RFC 8785 author's test data, confirmed.
    case = CASES["jcs-french-unicode-arrays"]

    assert rfc8785.dumps(json.loads(case["inputs"][name])).decode() == case["expected"][name]


@pytest.mark.parametrize(("bits", "text"), NUMBERS)
def test_a_number_is_written_as_published(bits: str, text: str) -> None:
    # RFC 8785 Appendix B; bit patterns from memory, texts reproduced with an ECMAScript engine.
    (number,) = struct.unpack(">d", bytes.fromhex(bits))

    assert rfc8785.dumps(number).decode() == text


@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
def test_what_json_cannot_hold_is_an_error(number: float) -> None:
    with pytest.raises(rfc8785.FloatDomainError):
        rfc8785.dumps(number)
