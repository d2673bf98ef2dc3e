"""A bit for a certificate, where the standard puts it."""

from __future__ import annotations

import base64
import gzip
import itertools
import secrets
from collections.abc import Callable, Iterable
from random import Random

import pytest
from scipy.stats import chisquare

from registry.credential.status_list import LENGTH, encoded, free_place, is_set


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


class TestPlaces:
    """Where certificates stand says nothing about when they were issued."""

    counter = itertools.count()

    @staticmethod
    def given_out(many: int, randbelow: Callable[[int], int]) -> list[int]:
        taken: list[int] = []
        for _turn in range(many):
            taken.append(free_place(3, is_taken=taken.__contains__, randbelow=randbelow))
        assert len(set(taken)) == many
        return taken

    @staticmethod
    def chance(places: Iterable[int]) -> float:
        """How likely places as uneven as these are, by a chi-square test over 64 equal parts."""
        parts = [place % LENGTH * 64 // LENGTH for place in places]
        return float(chisquare([parts.count(part) for part in range(64)]).pvalue)

    def test_two_thousand_are_spread_evenly(self) -> None:
        places = self.given_out(2_000, Random(20261125).randrange)

        assert {place // LENGTH for place in places} == {3}
        assert self.chance(places) > 0.01

    def test_the_true_source_spreads_them_too(self) -> None:
        # A test of chance may fail by chance: this one once in a million runs.
        assert self.chance(self.given_out(2_000, secrets.randbelow)) > 1e-6

    @pytest.mark.parametrize(
        "lopsided",
        [
            lambda _below: next(TestPlaces.counter),
            lambda below: Random(7).randrange(below),
            lambda below: secrets.randbelow(100_000) % below,
            lambda below: max(secrets.randbelow(below), secrets.randbelow(below)),
        ],
        ids=["one after another", "always the same", "too short", "the larger of two"],
    )
    def test_the_test_sees_what_is_lopsided(self, lopsided: Callable[[int], int]) -> None:
        assert self.chance(lopsided(LENGTH) for _turn in range(2_000)) < 0.01

    def test_a_taken_place_is_not_given_out_again(self) -> None:
        drawn = iter([5, 5, 9])

        place = free_place(
            0, is_taken={5}.__contains__, randbelow=lambda below: next(drawn) % below
        )

        assert place == 9


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
