"""A bit for a certificate, where the standard puts it."""

from __future__ import annotations

import base64
import gzip

import pytest

from registry.credential.status_list import LENGTH, encoded, is_set


def test_the_bits_that_were_set_are_set_and_no_others() -> None:
    places = {0, 7, 8, 131_071, 70_000}

    found = encoded(places)

    assert {place for place in range(LENGTH) if is_set(found, place)} == places


def test_the_first_bit_is_the_leftmost_of_the_first_byte() -> None:
    # Bitstring Status List 1.0 (W3C), section 3.2: index 0 is the left-most bit.
    text = encoded([0])[1:]

    bits = gzip.decompress(base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)))

    assert (bits[0], len(bits)) == (0b1000_0000, 16 * 1024)


def test_an_empty_list_is_small_and_always_the_same() -> None:
    assert encoded([]) == encoded([])
    assert len(encoded([])) < 100


def test_the_standards_own_empty_list_reads_as_empty() -> None:
    # Bitstring Status List 1.0 (W3C), section 2.2, the example of a status list credential.
    example = "uH4sIAAAAAAAAA-3BMQEAAADCoPVPbQwfoAAAAAAAAAAAAAAAAAAAAIC3AYbSVKsAQAAA"

    assert not any(is_set(example, place) for place in (0, 1, 94_567, LENGTH - 1))


@pytest.mark.parametrize("text", ["", "u", "u!!!", "zABC", "uAAAA", encoded([3])[:-8]])
def test_what_is_no_list_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="status list"):
        is_set(text, 3)


def test_a_packed_bomb_is_not_unpacked() -> None:
    packed = base64.urlsafe_b64encode(gzip.compress(bytes(50_000_000))).decode().rstrip("=")

    with pytest.raises(ValueError, match="another length"):
        is_set("u" + packed, 3)


@pytest.mark.parametrize("place", [-1, LENGTH])
def test_there_is_no_place_beyond_the_list(place: int) -> None:
    with pytest.raises(ValueError, match="no place"):
        is_set(encoded([]), place)
